"""Readings in, findings out: limits, relations between readings, physics, what stops the work, what is missing."""

from checks.completeness import missing
from checks.instruments import calibration_findings
from checks.verdicts import check, said_stops

__all__ = ["calibration_findings", "check", "missing", "said_stops"]
