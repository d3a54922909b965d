"""The advice unrolled: what to do first, and after each outcome what then."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

from faultloom.answers import Answer, Data, Leader, Part, Step, parts


@dataclass(frozen=True, slots=True)
class PlanOutcome(Part):
    """What may come of a step of a plan, and what then.

    Attributes:
        outcome: "about 0 V", "bright", "yes", "runs" ...
        probability: Of this outcome when the step is made [1].
        reach: Of coming through here, from the start [1].
        means: Leading suspects after it, in one line.
        leaders: The same as objects.
        then: "step" (go on at `step`), "runs" (done), "repair" (`component`, and prove it),
            "verify" (nothing looks broken: prove it), "ask_again" with what was found, or "stuck".
        text: The same in words.
        expected_usd: Expected cost from here to the end of the job [USD].
        step: Id of the step that follows, 0 if none does.
        component: Id of what to repair, "" if that is not what follows.
    """

    outcome: str
    probability: float
    reach: float
    means: str
    leaders: tuple[Leader, ...]
    then: str
    text: str
    expected_usd: float
    step: int = 0
    component: str = ""

    @classmethod
    def of(cls, data: Data) -> Self:
        """The outcome in a JSON object."""
        return super(PlanOutcome, cls).of({**data, "leaders": parts(Leader, data["leaders"])})


@dataclass(frozen=True, slots=True)
class PlanStep(Part):
    """A step of a plan, from where the job then stands.

    Attributes:
        id: Number of the step, from 1; the lower the more probable.
        level: How many steps come before it.
        reach: Probability that it is needed [1].
        step: What to do; its expected total is that of the tree below it.
        outcomes: What may come of it, likeliest first.
    """

    id: int
    level: int
    reach: float
    step: Step
    outcomes: tuple[PlanOutcome, ...]

    @classmethod
    def of(cls, data: Data) -> Self:
        """The step in a JSON object."""
        outcomes = parts(PlanOutcome, data["outcomes"])
        return super(PlanStep, cls).of({**data, "step": Step.of(data), "outcomes": outcomes})


class Plan(Answer):
    """A tree of steps.

    Attributes:
        job: Id of the job.
        vehicle: Id of the vehicle.
        steps: The first is the start; the others by falling probability.
        expected_usd: Expected cost of the whole job [USD].
        repair_only_usd: The same by repairing in the best order without another test [USD].
        open_share: Probability that the plan ends before the job does [1].
        cut_short: Whether there would be more steps than it may have.
        depth: Most steps one after another.
        residual: Probability below which a branch is not followed [1].
    """

    __slots__ = (
        "cut_short",
        "depth",
        "expected_usd",
        "job",
        "open_share",
        "repair_only_usd",
        "residual",
        "steps",
        "vehicle",
    )

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self.job: str = self["job"]
        self.vehicle: str = self["vehicle"]
        self.steps = parts(PlanStep, self["steps"])
        self.expected_usd: float = self["expected_usd"]
        self.repair_only_usd: float = self["repair_only_usd"]
        self.open_share: float = self["open_share"]
        self.cut_short: bool = self["cut_short"]
        self.depth: int = self["depth"]
        self.residual: float = self["residual"]

    def step(self, number: int) -> PlanStep:
        """The step with this id.

        Raises:
            KeyError: There is none.
        """
        if not 1 <= number <= len(self.steps):
            raise KeyError(number)
        return self.steps[number - 1]
