"""Answers on what was repaired, and what has to be proved before a vehicle goes back."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Self

from faultloom.answers import Answer, Caution, Data, Mode, Part, Repair, parts


@dataclass(frozen=True, slots=True)
class Check(Part):
    """One thing to prove.

    Attributes:
        id: Id, the same whenever the same has to be proved.
        type: "drives", "drop" (of voltage, under load) or "interlock" (it must not drive).
        text: The check in one line.
        state: Position of every control.
        result: "open", "passed" or "failed".
        cautions: The most serious first.
        entry: Id of the entry that decided, "" if none has.
        part: Id of the part whose sign is watched; all but drops.
        sign: Id of that sign.
        expected: The answer that passes, "yes" or "no".
        component: Id of what was repaired; drops only, like the rest.
        instrument: Id of the instrument to use.
        red: Terminal for the red probe.
        black: Terminal for the black probe.
        expected_volt: Drop in a sound vehicle [V].
        limit_volt: Greatest drop that passes, either way [V].
        before_volt: Last drop noted before the repair [V], None if there is none.
        after_volt: Drop that decided [V], None if there is none.
    """

    id: str
    type: str
    text: str
    state: dict[str, str] = field(hash=False)
    result: str
    cautions: tuple[Caution, ...] = ()
    entry: str = ""
    part: str = ""
    sign: str = ""
    expected: str = ""
    component: str = ""
    instrument: str = ""
    red: str = ""
    black: str = ""
    expected_volt: float | None = None
    limit_volt: float | None = None
    before_volt: float | None = None
    after_volt: float | None = None

    @classmethod
    def of(cls, data: Data) -> Self:
        """The check in a JSON object."""
        return super(Check, cls).of({**data, "cautions": parts(Caution, data["cautions"])})


@dataclass(frozen=True, slots=True)
class EarlierWork(Part):
    """What earlier hands did and is probably still there; the customer has to be told.

    Attributes:
        id: Id of the component, PART:work or CONNECTOR:work.
        probability: That there is any of it.
        modes: What it is, likeliest first.
    """

    id: str
    title: str
    probability: float
    modes: tuple[Mode, ...] = ()

    @classmethod
    def of(cls, data: Data) -> Self:
        """The finding in a JSON object."""
        return super(EarlierWork, cls).of({**data, "modes": parts(Mode, data["modes"])})


class Verification(Answer):
    """What has to be proved before a vehicle goes back, and what has been.

    Attributes:
        job: Id of the job.
        vehicle: Id of the vehicle.
        result: "passed" if every check is, "failed" if one failed, else "open".
        repairs: Those made, in order.
        checks: Driving, drops, interlocks.
        earlier_work: What earlier hands left behind, likeliest first.
        verdict: How the job was closed, "" if it is not.
    """

    __slots__ = ("checks", "earlier_work", "job", "repairs", "result", "vehicle", "verdict")

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self.job: str = self["job"]
        self.vehicle: str = self["vehicle"]
        self.result: str = self["result"]
        self.repairs = parts(Repair, self["repairs"])
        self.checks = parts(Check, self["checks"])
        self.earlier_work = parts(EarlierWork, self["earlier_work"])
        self.verdict: str = self.get("verdict", "")
