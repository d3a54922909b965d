"""A yard with many vehicles down: which first, what to load, what they have in common.

Needs what `pip install 'faultloom[fleet]'` brings: jsonschema, pandas, SciPy.

Example:
    >>> import faultloom.fleet
    >>> monday = {
    ...     "format": "faultloom.fleet", "version": "1.0",
    ...     "vehicles": [
    ...         {"id": "T1", "vehicle": "mulch-tug", "complaint": "dead"},
    ...         {"id": "T2", "vehicle": "mulch-tug", "complaint": "smells", "unsafe": True},
    ...     ],
    ... }
    >>> answer = faultloom.fleet.triage(monday, budget_sets=300)
    >>> [slot.id for slot in answer.order]
    ['T2', 'T1']
"""

from faultloom.fleet.clusters import TELLS, Cluster
from faultloom.fleet.costs import Needs, Terms
from faultloom.fleet.document import TRAITS, Fleet, SetAside, Unit, check_fleet
from faultloom.fleet.order import Slot, Task, in_order, scheduled
from faultloom.fleet.result import Rated, Suspect, Triage
from faultloom.fleet.table import COLUMNS
from faultloom.fleet.van import Part, VanList
from faultloom.fleet.yard import load_fleet, triage

__all__ = [
    "COLUMNS",
    "TELLS",
    "TRAITS",
    "Cluster",
    "Fleet",
    "Needs",
    "Part",
    "Rated",
    "SetAside",
    "Slot",
    "Suspect",
    "Task",
    "Terms",
    "Triage",
    "Unit",
    "VanList",
    "check_fleet",
    "in_order",
    "load_fleet",
    "scheduled",
    "triage",
]
