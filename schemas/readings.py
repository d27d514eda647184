"""Readings, and the operations on them that extraction returns and the journal keeps."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from schemas.base import Model, Name, Sha256, ValueText
from schemas.doubts import Doubt
from schemas.evidence import Box

__all__ = [
    "AGREES_WITH_FILE",
    "Alarm",
    "Alternative",
    "Change",
    "Operation",
    "Phase",
    "QuotedLimit",
    "Reading",
    "Record",
    "Relabel",
    "Remove",
    "Source",
]

AGREES_WITH_FILE = "agrees with the appliance file"
"""The test that a picture's value passed by being what the appliance file says."""

Phase = Literal["", "before", "after"]
"""As found and as left, at a firing rate that is adjusted."""


class Source(Model):
    """Where something was heard or seen.

    Sound: ``utterance`` and the seconds ``start`` to ``end`` in the file, ``span`` the characters of the best
    hypothesis. Picture: ``box``. ``heard`` is the wording or the shown text itself.
    """

    evidence: Sha256
    utterance: int | None = None
    start: float | None = None
    end: float | None = None
    span: tuple[int, int] | None = None
    box: Box | None = None
    heard: str = ""


class Alternative(Model):
    """Something else the reading might be. A field that is None is as in the reading itself; ``score`` is 0..1."""

    value: str | None = None
    unit: str | None = None
    quantity: Name | None = None
    condition: Name | Literal[""] | None = None
    phase: Phase | None = None
    appliance: str | None = None
    score: float = 0.0
    why: str = ""


class Reading(Model):
    """One value of one quantity, in one condition, of one appliance.

    ``value`` is a decimal text for numbers, a state for checks (``passed``, ``failed``, ``done``, ``not yet``,
    ``not applicable``), an ISO date for dates, and words for text. ``unit`` is a UCUM code, empty where there is none.
    ``condition`` is empty where the quantity has none (ambient temperature); ``None`` for ``quantity`` or
    ``condition`` means that it could not be told and is asked. ``appliance`` is the tag within the job; None where the
    job has one only or where it could not be told (then with a doubt). ``note`` carries what belongs to the value: the
    screw and direction of a move, the volume of a clocking. ``passed`` names the tests of doubt that it came through.
    A reading without doubts is taken; one with doubts is asked about.
    """

    id: str
    quantity: Name | None
    condition: Name | Literal[""] | None
    phase: Phase = ""
    value: str
    unit: str = ""
    appliance: str | None = None
    approx: bool = False
    note: str = ""
    source: Source
    alternatives: tuple[Alternative, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    passed: tuple[str, ...] = ()
    asked_with: str | None = None
    """The id of another reading that the same question is about (two values run together, a pair that cannot be)."""

    @property
    def taken(self) -> bool:
        """Taken unasked: no doubt stands."""
        return not self.doubts


class Record(Model):
    """A new reading, taken or doubtful."""

    op: Literal["record"] = "record"
    reading: Reading


class Change(Model):
    """A reading takes the place of another: said as a correction, or the next value after a move."""

    op: Literal["change"] = "change"
    target: str
    reading: Reading
    why: str


class Relabel(Model):
    """A reading keeps its value and gets another label: "no, that's the static", "that was boiler two".

    A field that is None stays as it is. ``doubts`` replaces the reading's doubts where it is not None: what was said
    later may settle a doubt (the condition follows) or raise one (the partner of an impossible pair).
    """

    op: Literal["relabel"] = "relabel"
    target: str
    quantity: Name | None = None
    condition: Name | Literal[""] | None = None
    phase: Phase | None = None
    appliance: str | None = None
    unit: str | None = None
    doubts: tuple[Doubt, ...] | None = None
    asked_with: str | None = None
    source: Source
    why: str


class Remove(Model):
    """A reading is taken back: "delete that last one"."""

    op: Literal["remove"] = "remove"
    target: str
    source: Source
    why: str


class QuotedLimit(Model):
    """A limit said aloud ("book says eight five to nine five"): never a reading; the job's own once read back."""

    op: Literal["limit"] = "limit"
    quantity: Name
    condition: Name | Literal[""] | None
    low: ValueText | None
    high: ValueText | None
    unit: str
    appliance: str | None = None
    source: Source


class Alarm(Model):
    """Something said that stops the work: gas smelt, an alarm sounding, someone unwell. ``stop`` is the sheet's.

    One that is not ``sure`` was said in one way of hearing it and not in another: it stands, and is asked about.
    """

    op: Literal["alarm"] = "alarm"
    stop: Name
    sure: bool = True
    source: Source


Operation = Annotated[Record | Change | Relabel | Remove | QuotedLimit | Alarm, Field(discriminator="op")]
