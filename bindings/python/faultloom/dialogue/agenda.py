"""Which of the steps that the library proposes is open, and which others there are."""

from __future__ import annotations

from faultloom.answers import Advice, Entry, Ranking, Step
from faultloom.dialogue.journal import Journal
from faultloom.dialogue.questions import answered, key_of, open_keys
from faultloom.dialogue.vocabulary import Vocabulary

_LIKELY_MISREAD = 0.5


class Agenda:
    """The steps still to be proposed, best first.

    Attributes:
        current: The open step, None if there is none.

    Args:
        vocabulary: The names on the vehicle.
    """

    def __init__(self, vocabulary: Vocabulary) -> None:
        self.current: Step | None = None
        self._vocabulary = vocabulary
        self._steps: list[Step] = []
        self._passed_over: set[str] = set()

    def fill(self, advice: Advice | None, journal: Journal, ranking: Ranking) -> str:
        """Takes over what the library proposes and opens the best step.

        Left out is what was put aside. What was answered comes last, since the same again tells
        little: the library does not see how alike two readings by the same hand are.

        Returns:
            A remark if there is something to say about it, else "".
        """
        self.current = None
        self._passed_over.clear()
        offered = [] if advice is None else [advice.step, *advice.alternatives]
        aside = journal.aside | open_keys(journal.entries, self._vocabulary)
        done = self._done(journal, ranking)
        left = [step for step in offered if self.key(step) not in aside]
        self._steps = sorted(left, key=lambda step: self.key(step) in done)
        if offered and offered[0].type == "verify" and self.key(offered[0]) in aside:
            return "It was shown to run. done ends; other lists what else could be looked into"
        if offered and not self._steps:
            return "Every step there is was done or put aside"
        if not self._steps:
            return ""
        self.current = self._steps[0]
        if self.key(self.current) in done:
            return "Nothing new is left that would tell more than what was done before"
        return ""

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

    def _done(self, journal: Journal, ranking: Ranking) -> set[str]:
        """Keys of what was answered since the last repair, unless once and probably wrongly."""
        entries: dict[str, Entry] = {entry.id: entry for entry in ranking.entries}

        def is_sound(name: str) -> bool:
            return name not in entries or (entries[name].misreading or 0) < _LIKELY_MISREAD

        by_key = answered(journal.entries, self._vocabulary)
        return {key for key, ids in by_key.items() if len(ids) > 1 or is_sound(ids[0])}
