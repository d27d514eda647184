"""Readings in, findings out: limits, relations between readings, physics, what stops the work, what is missing."""

from checks.completeness import missing
from checks.instruments import calibration_findings
from checks.verdicts import check, measured_stops, said_stops

__all__ = ["calibration_findings", "check", "measured_stops", "missing", "said_stops"]
