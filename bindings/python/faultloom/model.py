"""A vehicle ready to be asked, and the free functions around it."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from functools import cached_property
from typing import Any, TypedDict, Unpack

import numpy as np
from numpy.typing import NDArray

from faultloom import _core
from faultloom.answers import Advice, Explanation, Ranking, Solution, Summary
from faultloom.documents import Document, find_vehicle, raw_text_of, text_of
from faultloom.errors import Problem
from faultloom.plan import Plan
from faultloom.proof import Verification
from faultloom.reach import Ambiguity, Testability

Progress = Callable[[float], bool | None]
"""Called now and then with the share of the work done (0..1); returning False stops the work."""


def _text_or_none(document: Document | None) -> str | bytes | None:
    return None if document is None else text_of(document)


class Means(TypedDict, total=False):
    """What a step may be and what it is compared by. What is left out or None is as said here.

    Attributes:
        instruments: Ids of those at hand; what the job says if empty.
        closed_zones: Ids of zones that must stay closed.
        alternatives: How many runners-up, 0..10000; 3. In a plan they stand in for a step that
            takes too long from where the job then stands.
        allow_live: False for no test with the pack connected.
        max_minutes: No step longer than this, zones included, 0..1e6 [min].
        authorized_usd: Repairs that cost more come as a step "authorize": ask first. 0..1e9 [USD].
        comeback_usd: What it costs if the vehicle comes back, on top of what is still to be
            repaired, 0..1e9 [USD]; 150.
        good_part_loss: Share of its price that a good part costs that was replaced, 0..1: what the
            supplier does not take back; 0.4.
        good_part_usd: What it costs besides to have replaced a good part, 0..1e9 [USD]: the way for
            the right one, the customer's trust; 40.
        budget_seconds: How long all of it may take, 0..3600 [s]; the answer then depends on the
            machine. What has to be known of each step takes its time all the same. 0 for no limit.
        budget_decisions: End it after so many decisions looked into, 0..1e9; 0 for no limit.
        budget_sets: Sets of faults looked at for the belief that steps are weighed with, 0..1e9;
            2500. 0 for no limit.
    """

    instruments: Iterable[str] | None
    closed_zones: Iterable[str] | None
    alternatives: int | None
    allow_live: bool | None
    max_minutes: float | None
    authorized_usd: float | None
    comeback_usd: float | None
    good_part_loss: float | None
    good_part_usd: float | None
    budget_seconds: float | None
    budget_decisions: int | None
    budget_sets: int | None


class PlanMeans(Means, total=False):
    """`Means`, and how far a plan goes.

    Attributes:
        depth: Most steps one after another, 1..1000; 8.
        residual: Branches less probable than this are not followed, 0..1; 0.02.
        max_steps: Most steps in all, 1..10000, the most probable ones; 60.
    """

    depth: int | None
    residual: float | None
    max_steps: int | None


class Model:
    """A vehicle with its failure rates and instruments.

    Never changes; any number of threads may use one at the same time. Work is done without the
    interpreter lock, and Ctrl-C stops it. Can be pickled.

    Args:
        vehicle: Vehicle document, like all documents a path, JSON text or parsed object.
        kinds: Part kinds; the shipped ones if None. The same goes for the rest.
        rates: Failure rates.
        instruments: Instruments and how they err.
        cautions: Texts of the cautions.
        progress: Watches the work.

    Raises:
        Error: With every problem of every document.
        OSError: A path can't be read.

    Example:
        >>> import faultloom
        >>> model = faultloom.Model(faultloom.data_path() / "vehicles" / "mulch-tug.json")
        >>> model.summary().nominal_volt
        24.0
    """

    def __init__(
        self,
        vehicle: Document,
        kinds: Document | None = None,
        rates: Document | None = None,
        instruments: Document | None = None,
        cautions: Document | None = None,
        *,
        progress: Progress | None = None,
    ) -> None:
        self._documents = (
            text_of(vehicle),
            _text_or_none(kinds),
            _text_or_none(rates),
            _text_or_none(instruments),
            _text_or_none(cautions),
        )
        self._core = _core.Model(*self._documents, progress)

    def __reduce__(self) -> tuple[type[Model], tuple[str | bytes | None, ...]]:
        """Pickled as its documents, so that it reaches other processes; built again there."""
        return type(self), self._documents

    @classmethod
    def shipped(cls, vehicle_id: str) -> Model:
        """A vehicle of the shipped data.

        Raises:
            FileNotFoundError: There is none with that id.

        Example:
            >>> Model.shipped("mulch-tug").summary().id
            'mulch-tug'
        """
        return cls(find_vehicle(vehicle_id))

    @property
    def native(self) -> _core.Model:
        """The library's own object, for functions of this package that ask about several models."""
        return self._core

    @cached_property
    def terminals(self) -> tuple[str, ...]:
        """Names of the terminals in the order of `terminal_volts`."""
        return tuple(self._core.terminal_names())

    @cached_property
    def modes(self) -> tuple[str, ...]:
        """Names of the fault modes, COMPONENT/mode, in the order of priors and posteriors."""
        return tuple(self._core.mode_names())

    def summary(self) -> Summary:
        """What the vehicle consists of."""
        return Summary(self._core.summary_json())

    def lint(self, *, progress: Progress | None = None) -> list[Problem]:
        """What looks wrong with the vehicle although it can be worked with; empty if nothing does.

        Raises:
            Error: cancelled, when `progress` says stop.
        """
        return [Problem(*row) for row in self._core.lint(progress)]

    def terminal_volts(
        self,
        state: Mapping[str, str] | None = None,
        modes: Iterable[str] = (),
        lifted: Iterable[str] = (),
        *,
        isolated: bool = False,
    ) -> NDArray[np.float64]:
        """Voltage of every terminal against pack negative [V], in the order of `terminals`.

        Args:
            state: Position by control; controls left out are at rest.
            modes: What is broken, each COMPONENT/mode.
            lifted: Wire ends taken off, each WIRE:from or WIRE:to.
            isolated: Whether the pack is isolated the way the vehicle says.

        Raises:
            Error: A name does not exist, or two modes of one component are given.

        Example:
            >>> model = Model.shipped("mulch-tug")
            >>> volts = dict(zip(model.terminals, model.terminal_volts()))
            >>> float(volts["BAT1.negative"])
            0.0
        """
        return self._core.terminal_volts(_situation(state, modes, lifted, isolated))

    def solve(
        self,
        state: Mapping[str, str] | None = None,
        modes: Iterable[str] = (),
        lifted: Iterable[str] = (),
        *,
        isolated: bool = False,
    ) -> Solution:
        """The circuit in one situation: volts, amps, contacts and signs. As `terminal_volts`.

        Example:
            >>> Model.shipped("mulch-tug").solve({"key": "on"}).chatters
            False
        """
        return Solution(self._core.solve_json(_situation(state, modes, lifted, isolated)))

    def spice_deck(
        self,
        state: Mapping[str, str] | None = None,
        modes: Iterable[str] = (),
        lifted: Iterable[str] = (),
        *,
        isolated: bool = False,
    ) -> str:
        """The circuit in one situation as a SPICE deck. As `terminal_volts`."""
        return self._core.spice_deck(_situation(state, modes, lifted, isolated))

    def mode_priors(self, job: Document | None = None) -> NDArray[np.float64]:
        """Probability of each mode before any reading, in the order of `modes` [1].

        Args:
            job: Says how long and where the vehicle ran; None for the defaults of the rates.

        Raises:
            Error: With every problem of the job.
        """
        return self._core.mode_priors(_text_or_none(job))

    def mode_posteriors(
        self, job: Document, *, progress: Progress | None = None
    ) -> NDArray[np.float64]:
        """Probability of each mode given the job, in the order of `modes` [1].

        Raises:
            Error: With every problem of the job; cancelled, when `progress` says stop.
        """
        return self._core.mode_posteriors(text_of(job), progress)

    def rank(
        self,
        job: Document,
        *,
        top: int | None = None,
        bound: float | None = None,
        budget_seconds: float | None = None,
        budget_sets: int | None = None,
        progress: Progress | None = None,
    ) -> Ranking:
        """What is broken, by probability.

        Args:
            job: The job with what was found.
            top: Most rows per list; 20 if None.
            bound: Search until at most this much probability lies in sets not looked at, 0..1 [1];
                0.001 if None. The budgets may end it before; see `Ranking.complete`.
            budget_seconds: How long all of it may take, 0..3600 [s]; no time limit if None or
                0. With one the result depends on the machine.
            budget_sets: End the search after about so many sets of faults, 0..1000000000; 8000 if
                None, no limit if 0. Without a limit a bound out of reach takes hours: give seconds.
            progress: Watches the work.

        Raises:
            Error: With every problem of the job; cancelled, when `progress` says stop.

        Example:
            >>> import faultloom
            >>> job = faultloom.data_path() / "jobs" / "glasshouse-coil-return.json"
            >>> ranking = Model.shipped("seedling-hauler").rank(job)
            >>> 0 < ranking.components[0].probability < 1
            True
        """
        options = _options(
            top=top, bound=bound, budget_seconds=budget_seconds, budget_sets=budget_sets
        )
        return Ranking(self._core.rank_json(text_of(job), options, progress))

    def rank_jobs(
        self,
        jobs: Iterable[Document],
        *,
        most_suspects: int | None = None,
        screen: bool | None = None,
        full: bool | None = None,
        screen_bound: float | None = None,
        bound: float | None = None,
        budget_seconds: float | None = None,
        budget_sets: int | None = None,
        progress: Progress | None = None,
    ) -> dict[str, Any]:
        """What is broken in each of many jobs, most of them by tables made once for all.

        Args:
            jobs: The jobs, all about this vehicle.
            most_suspects: Most suspects and components listed for a job, 0..10000; 10 if None.
            screen: Whether to look jobs up in tables; True if None.
            full: Whether to rank jobs that the tables can't answer as `rank` does; True if None.
            screen_bound: How much a looked-up answer may leave open and still count as one, 0..1
                [1]; 0.5 if None.
            bound: As for `rank`, where a job is ranked like that.
            budget_seconds: As for `rank`, for each such job.
            budget_sets: As for `rank`, for each such job.
            progress: Watches the work, by the share of the jobs done.

        Returns:
            The parsed faultloom.fleet-ranking: "vehicle", the names "modes" and "components", and
            "jobs", a row for each job in the order given, with "index", "job" (its title or None),
            "id" and "status": "screened", "ranked" or "failed". A failed one has its "problems",
            the others "bound", "no_fault", "unmodelled", "suspects" and "components" [1], most
            probable first, each with an index into the names.

        Raises:
            Error: With every problem of the options; cancelled, when `progress` says stop.
            OSError: The path of a job can't be read.

        Example:
            >>> import faultloom
            >>> job = faultloom.data_path() / "jobs" / "compost-yard-dead-tug.json"
            >>> answer = Model.shipped("mulch-tug").rank_jobs([job, {}])
            >>> answer["jobs"][1]["status"]
            'failed'
        """
        options = _options(
            most_suspects=most_suspects,
            screen=screen,
            full=full,
            screen_bound=screen_bound,
            bound=bound,
            budget_seconds=budget_seconds,
            budget_sets=budget_sets,
        )
        texts = [text_of(job) for job in jobs]
        ranking: dict[str, Any] = json.loads(self._core.rank_jobs_json(texts, options, progress))
        return ranking

    def next_step(
        self,
        job: Document,
        *,
        progress: Progress | None = None,
        **options: Unpack[Means],
    ) -> Advice:
        """The step with the least expected cost of finishing the job, and the runners-up.

        Args:
            job: The job with what was found, what is open and what is at hand.
            progress: Watches the work.
            **options: What may be done and how long to think; see `Means`.

        Raises:
            Error: With every problem of the job; no_step, when nothing fits the constraints;
                cancelled, when `progress` says stop.
        """
        return Advice(self._core.next_json(text_of(job), _means(**options), progress))

    def plan(
        self,
        job: Document,
        *,
        progress: Progress | None = None,
        **options: Unpack[PlanMeans],
    ) -> Plan:
        """The advice unrolled: what to do first, and after each outcome what then.

        Args:
            job: The job with what was found, what is open and what is at hand.
            progress: Watches the work.
            **options: What may be done, how long to think and how far to go; see `PlanMeans`.

        Raises:
            Error: With every problem of the job or the options; no_step, when nothing fits the
                constraints; cancelled, when `progress` says stop.

        Example:
            >>> import faultloom
            >>> job = faultloom.data_path() / "jobs" / "compost-yard-dead-tug.json"
            >>> plan = Model.shipped("mulch-tug").plan(job, depth=2)
            >>> plan.step(1).outcomes[0].reach == plan.step(1).outcomes[0].probability
            True
        """
        return Plan(self._core.plan_json(text_of(job), _means(**options), progress))

    def plan_card(
        self,
        job: Document,
        *,
        progress: Progress | None = None,
        **options: Unpack[PlanMeans],
    ) -> str:
        """The first steps of the same plan on one A4 page to print, as SVG.

        Args:
            job: The job with what was found, what is open and what is at hand.
            progress: Watches the work.
            **options: As for `plan`.

        Raises:
            Error: As for `plan`.
        """
        return self._core.plan_card(text_of(job), _means(**options), progress)

    def explain(
        self,
        job: Document,
        *,
        top: int | None = None,
        bound: float | None = None,
        budget_seconds: float | None = None,
        budget_sets: int | None = None,
        progress: Progress | None = None,
    ) -> Explanation:
        """What each entry of the job says for and against the leading suspects.

        Args:
            job: The job with what was found.
            top: Most suspects; 6 if None.
            bound: As for `rank`.
            budget_seconds: As for `rank`.
            budget_sets: As for `rank`.
            progress: Watches the work.

        Raises:
            Error: With every problem of the job; cancelled, when `progress` says stop.
        """
        options = _options(
            top=top, bound=bound, budget_seconds=budget_seconds, budget_sets=budget_sets
        )
        return Explanation(self._core.explain_json(text_of(job), options, progress))

    def verification(self, job: Document, *, progress: Progress | None = None) -> Verification:
        """What has to be proved before the vehicle goes back, and what has been.

        Args:
            job: The job with its repairs and everything noted since.
            progress: Watches the work.

        Raises:
            Error: With every problem of the job; cancelled, when `progress` says stop.

        Example:
            >>> import faultloom
            >>> job = faultloom.data_path() / "jobs" / "compost-yard-dead-tug.json"
            >>> checks = Model.shipped("mulch-tug").verification(job).checks
            >>> sorted({check.type for check in checks})
            ['drives', 'interlock']
        """
        return Verification(self._core.verification_json(text_of(job), progress))

    def close(
        self,
        job: Document,
        verdict: str,
        *,
        by: str = "verification",
        note: str = "",
        progress: Progress | None = None,
    ) -> str:
        """The job closed: the JSON text of its document with a closing, everything else as it was.

        Args:
            job: The job with its repairs and everything noted since.
            verdict: "repaired", "fixed_itself", "no_fault_found" or "not_repaired".
            by: "verification", when every check passed, or "word" for the technician's own, which
                stands for everything but interlocks.
            note: Free words.
            progress: Watches the work.

        Raises:
            Error: With every problem of the job; not_verified, with each thing that stands against
                the verdict; cancelled, when `progress` says stop.
        """
        closing = json.dumps({"verdict": verdict, "by": by, "note": note}, ensure_ascii=False)
        return self._core.close_json(text_of(job), closing, progress)

    def ambiguity(
        self,
        job: Document,
        *,
        instruments: Iterable[str] | None = None,
        closed_zones: Iterable[str] | None = None,
        allow_live: bool | None = None,
        looks: bool | None = None,
        lifting: bool | None = None,
        top: int | None = None,
        progress: Progress | None = None,
    ) -> Ambiguity:
        """Which of the present suspects no reading at hand can tell apart, and what would.

        Args:
            job: The job with what was found.
            instruments: Ids of those at hand; None or empty for what the job says.
            closed_zones: Ids of zones that must stay closed.
            allow_live: False for no test with the pack connected.
            looks: True if looking at components counts as available.
            lifting: True if taking off a wire end, with the pack isolated, counts as available.
            top: Most groups; 10 if None.
            progress: Watches the work.

        Raises:
            Error: With every problem of the job or the options; cancelled, when `progress` says
                stop.

        Example:
            >>> import faultloom
            >>> job = faultloom.data_path() / "jobs" / "compost-yard-dead-tug.json"
            >>> tug = Model.shipped("mulch-tug")
            >>> group = tug.ambiguity(job, instruments=["meter"], top=1).groups[0]
            >>> len(group.things) > 1 and 0 < group.share < 1
            True
        """
        options = _means(
            instruments,
            closed_zones,
            allow_live=allow_live,
            looks=looks,
            lifting=lifting,
            top=top,
        )
        return Ambiguity(self._core.ambiguity_json(text_of(job), options, progress))

    def testability(
        self,
        *,
        instruments: Iterable[str] | None = None,
        closed_zones: Iterable[str] | None = None,
        allow_live: bool | None = None,
        looks: bool | None = None,
        lifting: bool | None = None,
        top: int | None = None,
        progress: Progress | None = None,
    ) -> Testability:
        """How far the vehicle's faults can be detected and told apart at all.

        Args:
            instruments: Ids of those at hand; None or empty for all.
            closed_zones: As for `ambiguity`.
            allow_live: As for `ambiguity`.
            looks: As for `ambiguity`.
            lifting: As for `ambiguity`.
            top: Most groups; 10 if None.
            progress: Watches the work.

        Raises:
            Error: With every problem of the options; cancelled, when `progress` says stop.

        Example:
            >>> figures = Model.shipped("mulch-tug").testability(instruments=["meter"], top=1)
            >>> 0 < figures.isolated_to_one <= figures.isolated_to_two <= 1
            True
        """
        options = _means(
            instruments,
            closed_zones,
            allow_live=allow_live,
            looks=looks,
            lifting=lifting,
            top=top,
        )
        return Testability(self._core.testability_json(options, progress))


