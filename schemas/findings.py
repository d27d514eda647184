"""Findings: what a check says of the readings."""

from __future__ import annotations

import hashlib
from typing import Literal

from pydantic import Field

from schemas.base import Model, Name, Sha256, ValueText
from schemas.readings import Source

__all__ = ["Finding", "Limit", "LimitOrigin", "NotApplicable", "Verdict"]

Verdict = Literal["within", "outside", "cannot tell", "conflicting", "look again", "missing", "caution", "stop"]
"""``look again`` is a soft rule of common practice; it never says outside. ``cannot tell`` always says why."""


class LimitOrigin(Model):
    """Where a limit comes from: enough to find it again."""

    kind: Literal["appliance file", "rating plate", "quoted", "sheet"]
    title: str
    sha256: Sha256 | None = None
    document: str = ""
    page: str = ""
    by: str = ""
    source: Source | None = None


class Limit(Model):
    """A lowest and a highest value, each None where there is none. A value exactly on a limit is within."""

    quantity: Name
    condition: Name | Literal[""]
    low: ValueText | None = None
    high: ValueText | None = None
    unit: str
    origin: LimitOrigin


class Finding(Model):
    """What one rule says of one or more readings. ``rule`` is its name in the sheet or in ``checks``."""

    rule: str
    verdict: Verdict
    text: str
    appliance: str | None = None
    quantity: Name | None = None
    condition: Name | Literal[""] | None = None
    readings: tuple[str, ...] = ()
    limit: Limit | None = None
    basis: str = ""
    """The rule's own source: a standard with its clause, or "common practice, no source"."""
    superseded: bool = False
    """It is about a reading from before an adjustment that has its reading after: kept, with nothing to do now."""
    value: str = ""
    """What a measured stop was judged on, as it is shown: ``is 45 ppm``."""
    past: bool = False
    """It stopped the work, and its value stands no longer: what was done about it is to be recorded all the same."""
    said: Source | None = None
    """Where it was said, of what stops the work and was said aloud: said again, it is another finding."""

    @property
    def mark(self) -> str:
        """A name for just this finding: with another reading, value, appliance or moment it has another.

        Not with another phase: what was read, and dealt with, is the same once a screw was turned.
        """
        judged = "value" if self.value else "text"
        told = self.model_dump_json(include={"rule", judged, "appliance", "condition", "readings", "said"})
        return hashlib.sha256(told.encode()).hexdigest()[:16]


class NotApplicable(Model):
    """Something that the sheet requires and that does not apply here, with the reason and who gave it."""

    appliance: str | None
    quantity: Name
    condition: Name | Literal[""] = ""
    reason: str = Field(min_length=1)
    by: str = ""
