"""Working at the bench: a job done step by step in a terminal, with every answer kept in its file.

`open_bench` puts it together; the modules below it know one thing each: `grammar` a typed line,
`vocabulary` the vehicle's names, `own` findings in words, `questions` what a step asks for,
`closing` what has to be proved and the words that close a job, `journal` the job document,
`job_file` its file, `interrupts` and `lines` the terminal, `agenda` the steps to choose from,
`screen` what is shown, `opening` the first questions, `session` the talk.
"""

from faultloom.dialogue.start import open_bench

__all__ = ["open_bench"]
