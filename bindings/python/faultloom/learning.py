"""Failure rates from closed jobs, how right rankings were, and how they hang on the rates."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Self

from faultloom import _core
from faultloom.answers import Answer, Data, Part, parts
from faultloom.documents import Document, data_path, text_of

if TYPE_CHECKING:
    from pandas import DataFrame  # type: ignore[import-untyped, import-not-found, unused-ignore]

    from faultloom.model import Model, Progress


@dataclass(frozen=True, slots=True)
class Uncertain(Part):
    """A number and what is known of it.

    Attributes:
        mean: The expected value.
        low: The 5 % quantile.
        high: The 95 % quantile.
    """

    mean: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class ModeChange(Part):
    """The share of a mode in the failures of its kind, before and after, and how many it had."""

    mode: str
    before: float
    after: float
    failures: float


@dataclass(frozen=True, slots=True)
class Change(Part):
    """What a history says of the failure rate of a kind.

    Attributes:
        kind: Id of the kind of parts.
        group: Its class, "" if none.
        before: Failures per 10^6 h before.
        after: The same with the history.
        factor: Mean after over mean before.
        failures: Expected number of failures in the history.
        certain_failures: What is left of it when the doubt about causes is taken off.
        exposure_million_hours: Time at risk, environment and noticing included [10^6 h].
        why: In words.
        modes: By mode.
    """

    kind: str
    group: str
    before: Uncertain
    after: Uncertain
    factor: float
    failures: float
    certain_failures: float
    exposure_million_hours: float
    why: str
    modes: tuple[ModeChange, ...]

    @classmethod
    def of(cls, data: Data) -> Self:
        """The change in a JSON object."""
        return super(Change, cls).of(
            {
                **data,
                "group": data["class"],
                "before": Uncertain.of(data["before"]),
                "after": Uncertain.of(data["after"]),
                "modes": parts(ModeChange, data["modes"]),
            }
        )


class Learned(Answer):
    """Rates learned from a history: the document, what changed and why, what can't be said."""

    @property
    def rates(self) -> dict[str, Any]:
        """The new rates document, to be given to `Model` or written to a file."""
        return dict(self["rates"])

    @property
    def changes(self) -> tuple[Change, ...]:
        """The kinds that the history has something to say about."""
        return parts(Change, self["changes"])

    @property
    def cannot_say(self) -> tuple[tuple[str, str], ...]:
        """What the history says nothing reliable about, and why."""
        return tuple((row["about"], row["why"]) for row in self["cannot_say"])

    def frame(self) -> DataFrame:
        """The changes as a pandas data frame, a row for each kind. Rates per 10^6 h.

        Raises:
            ImportError: pandas is not installed.
        """
        rows = [
            {
                "kind": change.kind,
                "class": change.group,
                "before": change.before.mean,
                "before_low": change.before.low,
                "before_high": change.before.high,
                "after": change.after.mean,
                "after_low": change.after.low,
                "after_high": change.after.high,
                "failures": change.failures,
                "certain_failures": change.certain_failures,
                "exposure_million_hours": change.exposure_million_hours,
            }
            for change in self.changes
        ]
        return _frame(rows, "kind")


@dataclass(frozen=True, slots=True)
class BinOfClaims(Part):
    """A point of a reliability diagram: claims of about the same probability.

    Attributes:
        low: Least probability in it.
        high: Greatest.
        mean_probability: What was claimed on average.
        share_happened: How often it was so.
        claims: Their number.
    """

    low: float
    high: float
    mean_probability: float
    share_happened: float
    claims: int


@dataclass(frozen=True, slots=True)
class Scores(Part):
    """How right probabilities of components were.

    Attributes:
        log_loss: Per job, sum over components of -ln P(what was so) [nat].
        log_loss_error: Its standard error over jobs.
        entropy: What the log loss should be if the probabilities are right [nat].
        excess: Log loss minus entropy; 0 within its error if they are right.
        excess_error: Its standard error.
        brier: Mean of (probability - outcome) squared; the next three are its parts.
        reliability: Part of it that comes from claims that do not match what happened.
        resolution: Part that telling cases apart takes off.
        uncertainty: Brier score of saying the same always.
        calibration_error: Mean of |share that happened - mean probability| over bins.
        noise_floor: What it would be for right claims by chance alone.
        diagram: The bins, of equal numbers of claims.
    """

    log_loss: float
    log_loss_error: float
    entropy: float
    excess: float
    excess_error: float
    brier: float
    reliability: float
    resolution: float
    uncertainty: float
    calibration_error: float
    noise_floor: float
    diagram: tuple[BinOfClaims, ...]

    @classmethod
    def of(cls, data: Data) -> Self:
        """The scores in a JSON object."""
        return super(Scores, cls).of(
            {
                **data,
                "log_loss": data["log_loss"]["mean"],
                "log_loss_error": data["log_loss"]["standard_error"],
                "entropy": data["entropy"]["mean"],
                "excess": data["excess"]["mean"],
                "excess_error": data["excess"]["standard_error"],
                "diagram": parts(BinOfClaims, data["diagram"]),
            }
        )


