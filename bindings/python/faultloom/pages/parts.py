"""What repairs take: time, parts and places to open, from the documents alone."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from faultloom.pages.symbols import Kinds, whole_kind

# What the library takes when a job does not say.
LABOR_USD_PER_HOUR = 110.0


@dataclass(frozen=True, slots=True)
class Work:
    """A repair as the documents price it.

    Attributes:
        component: Id of what is repaired.
        action: What is done.
        zone: Id of its place, "" if none is given.
        minutes: Of the repair itself [min].
        zone_minutes: To open and close its place [min]; 0 if it is open.
        part_usd: Price of the part or material [USD].
        labor_usd: Price of all the time [USD].
    """

    component: str
    action: str
    zone: str
    minutes: float
    zone_minutes: float
    part_usd: float
    labor_usd: float

    @property
    def total_usd(self) -> float:
        """Part and time together [USD]."""
        return self.part_usd + self.labor_usd


def rate_of(job: Mapping[str, Any]) -> float:
    """Price of an hour of work [USD/h]."""
    return float(job.get("labour_usd_per_hour") or LABOR_USD_PER_HOUR)


def work_on(
    component: str,
    action: str,
    *,
    vehicle: Mapping[str, Any],
    kinds: Kinds,
    job: Mapping[str, Any],
    opened: Collection[str],
) -> Work:
    """What it takes to repair a component.

    Args:
        component: Part, wire, wire end, pin, control that is set wrong, or PART:work.
        action: What is done; the usual repair of its kind if "".
        vehicle: Vehicle document.
        kinds: Member "kinds" of the kinds document.
        job: Says the price of an hour.
        opened: Places that are open already.
    """
    kind, zone, own = _kind_of(component, vehicle)
    _, whole = whole_kind(kinds, kind)
    repair = {**whole.get("repair", {}), **own.get("repair", {})}
    place = vehicle.get("zones", {}).get(zone, {})
    closed = zone not in opened
    around = float(place.get("open_minutes", 0)) + float(place.get("close_minutes", 0))
    earlier = {"minutes": whole.get("work_minutes", 0), "price_usd": whole.get("work_price_usd", 0)}
    taken = earlier if component.endswith(":work") else repair
    minutes = float(taken.get("minutes", 0))
    zone_minutes = around if closed else 0.0
    return Work(
        component,
        action or str(repair.get("action", "repair")),
        zone,
        minutes,
        zone_minutes,
        float(taken.get("price_usd", 0)),
        (minutes + zone_minutes) / 60 * rate_of(job),
    )


def _kind_of(component: str, vehicle: Mapping[str, Any]) -> tuple[str, str, Mapping[str, Any]]:
    """Kind and zone of a component, and the member of the document that says more."""
    base, _, end = component.partition(":")
    if wire := vehicle.get("wires", {}).get(base):
        of = "power" if wire.get("class") == "power" else "control"
        return (
            f"{of}_{'termination' if end else 'wire'}",
            wire.get("zone", ""),
            ({} if end else wire),
        )
    if part := vehicle.get("parts", {}).get(base):
        return part["kind"], part.get("zone", ""), part
    if control := vehicle.get("controls", {}).get(base):
        put_right = {"action": "set right", "minutes": control.get("minutes", 0)}
        return "", "", {"repair": put_right}
    connector = vehicle.get("connectors", {}).get(base.rpartition("-")[0] or base, {})
    return "connector_contact", connector.get("zone", ""), connector
