"""The photos' clock set against the recorder's: proposed from values that were said and shown, set by a person.

Nothing is set right by itself. Once a person has said how far the photos' clock is off, it holds for every photo of
the job that has its time from the camera, also for those added later.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from jobs.book import sheet_of
from jobs.clocks import steady
from jobs.extraction import bring_up_to_date, photos_ahead
from jobs.findings import check_job
from jobs.fold import Job, fold
from jobs.journal import ClockSet, Draft
from jobs.store import JournalMoved, Store
from jobs.timeline import Filed
from schemas.errors import WrongUse

__all__ = ["by_camera", "follow", "offset_of", "proposed", "set_photo_clock"]

_CAMERA = ("exif", "assumed")
_GRAIN = 10
"""Seconds to which a proposal is rounded: it is known no better than a row takes to say."""
_MOST = 26 * 3600
"""Seconds by which a clock can be set: a day and a time zone's worth; more is a wrong date, which is given by photo."""


def by_camera(job: Job) -> tuple[Filed, ...]:
    """Return the photos of a job that have their time from the camera."""
    return tuple(one for one in job.filed if one.evidence.kind == "photo" and one.clock in _CAMERA)


def offset_of(job: Job) -> int:
    """Return the seconds that are added to the camera's time now, by the photo that was added last."""
    photos = by_camera(job)
    return int(Decimal(photos[-1].offset)) if photos else 0


def proposed(store: Store, job: Job) -> int | None:
    """Return the seconds to add to the camera's time in all; None where voice and photos do not differ steadily.

    One photo alone proposes nothing: it may be an old one.
    """
    differences = photos_ahead(store, job, sheet_of(store, job.head))
    ahead = steady(differences) if len(differences) > 1 else None
    return offset_of(job) - _GRAIN * round(ahead / _GRAIN) if ahead else None


def set_photo_clock(store: Store, number: str, seconds: int, *, by: str, why: str) -> Job:
    """Add so many seconds to what the camera says on every photo of a job, and return the job.

    Zero takes the photos at their word again.

    Raises:
        WrongUse: no photo has its time from a camera, the job is closed, more than a day, or it is set so already.
    """
    if abs(seconds) > _MOST:
        raise WrongUse(f"A clock is set by {_MOST // 3600} hours at most; sayback add --at gives a photo another date.")
    while True:
        entries = store.entries(number)
        job = fold(entries)
        if job.closed is not None:
            raise WrongUse(f"Job {number} is closed; sayback reopen {number} comes first.")
        photos = by_camera(job)
        if not photos:
            raise WrongUse(f"No photo of job {number} has its time from a camera.")
        drafts = [Draft(_set(one, seconds, why), by) for one in photos if Decimal(one.offset) != seconds]
        if not drafts:
            raise WrongUse(f"The photos' clock of job {number} is set so already.")
        try:
            store.append(number, drafts, after=entries[-1].seq)
        except JournalMoved:
            continue
        bring_up_to_date(store, number, sheet_of(store, job.head))
        return check_job(store, number)


def follow(store: Store, number: str, added: Iterable[str], author: str) -> None:
    """Let the clock that was set for the photos of a job hold for those just ``added``, by hash."""
    job = fold(store.entries(number))
    new = set(added)
    before = [one for one in by_camera(job) if one.sha256 not in new]
    if before and (seconds := int(Decimal(before[-1].offset))):
        why = "as the other photos of the job"
        store.append(number, [Draft(_set(one, seconds, why), author) for one in by_camera(job) if one.sha256 in new])


def _set(one: Filed, seconds: int, why: str) -> ClockSet:
    return ClockSet(evidence=one.sha256, at=None, clock=one.clock, offset=str(seconds), why=why)
