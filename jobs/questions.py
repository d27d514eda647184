"""What a person is asked: one short question for each open reading, or for two or three that hang together.

Questions are worked out from the job each time; nothing is stored. A question's id changes with the readings that it
is about, so that an answer to what has changed since is recognised.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence

from jobs.fold import Job
from jobs.journal import canonical
from jobs.nameless import allowed, told_the_same
from jobs.show import name_of, phase_words, place_of, say_note, say_value
from jobs.table import JobRow
from schemas.doubts import DoubtKind
from schemas.questions import Candidate, Question
from schemas.readings import Alternative, Reading
from schemas.sheet import Sheet

__all__ = ["MOST_CANDIDATES", "TURN_WAYS", "open_questions"]

MOST_CANDIDATES = 6
"""As many likely answers are offered; anything else is typed."""

TURN_WAYS = ("cw", "ccw")
"""Clockwise and counterclockwise, as they stand behind the screw in the note of a turn."""

_MOST_READINGS = 3
_PLACE = {DoubtKind.CONDITION_UNCLEAR, DoubtKind.APPLIANCE_UNCLEAR}
_ASKABLE = ("open", "taken unasked", "agreed by voice and photo")
"""Rows that a question may be about; what a person settled is asked about only with a new doubt."""

# What is asked first where a reading has several doubts: what it is comes before how much it is.
_ORDER = (
    DoubtKind.RELATION,
    DoubtKind.SOURCES_DISAGREE,
    DoubtKind.CONFLICT,
    DoubtKind.QUANTITY_UNCLEAR,
    DoubtKind.APPLIANCE_UNCLEAR,
    DoubtKind.CONDITION_UNCLEAR,
    DoubtKind.LIMIT_QUOTED,
    DoubtKind.RUN_TOGETHER,
    DoubtKind.IMPOSSIBLE,
    DoubtKind.RANGE,
    DoubtKind.HEDGED,
    DoubtKind.CUT_OFF,
    DoubtKind.HIDDEN,
    DoubtKind.SIGN_UNCLEAR,
    DoubtKind.UNIT_UNCLEAR,
    DoubtKind.SCREW_UNCLEAR,
    DoubtKind.DIRECTION_UNCLEAR,
    DoubtKind.VALUE_UNCLEAR,
    DoubtKind.DIGIT_UNSURE,
    DoubtKind.HEARD_UNCLEARLY,
    DoubtKind.UNUSUAL,
    DoubtKind.CORRECTED_AFTER_USE,
    DoubtKind.TO_CONFIRM,
)

# {what} is the quantity and {value} the value with its unit; {or_} the likeliest answers, as far as they differ in what
# is asked; {detail} the particulars of the doubt, as a sentence.
_ONE = {
    DoubtKind.RELATION: "{what} {value} does not fit the other readings. {detail}What is it?",
    DoubtKind.SOURCES_DISAGREE: "{what}: {detail}Which one stands?",
    DoubtKind.CONFLICT: "{what} {value}. {detail}Which one stands?",
    DoubtKind.QUANTITY_UNCLEAR: "{value}: {or_}?",
    DoubtKind.APPLIANCE_UNCLEAR: "{what} {value}: {or_}?",
    DoubtKind.CONDITION_UNCLEAR: "{what} {value}: {or_}?",
    DoubtKind.LIMIT_QUOTED: "{what} {value}: a reading, or a limit?",
    DoubtKind.RUN_TOGETHER: "{what}: {or_}?",
    DoubtKind.IMPOSSIBLE: "{what} {value} cannot be. What is it?",
    DoubtKind.RANGE: "{what}: which one value? {heard}",
    DoubtKind.HEDGED: "{what}: what is it exactly? {heard}",
    DoubtKind.CUT_OFF: "{what}: what is the whole value? {heard}",
    DoubtKind.HIDDEN: "{what} {value}: part of the display is hidden. Is that all of it?",
    DoubtKind.SIGN_UNCLEAR: "{what}: {or_}?",
    DoubtKind.UNIT_UNCLEAR: "{what}: {or_}?",
    DoubtKind.SCREW_UNCLEAR: "{what} {value}: which screw?",
    DoubtKind.DIRECTION_UNCLEAR: "{what} {value}: which way?",
    DoubtKind.VALUE_UNCLEAR: "{what}: {or_}?",
    DoubtKind.DIGIT_UNSURE: "{what}: {or_}?",
    DoubtKind.HEARD_UNCLEARLY: "{what}: {or_}?",
    DoubtKind.UNUSUAL: "{what} {value} is unusual. Is it right?",
    DoubtKind.CORRECTED_AFTER_USE: "{what} {value}. {detail}Is it right?",
    DoubtKind.TO_CONFIRM: "{what} {value}. Right?",
}
assert set(_ONE) == set(_ORDER) == set(DoubtKind)

_SEVERAL = {
    DoubtKind.RELATION: "{all} cannot {both} be right. Which one stands?",
    DoubtKind.SOURCES_DISAGREE: "{detail}Which one stands?",
    DoubtKind.CONFLICT: "{all} were both given. Which one stands?",
    DoubtKind.RUN_TOGETHER: "{all}: is that right?",
}


def open_questions(job: Job, sheet: Sheet) -> tuple[Question, ...]:
    """Return what is open, in the order of the work. Each names at most three readings."""
    several = len(job.appliances) > 1
    alike = _alike(job, sheet)
    groups = [*((group, True) for group in alike), *((group, False) for group in _groups(job, alike))]
    place = {key: n for n, key in enumerate(job.rows)}
    groups.sort(key=lambda one: place[one[0][0].reading.id])
    return tuple(_question(group, job, sheet, several, alike=is_alike) for group, is_alike in groups)


def _is_unplaced(row: JobRow) -> bool:
    """Say whether a reading lacks nothing but its place in the work."""
    doubts = {doubt.kind for doubt in row.reading.doubts}
    return row.how == "open" and bool(doubts) and doubts <= _PLACE


def _alike(job: Job, sheet: Sheet) -> list[list[JobRow]]:
    """Return the readings whose place is asked in one question: more than one that lack the same, and only that."""
    return [rows for rows in (*_pictures(job), *_spoken(job, sheet)) if len(rows) > 1]


def _pictures(job: Job) -> Iterator[list[JobRow]]:
    """Yield the readings of each picture that lack their place."""
    pictures: dict[str, list[JobRow]] = {}
    for row in job.rows.values():
        if _is_unplaced(row) and row.reading.source.box is not None:
            pictures.setdefault(row.reading.source.evidence, []).append(row)
    yield from pictures.values()


def _spoken(job: Job, sheet: Sheet) -> Iterator[list[JobRow]]:
    """Yield what was said one after the other of the same appliance, whichever, and in one breath of one condition.

    A second value for the same may be the next appliance's, and one with its place may be where the work went on: what
    comes after either is another question.
    """
    group: list[JobRow] = []
    for row in job.rows.values():
        if row.reading.source.box is not None:
            continue
        lacks = _is_unplaced(row) and row.reading.quantity is not None
        if group and not (lacks and _together(group, row, sheet)) and (lacks or row.reading.appliance is not None):
            yield group
            group = []
        if lacks:
            group.append(row)
    yield group


def _together(group: Sequence[JobRow], row: JobRow, sheet: Sheet) -> bool:
    """Say whether one answer places a reading together with those before it."""
    first, one = group[0].reading, row.reading
    if any(_slot(other.reading) == _slot(one) for other in group):
        return False
    kinds = {doubt.kind for doubt in one.doubts}
    if kinds != {doubt.kind for doubt in first.doubts}:
        return False
    if DoubtKind.CONDITION_UNCLEAR not in kinds:
        return True
    same = (first.source.evidence, first.source.utterance) == (one.source.evidence, one.source.utterance)
    return same and _conditions(first, sheet) == _conditions(one, sheet)


def _slot(one: Reading) -> tuple[str | None, str | None, str]:
    return one.quantity, one.condition, one.phase


def _conditions(one: Reading, sheet: Sheet) -> tuple[object, ...]:
    """Return the conditions that a reading may be of: as it was heard, the likeliest, and all it is read in."""
    known = sheet.quantity(one.quantity).conditions if one.quantity is not None else ()
    return one.condition, tuple((way.condition, way.phase) for way in one.alternatives), known


def _groups(job: Job, alike: Sequence[Sequence[JobRow]]) -> Iterator[list[JobRow]]:
    """Yield the rows of each question: an open row with those that are asked about with it."""
    together = {row.reading.id for rows in alike for row in rows}
    free = {key: row for key, row in job.rows.items() if row.how in _ASKABLE and key not in together}
    partners: dict[str, list[str]] = {key: [] for key in free}
    for key, row in free.items():
        other = row.reading.asked_with
        if other in free and other != key and _one_question(row.reading, free[other].reading):
            partners[key].append(other)
            partners[other].append(key)
    place = {key: n for n, key in enumerate(free)}
    asked: set[str] = set()
    for key, row in free.items():
        if row.how != "open" or key in asked:
            continue
        group = [key]
        for one in group:  # grows while it is walked: partners of partners belong to it too
            new = [other for other in dict.fromkeys(partners[one]) if other not in asked and other not in group]
            group += new[: _MOST_READINGS - len(group)]
        asked.update(group)
        yield [free[one] for one in sorted(group, key=place.__getitem__)]


_ONE_OF_THEM = frozenset({DoubtKind.SOURCES_DISAGREE, DoubtKind.CONFLICT})


def _one_question(one: Reading, other: Reading) -> bool:
    """Say whether two linked readings can be asked about at once.

    Which of two values of one quantity stands is a question by itself: its answer drops the other value, and must not
    drop a reading of another quantity that only hangs on one of them by physics. A photo that does not say what it
    shows may show the same.
    """
    apart = any(doubt.kind in _ONE_OF_THEM for doubt in (*one.doubts, *other.doubts))
    return not apart or one.quantity == other.quantity or None in (one.quantity, other.quantity)


def _question(group: Sequence[JobRow], job: Job, sheet: Sheet, several: bool, *, alike: bool) -> Question:
    readings = [row.reading for row in group]
    first = readings[0]
    asked = readings[:1] if alike else readings
    candidates = _mix([list(_candidates(one, job, sheet)) for one in asked])
    names = list(dict.fromkeys(one.quantity for one in readings if one.quantity))
    names.sort(key=lambda name: alike and not sheet.quantity(name).reserved)  # of many, no reserved one goes unnamed
    return Question(
        id=_id(readings),
        readings=tuple(one.id for one in readings),
        appliance=first.appliance,
        quantities=tuple(names[:_MOST_READINGS]),
        condition=first.condition,
        text=_text_of_place(readings, candidates, job, sheet) if alike else _text(readings, candidates, sheet, several),
        doubts=tuple(dict.fromkeys(doubt for one in readings for doubt in one.doubts)),
        candidates=tuple(candidates),
        source=first.source,
        alike=alike,
    )


def _text_of_place(readings: Sequence[Reading], candidates: Sequence[Candidate], job: Job, sheet: Sheet) -> str:
    first, several = readings[0], len(job.appliances) > 1
    if first.source.box is not None:
        names = {one.sha256: one.evidence.name for one in job.filed}
        told = _and([_named(one, sheet, "") for one in readings[:2]])
        more = ", …" if len(readings) > 2 else ""
        places = [_place_words(one, sheet, several=several) for one in candidates[:3]]
        where = " or ".join(dict.fromkeys(places)) if len(places) > 1 else "where in the work was it taken"
        return f"{names[first.source.evidence]} ({told}{more}): {where}?"
    named = [_named(one, sheet, place_of(one, sheet, appliance=False)) for one in readings[:2]]
    named += [f"{len(readings) - 2} more"] if len(readings) > 2 else []
    kind, _ = _main_doubt(readings)
    text = f"{_and(named)}: {_or(kind, first, candidates, sheet)}?"
    return text[0].upper() + text[1:]


def _place_words(one: Candidate, sheet: Sheet, *, several: bool) -> str:
    parts = [(one.appliance or "") if several else "", sheet.condition(one.condition).name if one.condition else ""]
    return ", ".join(part for part in (*parts, phase_words(one.phase)) if part)


def _id(readings: Sequence[Reading]) -> str:
    told = canonical({one.id: one.model_dump(mode="json") for one in readings})
    return f"q-{hashlib.sha256(told.encode()).hexdigest()[:12]}"


def _mix(lists: Sequence[Sequence[Candidate]]) -> list[Candidate]:
    """Return the first of each list, then the second of each, and so on: what was heard first, then the likeliest."""
    longest = max((len(one) for one in lists), default=0)
    mixed = [one[place] for place in range(longest) for one in lists if place < len(one)]
    return mixed[: max(MOST_CANDIDATES, len(lists))]


def _candidates(reading: Reading, job: Job, sheet: Sheet) -> Iterator[Candidate]:
    """Yield complete answers for one reading, each once: the value heard first, then the alternatives as they come."""
    seen = set()
    unclear = reading.source.box is not None and DoubtKind.APPLIANCE_UNCLEAR in {one.kind for one in reading.doubts}
    ways = [Alternative(why="as it was heard" if reading.source.box is None else "as the photo shows it")]
    ways += told_the_same(reading, job, sheet) if reading.quantity is None else ()
    ways += [*reading.alternatives, *_usual_ways(reading, job, sheet)]
    for way in ways:
        quantity = way.quantity or reading.quantity
        if quantity is None:
            continue
        conditions = sheet.quantity(quantity).conditions
        condition = reading.condition if way.condition is None else way.condition
        if condition is None and not conditions:
            condition = ""
        if condition is None or (condition and condition not in conditions):
            continue
        candidate = Candidate(
            reading=reading.id,
            quantity=quantity,
            condition=condition,
            phase=reading.phase if way.phase is None else way.phase,
            value=reading.value if way.value is None else way.value,
            unit=reading.unit if way.unit is None else way.unit,
            appliance=None if sheet.quantity(quantity).every_job else way.appliance or reading.appliance,
            why=way.why,
        )
        if (
            candidate.appliance is None
            and unclear
            and len(job.appliances) > 1
            and not sheet.quantity(quantity).every_job
        ):
            continue  # whose it is cannot be left open
        for whole in _with_turns(candidate, reading, sheet):
            told = whole.model_copy(update={"why": ""})
            if told not in seen and (whole.value or sheet.quantity(quantity).kind == "text"):
                seen.add(told)
                yield whole


def _with_turns(candidate: Candidate, reading: Reading, sheet: Sheet) -> Iterator[Candidate]:
    """Yield a candidate with each screw and way that it may be of, where one of them was not said; else as it is."""
    kinds = {doubt.kind for doubt in reading.doubts}
    turn = sheet.quantity(candidate.quantity).kind == "move"
    if not turn or not kinds & {DoubtKind.SCREW_UNCLEAR, DoubtKind.DIRECTION_UNCLEAR}:
        yield candidate
        return
    words = reading.note.split()
    likely = sorted(sheet.screws, key=lambda one: one.condition != candidate.condition)
    known = [word for word in words if word in {one.id for one in sheet.screws}]
    why = "which way was not said" if DoubtKind.DIRECTION_UNCLEAR in kinds else "which screw was not said"
    way = [word for word in words if word in TURN_WAYS]
    for screw in [one.id for one in likely] if DoubtKind.SCREW_UNCLEAR in kinds else known:
        for turned in TURN_WAYS if DoubtKind.DIRECTION_UNCLEAR in kinds else way:
            yield candidate.model_copy(update={"note": f"{screw} {turned}", "why": why})


def _usual_ways(reading: Reading, job: Job, sheet: Sheet) -> Iterator[Alternative]:
    """Yield what the sheet and the job leave possible where extraction named no alternatives of the kind asked."""
    kinds = {doubt.kind for doubt in reading.doubts}
    if reading.quantity is None:
        yield from allowed(reading, job, sheet)
    if reading.quantity is not None and reading.condition is None:
        for condition in sheet.quantity(reading.quantity).conditions:
            yield Alternative(condition=condition, why="a condition it is read in")
    if DoubtKind.UNIT_UNCLEAR in kinds and reading.quantity is not None:
        for unit in sheet.quantity(reading.quantity).units:
            yield Alternative(unit=unit, why="a unit it is given in")
    if DoubtKind.SIGN_UNCLEAR in kinds:
        other = reading.value.removeprefix("-") if reading.value.startswith("-") else f"-{reading.value}"
        yield Alternative(value=other, why="with the other sign")
    if DoubtKind.APPLIANCE_UNCLEAR in kinds:
        for one in job.appliances:
            yield Alternative(appliance=one.tag, why="an appliance of the job")


def _text(readings: Sequence[Reading], candidates: Sequence[Candidate], sheet: Sheet, several: bool) -> str:
    kind, detail = _main_doubt(readings)
    place = place_of(readings[0], sheet, appliance=several)
    same_place = all(place_of(one, sheet, appliance=several) == place for one in readings)
    if len(readings) > 1 and kind in _SEVERAL:
        named = [_named(one, sheet, "" if same_place else place_of(one, sheet, appliance=several)) for one in readings]
        text = _SEVERAL[kind].format(all=_and(named), both="both" if len(named) == 2 else "all", detail=detail)
    else:
        first = readings[0]
        text = (
            _ONE[kind]
            .format(
                what=name_of(first, sheet),
                value=_value(first, sheet),
                or_=_or(kind, first, candidates, sheet),
                heard=f"Heard: “{first.source.heard}”." if first.source.heard else "",
                detail=detail,
            )
            .strip()
        )
    text = f"{place}: {text}" if place and same_place else text
    text = text.replace("..", ".")  # a unit that ends with a point ends the sentence too
    return text[0].upper() + text[1:]


def _main_doubt(readings: Sequence[Reading]) -> tuple[DoubtKind, str]:
    doubts = [doubt for one in readings for doubt in one.doubts]
    main = min(doubts, key=lambda doubt: _ORDER.index(doubt.kind))
    detail = main.detail.strip().rstrip(".")
    return main.kind, f"{detail[0].upper()}{detail[1:]}. " if detail else ""


def _named(reading: Reading, sheet: Sheet, place: str) -> str:
    return f"{place} {name_of(reading, sheet)} {_value(reading, sheet)}".strip()


def _value(reading: Reading, sheet: Sheet) -> str:
    """Return a value in words, a turn with its screw and way as far as they were said."""
    turn = reading.quantity is not None and sheet.quantity(reading.quantity).kind == "move"
    note = say_note(reading.note, sheet) if turn else ""
    return f"{say_value(reading.value, reading.unit, sheet, reading.quantity)} {note}".strip()


def _or(kind: DoubtKind, reading: Reading, candidates: Sequence[Candidate], sheet: Sheet) -> str:
    """Return the likeliest answers in one phrase, told apart by what is in doubt: ``at high fire or at low fire``."""
    mine = [one for one in candidates if one.reading == reading.id][:3]
    if kind is DoubtKind.QUANTITY_UNCLEAR:
        words = [sheet.quantity(one.quantity).name for one in mine]
        nothing = "what is it"
    elif kind is DoubtKind.CONDITION_UNCLEAR:
        words = [sheet.condition(one.condition).name for one in mine if one.condition]
        nothing = "when was it read"
    elif kind is DoubtKind.APPLIANCE_UNCLEAR:
        words = [one.appliance for one in mine if one.appliance]
        nothing = "of which appliance"
    else:
        words = [_value(_as_answered(reading, one), sheet) for one in mine]
        nothing = "what is it"
    different = list(dict.fromkeys(words))
    return " or ".join(different) if len(different) > 1 or kind not in _WHICH else nothing


def _as_answered(reading: Reading, one: Candidate) -> Reading:
    note = reading.note if one.note is None else one.note
    return reading.model_copy(update={"quantity": one.quantity, "value": one.value, "unit": one.unit, "note": note})


_WHICH = (DoubtKind.QUANTITY_UNCLEAR, DoubtKind.CONDITION_UNCLEAR, DoubtKind.APPLIANCE_UNCLEAR)


def _and(words: Sequence[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
