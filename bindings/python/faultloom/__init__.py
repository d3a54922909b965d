"""Finds the electrical fault in a cart that will not run, from a wiring model and a few readings.

Example:
    >>> import faultloom
    >>> job = faultloom.data_path() / "jobs" / "glasshouse-coil-return.json"
    >>> model = faultloom.Model.shipped("seedling-hauler")
    >>> ranking = model.rank(job)
    >>> model.next_step(job).step.minutes > 0
    True
"""

from faultloom._core import version as __version__
from faultloom.answers import (
    Advice,
    Answer,
    Candidate,
    Caution,
    Component,
    Control,
    Entry,
    Event,
    Expected,
    Explanation,
    Group,
    Leader,
    Mode,
    Outcome,
    Ranking,
    Repair,
    Resistance,
    Solution,
    Step,
    Summary,
    Suspect,
    Weighed,
    Zone,
)
from faultloom.documents import DamagedJournalWarning, Document, data_path, find_vehicle
from faultloom.errors import Code, Error, Problem
from faultloom.journal import Damage, Journal, JournalStatus, new_job, read_journal
from faultloom.learning import (
    BinOfClaims,
    Calibration,
    Change,
    Learned,
    ModeChange,
    RateSway,
    Scores,
    Sensitivity,
    Uncertain,
    calibration,
    learn_rates,
    rates_frame,
    sensitivity,
)
from faultloom.model import Model, Progress, check_document, vehicle_from_run_list
from faultloom.plan import Plan, PlanOutcome, PlanStep
from faultloom.proof import Check, EarlierWork, Verification
from faultloom.reach import Ambiguity, AmbiguityGroup, Reach, Splitter, Testability, Thing

__all__ = [
    "Advice",
    "Ambiguity",
    "AmbiguityGroup",
    "Answer",
    "BinOfClaims",
    "Calibration",
    "Candidate",
    "Caution",
    "Change",
    "Check",
    "Code",
    "Component",
    "Control",
    "Damage",
    "DamagedJournalWarning",
    "Document",
    "EarlierWork",
    "Entry",
    "Error",
    "Event",
    "Expected",
    "Explanation",
    "Group",
    "Journal",
    "JournalStatus",
    "Leader",
    "Learned",
    "Mode",
    "ModeChange",
    "Model",
    "Outcome",
    "Plan",
    "PlanOutcome",
    "PlanStep",
    "Problem",
    "Progress",
    "Ranking",
    "RateSway",
    "Reach",
    "Repair",
    "Resistance",
    "Scores",
    "Sensitivity",
    "Solution",
    "Splitter",
    "Step",
    "Summary",
    "Suspect",
    "Testability",
    "Thing",
    "Uncertain",
    "Verification",
    "Weighed",
    "Zone",
    "__version__",
    "calibration",
    "check_document",
    "data_path",
    "find_vehicle",
    "learn_rates",
    "new_job",
    "rates_frame",
    "read_journal",
    "sensitivity",
    "vehicle_from_run_list",
]
