"""What people decide: answers, edits, limits read back, what does not apply, undo, closing. Each is one entry."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Literal

from jobs.book import job_of, keep_file, sheet_of
from jobs.extraction import bring_up_to_date
from jobs.findings import check_job
from jobs.fold import Job, fold
from jobs.journal import (
    Answered,
    Body,
    Closed,
    DoesNotApply,
    Draft,
    Edited,
    FileGiven,
    HeadChanged,
    HeadFacts,
    LimitReadBack,
    Reopened,
    SentBack,
    StopDealtWith,
    Told,
    Undone,
)
from jobs.nameless import within
from jobs.questions import TURN_WAYS, open_questions
from jobs.show import name_of, place_of, say_value
from jobs.signing import changes_record
from jobs.spool import say_left, seconds_left
from jobs.stops import stops_of, undealt
from jobs.store import JournalMoved, Store
from schemas.base import decimal_of, is_value_text
from schemas.doubts import DoubtKind
from schemas.errors import BadInput, WrongUse
from schemas.findings import NotApplicable
from schemas.job import JobHead
from schemas.questions import Answer, Candidate, Question
from schemas.sheet import Quantity, Sheet
from schemas.units import show_unit

__all__ = [
    "answer",
    "can_be",
    "change_head",
    "close",
    "does_not_apply",
    "edit",
    "give_file",
    "head_facts",
    "leave_out",
    "left_open",
    "read_back_limit",
    "reopen",
    "settled_by",
    "stop_dealt_with",
    "tell",
    "undo",
]

How = Literal["chosen", "typed", "spoken", "cannot tell"]

_STATES = ("passed", "failed", "done", "not yet", "not applicable")


def settled_by(question: Question, chosen: Candidate) -> tuple[Candidate, ...]:
    """Return the whole answer that choosing one candidate gives.

    Of two sources or two values of one slot, only the chosen one stands. In a pair that cannot both be right, choosing
    what was heard for one says that the other is wrong; choosing another value for one lets the other stand as heard.
    Of readings whose place is asked together, the one chosen gives the place of all (:func:`answer` sees to it).
    """
    if question.alike:
        return (chosen,)
    kinds = {doubt.kind for doubt in question.doubts}
    heard = {one.reading: one for one in reversed(question.candidates)}
    one_of_them = kinds & {DoubtKind.SOURCES_DISAGREE, DoubtKind.CONFLICT}
    if one_of_them or (DoubtKind.RELATION in kinds and heard.get(chosen.reading) == chosen):
        return (chosen,)
    others = [heard[key] for key in question.readings if key != chosen.reading and key in heard]
    return (chosen, *others)


def answer(
    store: Store,
    number: str,
    question: Question,
    *,
    asked_at: int,
    by: str,
    how: How,
    settled: Sequence[Candidate] = (),
    sure: bool = False,
    along: Sequence[Draft] = (),
) -> Job:
    """Settle a question and return the job. ``asked_at`` is the position of the job when the question was worked out.

    ``settled`` holds one complete candidate for each reading that stands; the others of the question are dropped.
    ``sure`` accepts a value outside what the sheet calls possible. ``along``, here and below, is written before it in
    the same step, both or neither.

    Raises:
        WrongUse: the readings have changed since the question was asked; the message says how.
        BadInput: a value, unit, condition or appliance that cannot be.
    """
    while True:
        job = job_of(store, number)
        sheet = sheet_of(store, job.head)
        if question.id not in {one.id for one in open_questions(job, sheet)}:
            raise WrongUse(_what_changed(job, question, asked_at, sheet))
        if not {one.reading for one in settled} <= set(question.readings):
            raise WrongUse("The answer is about a reading that the question does not name; answer that one by itself.")
        whole = _all_alike(question, settled[0], job, sheet) if question.alike and settled else tuple(settled)
        for one in whole:
            _check(one, job, sheet, sure)
        given = Answer(question=question.id, by=by, how=how, at=store.clock(), settled=whole)
        before = tuple(job.rows[key].reading for key in question.readings)
        body = Answered(question=question, answer=given, before=before)
        try:
            store.append(number, [*along, Draft(body, by)], after=job.position)
        except JournalMoved:
            continue  # somebody else wrote meanwhile; the question may be answered already
        return job_of(store, number)


def _all_alike(question: Question, chosen: Candidate, job: Job, sheet: Sheet) -> tuple[Candidate, ...]:
    """Return the answer for every reading whose place is asked: each keeps its value, and all are where the chosen is.

    What was said with its condition keeps that too. One that is not read in the condition is not in the answer.
    """
    with_condition = question.source.box is None and DoubtKind.CONDITION_UNCLEAR not in {
        doubt.kind for doubt in question.doubts
    }
    whole = []
    for key in question.readings:
        one = job.rows[key].reading
        if one.quantity is None:
            continue
        at, conditions = one if with_condition else chosen, sheet.quantity(one.quantity).conditions
        place = {"appliance": chosen.appliance, "condition": at.condition or "", "phase": at.phase}
        if not conditions:  # read once, as a serial number is
            place |= {"condition": "", "phase": ""}
        if with_condition or not conditions or at.condition in conditions:
            given = {"reading": key, "quantity": one.quantity, "value": one.value, "unit": one.unit, "why": chosen.why}
            whole.append(Candidate.model_validate(given | place))
    return tuple(whole)


def edit(
    store: Store,
    number: str,
    after: Candidate,
    *,
    by: str,
    why: str,
    sure: bool = False,
    seen_at: int | None = None,
    along: Sequence[Draft] = (),
) -> Job:
    """Give a reading another value or label, with a reason, and return the job.

    ``seen_at`` is the position of the job that the person looked at: what changed since is not overwritten.

    Raises:
        WrongUse: no such reading, no reason, or the reading has changed since ``seen_at``; the message says how.
        BadInput: a value, unit, condition or appliance that cannot be.
    """
    job = job_of(store, number)
    _check(after, job, sheet_of(store, job.head), sure)
    return _edit(store, job, after.reading, after, by, why, seen_at, along)


def leave_out(
    store: Store,
    number: str,
    reading: str,
    *,
    by: str,
    why: str,
    seen_at: int | None = None,
    along: Sequence[Draft] = (),
) -> Job:
    """Leave a reading out of the record, as :func:`edit`, and return the job. It stays in the journal."""
    return _edit(store, job_of(store, number), reading, None, by, why, seen_at, along)


def _edit(
    store: Store,
    job: Job,
    reading: str,
    after: Candidate | None,
    by: str,
    why: str,
    seen_at: int | None,
    along: Sequence[Draft],
) -> Job:
    if reading not in job.rows:
        raise WrongUse(f"Job {job.number} has no reading {reading!r} that stands; sayback show lists them.")
    if not why.strip():
        raise WrongUse("A change needs a reason; say in a few words why.")
    changed = _changes_since(job, (reading,), seen_at, sheet_of(store, job.head)) if seen_at is not None else []
    if changed:
        raise WrongUse(f"The change was not made, since things changed meanwhile: {'; '.join(changed)}. Look again.")
    draft = Draft(Edited(before=job.rows[reading].reading, after=after, why=why), by)
    try:
        store.append(job.number, [*along, draft], after=None if seen_at is None else job.position)
    except JournalMoved:
        return _edit(store, job_of(store, job.number), reading, after, by, why, seen_at, along)
    return job_of(store, job.number)


def read_back_limit(
    store: Store, number: str, limit: str, *, agreed: bool, by: str, along: Sequence[Draft] = ()
) -> Job:
    """Note that a quoted limit was read back to a person, and whether they agreed to it."""
    if limit not in {one.key for one in job_of(store, number).limits}:
        raise WrongUse(f"Job {number} has no quoted limit {limit!r}.")
    return _write(store, number, LimitReadBack(limit=limit, agreed=agreed), by, along)


def does_not_apply(store: Store, number: str, slot: NotApplicable, *, by: str, seen_at: int | None = None) -> Job:
    """Note that something the sheet requires does not apply, with the reason.

    Raises:
        WrongUse: no reason, or no such quantity or appliance.
        JournalMoved: something has come to the job since ``seen_at``, the position at which the place was empty.
    """
    if not slot.reason.strip():
        raise WrongUse("What does not apply needs a reason; say in a few words why.")
    job = job_of(store, number)
    sheet = sheet_of(store, job.head)
    if slot.quantity not in {one.id for one in sheet.quantities}:
        raise WrongUse(f"The sheet {sheet.title} has no quantity {slot.quantity!r}.")
    if slot.appliance is not None and slot.appliance not in {one.tag for one in job.appliances}:
        raise WrongUse(f"The job has no appliance {slot.appliance!r}.")
    store.append(number, [Draft(DoesNotApply(slot=slot.model_copy(update={"by": by})), by)], after=seen_at)
    return job_of(store, number)


def change_head(store: Store, number: str, after: HeadFacts, *, by: str, why: str, seen_at: int) -> Job:
    """Put site, customer or instruments right, with a reason, and return the job.

    Raises:
        WrongUse: no reason, nothing changed, or somebody else put them right since ``seen_at``.
    """
    if not why.strip():
        raise WrongUse("A change needs a reason; say in a few words why.")
    while True:
        job = job_of(store, number)
        before = head_facts(job.head)
        if head_facts(fold([one for one in store.entries(number) if one.seq <= seen_at]).head) != before:
            raise WrongUse("Somebody else changed site, customer or instruments meanwhile. Look again.")
        if after == before:
            raise WrongUse("Nothing was changed: site, customer and instruments are as they were.")
        try:
            store.append(number, [Draft(HeadChanged(before=before, after=after, why=why), by)], after=job.position)
        except JournalMoved:
            continue
        return job_of(store, number)


def give_file(store: Store, number: str, tag: str, file: str, *, by: str, why: str) -> Job:
    """Give an appliance a corrected or a first appliance file, with a reason, and return the job.

    The job is read anew with it; every finding made so far stays in the journal as it was, with the hash of its file.

    Raises:
        WrongUse: no such appliance or file, no reason, or it is the file that the appliance has.
        BadInput: the file is not valid.
    """
    job = job_of(store, number)
    mine = next((one for one in job.appliances if one.tag == tag), None)
    if mine is None:
        tags = ", ".join(one.tag for one in job.appliances)
        raise WrongUse(f"Job {number} has no appliance {tag!r}; it has {tags}.")
    if not why.strip():
        raise WrongUse("Another appliance file needs a reason; say in a few words why.")
    known, sha256 = keep_file(store, file)
    if sha256 == mine.file_sha256:
        raise WrongUse(f"{tag} has this appliance file already, word for word; nothing was changed.")
    check_job(store, number)  # what was found by the file so far is in the journal before it changes
    _write(store, number, FileGiven(appliance=tag, file=known, file_sha256=sha256, why=why), by)
    bring_up_to_date(store, number, sheet_of(store, job.head))
    return job_of(store, number)


def head_facts(head: JobHead) -> HeadFacts:
    """Return what of the head of a job a person can put right."""
    return HeadFacts(site=head.site, customer=head.customer, instruments=head.instruments)


def stop_dealt_with(store: Store, number: str, seen: Sequence[str], *, what: str, by: str) -> Job:
    """Record what a named person did about a stop. It takes nothing away: the stop stays in the record.

    ``seen`` are the marks of the findings that they knew of, of one stop or of several of one cause; another, that came
    to light since, is not covered.

    Raises:
        WrongUse: what was done is not said or cannot be printed, one of them does not stand on the job, or they are of
            stops with different causes.
    """
    if not what.strip():
        raise WrongUse("Say in a few words what was done about the stop; blanks tell nobody.")
    if not what.isprintable():
        raise WrongUse("What was done holds characters that cannot be printed; write it in plain letters and digits.")
    job = check_job(store, number)
    found = {one.mark: one for one in job.findings if one.verdict == "stop"}
    stops = dict.fromkeys(found[mark].rule for mark in seen if mark in found)
    of_one_cause = len(stops) == 1 or any(set(seen) <= set(one.together) for one in stops_of(job, job.findings))
    if not stops or not of_one_cause or not found.keys() >= set(seen):
        raise WrongUse(f"Job {number} no longer has that stop as it was shown; look at it again.")
    return _write(store, number, StopDealtWith(stop=next(iter(stops)), what=what, covers=tuple(seen)), by)


def tell(store: Store, number: str, kind: Literal["said", "shown"], text: str, *, question: str | None = None) -> None:
    """Note what the tool said or showed."""
    store.append(number, [Draft(Told(kind=kind, text=text, question=question))])


def undo(store: Store, number: str, seq: int, *, by: str, why: str = "", along: Sequence[Draft] = ()) -> Job:
    """Let an entry of a person's count no longer, and return the job. The entry stays in the journal.

    Raises:
        WrongUse: no such entry, not one that a person can take back, or taken back already.
    """
    entries = {entry.seq: entry for entry in store.entries(number)}
    kinds = (Answered, Edited, LimitReadBack, DoesNotApply, SentBack, StopDealtWith, HeadChanged)
    if seq not in entries or not isinstance(entries[seq].body, kinds):
        raise WrongUse(f"Entry {seq} of job {number} is not an answer, an edit or the like; only those can be undone.")
    if any(isinstance(entry.body, Undone) and entry.body.seq == seq for entry in entries.values()):
        raise WrongUse(f"Entry {seq} of job {number} is undone already.")
    return _write(store, number, Undone(seq=seq, why=why), by, along)


def close(store: Store, number: str, *, by: str, why: str = "", seen_at: int | None = None) -> Job:
    """Close a job and return it. What is open then needs a reason; a stop needs to be dealt with, by name.

    A file that is not read to its end is open too: nobody knows yet what it tells. Live sound that is no file yet, as a
    killed listening leaves it, is read first. ``seen_at`` is the position of the job that the person looked at: what
    came since is not closed over.

    Raises:
        WrongUse: closed already, changed since ``seen_at``, something is open and there is no reason, or a stop stands.
    """
    while True:
        job = check_job(store, number)
        if job.closed is not None:
            raise WrongUse(f"Job {number} is closed already.")
        if seen_at is not None and any(changes_record(one) for one in store.entries(number) if one.seq > seen_at):
            raise WrongUse("The record has changed since it was shown; look at it again before it is closed.")
        if unheard := seconds_left(store.home, job):
            raise WrongUse(
                f"Job {number} cannot be closed: {say_left(unheard)}, and nobody knows what it tells; sayback listen "
                f"{number} or sayback add {number} reads it."
            )
        stops = sorted({one.finding.rule for one in undealt(job, job.findings)})
        if stops:
            raise WrongUse(
                f"Job {number} cannot be closed over a stop ({', '.join(stops)}); a named person records what was done "
                "about it first."
            )
        left = left_open(job, sheet_of(store, job.head))
        if left and not why.strip():
            raise WrongUse(f"Job {number} has {left} open; settle them, or give the reason for closing it as it is.")
        try:
            store.append(number, [Draft(Closed(open=left, why=why), by)], after=job.position)
        except JournalMoved:
            continue  # a stop may have come meanwhile
        return job_of(store, number)


def left_open(job: Job, sheet: Sheet) -> int:
    """Count what is open on a checked job: questions, what is missing, and files that are not read to their end."""
    missing = sum(1 for one in job.findings if one.verdict == "missing")
    return len(open_questions(job, sheet)) + missing + len(job.unread)


def reopen(store: Store, number: str, *, by: str, why: str) -> Job:
    """Work on a closed job again."""
    if job_of(store, number).closed is None:
        raise WrongUse(f"Job {number} is not closed.")
    return _write(store, number, Reopened(why=why), by)


def _write(store: Store, number: str, body: Body, by: str, along: Sequence[Draft] = ()) -> Job:
    store.append(number, [*along, Draft(body, by)])
    return job_of(store, number)


def _what_changed(job: Job, question: Question, asked_at: int, sheet: Sheet) -> str:
    """Say what became of the readings of a question since it was asked."""
    changed = "; ".join(_changes_since(job, question.readings, asked_at, sheet)) or "it is not open any more"
    return f"The question was not answered, since things changed while it was open: {changed}. Look at it again."


def _changes_since(job: Job, readings: Iterable[str], position: int, sheet: Sheet) -> list[str]:
    """Return in words what happened to some readings after an entry of the journal."""
    parts = []
    every = {row.reading.id: row for row in (*job.gone, *job.rows.values())}
    for key in readings:
        steps = [step for step in every[key].history if step.seq > position] if key in every else []
        if key not in every:
            parts.append("a reading is no longer found in the evidence")
        elif steps:
            last = steps[-1]
            value = last.after or last.before or every[key].reading
            place = place_of(value, sheet, appliance=len(job.appliances) > 1)
            told = say_value(value.value, value.unit, sheet, value.quantity)
            parts.append(f"{place} {name_of(value, sheet)} {told} was {last.what} by {last.by}".strip())
    return parts


def _check(given: Candidate, job: Job, sheet: Sheet, sure: bool) -> None:
    """Refuse what cannot be: a slip of the hand must not become a reading."""
    known = {one.id: one for one in sheet.quantities}
    if given.quantity not in known:
        raise BadInput(f"The sheet {sheet.title} has no quantity {given.quantity!r}.")
    quantity = known[given.quantity]
    if (given.condition or None) not in (quantity.conditions or (None,)):
        places = _listed(sheet.condition(one).name for one in quantity.conditions)
        raise BadInput(f"{quantity.name} is read {f'at {places}' if places else 'in no condition of its own'}.")
    if given.appliance is not None and given.appliance not in {one.tag for one in job.appliances}:
        tags = _listed(one.tag for one in job.appliances)
        raise BadInput(f"The job has no appliance {given.appliance!r}; it has {tags}.")
    if given.appliance is None and len(job.appliances) > 1 and not quantity.every_job:
        raise BadInput(f"Say which appliance {quantity.name} is of: {_listed(one.tag for one in job.appliances)}.")
    if quantity.kind == "move" and given.note is not None:
        screw, _, way = given.note.partition(" ")
        if screw not in {one.id for one in sheet.screws} or way not in TURN_WAYS:
            raise BadInput("Say which screw was turned and which way, clockwise (cw) or counterclockwise (ccw).")
    if quantity.kind in ("number", "move"):
        _check_number(given, quantity, sure)
    elif quantity.kind == "date":
        try:
            date.fromisoformat(given.value)
        except ValueError:
            raise BadInput(f"{given.value!r} is not a date; write it like 2026-03-04.") from None
    elif quantity.kind == "choice" and given.value not in quantity.choices:
        raise BadInput(f"{quantity.name} is one of {_listed(quantity.choices)}, not {given.value!r}.")
    elif quantity.kind == "check" and given.value not in _STATES:
        raise BadInput(f"{quantity.name} is one of {_listed(_STATES)}, not {given.value!r}.")
    elif not given.value.strip() or not given.value.isprintable():
        raise BadInput(f"{quantity.name} needs some words.")


def _check_number(given: Candidate, quantity: Quantity, sure: bool) -> None:
    decimal_of(given.value)
    if given.unit not in quantity.units:
        units = _listed(show_unit(one) for one in quantity.units)
        raise BadInput(f"{quantity.name} is given in {units}, not in {given.unit or 'no unit'}.")
    if not sure and not can_be(given, quantity):
        low, high = quantity.range.possible
        unit = show_unit(quantity.units[0])
        raise BadInput(
            f"{given.value} {show_unit(given.unit)} is outside what {quantity.name} can be ({low or '…'} to "
            f"{high or '…'} {unit}). Look at the value again, or say that you are sure."
        )


def can_be(given: Candidate, quantity: Quantity) -> bool:
    """Say whether a value lies within what its quantity can be; what is no number in a unit of it is not judged."""
    if quantity.kind not in ("number", "move") or given.unit not in quantity.units or not is_value_text(given.value):
        return True
    return within(quantity.range.possible, given.value, given.unit, quantity)


def _listed(words: Iterable[str]) -> str:
    return ", ".join(words)
