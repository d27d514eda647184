"""The rows of a job while its journal is folded: what extraction found, then what sources and people made of it.

Extraction's own rule (``extract.apply``) turns operations into readings. Over it stand, in this order, the weighing of
voice against photo, and what people answered and edited: extraction run again never overrides a person.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Literal

import extract
from jobs.journal import TOOL, Agreement, Answered, Edited, Entry, MovedIn, MovedUnder, Operated, Placed
from jobs.place import placed
from schemas.base import decimal_of
from schemas.doubts import Doubt, DoubtKind
from schemas.questions import Candidate
from schemas.readings import Alarm, Change, QuotedLimit, Reading, Record, Relabel, Remove

__all__ = ["NOBODY_CAN_TELL", "TAKEN_BACK", "How", "JobRow", "Passed", "Step", "Table", "operation_key"]

How = Literal["taken unasked", "agreed by voice and photo", "answered", "edited", "open", "left out", "dropped"]
"""How a reading was settled. ``open``: not yet. ``left out``: nobody can tell. ``dropped``: taken back or replaced."""

NOBODY_CAN_TELL = "nobody can tell"
"""Why a reading was left out by an answer of 'cannot tell'."""

TAKEN_BACK = "taken back"
"""What became of a reading that was taken back, by whoever said it, and not replaced."""

_BY_PERSON: tuple[How, ...] = ("answered", "edited")

_SETTLED_BY_THE_SAME_VALUE = frozenset(
    {
        DoubtKind.HEARD_UNCLEARLY,
        DoubtKind.DIGIT_UNSURE,
        DoubtKind.RUN_TOGETHER,
        DoubtKind.UNUSUAL,
        DoubtKind.SIGN_UNCLEAR,
        DoubtKind.HIDDEN,
        DoubtKind.TO_CONFIRM,
    }
)
"""Doubts about the value, settled by an independent source that gives the same value. Doubts about what it is stay."""

_SETTLED_BY_AN_EQUAL_VALUE = frozenset({DoubtKind.HEDGED, DoubtKind.VALUE_UNCLEAR, DoubtKind.CUT_OFF})
"""Doubts that say that more may belong to the value: settled only where the other source shows nothing more."""

_DONE = {"record": "recorded", "change": "replaced", "relabel": "labelled anew", "remove": TAKEN_BACK}


@dataclass(frozen=True)
class Step:
    """One thing that happened to a value: who, when, from what, to what, why."""

    seq: int
    at: datetime
    by: str
    what: str
    before: Reading | None
    after: Reading | None
    why: str = ""


@dataclass(frozen=True)
class JobRow:
    """A reading as it stands, how it was settled and by whom, and all that happened to it, oldest first.

    ``agreed_with`` is the photo's reading that stands under a spoken one.
    """

    reading: Reading
    how: How
    by: str = TOOL
    agreed_with: str | None = None
    history: tuple[Step, ...] = ()


@dataclass(frozen=True)
class Passed:
    """A reading that stood until something that was said took it away, and what stood beside it then.

    ``why`` is extraction's reason, :data:`TAKEN_BACK` without another value. ``now`` is what took its place.
    ``at_once``: in the utterance that gave it, or in the next one from which anything was read.
    """

    reading: Reading
    beside: tuple[Reading, ...]
    why: str
    now: Reading | None
    at_once: bool


def operation_key(evidence: str, number: int | None, ordinal: int) -> str:
    """Return what names an operation across runs of extraction; ``number`` is None for a picture."""
    return f"op/{evidence}/{'look' if number is None else number}/{ordinal}"


class Table:
    """Rows by reading id, in the order of the work, and what is no row: rows gone, limits quoted, alarms."""

    def __init__(self, *, away: frozenset[str] = frozenset(), moves: Sequence[Entry] = ()) -> None:
        """``away`` is evidence that was moved to another job, ``moves`` what was moved here or under an appliance."""
        self._away = away
        self._under_appliance: dict[str, tuple[int, str]] = {}  # by evidence: since which entry, and which appliance
        for entry in moves:
            if isinstance(entry.body, MovedUnder):
                self._under_appliance[entry.body.evidence] = (entry.seq, entry.body.under)
        self.rows: dict[str, JobRow] = {}
        self.gone: dict[str, JobRow] = {}
        self.quoted: dict[str, QuotedLimit] = {}
        self.alarms: list[Alarm] = []
        self.passed: list[Passed] = []
        self._breath: tuple[tuple[str, int | None] | None, int] = (None, 0)  # the utterance, and the how-many-eth
        self._stood: dict[str, JobRow] = {}  # the rows as they were before it
        self._went: dict[str, int] = {}  # and in which it went
        self._given: dict[str, int] = {}  # in the how-many-eth utterance each reading was given
        self._heir: dict[str, str] = {}  # a reading that was replaced, and what replaced it
        self._under: dict[str, str] = {}  # a photo's reading, and the one that it stands under

    def operate(self, entry: Entry, found: Operated) -> None:
        """Apply one operation of extraction's and keep what it did to each row."""
        operation = found.operation
        if isinstance(operation, Alarm):
            self.alarms.append(operation)
            return
        if isinstance(operation, QuotedLimit):
            self.quoted[operation_key(found.evidence, found.number, found.ordinal)] = operation
            return
        why = "" if isinstance(operation, Record) else operation.why
        before = self.rows
        if self._breath[0] != (found.evidence, found.number):
            self._breath, self._stood = ((found.evidence, found.number), self._breath[1] + 1), before
        if isinstance(operation, Record | Change):
            self._given[operation.reading.id] = self._breath[1]
        self._pass(operation)
        after = extract.apply((operation,), {key: row.reading for key, row in before.items()})
        replaced = {operation.reading.id: operation.target} if isinstance(operation, Change) else {}
        self._heir |= {old: new for new, old in replaced.items()}
        for key in [key for key in before if key not in after]:
            self._remove(entry, key, _DONE[operation.op], why=why)
        rows: dict[str, JobRow] = {}
        for key, reading in after.items():
            row = before.get(key) or before.get(replaced.get(key, ""))
            if row is not None and (row.reading is reading or row.reading == reading):
                rows[key] = row
            else:
                rows[key] = _moved(row, entry, reading, _how(reading), _DONE[operation.op], why=why)
        self.rows = rows

    def _pass(self, operation: Record | Change | Relabel | Remove) -> None:
        """Keep what an operation takes away as it stood; what is taken back and given anew at once is a correction."""
        breath = self._breath[1]
        new = None if isinstance(operation, Remove | Relabel) else operation.reading
        if new is not None:
            self.passed = [
                one
                for one in self.passed
                if one.now is not None or breath - self._went[one.reading.id] > 1 or not _may_be_of(new, one.reading)
            ]
        if isinstance(operation, Record | Relabel) or operation.target not in self.rows:
            return
        old = self.rows[operation.target].reading
        beside = {key: row.reading for key, row in self._stood.items()} | {old.id: old}
        at_once = breath - self._given.get(old.id, 0) <= 1
        why = operation.why if new is not None else TAKEN_BACK
        self._went[old.id] = breath
        self.passed.append(Passed(old, tuple(beside.values()), why, new, at_once))

    def tell_move(self, entry: Entry) -> None:
        """Keep in the history of each reading of a piece of evidence that a person moved it, and from where."""
        assert isinstance(entry.body, MovedIn | MovedUnder)
        evidence, what = _move_of(entry.body)
        for row in (*self.rows.values(), *self.gone.values()):
            if row.reading.source.evidence == evidence:
                step = Step(entry.seq, entry.at, entry.author, what, None, row.reading, entry.body.why)
                told = replace(row, history=(*row.history, step))
                (self.rows if row.reading.id in self.rows else self.gone)[row.reading.id] = told

    def ask_about_move(self, entry: Entry) -> None:
        """Ask about the readings that only the technician may settle, where somebody else moved their evidence."""
        assert isinstance(entry.body, MovedIn | MovedUnder)
        evidence, what = _move_of(entry.body)
        for row in list(self.rows.values()):
            one = row.reading
            asked = row.how == "taken unasked" or (row.how in _BY_PERSON and row.history[-1].seq <= entry.seq)
            if one.source.evidence == evidence and one.quantity in entry.body.confirm and asked:
                self._doubt(row, DoubtKind.TO_CONFIRM, f"it was {what} by {entry.author}")

    def place(self, entry: Entry, found: Placed) -> None:
        """Give a picture's readings their place, or raise the doubt that it is not known."""
        for reading in placed([row.reading for row in self.rows.values()], found):
            row = self.rows[reading.id]
            if row.reading is not reading:
                self.rows[reading.id] = _moved(row, entry, reading, _how(reading), "placed", why=found.why)

    def agree(self, entry: Entry, weighed: Agreement) -> None:
        """Put the photo's reading under the one that stands, or raise the doubt that the two disagree."""
        stands, under = self.rows.get(weighed.stands), self.rows.get(weighed.under)
        if stands is None or under is None:
            return
        if weighed.outcome == "apart":
            doubt = Doubt(kind=DoubtKind.SOURCES_DISAGREE, detail=weighed.why)
            for row, other in ((stands, under), (under, stands)):
                new = _with(row.reading, doubts=(*row.reading.doubts, doubt), asked_with=other.reading.id)
                self.rows[new.id] = _moved(row, entry, new, "open", "disagrees", why=weighed.why)
            return
        if weighed.by == "voice":
            self._agree_with_photo(entry, weighed, stands, under)
        self._under[weighed.under] = weighed.stands
        what = "stands under the spoken value" if weighed.by == "voice" else "stands under another photo's value"
        self._remove(entry, weighed.under, what, why=weighed.why)

    def _agree_with_photo(self, entry: Entry, weighed: Agreement, spoken: JobRow, shown: JobRow) -> None:
        old, passed = spoken.reading, "agreed with photo"
        if weighed.outcome == "same":
            equal = weighed.difference is None or decimal_of(weighed.difference) == 0
            settled = _SETTLED_BY_THE_SAME_VALUE | (_SETTLED_BY_AN_EQUAL_VALUE if equal else frozenset())
            kept = tuple(doubt for doubt in old.doubts if doubt.kind not in settled)
            new = _with(old, doubts=kept, passed=(*old.passed, passed))
        else:
            new = _with(old, passed=(*old.passed, passed)) if shown.reading.taken else old
        how: How = "agreed by voice and photo" if passed in new.passed else "taken unasked"
        moved = _moved(spoken, entry, new, "open" if new.doubts else how, passed, why=weighed.why)
        self.rows[new.id] = replace(moved, agreed_with=weighed.under)

    def settle(self, entry: Entry) -> None:
        """Let an answer or an edit of a person's stand over what was extracted."""
        match entry.body:
            case Answered(question=question, answer=answer, before=before):
                given = {candidate.reading: candidate for candidate in answer.settled}
                then = {reading.id: reading for reading in before}
                slots = {_slot(one) for one in before if one.quantity is not None}
                elsewhere = bool(given) and len(slots) == 1 and slots.isdisjoint(_slot(one) for one in given.values())
                for key in question.readings:
                    if then[key].source.evidence in self._away:
                        continue  # that went with it to the other job
                    if key in given:
                        self._put(entry, then[key], given[key], "answered", answer.by, answer.how)
                    elif answer.how == "cannot tell":
                        self._leave_out(entry, key, answer.by, NOBODY_CAN_TELL)
                    elif not question.alike and not elsewhere:
                        # A figure that has no place where its picture belongs stays open; so does the other of two
                        # values of one slot where the answer puts the one of them in another slot.
                        self._drop(entry, key, answer.by)
            case Edited(before=then) if then.source.evidence in self._away:
                pass
            case MovedIn(carried=carried, origin=origin):
                for one in carried:
                    if one.after is None:
                        self._leave_out(entry, one.before.id, one.by, f"put aside in job {origin}")
                    else:
                        self._put(entry, one.before, one.after, one.how, one.by, f"settled in job {origin}")
            case Edited(before=then, after=None, why=why):
                self._leave_out(entry, then.id, entry.author, why)
            case Edited(before=then, after=Candidate() as candidate, why=why):
                self._put(entry, then, candidate, "edited", entry.author, why)
            case _:
                pass

    def ask_about_shared_slots(self) -> None:
        """Raise a doubt where a person put a second, different value into one slot: one of the two is wrong.

        Both are asked about in one question, whose answer drops the other: asked one by one, each answer would only
        raise the doubt about the other.
        """
        slots: dict[tuple[object, ...], list[JobRow]] = {}
        for row in self.rows.values():
            one = row.reading
            if row.how not in ("left out", "open"):
                slots.setdefault(_slot(one), []).append(row)
        for rows in slots.values():
            by_person = [row for row in rows if row.how in _BY_PERSON]
            if by_person and len({(row.reading.value, row.reading.unit) for row in rows}) > 1:
                last = max(by_person, key=lambda row: row.history[-1].seq)
                for row in rows:
                    if row is not last:
                        told = f"{last.by} gave {last.reading.value} for the same"
                        self._doubt(row, DoubtKind.CONFLICT, told, with_=last.reading.id)
                others = [row.reading.value for row in rows if row is not last]
                told = f"{' and '.join(others)} {'were' if len(others) > 1 else 'was'} given for the same"
                self._doubt(last, DoubtKind.CONFLICT, told)

    def _put(self, entry: Entry, then: Reading, candidate: Candidate, how: How, by: str, why: str) -> None:
        """Settle a reading, which stood as ``then`` when the person saw it, as a person says.

        What comes to light later never overrides the person, and is never passed over either: where it says something
        else than both what stood then and what the person made of it, that is asked.
        """
        since, under = self._under_appliance.get(then.source.evidence, (0, ""))
        if entry.seq < since and candidate.appliance is not None:
            # What was said of it before it was moved is said of the appliance that it was moved to.
            then, candidate = _with(then, appliance=under), candidate.model_copy(update={"appliance": under})
        key, said = candidate.reading, f"{by} gave {candidate.value}"
        successor = self.rows.get(self._heir.get(key) or self._under.get(key, ""))
        if successor is not None:
            if successor.how not in _BY_PERSON and not _same(successor.reading, candidate):
                self._doubt(successor, DoubtKind.CONFLICT, f"{said} before this was found")
            return
        gone = self.gone.pop(key, None)
        row = self.rows.get(key) or gone
        now = row.reading if row else then
        if candidate.phase == then.phase:  # a turn of a screw that came later tells what was before it, not the person
            then, candidate = _with(then, phase=now.phase), candidate.model_copy(update={"phase": now.phase})
        new = Reading(
            id=key,
            quantity=candidate.quantity,
            condition=candidate.condition,
            phase=candidate.phase,
            value=candidate.value,
            unit=candidate.unit,
            appliance=candidate.appliance,
            approx=_approx(candidate, now),
            note=now.note if candidate.note is None else candidate.note,
            source=now.source,
            alternatives=now.alternatives,
            passed=(*now.passed, f"{how} by a person"),
        )
        self.rows[key] = _moved(row, entry, new, how, how, by=by, why=why)
        if gone is not None and gone.history[-1].seq > entry.seq:
            self._doubt(self.rows[key], DoubtKind.CONFLICT, f"{said}, and it was taken back later")
        elif not _same(now, then) and not _same(now, candidate) and (row is None or row.how not in _BY_PERSON):
            self._doubt(self.rows[key], DoubtKind.CONFLICT, f"{said}, and {now.value} was found later")

    def _drop(self, entry: Entry, key: str, by: str) -> None:
        if key in self.rows:
            self._remove(entry, key, "answered as wrong", by=by)
        else:
            self._ask_about_successor(key, f"{by} said that what stood here was wrong, before this was found")

    def _ask_about_successor(self, key: str, told: str) -> None:
        """What took a reading's place after a person had put it aside is asked about, never taken in silence."""
        successor = self.rows.get(self._heir.get(key) or self._under.get(key, ""))
        if successor is not None and successor.how not in _BY_PERSON:
            self._doubt(successor, DoubtKind.CONFLICT, told)

    def _leave_out(self, entry: Entry, key: str, by: str, why: str) -> None:
        if key not in self.rows:
            self._ask_about_successor(key, f"{by} left out what stood here, before this was found")
        if key in self.rows:
            row = self.rows[key]
            self.rows[key] = _moved(row, entry, row.reading, "left out", "left out", by=by, why=why)

    def _remove(self, entry: Entry, key: str, what: str, *, by: str | None = None, why: str = "") -> None:
        row = self.rows[key]
        step = Step(entry.seq, entry.at, by or entry.author, what, row.reading, None, why)
        self.gone[key] = replace(row, how="dropped", by=step.by, history=(*row.history, step))
        self.rows = {k: v for k, v in self.rows.items() if k != key}

    def _doubt(self, row: JobRow, kind: DoubtKind, detail: str, with_: str | None = None) -> None:
        told = {"doubts": (*row.reading.doubts, Doubt(kind=kind, detail=detail))}
        asked_with = {"asked_with": with_} if with_ else {}
        self.rows[row.reading.id] = replace(row, reading=_with(row.reading, **told, **asked_with), how="open")


