"""How a technician goes about a dead vehicle: five ways, and with nothing to find."""

from whole_jobs.strategies.advice import Advised
from whole_jobs.strategies.base import Manual, Strategy
from whole_jobs.strategies.manual import (
    ContactorFirst,
    FixedChart,
    HalfSplit,
    LikeliestPart,
)
from whole_jobs.strategies.truth import TruthKnown

STRATEGIES = (
    "advice",
    "fixed chart",
    "half-split",
    "likeliest part",
    "contactor first",
    "truth known",
)

__all__ = [
    "STRATEGIES",
    "Advised",
    "ContactorFirst",
    "FixedChart",
    "HalfSplit",
    "LikeliestPart",
    "Manual",
    "Strategy",
    "TruthKnown",
]
