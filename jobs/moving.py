"""Evidence that was filed in the wrong job, or under the wrong appliance, is moved with its readings; and moved back.

One entry says so, across jobs one in each journal. What extraction makes of it in its new place is written with it, in
one transaction: there is no moment at which a piece of evidence is in both jobs or in neither. The file itself stays
where it is, since it is named by its hash.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from jobs.book import sheet_of
from jobs.extraction import still_to_write
from jobs.findings import check_job
from jobs.fold import Job, fold
from jobs.journal import (
    TOOL,
    Body,
    Carried,
    Draft,
    Entry,
    MovedIn,
    MovedOut,
    MovedUnder,
    Undone,
)
from jobs.store import JournalMoved, Store
from jobs.table import JobRow
from jobs.timeline import Filed
from schemas.errors import WrongUse
from schemas.questions import Candidate
from schemas.readings import Reading
from schemas.sheet import Sheet

__all__ = ["MOVES", "move_back", "move_to_job", "move_under"]

_DECIDED = ("answered", "edited", "left out", "answered as wrong")
"""What a step of a reading's history is called where a person settled it or put it aside."""

MOVES = (MovedUnder, MovedOut, MovedIn)
"""What :func:`move_back` takes back."""


def move_under(store: Store, number: str, evidence: str, appliance: str, *, by: str, why: str) -> Job:
    """File a piece of evidence, with its readings, under another appliance of the job, and return the job.

    Raises:
        WrongUse: no such evidence or appliance, it is filed so already, no reason, or the job is closed.
    """
    _reason(why)
    while True:
        entries = store.entries(number)
        job = _at_work(fold(entries))
        filed = _filed(job, evidence)
        _under(job, appliance)
        told = {row.reading.appliance for row in _rows_of(job, evidence) if row.reading.appliance is not None}
        if filed.under == appliance or (filed.under is None and told == {appliance}):
            raise WrongUse(f"All that {filed.evidence.name} tells is of {appliance} already.")
        sheet = sheet_of(store, job.head)
        body = MovedUnder(evidence=evidence, under=appliance, confirm=_reserved(job, sheet, by), why=why)
        try:
            store.append(number, _with_readings(store, entries, sheet, body, by), after=job.position)
        except JournalMoved:
            continue
        return check_job(store, number)


def move_to_job(
    store: Store, number: str, evidence: str, to: str, *, appliance: str | None = None, by: str, why: str
) -> tuple[Job, Job]:
    """Move a piece of evidence, with its readings, to another job, and return both jobs.

    ``appliance`` is the one of that job that it is of; None: as it says itself. What people settled about its readings
    goes with it.

    Raises:
        WrongUse: no such job, evidence or appliance, no reason, one of the jobs is closed, or it tells of something
            that stops the work and ``by`` is not the technician.
    """
    _reason(why)
    if to == number:
        raise WrongUse(f"It is in job {number} already; name another job, or an appliance of this one.")
    while True:
        entries, there = store.entries(number), store.entries(to)
        job, other = _at_work(fold(entries)), _at_work(fold(there))
        filed = _filed(job, evidence)
        if by != job.head.technician and any(one.source.evidence == evidence for one in job.alarms):
            raise WrongUse(
                f"{filed.evidence.name} tells of something that stops the work; only {job.head.technician} can move it."
            )
        under = _under(other, appliance)
        sheets = sheet_of(store, job.head), sheet_of(store, other.head)
        out = MovedOut(evidence=evidence, to=to, entry=other.position + 1, why=why)
        into = MovedIn(
            evidence=filed.evidence,
            seconds=filed.seconds,
            at=filed.at,
            clock=filed.clock,
            offset=filed.offset,
            utterances=filed.utterances,
            look=filed.look,
            read=filed.read,
            origin=number,
            entry=job.position + 1,
            under=under,
            called=tuple(dict.fromkeys(name for one in job.appliances for name in (one.tag, *one.called))),
            aside=tuple(sorted(filed.aside)),
            blanked=filed.blanked,
            carried=tuple(_carried(job, evidence, other, under)),
            confirm=_reserved(other, sheets[1], by),
            why=why,
        )
        parts = {
            number: (_with_readings(store, entries, sheets[0], out, by), job.position),
            to: (_with_readings(store, there, sheets[1], into, by), other.position),
        }
        try:
            store.append_each(parts)
        except JournalMoved:
            continue
        return check_job(store, number), check_job(store, to)


