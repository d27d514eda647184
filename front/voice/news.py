"""What an utterance changed in a job, as far as there is something to say about it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import extract
from extract.parse import parse
from front.voice.events import Leaving, News, Say
from front.voice.replies import Place
from front.voice.wording import Asked, Wording
from jobs.fold import Job
from jobs.questions import open_questions
from jobs.table import JobRow
from schemas.doubts import DoubtKind
from schemas.evidence import Utterance
from schemas.findings import Finding
from schemas.readings import Reading
from schemas.sheet import Sheet

__all__ = ["has_number", "last_row", "news_of", "row_of", "stops_of"]

CORRECTIONS = ("corrected", "the two were swapped", "named again", "said again")
"""Reasons for a change after which what stood there before is said too; a value read again after a turn is no news."""
FAINT_DB = 10.0
"""Speech less than so far above the noise is said back."""


def news_of(
    before: Job,
    after: Job,
    sheet: Sheet,
    wording: Wording,
    *,
    utterances: Sequence[Utterance],
    was_at: Place,
    is_at: Place,
    number: bool,
    warned: Job | None = None,
    said: Sequence[Say] = (),
) -> News:
    """Return what is different in ``after``, and what there is to say of the place that was left.

    ``warned`` is the job as it was when stops were last told, where others write to it too; ``said`` what waits to be
    said, and what may be said again.
    """
    fresh = [row for key, row in after.rows.items() if _differs(before.rows.get(key), row)]
    standing = [row for row in fresh if row.how not in ("open", "left out")]
    faint = any(one.snr_db is not None and one.snr_db < FAINT_DB for one in utterances)
    replaced = list(_replaced(fresh, wording))
    stopping = {key for one in after.findings if one.verdict == "stop" for key in one.readings}
    opened = [(one, wording.question(one, stopping)) for one in open_questions(after, sheet)]
    questions = tuple(asked for _, asked in opened if asked is not None)
    new = frozenset(row.reading.id for row in fresh if row.how == "open")
    told = {reading for asked in replaced for reading in asked.readings}
    return News(
        taken=tuple(row.reading.id for row in standing),
        said_back=tuple(
            wording.said_back(row.reading)
            for row in standing
            if row.reading.quantity and row.reading.id not in told and (faint or wording.must_say_back(row.reading))
        ),
        replaced=tuple(replaced),
        gone=tuple(_gone(before, after, fresh, wording)),
        questions=questions,
        new=new,
        shown=tuple(one.text for one, asked in opened if asked is None and new & set(one.readings)),
        elsewhere=wording.phrase("no_such_appliance") if _elsewhere(fresh, after) else "",
        stops=stops_of(warned or before, after, sheet),
        limits=tuple(_limits(before, after, wording)),
        number=number,
        left=_leaving(after, wording, questions, was_at) if _left(was_at, is_at) else None,
        renewed=tuple(_renewed(said, after, wording)),
    )


def stops_of(before: Job, after: Job, sheet: Sheet) -> tuple[tuple[str, str, bool], ...]:
    """Return what stops the work now and did not before: rule, words, and whether it was said aloud."""
    return tuple(_stops(before, after, sheet))


def has_number(utterance: Utterance, setting: extract.Setting, grammar: extract.Grammar) -> bool:
    """Say whether either recogniser heard a value, for whatever."""
    texts = [utterance.text] if utterance.second_opinion is None else [utterance.text, utterance.second_opinion]
    heard = [one for text in texts for one in parse(text, extract.start(setting), grammar).sentences]
    return any(one.values or one.moves or one.clock for one in heard)


def last_row(job: Job, wording: Wording) -> Asked | None:
    """Return the row of the place at which a value was taken last; None if none was."""
    standing = (
        row.reading for row in job.rows.values() if row.how not in ("open", "left out") and row.reading.quantity
    )
    places = [(one.appliance, one.condition or None) for one in standing]
    return row_of(job, wording, places[-1]) if places else None


def row_of(job: Job, wording: Wording, place: Place) -> Asked | None:
    """Return all that stands at a place, of each quantity the last, as one saying; None if there is nothing."""
    found = {
        (row.reading.quantity, row.reading.condition): row.reading
        for row in job.rows.values()
        if row.how not in ("open", "left out")
        and row.reading.quantity
        and (row.reading.appliance, row.reading.condition or None) == place
    }
    return wording.row(wording.place(*place), list(found.values())) if found else None


def _differs(old: JobRow | None, new: JobRow) -> bool:
    if old is None:
        return True
    names = ("quantity", "condition", "phase", "value", "unit", "appliance")
    changed = any(getattr(old.reading, name) != getattr(new.reading, name) for name in names)
    return changed or (old.how == "open") != (new.how == "open")


def _elsewhere(fresh: Sequence[JobRow], job: Job) -> bool:
    """Say whether something was read at an appliance that the job does not have: it has but one, and it is not that."""
    lacks = (doubt.kind for row in fresh if row.how == "open" for doubt in row.reading.doubts)
    return len(job.appliances) == 1 and DoubtKind.APPLIANCE_UNCLEAR in lacks


def _replaced(fresh: Sequence[JobRow], wording: Wording) -> Iterator[Asked]:
    """Yield what took the place of another value, or came to another place, because somebody was corrected.

    Each with what it was before; what moved together is said in one breath.
    """
    moved = dict[tuple[Place, Place], list[tuple[Reading, Reading]]]()
    for row in fresh:
        last = row.history[-1] if row.history else None
        if last is None or last.before is None or row.reading.quantity is None or row.how == "open":
            continue
        was, now = last.before, row.reading
        corrected = last.why in CORRECTIONS
        if (was.value, was.unit) != (now.value, now.unit):
            if corrected or last.what in ("answered", "edited"):
                yield wording.replaced(now, was)
        elif was.quantity not in (None, now.quantity):
            if corrected:
                yield wording.replaced(now, was)
        elif last.what == "labelled anew" and _is_moved(was, now):
            places = (was.appliance, was.condition), (now.appliance, now.condition)
            moved.setdefault(places, []).append((now, was))
    for readings in moved.values():
        yield wording.moved([now for now, _ in readings], readings[0][1])


def _is_moved(was: Reading, now: Reading) -> bool:
    """Say whether a reading had a place that it is not at any more."""
    return any(old and old != new for old, new in ((was.appliance, now.appliance), (was.condition, now.condition)))


def _gone(before: Job, after: Job, fresh: Sequence[JobRow], wording: Wording) -> Iterator[str]:
    """Yield what was taken back and not replaced; what a picture's value came to stand under is not gone."""
    heirs = {step.before.id for row in fresh for step in row.history if step.before is not None}
    gone = {row.reading.id: row for row in after.gone}
    for key, row in before.rows.items():
        last = gone[key].history[-1] if key in gone else None
        if key in after.rows or key in heirs or last is None or last.what != "taken back":
            continue
        one = row.reading
        yield wording.phrase("taken_back", what=wording.what(one), value=wording.of(one))