class Calibration(Answer):
    """How right the probabilities were in jobs with a confirmed cause."""

    @property
    def jobs(self) -> int:
        """Jobs that count."""
        return int(self["jobs"])

    @property
    def scores(self) -> Scores:
        """Of the models asked."""
        return Scores.of(self)

    @property
    def against(self) -> Scores | None:
        """Of the models compared with, if any."""
        return Scores.of(self["against"]) if "against" in self else None

    @property
    def log_loss_difference(self) -> tuple[float, float] | None:
        """Log loss minus that of the models compared with, job by job [nat], and standard error."""
        if "log_loss_difference" not in self:
            return None
        difference = self["log_loss_difference"]
        return difference["mean"], difference["standard_error"]


@dataclass(frozen=True, slots=True)
class RateSway(Part):
    """What one rate means to a ranking.

    Attributes:
        rate: Kind of parts, or "per_visit:" and what is left wrong.
        mean: The rate [1 / 10^6 h], or the chance per visit.
        relative_sigma: How well it is known, as a share of it.
        leader_changes_below: Factor on the rate below which another component leads; None: at none.
        leader_changes_above: The same above.
        value_of_knowing_usd: What knowing it exactly would save in this job, at most [USD].
    """

    rate: str
    mean: float
    relative_sigma: float
    leader_changes_below: float | None
    leader_changes_above: float | None
    value_of_knowing_usd: float


class Sensitivity(Answer):
    """How the ranking of a job hangs on each rate."""

    @property
    def leader(self) -> str:
        """Id of the most probable component."""
        return str(self["leader"])

    @property
    def rates(self) -> tuple[RateSway, ...]:
        """One for each rate that plays a part in the job."""
        return parts(RateSway, self["rates"])

    @property
    def wanted(self) -> tuple[RateSway, ...]:
        """The rates about which more history would save most, the greatest first."""
        worth = [rate for rate in self.rates if rate.value_of_knowing_usd > 0]
        return tuple(sorted(worth, key=lambda rate: -rate.value_of_knowing_usd))

    def derivatives(self) -> dict[str, dict[str, float]]:
        """By component, then by rate: change of the probability per unit of the rate's ln."""
        return {
            row["component"]: {item["rate"]: item["derivative"] for item in row["by_rate"]}
            for row in self["components"]
        }


def learn_rates(
    models: Model | Iterable[Model],
    history: Document,
    *,
    pool: bool | None = None,
    environments: bool | None = None,
    shares: bool | None = None,
    noticed_otherwise: float | None = None,
    budget_seconds: float | None = None,
    budget_sets: int | None = None,
    progress: Progress | None = None,
) -> Learned:
    """Failure rates from a history of closed jobs and of hours without one.

    Jobs without a confirmed cause count by what their entries leave open, under the rates as they
    are learned.

    Args:
        models: One of each vehicle in the history, all built with the same rates.
        history: History document.
        pool: Whether kinds of a class lend each other strength; True if None.
        environments: Whether the multipliers of environments are learned; True if None.
        shares: Whether the shares of modes are learned; True if None.
        noticed_otherwise: Chance that a vehicle is brought in for a fault that does not stop it.
        budget_seconds: As for `Model.rank`, for each job.
        budget_sets: The same.
        progress: Watches the work.

    Raises:
        Error: With every problem of the history; argument, when the models do not fit together;
            cancelled, when `progress` says stop.

    Example:
        >>> import faultloom
        >>> history = {
        ...     "format": "faultloom.history", "version": "1.0", "seen": "all",
        ...     "jobs": [{
        ...         "id": "j1", "vehicle": "mulch-tug", "exposure_hours": 300,
        ...         "closing": {"verdict": "repaired", "by": "verification"},
        ...         "confirmed": ["K1/coil_open"],
        ...     }],
        ... }
        >>> learned = learn_rates(faultloom.Model.shipped("mulch-tug"), history)
        >>> max(learned.changes, key=lambda change: change.factor).group
        'contactors'
    """
    options = _options(
        pool=pool,
        environments=environments,
        shares=shares,
        noticed_otherwise=noticed_otherwise,
        budget_seconds=budget_seconds,
        budget_sets=budget_sets,
    )
    return Learned(_core.learn_rates_json(_native(models), text_of(history), options, progress))


