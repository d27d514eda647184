"""What the certificates of the instruments say on the day of the job."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from schemas.findings import Finding
from schemas.job import Instrument

__all__ = ["calibration_findings"]

_BASIS = "common practice, no source: a certificate that has run out vouches for nothing; the instrument's maker rules"
_YEAR = 366


def calibration_findings(instruments: Sequence[Instrument], on: date) -> Iterator[Finding]:
    """Yield a caution for each instrument whose calibration is past due on the day of the job.

    Without a due date, one that was calibrated more than a year before counts as past due.
    """
    for one in instruments:
        name = f"{one.name}{f' ({one.serial})' if one.serial else ''}"
        if one.due is not None and one.due < on:
            text = f"{name}: its calibration was due on {one.due}, before this job of {on}. Its numbers are kept."
        elif one.due is None and one.calibrated is not None and (on - one.calibrated).days > _YEAR:
            text = f"{name}: calibrated on {one.calibrated}, more than a year before this job of {on}. No due date is "
            text += "recorded. Its numbers are kept."
        else:
            continue
        yield Finding(rule="calibration_past_due", verdict="caution", text=text, basis=_BASIS)