def _renewed(said: Sequence[Say], after: Job, wording: Wording) -> Iterator[tuple[Say, Say | None]]:
    """Yield what is to be said of values that do not stand so any more, and a row as it is now, else nothing."""
    for say in said:
        about = say.about
        if about is None or about.question is not None or about.limit:
            continue
        heard = {(one.reading, one.value, one.unit) for one in about.candidates}
        rows = [after.rows.get(key) for key in about.readings]
        if all(
            row and row.how != "left out" and (row.reading.id, row.reading.value, row.reading.unit) in heard
            for row in rows
        ):
            continue
        place = (about.candidates[0].appliance, about.candidates[0].condition or None)
        row = row_of(after, wording, place) if say.row else None
        yield say, None if row is None else replace(say, text=row.text, about=row)


def _limits(before: Job, after: Job, wording: Wording) -> Iterator[tuple[Asked, frozenset[str]]]:
    """Yield each limit that was quoted just now, with those before it that say the same and were not agreed to."""
    known = {one.key for one in before.limits}
    for one in after.limits:
        if one.key not in known and one.agreed is None:
            said = one.quoted.model_copy(update={"source": None})
            alike = (
                other.key
                for other in before.limits
                if other.agreed is None and other.quoted.model_copy(update={"source": None}) == said
            )
            yield wording.limit(one.key, one.quoted), frozenset(alike)


def _stops(before: Job, after: Job, sheet: Sheet) -> Iterator[tuple[str, str, bool]]:
    """Yield each stop that is not there yet: the same one said another time, or of another value, is told anew."""
    stops = {stop.id: stop for stop in sheet.stops}
    aloud = {alarm.stop for alarm in after.alarms}
    standing = [one for one in after.findings if one.verdict == "stop" and not one.past]
    told = {one.rule: one.text for one in standing if one.rule in aloud}
    sure = {alarm.stop for alarm in after.alarms if alarm.sure and alarm not in before.alarms}
    words = {
        rule: f"{stops[rule].name}. {stops[rule].say}" if rule in stops and rule in sure else text
        for rule, text in told.items()
    }
    # Findings do not tell the same words said twice apart; alarms do.
    aloud_now = [
        rule for rule in dict.fromkeys(a.stop for a in after.alarms if a not in before.alarms) if rule in words
    ]
    for rule in aloud_now:
        yield rule, words[rule], True
    stood = [one for one in before.findings if one.verdict == "stop"]
    known = {_source(one, before) for one in stood}
    told_already = {(one.rule, one.appliance) for one in stood if not one.past}
    for one in standing:
        if one.readings and _source(one, after) not in known:
            stop = stops.get(one.rule)
            if one.rule in aloud_now:
                continue  # "leak test failed" says the stop and is a value that stops the work
            if stop and (one.rule, one.appliance) in told_already:  # of a value put right: what to do was said before
                yield one.rule, f"{stop.name}.", False
            else:
                yield one.rule, f"{stop.name}. {stop.say}" if stop else one.text, False


def _source(one: Finding, job: Job) -> tuple[object, ...]:
    """Return what a stop comes of: a value that was corrected and still stops the work is another."""
    read = [(key, job.rows[key].reading) for key in one.readings if key in job.rows]
    return one.rule, one.appliance, *((key, reading.value, reading.unit) for key, reading in read)


def _left(was: Place, now: Place) -> bool:
    return was != now and was[1] is not None


def _leaving(job: Job, wording: Wording, questions: Sequence[Asked], place: Place) -> Leaving:
    rows = {key: (row.reading.appliance, row.reading.condition or None) for key, row in job.rows.items()}
    here = [
        asked
        for asked in questions
        if asked.question and any(rows.get(reading) == place for reading in asked.question.readings)
    ]
    missing = [
        one
        for one in job.findings
        if one.verdict == "missing" and one.condition == place[1] and one.appliance in (None, place[0])
    ]
    told = wording.missing(wording.place(*place), missing) if missing else ""
    return Leaving(tuple(here), told, row_of(job, wording, place))
