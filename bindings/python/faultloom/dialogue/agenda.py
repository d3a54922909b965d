"""Which step is open, which others there are, and whether the job can be closed."""

from __future__ import annotations

from faultloom.answers import Advice, Step
from faultloom.dialogue.closing import since_repair, step_of, tries
from faultloom.dialogue.journal import Journal
from faultloom.dialogue.questions import answered, key_of, open_keys
from faultloom.dialogue.vocabulary import Vocabulary
from faultloom.proof import Check, Verification

# What went wrong once may have been misread; after that it is not asked again.
_MOST_TRIES = 2


class Agenda:
    """The steps still to be proposed, best first.

    Attributes:
        current: The open step, None if there is none.
        closes: Whether nothing is left to prove, so that closing the job comes next.

    Args:
        vocabulary: The names on the vehicle.
    """

    def __init__(self, vocabulary: Vocabulary) -> None:
        self.current: Step | None = None
        self.closes = False
        self._vocabulary = vocabulary
        self._steps: list[Step] = []
        self._checks: list[tuple[Step, Check]] = []
        self._passed_over: set[str] = set()

    def fill(self, advice: Advice | None, journal: Journal, proof: Verification | None) -> str:
        """Takes over what the library proposes and opens the best step.

        Left out is what was put aside or answered with "not sure" or "can't". Once there is
        something to prove, the checks not made come first. A check that failed sends back to the
        search; if that has nothing better, the check is made once more.

        Args:
            advice: What to test or repair next, None if there is nothing.
            journal: The job.
            proof: What has to be proved, None as long as nothing has.

        Returns:
            A remark if there is something to say about it, else "".
        """
        self.current = None
        self._passed_over.clear()
        entries = since_repair(journal.entries)
        aside = journal.aside | open_keys(entries, self._vocabulary)
        offered = [] if advice is None else [advice.step, *advice.alternatives]
        left = [step for step in offered if self.key(step) not in aside]
        best = left[0].type if left else ""
        if proof is not None or len(tries(entries, self._vocabulary)) >= _MOST_TRIES:
            left = [step for step in left if step.type != "verify"]
        self._checks = []
        failed = False
        if proof is not None:
            failed = proof.result == "failed"
            self._checks = self._due(proof, journal, aside)
            due = [step for step, _ in self._checks]
            keys = {self.key(step) for step in due}
            left = [step for step in left if self.key(step) not in keys]
            first = not failed or best in ("verify", "")
            self._steps = [*due, *left] if first else [*left, *due]
        else:
            self._steps = left
        self.closes = proof is not None and not failed and not self._checks
        if self.closes:
            return ""
        if not self._steps:
            return "Every step there is was done or put aside" if offered or proof else ""
        self.current = self._steps[0]
        return ""

    def check(self, step: Step | None) -> Check | None:
        """The check that a step makes, None if it makes none."""
        return next((check for own, check in self._checks if own is step), None)

    @property
    def checks_left(self) -> int:
        """How many checks are still to be proposed."""
        return len(self._checks)

    def others(self, most: int) -> list[Step]:
        """The steps besides the open one."""
        return [step for step in self._steps if step is not self.current][:most]

    def skip(self) -> bool:
        """Opens the best step that was not passed over, the first again after the last.

        Returns:
            Whether it began again.
        """
        if self.current is not None:
            self._passed_over.add(self.key(self.current))
        left = [step for step in self._steps if self.key(step) not in self._passed_over]
        if not left:
            self._passed_over.clear()
        self.current = (left or self._steps)[0]
        return not left

    def key(self, step: Step) -> str:
        """What makes two steps the same."""
        return key_of(step, self._vocabulary)

    def _due(
        self, proof: Verification, journal: Journal, aside: set[str]
    ) -> list[tuple[Step, Check]]:
        """The checks to be made: open ones, or failed ones to be made once more."""
        made = answered(journal.entries, self._vocabulary)
        due = []
        for check in proof.checks:
            step = step_of(check)
            key = self.key(step)
            again = check.result == "failed" and len(made.get(key, [])) < _MOST_TRIES
            if key not in aside and (check.result == "open" or again):
                due.append((step, check))
        # After a failure that one is to be settled first.
        due.sort(key=lambda item: item[1].result != "failed")
        return due