def _situation(
    state: Mapping[str, str] | None, modes: Iterable[str], lifted: Iterable[str], isolated: bool
) -> str:
    situation = {
        "state": dict(state or {}),
        "modes": list(modes),
        "lifted": list(lifted),
        "isolated": isolated,
    }
    return json.dumps(situation, ensure_ascii=False)


def _means(
    instruments: Iterable[str] | None = None,
    closed_zones: Iterable[str] | None = None,
    **more: Any,
) -> str:
    """Options of which two are names."""
    return _options(
        instruments=None if instruments is None else list(instruments),
        closed_zones=None if closed_zones is None else list(closed_zones),
        **more,
    )


def _options(**given: Any) -> str:
    return json.dumps({name: value for name, value in given.items() if value is not None})


def check_document(document: Document, kinds: Document | None = None) -> list[Problem]:
    """All problems of one document of any known format, lint of vehicles included.

    Args:
        document: Path, JSON text or parsed object.
        kinds: Part kinds to read a vehicle with; the shipped ones if None.

    Returns:
        An empty list if the document is fine. Bad input is never raised, only reported.

    Raises:
        OSError: A path can't be read.

    Example:
        >>> check_document('{"format": "faultloom.job"')[0].name
        'syntax'
    """
    return [
        Problem(*row) for row in _core.check_document(raw_text_of(document), _text_or_none(kinds))
    ]


def vehicle_from_run_list(csv: str | bytes, vehicle_id: str) -> str:
    r"""The skeleton of a vehicle document from a list of its wires.

    Args:
        csv: Table with the columns wire, from, to and more; see the documentation of the run list.
        vehicle_id: Id of the new vehicle.

    Returns:
        JSON text of a vehicle document that has to be completed by hand.

    Raises:
        Error: With every bad row.
    """
    return _core.vehicle_from_run_list(csv, vehicle_id)
