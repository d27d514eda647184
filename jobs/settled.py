"""How a reading came to stand, in the words of page, report and workbook; and all the evidence that it rests on."""

from __future__ import annotations

from collections.abc import Container
from datetime import timedelta

from jobs.fold import Job
from jobs.table import JobRow, Step
from jobs.timeline import Filed
from schemas.readings import Source

__all__ = ["settled", "sources_of"]

_KINDS = {"sound": "sound", "photo": "picture", "typed": "typed line"}


def settled(row: JobRow, job: Job, aloud: Container[str] = ()) -> str:
    """Return how a reading came to stand: taken, agreed, asked, answered or changed, by whom and from what.

    ``aloud`` are the readings that were read back as they stand (:func:`jobs.told.read_back`).
    """
    words = _settled(row, job)
    return f"{words}; read back" if row.reading.id in aloud else words


def sources_of(row: JobRow, job: Job) -> tuple[Source, ...]:
    """Return every place that a reading rests on: its own, and the picture that gives the same where voice and photo
    agree."""
    under = next((one.reading.source for one in job.gone if one.reading.id == row.agreed_with), None)
    return (row.reading.source,) if under is None else (row.reading.source, under)


def _settled(row: JobRow, job: Job) -> str:
    last = row.history[-1] if row.history else None
    match row.how:
        case "taken unasked":
            return "taken, no doubt stood"
        case "agreed by voice and photo":
            return "voice and photo agree"
        case "open":
            return f"asked: {row.reading.doubts[0].kind}" if row.reading.doubts else "asked"
        case "answered" if row.by == job.head.technician:
            return f"answered {_when(row, last, job)}by the technician, {row.by}"
        case "answered":
            return f"answered by {row.by}{_from(row, job)}"
        case "edited":
            return f"changed by {'the technician, ' if row.by == job.head.technician else ''}{row.by}"
        case "left out":
            return f"left out by {row.by}{f': {last.why}' if last is not None and last.why else ''}"
        case _:
            return f"{last.what} by {last.by}" if last is not None else row.how


def _when(row: JobRow, last: Step | None, job: Job) -> str:
    """Return when the technician answered: aloud, on the day of the evidence, or later; nothing where no time tells."""
    if last is None:
        return ""
    if last.why == "spoken":
        return "aloud "
    source = row.reading.source
    filed = _filed(source, job)
    if filed is None or filed.at is None:
        return ""
    then = filed.at + timedelta(seconds=source.start or 0.0)
    return "on the day of the visit " if last.at.astimezone(then.tzinfo).date() == then.date() else "later "


def _from(row: JobRow, job: Job) -> str:
    """Return what a person who was not there answered from."""
    filed = [one for source in sources_of(row, job) if (one := _filed(source, job)) is not None]
    kinds = list(dict.fromkeys(_KINDS[one.evidence.kind] for one in filed))
    return f" from the {' and the '.join(kinds)}" if kinds else ""


def _filed(source: Source, job: Job) -> Filed | None:
    return next((one for one in job.filed if one.sha256 == source.evidence), None)
