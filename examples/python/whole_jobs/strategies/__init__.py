"""How a technician goes about a dead vehicle: five ways."""

from whole_jobs.strategies.advice import Advised
from whole_jobs.strategies.base import Manual, Strategy
from whole_jobs.strategies.manual import (
    ContactorFirst,
    FixedChart,
    HalfSplit,
    LikeliestPart,
)

STRATEGIES = ("advice", "fixed chart", "half-split", "likeliest part", "contactor first")

__all__ = [
    "STRATEGIES",
    "Advised",
    "ContactorFirst",
    "FixedChart",
    "HalfSplit",
    "LikeliestPart",
    "Manual",
    "Strategy",
]