def calibration(
    models: Model | Iterable[Model],
    history: Document,
    *,
    against: Model | Iterable[Model] = (),
    bins: int | None = None,
    budget_seconds: float | None = None,
    budget_sets: int | None = None,
    progress: Progress | None = None,
) -> Calibration:
    """How right the probabilities of components were in jobs whose cause was confirmed.

    Judged by the entries before the first repair.

    Args:
        models: As for `learn_rates`.
        history: History document.
        against: Models of the same vehicles with other rates, to be compared on the same jobs.
        bins: Bins of the reliability diagram; 10 if None.
        budget_seconds: As for `Model.rank`, for each job.
        budget_sets: The same.
        progress: Watches the work.

    Raises:
        Error: As for `learn_rates`; value, when no job has both entries and a confirmed cause.
    """
    options = _options(bins=bins, budget_seconds=budget_seconds, budget_sets=budget_sets)
    return Calibration(
        _core.calibration_json(
            _native(models), _native(against), text_of(history), options, progress
        )
    )


def sensitivity(
    model: Model,
    job: Document,
    *,
    top: int | None = None,
    budget_seconds: float | None = None,
    budget_sets: int | None = None,
    progress: Progress | None = None,
) -> Sensitivity:
    """How the ranking of a job hangs on each failure rate.

    Args:
        model: The job's vehicle.
        job: Job document.
        top: Components to give derivatives for; 10 if None.
        budget_seconds: As for `Model.rank`.
        budget_sets: The same.
        progress: Watches the work.

    Raises:
        Error: With every problem of the job; cancelled, when `progress` says stop.
    """
    options = _options(top=top, budget_seconds=budget_seconds, budget_sets=budget_sets)
    return Sensitivity(_core.sensitivity_json(model.native, text_of(job), options, progress))


def rates_frame(rates: Document | None = None) -> DataFrame:
    """A rates document as a pandas data frame: a row for each kind and mode.

    Columns: kind, class, mode, share, failures_per_million_hours (of the mode), gamma_shape,
    gamma_rate_million_hours, handbook_per_million_hours (of the kind), source.

    Args:
        rates: Rates document; the shipped one if None.

    Raises:
        ImportError: pandas is not installed.
        OSError: A path can't be read.
    """
    document = json.loads(text_of(data_path() / "rates.json" if rates is None else rates))
    rows = []
    for kind, rate in document["kinds"].items():
        mean = rate["gamma_shape"] / rate["gamma_rate_million_hours"]
        rows += [
            {
                "kind": kind,
                "class": rate.get("class", ""),
                "mode": mode,
                "share": share,
                "failures_per_million_hours": mean * share,
                "gamma_shape": rate["gamma_shape"],
                "gamma_rate_million_hours": rate["gamma_rate_million_hours"],
                "handbook_per_million_hours": rate.get("handbook", {}).get(
                    "failures_per_million_hours"
                ),
                "source": rate["source"],
            }
            for mode, share in rate["modes"].items()
            if not mode.startswith("x-")
        ]
    return _frame(rows)


def _frame(rows: Sequence[Mapping[str, Any]], index: str | None = None) -> DataFrame:
    # Not at the top: the package does without pandas.
    import pandas as pd  # type: ignore[import-untyped, import-not-found, unused-ignore]  # noqa: PLC0415

    frame = pd.DataFrame(list(rows))
    return frame if index is None or frame.empty else frame.set_index(index)


def _native(models: Model | Iterable[Model]) -> list[_core.Model]:
    native = getattr(models, "native", None)
    if isinstance(native, _core.Model):
        return [native]
    return [model.native for model in models]  # type: ignore[union-attr]


def _options(**given: Any) -> str:
    return json.dumps({name: value for name, value in given.items() if value is not None})
