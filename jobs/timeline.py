"""When each utterance and each look took place, so that all evidence of a job can be read in the order of the work.

A piece whose time is known stands at that time. One without follows whatever was added before it. A picture that says
it was taken when nothing of the job was recorded stands there too, but no context of the work is that of its moment:
its clock is wrong, or it was taken when nobody told what was going on.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal

from jobs.journal import Blanked
from schemas.evidence import Clock, Evidence, Look, Utterance

__all__ = ["Filed", "Moment", "in_order"]

UNTIMED_GAP = 60.0
"""Seconds put between a piece without a time and what was added before it: it followed, nobody knows how soon."""

OUTSIDE = 120.0
"""Seconds before the first and after the last recording of a job within which a picture's moment is one of the work."""


@dataclass(frozen=True)
class Filed:
    """One piece of evidence in a job, and what has been found in it so far.

    ``evidence.at`` and ``clock`` are as the file had them; ``at`` is the moment that counts: the one set by a person
    or the file's own, with the offset of its clock added. ``read`` says that it was heard or looked at to its end.
    """

    evidence: Evidence
    seq: int
    seconds: float | None = None
    at: datetime | None = None
    clock: Clock = "none"
    offset: str = "0"
    utterances: tuple[Utterance, ...] = ()
    look: Look | None = None
    read: bool = False
    under: str | None = None
    """The appliance that a person filed it under, whatever it says itself; None: as it says."""
    called: tuple[str, ...] = ()
    """Names that appliances had in the job that it was moved from."""
    aside: frozenset[int] = frozenset()
    """Utterances that are no talk about the work: part of the conversation with the tool."""
    named: Mapping[int, str] = field(default_factory=dict)
    """Of these utterances, those that named an appliance in answer to a question, and which."""
    blanked: tuple[Blanked, ...] = ()
    """What was taken off the record, in that order."""

    @property
    def sha256(self) -> str:
        """The name of the evidence."""
        return self.evidence.sha256

    @property
    def kept(self) -> str:
        """The hash of the bytes that are kept: its name, until a stretch of it was blanked."""
        return self.blanked[-1].left if self.blanked else self.sha256

    def blanked_in(self, start: float | None, end: float | None) -> Blanked | None:
        """Return what took sound between two seconds off the record; None where all of it is there."""
        if start is None or end is None:
            return None
        return next((one for one in self.blanked if one.start < end and start < one.end), None)

    @property
    def length(self) -> float:
        """Seconds from its first to its last moment, as far as known."""
        return max(self.seconds or 0.0, *(u.end for u in self.utterances), 0.0)


@dataclass(frozen=True)
class Moment:
    """One utterance or one look, and when.

    ``at`` is in seconds of the job's time (since 1970 where the time of day is known), None for a picture without a
    trusted time, or whose time is outside that of the recordings.
    """

    filed: Filed
    at: float | None
    found: Utterance | Look

    @property
    def number(self) -> int | None:
        """The number of the utterance; None for a look."""
        return self.found.number if isinstance(self.found, Utterance) else None


def shifted(at: datetime | None, offset: str) -> datetime | None:
    """Return a moment with the offset of its clock, in seconds, added."""
    return None if at is None else at + timedelta(microseconds=int(Decimal(offset) * 1_000_000))


def in_order(filed: Iterable[Filed]) -> tuple[Moment, ...]:
    """Return every utterance and look in the order of the work.

    Equal times keep the order in which the evidence was added.
    """
    filed = tuple(filed)
    talk = [one for one in filed if one.evidence.kind != "photo"]
    recorded = [(one.at.timestamp(), one.length) for one in talk if one.at is not None]
    first = min((begins for begins, _ in recorded), default=float("-inf")) - OUTSIDE
    end = max((begins + length for begins, length in recorded), default=float("inf")) + OUTSIDE
    moments: list[tuple[float, Moment]] = []
    last = 0.0  # where the piece added before ends
    for one in filed:
        known = one.at is not None
        begins = one.at.timestamp() if one.at is not None else last + (UNTIMED_GAP if one.utterances else 0.0)
        for utterance in one.utterances:
            moments.append((begins + utterance.start, Moment(one, begins + utterance.start, utterance)))
        if one.look is not None:
            moments.append((begins, Moment(one, begins if known and first <= begins <= end else None, one.look)))
        last = begins + one.length
    moments.sort(key=lambda pair: pair[0])
    return tuple(moment for _, moment in moments)
