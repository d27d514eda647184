"""What stops the work on a job, what stopped it before, and which of it somebody has recorded to have dealt with."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from checks.words import ended, named, slot_name
from extract import MEASURED_ANEW
from jobs.fold import Job
from jobs.journal import StopDealtWith
from jobs.table import TAKEN_BACK, Passed
from schemas.findings import Finding
from schemas.readings import Reading, Source
from schemas.sheet import Sheet

__all__ = ["Dealt", "Judge", "StopOfJob", "past_stops", "stops_of", "undealt", "was_put_right", "words_meet"]

Judge = Callable[[Sequence[Reading]], Iterable[Finding]]
"""Gives the stops of some readings by what is known of one appliance."""


@dataclass(frozen=True)
class Dealt:
    """What was done about a stop, and who recorded it when."""

    what: str
    by: str
    at: datetime

    @property
    def told(self) -> str:
        """What was done, by whom and when, as it is shown."""
        return f"{self.what} ({self.by}, {self.at:%Y-%m-%d %H:%M %z})"


@dataclass(frozen=True)
class StopOfJob:
    """A stop as it is told once, however often the same words were said, or the same was read and stood no longer.

    ``open`` are the marks of the findings that nobody has dealt with yet, ``done`` is what was done about the others.
    ``together`` are the marks of all stops of the same cause that are open: one word on what was done covers them.
    """

    finding: Finding
    open: tuple[str, ...]
    done: tuple[Dealt, ...]
    together: tuple[str, ...] = ()

    @property
    def mark(self) -> str:
        """A short name for what is open of its cause now, the same for all stops of the cause."""
        return hashlib.sha256(" ".join(sorted(self.together)).encode()).hexdigest()[:8]


def stops_of(job: Job, findings: Iterable[Finding]) -> tuple[StopOfJob, ...]:
    """Return the stops among some findings on a job, in their order; those that stood before behind the others."""
    done = {mark: dealt for dealt, covers in _dealt(job) for mark in covers}
    told: dict[object, list[Finding]] = {}
    of_slot: dict[object, object] = {}
    for one in sorted((one for one in findings if one.verdict == "stop"), key=lambda one: one.past):
        slot = one.rule, one.appliance, one.quantity, one.condition
        key = of_slot.get(slot, slot) if one.past else (one.rule, one.text, one.appliance)
        if one.value:
            of_slot.setdefault(slot, key)
        told.setdefault(key, []).append(one)
    stops = [
        StopOfJob(
            _shown(same, done),
            tuple(dict.fromkeys(one.mark for one in same if one.mark not in done)),
            tuple(dict.fromkeys(done[one.mark] for one in same if one.mark in done)),
        )
        for same in told.values()
    ]
    causes = _causes(job, list(told.values()))
    marks: dict[int, list[str]] = {}
    for stop, cause in zip(stops, causes, strict=True):
        marks.setdefault(cause, []).extend(stop.open)
    return tuple(
        replace(stop, together=tuple(dict.fromkeys((*stop.open, *marks[cause]))) if stop.open else ())
        for stop, cause in zip(stops, causes, strict=True)
    )


def _dealt(job: Job) -> Iterator[tuple[Dealt, tuple[str, ...]]]:
    for entry in job.dealt_with:
        assert isinstance(entry.body, StopDealtWith)
        yield Dealt(entry.body.what, entry.author, entry.at), entry.body.covers


def _shown(same: Sequence[Finding], done: Mapping[str, Dealt]) -> Finding:
    """Return the finding that a stop is told by: of those that nobody has dealt with, else of all, what stands, or
    stood last; with the other values that stood."""
    left = [one for one in same if one.mark not in done] or same
    shown = next((one for one in reversed(left) if not one.past), left[-1])
    others = dict.fromkeys(one.value.removeprefix("is ") for one in left if one.past and one is not shown)
    before = [value for value in others if value != shown.value.removeprefix("is ")]
    return shown.model_copy(update={"text": f"{shown.text} Before: {ended('; '.join(before))}"}) if before else shown


def _causes(job: Job, stops: Sequence[Sequence[Finding]]) -> list[int]:
    """Return a number for each stop, the same for stops of one cause, of one appliance: those on a reading that they
    share or that took the place of another's, or on readings of one utterance, and what such a reading's words say."""
    causes: list[int] = []
    seen: dict[object, int] = {}
    known = {row.reading.id: row.reading for row in (*job.gone, *job.rows.values())}
    first: dict[str, str] = {}
    for step in job.passed:
        if step.now is not None and step.why in MEASURED_ANEW:
            first[step.now.id] = first.get(step.reading.id, step.reading.id)
    for place, same in enumerate(stops):
        signs: list[object] = []
        for one in same:
            mine = [known[key] for key in one.readings if key in known]
            signs += [(first.get(key, key), one.appliance) for key in one.readings]
            signs += [
                (each.source.evidence, each.source.utterance, one.appliance)
                for each in mine
                if each.source.utterance is not None
            ]
            told = [each for each in known.values() if one.said is not None and words_meet(one.said, each.source)]
            if len({each.appliance for each in told}) == 1:
                signs += [(first.get(each.id, each.id), each.appliance) for each in told]
        met = sorted({seen[sign] for sign in signs if sign in seen})
        cause = met[0] if met else place
        causes = [cause if other in met else other for other in causes] + [cause]
        seen = {sign: cause if other in met else other for sign, other in seen.items()}
        seen |= dict.fromkeys(signs, cause)
    return causes


def words_meet(one: Source, other: Source) -> bool:
    """Say whether two things were said with some of the same words."""
    if one.utterance is None or one.span is None or other.span is None:
        return False
    same = (one.evidence, one.utterance) == (other.evidence, other.utterance)
    return same and one.span[0] < other.span[1] and other.span[0] < one.span[1]


def undealt(job: Job, findings: Iterable[Finding]) -> tuple[StopOfJob, ...]:
    """Return the stops that nobody has dealt with, or not with all that is known of them."""
    return tuple(one for one in stops_of(job, findings) if one.open)


def past_stops(job: Job, sheet: Sheet, judges: Sequence[Judge]) -> Iterator[Finding]:
    """Yield the stops of values that were true in their time and stand no longer, each once.

    CO that was 500 ppm before a screw was turned, or ambient CO that was 40 ppm and is 2 ppm now, stopped the work:
    that it is gone does not say what was done. A value that was corrected, or answered at a question, was none.
    Each is judged with what stood beside it in its time, by ``judges``, who know the appliances.
    """
    stops = {stop.id: stop.name for stop in sheet.stops}
    moves = {quantity.id for quantity in sheet.quantities if quantity.kind == "move"}
    dealt = {mark for _, covers in _dealt(job) for mark in covers}
    # What fell is told by two conditions together.
    fallen = {quantity for stop in sheet.stops if stop.cooled_with for quantity in (stop.quantity, stop.cooled_with)}
    standing = {(one.rule, one.readings, one.value) for judge in judges for one in judge(job.readings)}
    found: dict[tuple[str | None, ...], tuple[Finding, str]] = {}
    judged: dict[object, list[Finding]] = {}  # a whole row goes in one utterance
    for gone, beside, now in _gone(job, sheet):
        here = (gone.condition, "", None)
        row = [one for one in beside if one.condition in here or one.quantity in fallen]
        row = [one for one in row if one.quantity not in moves]
        key_of_row = tuple((one.id, one.quantity, one.value, one.phase, len(one.doubts)) for one in row)
        if key_of_row not in judged:
            judged[key_of_row] = [one for judge in judges for one in judge(row)]
        for one in judged[key_of_row]:
            if gone.id not in one.readings or (one.rule, one.readings, one.value) in standing:
                continue
            # Of a row that is read anew value by value, the stop is told as the row was together, or as somebody has
            # dealt with it.
            key = one.rule, one.quantity, one.readings[0], one.appliance
            if key not in found or (one.mark in dealt and found[key][0].mark not in dealt):
                found[key] = one, now
    for one, now in found.values():
        was = f"{slot_name(sheet, one.quantity, one.condition or '')} {one.value}" if one.quantity else one.text
        text = f"{stops.get(one.rule, '')}. This stood: {ended(was)}" if one.value else one.text
        yield one.model_copy(update={"text": f"{text} {now}", "past": True})


def _gone(job: Job, sheet: Sheet) -> Iterator[tuple[Reading, Sequence[Reading], str]]:
    """Yield each reading that was taken away and not put right, with what stood beside it, and what became of it."""
    for one in job.passed:
        if not was_put_right(one):
            stood = [now for each in one.beside if (now := job.as_settled(each)) is not None]
            mine = next((each for each in stood if each.id == one.reading.id), None)
            if mine is not None:
                yield mine, stood, _since(job, sheet, one)
    for row in job.rows.values():
        if row.how == "left out":
            why = row.history[-1].why
            yield row.reading, (*job.readings, row.reading), f"It was left out by {row.by}: {ended(why)}"


def was_put_right(one: Passed) -> bool:
    """Say whether a value was given up as not what was read; a value that was measured anew was true in its time."""
    if one.why in (*MEASURED_ANEW, TAKEN_BACK):
        return False
    old = one.reading
    if one.why not in ("said again", "said again, clearly") or one.now is None or one.now.value == old.value:
        return True
    values = {old.value, *(way.value for way in old.alternatives)}
    return not old.taken and (one.at_once or one.now.value in values)


def _since(job: Job, sheet: Sheet, one: Passed) -> str:
    """Say what became of a reading: what stands in its place now, or that it was taken back."""
    if one.now is None:
        return "It was taken back."
    slot = one.now.quantity, one.now.condition, one.now.appliance
    here = [each for each in job.readings if (each.quantity, each.condition, each.appliance) == slot]
    now = here[-1] if here else one.now
    return f"Told since: {ended(named(sheet, now))}" if now.quantity else ""