def _move_of(body: MovedIn | MovedUnder) -> tuple[str, str]:
    """Return the evidence that was moved, and the move in words."""
    if isinstance(body, MovedUnder):
        return body.evidence, f"moved to {body.under}"
    return body.evidence.sha256, f"moved here from job {body.origin}"


def _slot(one: Reading | Candidate) -> tuple[str | None, ...]:
    """Return where on the sheet a reading stands."""
    return one.appliance, one.quantity, one.condition, one.phase


def _may_be_of(new: Reading, old: Reading) -> bool:
    """Say whether a value may be another one for what was taken back: of the same quantity, and of no other place."""
    places = ((new.condition, old.condition), (new.appliance, old.appliance))
    return new.quantity == old.quantity and all(None in pair or pair[0] == pair[1] for pair in places)


def _same(one: Reading, other: Reading | Candidate) -> bool:
    """Say whether both give the same value of the same thing."""
    return other.note in (None, one.note) and all(getattr(one, name) == getattr(other, name) for name in _TOLD)


def _approx(candidate: Candidate, now: Reading) -> bool:
    """Say whether a settled value is about right: as the person says, else as it was said, if it is the same value."""
    if candidate.approx is not None:
        return candidate.approx
    return now.approx and (candidate.value, candidate.unit) == (now.value, now.unit)


_TOLD = ("quantity", "condition", "phase", "value", "unit", "appliance")


def _how(reading: Reading) -> How:
    return "taken unasked" if reading.taken else "open"


def _with(reading: Reading, **changes: Any) -> Reading:
    return reading.model_copy(update=changes)


def _moved(
    row: JobRow | None, entry: Entry, new: Reading, how: How, what: str, *, by: str | None = None, why: str = ""
) -> JobRow:
    """Return a row with a new reading, and one more step in its history."""
    step = Step(entry.seq, entry.at, by or entry.author, what, row.reading if row else None, new, why)
    return JobRow(new, how, step.by, row.agreed_with if row else None, (*(row.history if row else ()), step))
