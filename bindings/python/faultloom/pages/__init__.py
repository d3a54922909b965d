"""Pages people can hold: the harness as a drawing, a job as a sheet, what it will cost.

Drawings are SVG, the rest HTML to be printed on A4; none asks for anything from outside, and the
same job gives the same bytes. `harness` reads what is drawn, `marks` what is marked on it,
`layout` puts everything in its place, `svg` draws; `found` and `parts` make rows, `sheet` and
`estimate` pages, `render` fills in the templates, `commands` is the command line.

Example:
    >>> import json, faultloom
    >>> from faultloom.pages import harness_drawing
    >>> data = faultloom.data_path()
    >>> vehicle = json.loads((data / "vehicles" / "mulch-tug.json").read_bytes())
    >>> kinds = json.loads((data / "kinds.json").read_bytes())["kinds"]
    >>> harness_drawing(vehicle, kinds).startswith("<svg")
    True
"""

from faultloom.pages.estimate import Diagnosis, diagnosis_of, job_estimate
from faultloom.pages.marks import Marks, Probe, cut_after, marks_of
from faultloom.pages.sheet import Sources, job_sheet
from faultloom.pages.svg import harness_drawing
from faultloom.pages.whole_file import write_whole

__all__ = [
    "Diagnosis",
    "Marks",
    "Probe",
    "Sources",
    "cut_after",
    "diagnosis_of",
    "harness_drawing",
    "job_estimate",
    "job_sheet",
    "marks_of",
    "write_whole",
]