def move_back(store: Store, number: str, seq: int, *, by: str, why: str = "") -> tuple[Job, ...]:
    """Take a move back, in both journals if there are two, and return the jobs concerned, the one named first.

    Raises:
        WrongUse: entry ``seq`` is no move or is taken back already, the evidence was moved on since, the other job is
            not in this store, or one of the two is closed.
    """
    while True:
        entries = store.entries(number)
        moved = next((one for one in entries if one.seq == seq), None)
        if moved is None or not isinstance(moved.body, MOVES):
            raise WrongUse(f"Entry {seq} of job {number} moved nothing.")
        places = [(number, seq)]
        if isinstance(moved.body, MovedOut):
            places.append((moved.body.to, moved.body.entry))
        elif isinstance(moved.body, MovedIn):
            places.append((moved.body.origin, moved.body.entry))
        parts: dict[str, tuple[Sequence[Draft], int]] = {}
        for where, which in places:
            here = entries if where == number else _entries_of(store, where)
            job = _at_work(fold(here))
            body = next(one.body for one in here if one.seq == which)
            if any(isinstance(one.body, Undone) and one.body.seq == which for one in here):
                raise WrongUse(f"Entry {which} of job {where} is taken back already.")
            if isinstance(body, MovedIn) and body.evidence.sha256 not in {one.sha256 for one in job.filed}:
                raise WrongUse(f"{body.evidence.name} was moved on from job {where} since; take that back first.")
            sheet = sheet_of(store, job.head)
            parts[where] = (_with_readings(store, here, sheet, Undone(seq=which, why=why), by), job.position)
        try:
            store.append_each(parts)
        except JournalMoved:
            continue
        return tuple(check_job(store, where) for where, _ in places)


def _with_readings(store: Store, entries: Sequence[Entry], sheet: Sheet, body: Body, by: str) -> list[Draft]:
    """Return what a person decided, and with it whatever extraction then reads otherwise than before."""
    last = entries[-1]
    decided = Entry(last.seq + 1, store.clock(), by, None, body, "")
    return [Draft(body, by), *still_to_write(store, (*entries, decided), sheet)]


def _entries_of(store: Store, number: str) -> tuple[Entry, ...]:
    try:
        return store.entries(number)
    except WrongUse as error:
        raise WrongUse(f"Job {number}, the other one of this move, is not here; bring it in with its zip.") from error


def _at_work(job: Job) -> Job:
    if job.closed is not None:
        raise WrongUse(f"Job {job.number} is closed; open it again first, with a reason.")
    return job


def _reason(why: str) -> None:
    if not why.strip():
        raise WrongUse("A move needs a reason; say in a few words why.")


def _filed(job: Job, evidence: str) -> Filed:
    for one in job.filed:
        if one.sha256 == evidence:
            return one
    raise WrongUse(f"There is no such evidence in job {job.number}; it may have been moved meanwhile.")


def _under(job: Job, appliance: str | None) -> str | None:
    """Return the appliance of a job that evidence is of: the only one, or the one that was named."""
    tags = [one.tag for one in job.appliances]
    if appliance is not None and appliance not in tags:
        raise WrongUse(f"Job {job.number} has no appliance {appliance!r}; it has {', '.join(tags)}.")
    return tags[0] if len(tags) == 1 else appliance


def _reserved(job: Job, sheet: Sheet, by: str) -> tuple[str, ...]:
    return () if by == job.head.technician else tuple(one.id for one in sheet.quantities if one.reserved)


def _rows_of(job: Job, evidence: str) -> list[JobRow]:
    return [row for row in job.rows.values() if row.reading.source.evidence == evidence]


def _carried(job: Job, evidence: str, other: Job, under: str | None) -> Iterator[Carried]:
    """Yield what people settled about the readings of a piece of evidence, as far as the other job can take it."""
    tags = {one.tag for one in other.appliances}

    def there(tag: str | None) -> str | None:
        return under if under is not None and tag is not None else tag

    for row in (*_rows_of(job, evidence), *(one for one in job.gone if one.reading.source.evidence == evidence)):
        step = next((one for one in reversed(row.history) if one.by == row.by and one.what in _DECIDED), None)
        if row.by == TOOL or step is None or step.before is None:
            continue
        appliance = there(row.reading.appliance)
        if appliance is not None and appliance not in tags:
            continue  # whose it is has to be asked there in any case
        before = step.before.model_copy(update={"appliance": there(step.before.appliance)})
        after = _as_settled(row.reading, appliance) if row.how in ("answered", "edited") else None
        yield Carried(by=row.by, how="answered" if row.how == "answered" else "edited", before=before, after=after)


def _as_settled(one: Reading, appliance: str | None) -> Candidate | None:
    if one.quantity is None or one.condition is None:
        return None
    return Candidate(
        reading=one.id,
        quantity=one.quantity,
        condition=one.condition,
        phase=one.phase,
        value=one.value,
        unit=one.unit,
        appliance=appliance,
        note=one.note,
        approx=one.approx,
    )
