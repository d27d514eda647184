"""What people did with a job, in words: one line an entry, as history, notices and the report tell it."""

from __future__ import annotations

from collections.abc import Iterable

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
    FileGiven,
    HeadChanged,
    HeadFacts,
    Heard,
    HeardAll,
    LimitReadBack,
    MovedIn,
    MovedOut,
    MovedUnder,
    Reopened,
    Seen,
    SentBack,
    Signed,
    StopDealtWith,
    Undone,
)
from jobs.show import name_of, place_of, say_note, say_reading, say_value
from schemas.evidence import Evidence, Utterance
from schemas.job import Instrument
from schemas.questions import Candidate
from schemas.readings import Reading
from schemas.sheet import Sheet

__all__ = ["decided", "names_in", "whole"]


def names_in(entries: Iterable[Entry]) -> dict[str, str]:
    """Return the name of each piece of evidence that was ever in a job, by hash; a typed line is quoted."""
    names: dict[str, str] = {}
    for entry in entries:
        match entry.body:
            case EvidenceAdded(evidence=evidence):
                names[evidence.sha256] = _name(evidence)
            case MovedIn(evidence=evidence, utterances=utterances):
                names[evidence.sha256] = _name(evidence, utterances)
            case Heard(utterance=utterance) if names.get(utterance.evidence) == _TYPED:
                names[utterance.evidence] = f"{_TYPED} {_quoted(utterance)}"
            case _:
                pass
    return names


_TYPED = "a typed line"
_LONGEST = 120
"""Letters of a typed line that are quoted."""


def _name(one: Evidence, utterances: Iterable[Utterance] = ()) -> str:
    if one.kind != "typed":
        return one.name
    return " ".join([_TYPED, *(_quoted(said) for said in utterances)])


def _quoted(said: Utterance) -> str:
    return f"“{said.text if len(said.text) <= _LONGEST else said.text[: _LONGEST - 1] + '…'}”"


def whole(one: Reading | None, job: Job, sheet: Sheet) -> str:
    """Return a reading with its name, value and place; empty for None."""
    if one is None:
        return ""
    place = place_of(one, sheet, appliance=len(job.appliances) > 1)
    return f"{name_of(one, sheet)} {say_reading(one, sheet)}{f' ({place})' if place else ''}"


def decided(entry: Entry, job: Job, sheet: Sheet, names: dict[str, str]) -> str:
    """Return in words what an entry says that a person did, or that a file was read; empty for all else.

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
        case HeadChanged(before=before, after=after, why=why):
            return f"{'; '.join(_put_right(before, after))}: {why}"
        case FileGiven(appliance=tag, file=file, file_sha256=sha256, why=why):
            return f"gave {tag} the appliance file {file} (SHA-256 {sha256[:16]}…): {why}"
        case SentBack(to=to, text=text):
            return f"sent back to {to}: {text}"
        case DoesNotApply(slot=slot):
            return f"noted that {sheet.quantity(slot.quantity).name} does not apply: {slot.reason}"
        case StopDealtWith(stop=stop, what=what):
            return f"recorded what was done about the stop {stop.replace('_', ' ')}: {what}"
        case LimitReadBack(agreed=agreed):
            return "agreed to a quoted limit" if agreed else "refused a quoted limit"
        case EvidenceAdded(evidence=evidence) if entry.author != TOOL:
            return f"added {names.get(evidence.sha256, _name(evidence))}"
        case ClockSet(evidence=sha256, why=why) if entry.author != TOOL:
            return f"set the time of {names.get(sha256, 'a file')}: {why}"
        case Blanked(evidence=sha256, start=start, end=end, why=why):
            return f"blanked {names.get(sha256, 'a file')} from {start:g} to {end:g} s: {why}"
        case MovedUnder(evidence=sha256, under=under, why=why):
            return f"moved {names.get(sha256, 'a file')} to {under}: {why}"
        case MovedOut(evidence=sha256, to=to, why=why):
            return f"moved {names.get(sha256, 'a file')} to job {to}: {why}"
        case MovedIn(evidence=evidence, utterances=said, origin=origin, why=why):
            return f"moved {_name(evidence, said)} here from job {origin}: {why}"
        case HeardAll(evidence=sha256) if not names.get(sha256, "").startswith(_TYPED):
            return f"heard {names.get(sha256, 'a file')} to its end"
        case Seen(look=look):
            return f"looked at {names.get(look.evidence, 'a file')}"
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


def _put_right(before: HeadFacts, after: HeadFacts) -> Iterable[str]:
    for name in ("site", "customer"):
        was, now = getattr(before, name), getattr(after, name)
        if was != now:
            yield f"changed the {name} from {f'“{was}”' if was else 'nothing'} to {f'“{now}”' if now else 'nothing'}"
    known, here = ([_instrument(one) for one in facts.instruments] for facts in (before, after))
    if gone := [one for one in known if one not in here]:
        yield f"took away {', '.join(gone)}"
    if new := [one for one in here if one not in known]:
        yield f"entered {', '.join(new)}"


def _instrument(one: Instrument) -> str:
    told = [one.serial, f"calibrated {one.calibrated}" if one.calibrated else "", f"due {one.due}" if one.due else ""]
    return " ".join([f"the {one.kind if one.kind != 'other' else 'instrument'} {one.name}", *(p for p in told if p)])


def _given(one: Candidate, sheet: Sheet) -> str:
    about = "about " if one.approx else ""
    note = f" ({say_note(one.note, sheet)})" if one.note else ""
    return f"{sheet.quantity(one.quantity).name} {about}{say_value(one.value, one.unit, sheet, one.quantity)}{note}"
