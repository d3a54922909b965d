"""Answers on what can be told apart at all, as typed objects."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

from faultloom.answers import Answer, Caution, Data, Part, parts


@dataclass(frozen=True, slots=True)
class Reach(Part):
    """What could be used to tell faults apart.

    Attributes:
        instruments: Ids of those at hand.
        closed_zones: Ids of the zones that stay closed.
        allow_live: Whether tests with the pack connected count.
        looks: Whether looking at components counts.
        lifting: Whether taking off wire ends counts.
    """

    instruments: tuple[str, ...]
    closed_zones: tuple[str, ...]
    allow_live: bool
    looks: bool
    lifting: bool

    @classmethod
    def of(cls, data: Data) -> Self:
        """The reach in a JSON object."""
        lists = {name: tuple(data[name]) for name in ("instruments", "closed_zones")}
        return super(Reach, cls).of({**data, **lists})


@dataclass(frozen=True, slots=True)
class Thing(Part):
    """A replaceable thing of an ambiguity group; a wire stands for its terminations too.

    Attributes:
        id: Id of the component.
        title: What it is.
        probability: Of one of its faults in the group, posterior or prior; at most this, if
            several may be there at once [1].
        modes: Its modes in the group, each COMPONENT/mode.
    """

    id: str
    title: str
    probability: float
    modes: tuple[str, ...] = ()

    @classmethod
    def of(cls, data: Data) -> Self:
        """The thing in a JSON object."""
        return super(Thing, cls).of({**data, "modes": tuple(data["modes"])})


@dataclass(frozen=True, slots=True)
class Splitter(Part):
    """The one extra thing that would split an ambiguity group best.

    Attributes:
        type: "look", "lift", "instrument" or "zone".
        text: The same in one line.
        separated: By how much the chance falls that two draws from the group, each with its
            probability, are different things [1].
        parts: Ids of the things in each part after it, heaviest part first; one part for a look,
            which never splits for certain. Of large groups the heaviest faults only.
        component: Id of what to look at, or of the wire to take off.
        isolated: Whether a wire end is taken off only to read with the pack isolated.
        instrument: Id of an instrument not at hand.
        zone: Id of a closed zone.
        cautions: The most serious first.
    """

    type: str
    text: str
    separated: float
    parts: tuple[tuple[str, ...], ...] = ()
    component: str = ""
    isolated: bool = False
    instrument: str = ""
    zone: str = ""
    cautions: tuple[Caution, ...] = ()

    @classmethod
    def of(cls, data: Data) -> Self:
        """The splitter in a JSON object."""
        split = tuple(tuple(part) for part in data["parts"])
        return super(Splitter, cls).of(
            {**data, "parts": split, "cautions": parts(Caution, data.get("cautions", []))}
        )


@dataclass(frozen=True, slots=True)
class AmbiguityGroup(Part):
    """Faults of two or more things that no test within reach tells apart.

    Attributes:
        probability: Of one of its faults, posterior or prior; at most this, if several may be
            there at once [1].
        share: Its part of the probability of all faults that were sorted [1].
        things: What they are faults of, likeliest first.
        shows_nothing: None of them changes the circuit at all.
        like_no_fault: Some of them are not told from the healthy vehicle.
        intermittent: Some of them come and go; they count as there during each test.
        splitter: What would split the group; None if nothing tried does.
    """

    probability: float
    share: float
    things: tuple[Thing, ...]
    shows_nothing: bool
    like_no_fault: bool
    intermittent: bool
    splitter: Splitter | None = None

    @classmethod
    def of(cls, data: Data) -> Self:
        """The group in a JSON object."""
        found = data.get("splitter")
        return super(AmbiguityGroup, cls).of(
            {
                **data,
                "things": parts(Thing, data["things"]),
                "splitter": None if found is None else Splitter.of(found),
            }
        )


class Ambiguity(Answer):
    """Which of the present suspects no reading at hand tells apart.

    Attributes:
        job: Id of the job.
        vehicle: Id of the vehicle.
        reach: What could be used.
        suspects: How many faults were sorted: the likeliest ones.
        isolated_to_one: Share of their probability that is in groups of one thing [1].
        group_count: How many groups of more than one thing there are.
        groups: The heaviest of them.
    """

    __slots__ = (
        "group_count",
        "groups",
        "isolated_to_one",
        "job",
        "reach",
        "suspects",
        "vehicle",
    )

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self.job: str = self["job"]
        self.vehicle: str = self["vehicle"]
        self.reach = Reach.of(self["reach"])
        self.suspects: int = self["suspects"]
        self.isolated_to_one: float = self["isolated_to_one"]
        self.group_count: int = self["group_count"]
        self.groups = parts(AmbiguityGroup, self["groups"])


class Testability(Answer):
    """How far the faults of a vehicle can be detected and told apart.

    Shares are relative to the probability of any fault before anything was read.

    Attributes:
        vehicle: Id of the vehicle.
        reach: What could be used.
        faults: How many faults were sorted.
        detected: Share that some test tells from the healthy vehicle [1].
        isolated_to_one: Share in groups of one replaceable thing [1].
        isolated_to_two: Share in groups of at most two [1].
        mean_group_size: Things in the group of a fault drawn by its probability.
        tests: How many tests were looked at.
        distinct_tests: How many of them tell different pairs of faults apart.
        group_count: How many groups of more than one thing there are.
        groups: The worst of them, by probability times the things too many.
    """

    __slots__ = (
        "detected",
        "distinct_tests",
        "faults",
        "group_count",
        "groups",
        "isolated_to_one",
        "isolated_to_two",
        "mean_group_size",
        "reach",
        "tests",
        "vehicle",
    )

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self.vehicle: str = self["vehicle"]
        self.reach = Reach.of(self["reach"])
        self.faults: int = self["faults"]
        self.detected: float = self["detected"]
        self.isolated_to_one: float = self["isolated_to_one"]
        self.isolated_to_two: float = self["isolated_to_two"]
        self.mean_group_size: float = self["mean_group_size"]
        self.tests: int = self["tests"]
        self.distinct_tests: int = self["distinct_tests"]
        self.group_count: int = self["group_count"]
        self.groups = parts(AmbiguityGroup, self["groups"])
