"""The estimate of a job: what finding it costs, what each repair would, and the amount agreed."""

from __future__ import annotations

from dataclasses import dataclass

from faultloom.answers import Ranking
from faultloom.pages.found import findings
from faultloom.pages.parts import Work, rate_of, work_on
from faultloom.pages.render import render
from faultloom.pages.sheet import VERDICTS, Sources, in_order, leading, suspects_drawing
from faultloom.plan import Plan, PlanStep

_REPAIRS = ("repair", "authorize", "verify")


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What finding the fault takes by a plan.

    Attributes:
        minutes: On the mean, as far as the plan goes [min].
        usd: The same in money [USD].
        most_minutes: On the longest way through the plan [min].
        most_usd: On the dearest way [USD].
    """

    minutes: float
    usd: float
    most_minutes: float
    most_usd: float


def diagnosis_of(plan: Plan) -> Diagnosis:
    """Sums the tests of a plan; repairs and the proof after them do not count.

    Complexity: linear in the plan.
    """
    tests = [s for s in plan.steps if s.step.type not in _REPAIRS]
    return Diagnosis(
        sum(s.reach * s.step.minutes for s in tests),
        sum(s.reach * s.step.cost_usd for s in tests),
        _most(plan, "minutes"),
        _most(plan, "cost_usd"),
    )


def _most(plan: Plan, what: str) -> float:
    """The greatest sum of a figure of tests from the first step to an end."""
    sums: dict[int, float] = {}
    # A step stands before those that follow it, so the last ones are summed first.
    for step in sorted(plan.steps, key=lambda s: (-s.level, s.id)):
        own = 0.0 if step.step.type in _REPAIRS else float(getattr(step.step, what))
        after = [sums.get(o.step, 0.0) for o in step.outcomes if o.step]
        sums[step.id] = own + max(after, default=0.0)
    return sums.get(1, 0.0)


def job_estimate(
    sources: Sources, ranking: Ranking, plan: Plan | None, authorized_usd: float | None
) -> str:
    """The estimate as one HTML page that asks for nothing from outside.

    Args:
        sources: Job and vehicle.
        ranking: Of the job.
        plan: From where the job stands; None if nothing is left to do.
        authorized_usd: What may be spent without asking again [USD]; None leaves a line to fill in.
    """
    job, names = sources.job, sources.names
    opened = set(job.get("opened_zones", []))
    rows: list[tuple[str, float, Work, bool]] = []
    for suspect in leading(ranking) if plan is not None else []:
        work = work_on(
            suspect.id, "", vehicle=sources.vehicle, kinds=sources.kinds, job=job, opened=opened
        )
        above = authorized_usd is not None and work.total_usd > authorized_usd
        rows.append((names.component_in_words(suspect.id), suspect.probability, work, above))
    values: dict[str, object] = {
        "job": job,
        "title": job.get("title") or job["id"],
        "vehicle": names.vehicle,
        "status": VERDICTS.get(job.get("closing", {}).get("verdict", ""), ""),
        "complaint": job.get("complaint", ""),
        "findings": findings(job, ranking, names, sources.vehicle, sources.kinds),
        "rate": rate_of(job),
        "plan": plan,
        "first_step": _first(plan),
        "diagnosis": diagnosis_of(plan) if plan is not None else None,
        "rows": rows,
        "cap": authorized_usd,
        "cautions": in_order(c for s in plan.steps for c in s.step.cautions) if plan else [],
    }
    return render("estimate.html", values, suspects_drawing(sources, ranking))


def _first(plan: Plan | None) -> PlanStep | None:
    return None if plan is None else plan.step(1)
