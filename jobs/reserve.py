"""What the sheet reserves to the technician: nobody else settles it; the office sends it back, as one list.

A question is reserved if it may be about a reserved quantity, whatever it turns out to be: an answer that is refused
afterwards would have told the asker nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import extract
from capture.typed import typed_utterance
from jobs.book import job_of, sheet_of
from jobs.extraction import extract_all, setting_of
from jobs.fold import Job
from jobs.journal import Draft, Entry, Operated, SentBack
from jobs.store import Store
from jobs.timeline import Filed
from schemas.errors import WrongUse
from schemas.evidence import Evidence
from schemas.findings import Finding
from schemas.questions import Question
from schemas.readings import Change, Record, Relabel, Remove
from schemas.sheet import Sheet

__all__ = ["Slot", "Waiting", "reserved_among", "reserved_in", "send_back", "slot_of", "typed_reserved", "waiting_for"]

Slot = tuple[str | None, str, str]
"""An empty place of the sheet: appliance (None: the visit), quantity, condition (empty where it has none)."""

_TYPED = "0" * 64


@dataclass(frozen=True)
class Waiting:
    """One thing that waits for the technician: sent back by whom and when (None: reserved, and not sent back yet)."""

    text: str
    to: str
    by: str = ""
    at: datetime | None = None
    note: str = ""
    question: Question | None = None
    slot: Slot | None = None
    seq: int | None = None


def reserved_among(quantities: Iterable[str | None], sheet: Sheet) -> tuple[str, ...]:
    """Return the names of those quantities that only the technician may settle."""
    known = (sheet.quantity(one) for one in dict.fromkeys(quantities) if one is not None)
    return tuple(dict.fromkeys(one.name for one in known if one.reserved))


def reserved_in(question: Question, sheet: Sheet) -> tuple[str, ...]:
    """Return the names of the reserved quantities that a question is, or may turn out to be, about."""
    return reserved_among([*question.quantities, *(one.quantity for one in question.candidates)], sheet)


def slot_of(finding: Finding) -> Slot | None:
    """Return the empty place that a finding tells of; None for a finding of another kind."""
    if finding.verdict != "missing" or finding.quantity is None:
        return None
    return (finding.appliance, finding.quantity, finding.condition or "")


def waiting_for(job: Job, sheet: Sheet, questions: Sequence[Question], findings: Sequence[Finding]) -> list[Waiting]:
    """Return what waits for the technician of a job: all that was sent back and is open still, and what is reserved."""
    waiting = []
    sent = [(entry, entry.body) for entry in job.sent_back if isinstance(entry.body, SentBack)]
    for question in questions:
        mine = [pair for pair in sent if set(pair[1].readings) & set(question.readings)]
        if mine or reserved_in(question, sheet):
            one = Waiting(question.text, job.head.technician, question=question)
            waiting.append(_sent(one, mine))
    for finding in findings:
        slot = slot_of(finding)
        if slot is None:
            continue
        mine = [pair for pair in sent if pair[1].slot == slot]
        if mine or reserved_among([slot[1]], sheet):
            waiting.append(_sent(Waiting(finding.text, job.head.technician, slot=slot), mine))
    return waiting


def _sent(one: Waiting, mine: Sequence[tuple[Entry, SentBack]]) -> Waiting:
    if not mine:
        return one
    entry, body = mine[-1]
    return replace(one, to=body.to, by=entry.author, at=entry.at, note=body.note, seq=entry.seq)


def send_back(store: Store, number: str, sent: Sequence[Waiting], *, by: str, note: str = "") -> tuple[int, ...]:
    """Give questions and empty places back to the technician of the job; return the numbers of the entries.

    What was sent back already is not sent again.
    """
    drafts = [
        Draft(
            SentBack(
                to=one.to,
                text=one.text,
                readings=one.question.readings if one.question else (),
                slot=one.slot,
                note=note,
            ),
            by,
        )
        for one in sent
        if one.seq is None
    ]
    if not drafts:
        raise WrongUse("There is nothing to send back; it was sent back already, or settled meanwhile.")
    return tuple(entry.seq for entry in store.append(number, drafts))


def typed_reserved(store: Store, number: str, text: str) -> tuple[str, ...]:
    """Return the names of reserved quantities that a typed line would give or change a reading of.

    Raises:
        BadInput: the text is none that can be added.
    """
    job = job_of(store, number)
    sheet = sheet_of(store, job.head)
    utterance = typed_utterance(text, _TYPED)
    evidence = Evidence(sha256=_TYPED, kind="typed", media_type="text/plain", name="typed", size=1)
    filed = Filed(evidence, job.position + 1, utterances=(utterance,), read=True)
    tried = replace(job, filed=(*job.filed, filed))
    found = extract_all(tried, sheet, extract.compile_sheet(sheet), setting_of(store, job, sheet))
    touched: list[str | None] = []
    for body in found.values():
        if isinstance(body, Operated) and body.evidence == _TYPED:
            match body.operation:
                case Record(reading=reading):
                    touched.append(reading.quantity)
                    touched += [one.quantity for one in reading.alternatives]
                case Change(target=target, reading=reading):
                    touched += [reading.quantity, _quantity_of(job, target)]
                case Relabel(target=target, quantity=quantity):
                    touched += [quantity, _quantity_of(job, target)]
                case Remove(target=target):
                    touched.append(_quantity_of(job, target))
                case _:
                    pass
    return reserved_among(touched, sheet)


def _quantity_of(job: Job, reading: str) -> str | None:
    return job.rows[reading].reading.quantity if reading in job.rows else None
