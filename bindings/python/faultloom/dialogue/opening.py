"""The questions before the first step: complaint, cues, whether it runs."""

from __future__ import annotations

from collections.abc import Mapping

from faultloom._bench import one_line
from faultloom._layout import heading
from faultloom._terminal import show
from faultloom._words import Names
from faultloom.dialogue import screen
from faultloom.dialogue.journal import Journal
from faultloom.dialogue.lines import Lines
from faultloom.dialogue.questions import RUNS, WITH, turning
from faultloom.dialogue.vocabulary import Vocabulary

_PROMPT = "> "
_LONGEST_COMPLAINT = 4000


class Opening:
    """Asks what is known before anything is done.

    Each question takes the job so far and gives the job with the answer in it, the same job if
    there is nothing to add, None if whoever was asked wants to leave.

    Args:
        lines: Who is asked.
        names: Titles on the vehicle.
        vocabulary: Its names as they may be typed.
        cues: What may be asked of the driver: titles by id.
    """

    def __init__(
        self, lines: Lines, names: Names, vocabulary: Vocabulary, cues: Mapping[str, str]
    ) -> None:
        self._lines = lines
        self._names = names
        self._vocabulary = vocabulary
        self._cues = cues

    def complaint(self, journal: Journal) -> Journal | None:
        """Asks what the driver says."""
        known = journal.document.get("complaint")
        show(heading(self._names.vehicle))
        if known is not None:
            show(one_line(known))
            return journal
        show("What is the complaint, in the driver's words?")
        while (line := self._ask()) is not None:
            if line.lower() in ("help", "?"):
                show("Describe what it does or doesn't do, or leave the line empty")
            elif len(line) > _LONGEST_COMPLAINT:
                show(f"That is too long: at most {_LONGEST_COMPLAINT} letters")
            else:
                return journal.with_complaint(line)
        return None

    def cues(self, journal: Journal) -> Journal | None:
        """Asks which cues fit."""
        if not self._cues:
            return journal
        ids = list(self._cues)
        show("", "Does any of this fit? Numbers, or an empty line for none.")
        show(screen.choices([(self._cues[name], "") for name in ids]))
        while (line := self._ask()) is not None:
            numbers = [] if line.lower() in ("no", "none") else line.replace(",", " ").split()
            bad = [number for number in numbers if not is_choice(number, len(ids))]
            if bad:
                show(f"'{bad[0]}' is none of the numbers 1 to {len(ids)}")
                continue
            chosen = [ids[int(number) - 1] for number in numbers]
            return journal.with_entries(
                {"type": "cue", "cue": name, "outcome": "yes"} for name in dict.fromkeys(chosen)
            )
        return None

    def whether_it_runs(self, journal: Journal) -> Journal | None:
        """Asks whether it was tried to drive."""
        if not turning(self._vocabulary, "no"):
            return journal
        state = ", ".join(self._names.settings_of(self._vocabulary.run_state))
        show("", f"If it was tried today with {state}:", "did it run? yes, no, or an empty line.")
        while (line := self._ask()) is not None:
            if not line:
                return journal
            if outcome := RUNS.get(line.lower()):
                entries = turning(self._vocabulary, outcome)
                return journal.with_entries({**entry, WITH: ""} for entry in entries)
            show("Type yes, no, or nothing at all")
        return None

    def _ask(self) -> str | None:
        """A line in a row, None at the end or if it asks to leave."""
        line = self._lines.ask(_PROMPT)
        if line is None or line.strip().lower() in ("quit", "exit"):
            return None
        return one_line(line.strip())


def is_choice(text: str, most: int) -> bool:
    """Whether a text is a whole number from 1 to so many."""
    return text.isascii() and text.isdigit() and len(text) < 4 and 1 <= int(text) <= most
