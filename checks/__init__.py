"""Readings in, findings out: limits, relations between readings, physics, what stops the work, what is missing."""

from checks.completeness import missing
from checks.verdicts import check, said_stops

__all__ = ["check", "missing", "said_stops"]
