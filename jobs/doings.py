"""What people did with a job, in words: one line an entry, as history, notices and the report tell it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from jobs.fold import Job
from jobs.journal import (
    TOOL,
    Answered,
    Blanked,
    ClockSet,
    Closed,
    DoesNotApply,
    Edited,
    Entry,
    EvidenceAdded,
    LimitReadBack,
    MovedIn,
    MovedOut,
    MovedUnder,
    Reopened,
    SentBack,
    Signed,
    StopDealtWith,
    Undone,
)
from jobs.show import name_of, place_of, say_reading, say_value
from schemas.evidence import Evidence
from schemas.questions import Candidate
from schemas.readings import Reading
from schemas.sheet import Sheet

__all__ = ["decided", "names_in", "whole"]


def names_in(entries: Iterable[Entry]) -> dict[str, str]:
    """Return the name of each piece of evidence that was ever in a job, by hash."""
    return dict(_names(entries))


def _names(entries: Iterable[Entry]) -> Iterator[tuple[str, str]]:
    for entry in entries:
        if isinstance(entry.body, EvidenceAdded | MovedIn):
            yield entry.body.evidence.sha256, _name(entry.body.evidence)


def _name(one: Evidence) -> str:
    return "a typed line" if one.kind == "typed" else one.name


def whole(one: Reading | None, job: Job, sheet: Sheet) -> str:
    """Return a reading with its name, value and place; empty for None."""
    if one is None:
        return ""
    place = place_of(one, sheet, appliance=len(job.appliances) > 1)
    return f"{name_of(one, sheet)} {say_reading(one, sheet)}{f' ({place})' if place else ''}"


def decided(entry: Entry, job: Job, sheet: Sheet, names: dict[str, str]) -> str:
    """Return in words what an entry says that a person did; empty for what no person did.

    ``names`` are those of the evidence, as :func:`names_in` gives them.
    """
    match entry.body:
        case Answered(question=question, answer=answer):
            if answer.how == "cannot tell":
                return f"said that nobody can tell: {question.text}"
            told = ", ".join(_given(one, sheet) for one in answer.settled)
            return f"answered {told or 'that it is wrong'} ({question.text})"
        case Edited(before=before, after=None, why=why):
            return f"left out {whole(before, job, sheet)}: {why}"
        case Edited(before=before, after=Candidate() as after, why=why):
            return f"changed {whole(before, job, sheet)} to {_given(after, sheet)}: {why}"
        case SentBack(to=to, text=text):
            return f"sent back to {to}: {text}"
        case DoesNotApply(slot=slot):
            return f"noted that {sheet.quantity(slot.quantity).name} does not apply: {slot.reason}"
        case StopDealtWith(stop=stop, what=what):
            return f"recorded what was done about the stop {stop.replace('_', ' ')}: {what}"
        case LimitReadBack(agreed=agreed):
            return "agreed to a quoted limit" if agreed else "refused a quoted limit"
        case EvidenceAdded(evidence=evidence) if entry.author != TOOL:
            return f"added {_name(evidence)}"
        case ClockSet(evidence=sha256, why=why) if entry.author != TOOL:
            return f"set the time of {names.get(sha256, 'a file')}: {why}"
        case Blanked(evidence=sha256, start=start, end=end, why=why):
            return f"blanked {names.get(sha256, 'a file')} from {start:g} to {end:g} s: {why}"
        case MovedUnder(evidence=sha256, under=under, why=why):
            return f"moved {names.get(sha256, 'a file')} to {under}: {why}"
        case MovedOut(evidence=sha256, to=to, why=why):
            return f"moved {names.get(sha256, 'a file')} to job {to}: {why}"
        case MovedIn(evidence=evidence, origin=origin, why=why):
            return f"moved {_name(evidence)} here from job {origin}: {why}"
        case Undone(seq=seq, why=why):
            return f"took back entry {seq}{f': {why}' if why else ''}"
        case Closed(open=left, why=why):
            return f"closed the job{f' with {left} open: {why}' if left else ''}"
        case Reopened(why=why):
            return f"opened the job again: {why}"
        case Signed(name=name, role=role, head=head, position=position):
            signer = "" if name == entry.author else f" by {name}"
            return f"had the record with hash {head[:16]} (entry {position}) signed{signer} for the {role}"
        case _:
            return ""


def _given(one: Candidate, sheet: Sheet) -> str:
    return f"{sheet.quantity(one.quantity).name} {say_value(one.value, one.unit, sheet, one.quantity)}"
