"""Answers as typed objects. Each is also a read-only mapping of the JSON it came from."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Self, TypeVar

from faultloom._html import ranking_table

if TYPE_CHECKING:
    import pandas

Data = Mapping[str, Any]
Item = TypeVar("Item", bound="Part")


class Part:
    """A piece of an answer, made from the JSON object it stands for."""

    @classmethod
    def of(cls, data: Data) -> Self:
        """The piece in a JSON object; members this class does not know are left out."""
        names = cls.__dataclass_fields__  # type: ignore[attr-defined]  # every subclass is a dataclass
        return cls(**{name: data[name] for name in names if name in data})


def parts(kind: type[Item], rows: list[Data]) -> tuple[Item, ...]:
    """The pieces in a JSON array."""
    return tuple(kind.of(row) for row in rows)


@dataclass(frozen=True, slots=True)
class Mode(Part):
    """A way for a component to be broken, with its probability."""

    id: str
    title: str
    probability: float


@dataclass(frozen=True, slots=True)
class Suspect(Part):
    """A component with the probability that it is broken in any way.

    Attributes:
        modes: The ways it can be broken, likeliest first.
        kind: Id of its kind.
        zone: Id of the place where it is, "" if along a loom.
        loom: Id of the loom it runs in, "" if none.
    """

    id: str
    title: str
    probability: float
    kind: str = ""
    zone: str = ""
    loom: str = ""
    modes: tuple[Mode, ...] = ()

    @classmethod
    def of(cls, data: Data) -> Self:
        """The suspect in a JSON object."""
        return super(Suspect, cls).of({**data, "modes": parts(Mode, data.get("modes", []))})


@dataclass(frozen=True, slots=True)
class Candidate(Part):
    """One full account of what is broken.

    Attributes:
        modes: One item per fault, as many as there are; an item lists the modes (COMPONENT/mode)
            that no reading tells apart. Empty: nothing is broken.
        probability: Of these faults, with no other that the entries depend on.
    """

    modes: tuple[tuple[str, ...], ...]
    probability: float

    @classmethod
    def of(cls, data: Data) -> Self:
        """The candidate in a JSON object."""
        return cls(fault_list(data["modes"]), data["probability"])


def fault_list(modes: list[str | list[str]]) -> tuple[tuple[str, ...], ...]:
    """Faults of a candidate; in JSON a single mode stands for a list of one."""
    return tuple((mode,) if isinstance(mode, str) else tuple(mode) for mode in modes)


@dataclass(frozen=True, slots=True)
class Group(Part):
    """Modes that no electrical reading tells apart; `probability` is that of all together.

    Attributes:
        members: The modes, each COMPONENT/mode.
    """

    members: tuple[str, ...]
    probability: float

    @classmethod
    def of(cls, data: Data) -> Self:
        """The group in a JSON object."""
        return cls(tuple(data["members"]), data["probability"])


@dataclass(frozen=True, slots=True)
class Event(Part):
    """Something that hit many things of one loom or connector at once.

    Attributes:
        event: Id in the failure rates, for example "rodent".
        title: The same in words.
        probability: That it happened.
        loom: Id of the loom it hit, "" if a connector.
        connector: Id of the connector it hit, "" if a loom.
        check_before_closing: What it may have damaged besides, likeliest first.
    """

    event: str
    title: str
    probability: float
    loom: str = ""
    connector: str = ""
    check_before_closing: tuple[Suspect, ...] = ()

    @classmethod
    def of(cls, data: Data) -> Self:
        """The event in a JSON object."""
        check = parts(Suspect, data.get("check_before_closing", []))
        return super(Event, cls).of({**data, "check_before_closing": check})


@dataclass(frozen=True, slots=True)
class Resistance(Part):
    """What is known of a resistance that a fault adds.

    Attributes:
        id: Id of the component.
        title: What it is.
        probability: That it has such a fault.
        median_ohm: Given that it has, as likely to be more as less [ohm].
        low_ohm: Given that it has, less with a probability of 5 % [ohm].
        high_ohm: Given that it has, more with a probability of 5 % [ohm].
    """

    id: str
    title: str
    probability: float
    median_ohm: float
    low_ohm: float
    high_ohm: float


@dataclass(frozen=True, slots=True)
class Expected(Part):
    """What an entry should have shown if a candidate were the truth.

    Attributes:
        modes: The faults of the candidate, as in `Candidate.modes`.
        probability: Of the candidate.
        text: The outcome in words, for example "about 48 V".
    """

    modes: tuple[tuple[str, ...], ...]
    probability: float
    text: str

    @classmethod
    def of(cls, data: Data) -> Self:
        """The expectation in a JSON object."""
        return cls(fault_list(data["modes"]), data["probability"], data["text"])


@dataclass(frozen=True, slots=True)
class Entry(Part):
    """An entry of the job and how it fits with the others.

    Attributes:
        id: As in the job.
        text: The entry in words.
        used: False for "not sure" and "can't reach". Withdrawn entries are not listed at all.
        misreading: Probability that it was not a proper reading; None if not used.
        looks_like: In what way it may have been misread, in words; "" if none is suspected.
        slips: Probability of each way of misreading, by its name; empty if none is suspected.
        predictive: Probability of this outcome given all other entries; only in explanations.
        weights: Decibans (10 log10 of the odds ratio) for each suspect, by component id; only in
            explanations.
        expected: What the leading candidates would have shown; only in explanations.
    """

    id: str
    text: str
    used: bool
    misreading: float | None = None
    looks_like: str = ""
    slips: Mapping[str, float] = field(default_factory=dict)
    predictive: float | None = None
    weights: Mapping[str, float] = field(default_factory=dict)
    expected: tuple[Expected, ...] = ()

    @classmethod
    def of(cls, data: Data) -> Self:
        """The entry in a JSON object."""
        weights = {row["component"]: row["decibans"] for row in data.get("weights", [])}
        expected = parts(Expected, data.get("expected", []))
        return super(Entry, cls).of({**data, "weights": weights, "expected": expected})


@dataclass(frozen=True, slots=True)
class Weighed(Part):
    """A suspect of an explanation; `decibans` is what all entries together say of it."""

    id: str
    title: str
    probability: float
    decibans: float


@dataclass(frozen=True, slots=True)
class Leader(Part):
    """A suspect after a step; `id` is "" for nothing being broken."""

    id: str
    title: str
    probability: float


@dataclass(frozen=True, slots=True)
class Outcome(Part):
    """What a step may show, how likely, and who is suspected then.

    Attributes:
        outcome: In the words or numbers in which it would be noted.
        means: The same in a sentence.
        leaders: The likeliest suspects then, the first one first.
    """

    outcome: str
    probability: float
    means: str
    leaders: tuple[Leader, ...] = ()

    @classmethod
    def of(cls, data: Data) -> Self:
        """The outcome in a JSON object."""
        return super(Outcome, cls).of({**data, "leaders": parts(Leader, data.get("leaders", []))})


@dataclass(frozen=True, slots=True)
class Zone(Part):
    """A place that is reached by opening something."""

    id: str
    title: str


@dataclass(frozen=True, slots=True)
class Caution(Part):
    """A warning that belongs to a step; `signal_word` is DANGER, WARNING, CAUTION or NOTICE."""

    id: str
    signal_word: str
    text: str


@dataclass(frozen=True, slots=True)
class Step(Part):
    """One thing to do.

    Attributes:
        type: "reading", "sign", "look", "lift" (a reading with a wire's end taken off), "bridge"
            (a sign with a fused lead across a suspect), "repair", "authorize" (a repair to ask
            for first) or "verify".
        text: The step in one line.
        minutes: Time it takes, zones included [min].
        cost_usd: Cost of the step itself [USD].
        expected_total_usd: Expected cost of the step and everything after it [USD].
        helper: Whether it takes a second person.
        instrument: Id; readings and lifts only, like `red` and `black`.
        red: Terminal for the red probe.
        black: Terminal for the black probe.
        state: Position of every control.
        isolated: Whether the pack has to be isolated.
        component: Id of what to look at, listen to or repair.
        sign: Id of the sign to watch for.
        watched: Id of the part whose sign it is.
        wiggled_zone: Id of the zone where wires and plugs are moved by hand meanwhile.
        when: "part", "sign" and "outcome" that tell when to read or watch: it is tried until the
            sign comes out so. Empty: at once.
        most_tries: How often it is tried at most, if there is a `when`.
        trying: The same in words; empty without a `when`.
        action: What kind of repair.
        lifted: Wire end to take off first.
        lead: Terminals that the fused lead joins.
        zones_to_open: Places that have to be opened first.
        outcomes: What may come of it, in order of the outcome.
        cautions: The most serious first.
    """

    type: str
    text: str
    minutes: float
    cost_usd: float
    expected_total_usd: float
    helper: bool = False
    instrument: str = ""
    red: str = ""
    black: str = ""
    state: Mapping[str, str] = field(default_factory=dict)
    isolated: bool = False
    component: str = ""
    sign: str = ""
    watched: str = ""
    wiggled_zone: str = ""
    when: Mapping[str, str] = field(default_factory=dict)
    most_tries: int = 0
    trying: str = ""
    action: str = ""
    lifted: str = ""
    lead: tuple[str, ...] = ()
    zones_to_open: tuple[Zone, ...] = ()
    outcomes: tuple[Outcome, ...] = ()
    cautions: tuple[Caution, ...] = ()

    @classmethod
    def of(cls, data: Data) -> Self:
        """The step in a JSON object."""
        return super(Step, cls).of(
            {
                **data,
                "lead": tuple(data.get("lead", [])),
                "wiggled_zone": data.get("provoked", {}).get("zone", ""),
                "zones_to_open": parts(Zone, data.get("zones_to_open", [])),
                "outcomes": parts(Outcome, data.get("outcomes", [])),
                "cautions": parts(Caution, data.get("cautions", [])),
            }
        )


@dataclass(frozen=True, slots=True)
class Control(Part):
    """Something the driver moves; `rest` is where it is when nobody touched it.

    Attributes:
        positions: Where it can stand.
    """

    id: str
    title: str
    positions: tuple[str, ...]
    rest: str

    @classmethod
    def of(cls, data: Data) -> Self:
        """The control in a JSON object."""
        return super(Control, cls).of({**data, "positions": tuple(data["positions"])})


@dataclass(frozen=True, slots=True)
class Component(Part):
    """A part, wire, termination or connector contact of the vehicle.

    Attributes:
        kind: Id of its kind.
        zone: Id of the place where it is, "" if along a loom.
        loom: Id of the loom it runs in, "" if none.
    """

    id: str
    title: str
    kind: str
    zone: str = ""
    loom: str = ""


class Answer(Mapping[str, Any]):
    """An answer of the library.

    Attributes:
        text: The JSON exactly as the library wrote it.
    """

    __slots__ = ("_data", "text")

    text: str

    def __init__(self, text: str) -> None:
        self.text = text
        self._data: dict[str, Any] = json.loads(text)

    def __getitem__(self, key: str) -> Any:
        return self._data[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._data)

    def __len__(self) -> int:
        return len(self._data)

    def __repr__(self) -> str:
        return f"<{type(self).__name__} {self._data.get('job', self._data.get('vehicle', ''))}>"

    def __reduce__(self) -> tuple[type[Self], tuple[str]]:
        """Pickled as its text."""
        return type(self), (self.text,)


@dataclass(frozen=True, slots=True)
class Repair(Part):
    """A repair of the job, and what it mended.

    Attributes:
        entry: Id of the entry that records it.
        id: Id of the component.
        action: What was done.
        was_faulty: Probability that the component was faulty until then.
        modes: In what way, likeliest first; together they have that probability.
    """

    entry: str
    id: str
    title: str
    action: str
    was_faulty: float
    modes: tuple[Mode, ...] = ()

    @classmethod
    def of(cls, data: Data) -> Self:
        """The repair in a JSON object."""
        return super(Repair, cls).of({**data, "modes": parts(Mode, data["modes"])})


class Ranking(Answer):
    """What is broken, and how sure that is.

    Attributes:
        job: Id of the job.
        vehicle: Id of the vehicle.
        entries: The job's entries in order, with the probability that each is a misreading.
        components: Suspects, likeliest first.
        wires: The same for wires with both terminations counted in.
        candidates: Full accounts of what is broken, likeliest first.
        groups: Modes that no reading tells apart, likeliest group first.
        no_fault: Probability that nothing is broken now [1].
        not_in_model: Probability that it is something the wiring model does not know [1].
        events: What may have hit a whole loom or connector, likeliest first.
        resistances: Resistances that faults add, likeliest fault first.
        repairs: Those made, in order, and what each mended; all else is about the time after them.
        bound: At most this much probability lies in sets of faults that were not looked at [1].
        growth: What the last widening of the search added [1]; hints at what is missing.
        complete: False if a budget ended the search before the bound that was asked for.
        quadrature_error: Estimated relative error from integrating over resistances [1].
        conflict: log10 of how much less likely the entries are together than apart; well above 0
            they contradict each other.
        log_evidence: Natural logarithm of the probability of the entries.
    """

    __slots__ = (
        "bound",
        "candidates",
        "complete",
        "components",
        "conflict",
        "entries",
        "events",
        "groups",
        "growth",
        "job",
        "log_evidence",
        "no_fault",
        "not_in_model",
        "quadrature_error",
        "repairs",
        "resistances",
        "vehicle",
        "wires",
    )

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self.job: str = self["job"]
        self.vehicle: str = self["vehicle"]
        self.entries = parts(Entry, self["entries"])
        self.components = parts(Suspect, self["components"])
        self.wires = parts(Suspect, self["wires"])
        self.candidates = parts(Candidate, self["candidates"])
        self.groups = parts(Group, self["groups"])
        self.no_fault: float = self["no_fault"]
        self.not_in_model: float = self["not_in_model"]
        self.events = parts(Event, self["events"])
        self.resistances = parts(Resistance, self["resistances"])
        self.repairs = parts(Repair, self["repairs"])
        self.bound: float = self["bound"]
        self.growth: float = self["growth"]
        self.complete: bool = self["complete"]
        self.quadrature_error: float = self["quadrature_error"]
        self.conflict: float = self["conflict"]
        self.log_evidence: float = self["log_evidence"]

    def to_pandas(self) -> pandas.DataFrame:
        """The suspects as a table with a row each, likeliest first; needs pandas.

        Returns:
            The columns title, probability [1], kind, zone and loom; the index is the id.

        Raises:
            ImportError: There is no pandas.
        """
        import pandas  # noqa: PLC0415  # only who asks for tables needs it

        columns = ("id", "title", "probability", "kind", "zone", "loom")
        rows = [[getattr(suspect, name) for name in columns] for suspect in self.components]
        return pandas.DataFrame(rows, columns=list(columns)).set_index("id")

    def _repr_html_(self) -> str:
        """The suspects as a notebook shows them."""
        rest = [("Nothing is broken", self.no_fault), ("Not in the model", self.not_in_model)]
        return ranking_table(f"{self.job}, {self.vehicle}", self.components, rest)


class Advice(Answer):
    """What to do next.

    Attributes:
        job: Id of the job.
        vehicle: Id of the vehicle.
        step: The step with the least expected cost of finishing the job.
        alternatives: The runners-up, best first.
        repair_only_usd: Expected cost of repairing in the best order without another test [USD].
        cut_short: Whether a budget ended the comparison early.
    """

    __slots__ = ("alternatives", "cut_short", "job", "repair_only_usd", "step", "vehicle")

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self.job: str = self["job"]
        self.vehicle: str = self["vehicle"]
        self.step = Step.of(self["step"])
        self.alternatives = parts(Step, self["alternatives"])
        self.repair_only_usd: float = self["repair_only_usd"]
        self.cut_short: bool = self["cut_short"]


class Explanation(Answer):
    """Which entry speaks for and against which suspect.

    Attributes:
        job: Id of the job.
        vehicle: Id of the vehicle.
        suspects: The leading suspects, likeliest first.
        entries: The job's entries in order with weights and expectations.
    """

    __slots__ = ("entries", "job", "suspects", "vehicle")

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self.job: str = self["job"]
        self.vehicle: str = self["vehicle"]
        self.suspects = parts(Weighed, self["suspects"])
        self.entries = parts(Entry, self["entries"])


class Solution(Answer):
    """The circuit in one situation.

    Attributes:
        volts: Voltage of each terminal against pack negative [V].
        amps: Current through each element [A], positive from its first terminal to its second.
        contacts: "closed", "open" or "chatters" for each contact.
        signs: "yes", "no" or "chatters" for each sign, by PART.sign.
        chatters: Whether a contact keeps opening and closing.
    """

    __slots__ = ("amps", "chatters", "contacts", "signs", "volts")

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self.volts: Mapping[str, float] = self["volts"]
        self.amps: Mapping[str, float] = self["amps"]
        self.contacts: Mapping[str, str] = self["contacts"]
        self.signs: Mapping[str, str] = self["signs"]
        self.chatters: bool = self["chatters"]


class Summary(Answer):
    """What a vehicle consists of.

    Attributes:
        id: Id of the vehicle.
        title: What it is.
        nominal_volt: Rated pack voltage [V].
        counts: Number of terminals, parts, wires, looms, zones, connectors, contacts, elements,
            modes and controls.
        controls: What the driver moves.
        components: Everything that can break.
    """

    __slots__ = ("components", "controls", "counts", "id", "nominal_volt", "title")

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self.id: str = self["id"]
        self.title: str = self["title"]
        self.nominal_volt: float = self["nominal_volt"]
        self.counts: Mapping[str, int] = self["counts"]
        self.controls = parts(Control, self["controls"])
        self.components = parts(Component, self["components"])
