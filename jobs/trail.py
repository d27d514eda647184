"""The trail of a tuning: every turn of a screw with the readings before and after it, as a table and as a drawing.

It shows what was read and when a screw was moved, and sums it up; it says nothing of what to do. Readings that later
ones took the place of, after another turn, are part of it; values that were corrected are not. A turn that is still
asked about, or whose amount nobody can tell, stands in its place and is marked; nothing is worked out from it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import ROUND_HALF_EVEN, Decimal

import checks
from checks.limits import applicable, open_limits, span_of, voided
from checks.rows import Rows
from extract import MEASURED_ANEW
from jobs.fold import Job
from jobs.outlived import outlived
from jobs.show import show_value
from jobs.stops import undealt
from jobs.timeline import in_order
from schemas.appliance import ApplianceFile
from schemas.base import decimal_of, is_value_text
from schemas.findings import Limit
from schemas.readings import Reading
from schemas.sheet import Quantity, Sheet
from schemas.units import convert, show_unit, unit_of

__all__ = [
    "OPEN",
    "Change",
    "Event",
    "Trail",
    "TrailMove",
    "amount_words",
    "change_words",
    "sign_words",
    "sum_words",
    "trail_of",
    "turn_of",
]

OPEN = "? open"
"""How the doubt of an event begins that a question is still open about."""
UNSETTLED = "was never settled"
"""How it begins of a value in doubt that another one took the place of: nobody is asked about it any more."""

_LEFT_OUT = "left out by"
_WAYS = {"cw": "clockwise", "ccw": "counterclockwise"}


@dataclass(frozen=True)
class Event:
    """One reading or move of the trail; ``at`` in seconds of the job's time, None where that is not known.

    ``doubt`` says why it does not count, as it is printed: ``? open: …`` or ``left out by …``; empty where it does.
    """

    reading: Reading
    at: float | None
    move: bool
    doubt: str = ""


@dataclass(frozen=True)
class Change:
    """What one turn did to a quantity; ``difference`` and ``per_turn`` with their sign, None where one is missing.

    ``over`` says how many turns lie between the two: where that is more than this one, a difference per turn is told
    only of turns of one screw one way, for their sum. ``open`` are the ids of those of the two values that are still
    asked about, ``unsettled`` of those that nobody was asked about any more once another value stood.
    """

    quantity: str
    before: Reading | None
    after: Reading | None
    difference: Decimal | None = None
    per_turn: Decimal | None = None
    open: frozenset[str] = frozenset()
    unsettled: frozenset[str] = frozenset()
    over: int = 1
    screws: int = 1


@dataclass(frozen=True)
class TrailMove:
    """One turn. ``sums`` are the turns of this screw so far: net (clockwise counts up) and all together.

    ``doubt`` is that of its event: with it, the turn is not in the sums, and nothing is worked out per turn.
    ``settled`` says whether the last readings before the next turn stood still; ``places`` where they lie within the
    limits; ``as_told`` how the change goes with the maker's word on the screw; all of them in words, empty where
    nothing can be said.
    """

    number: int
    reading: Reading
    at: float | None
    screw: str
    way: str
    turns: Decimal
    changes: tuple[Change, ...]
    settled: str
    places: tuple[str, ...]
    sums: tuple[Decimal, Decimal]
    as_told: str = ""
    doubt: str = ""


@dataclass(frozen=True)
class Trail:
    """The trail of one appliance. ``good`` holds, by condition, the last row whose values all lay within limits.

    A row is judged by the checks of the job: one with a value outside any limit, or with a stop, is none.
    """

    tag: str
    events: tuple[Event, ...]
    moves: tuple[TrailMove, ...]
    limits: tuple[Limit, ...]
    good: Mapping[str, tuple[tuple[Reading, ...], float | None]] = field(default_factory=dict)


def trail_of(job: Job, sheet: Sheet, tag: str, file: ApplianceFile | None, limits: Sequence[Limit]) -> Trail:
    """Return the trail of one appliance; ``limits`` are all that hold for it, the most believed first."""
    events = tuple(_events(job, sheet, tag))
    beside = _beside(job, sheet, tag)
    said = {one.finding.rule for one in undealt(job, job.findings) if one.finding.said is not None}
    judging = _Judging(sheet, file, limits, tag, beside, said, outlived(job, sheet, job.findings))
    sums: dict[str, tuple[Decimal, Decimal]] = {}
    moves: list[TrailMove] = []
    for place, event in enumerate(events):
        if event.move:
            moves.append(_move(len(moves) + 1, events, place, judging, sums))
    good = {
        condition: row
        for condition, row, last in _whole_rows(events, sheet, limits)
        if judging.is_good(row[0], condition, last=last)
    }
    return Trail(tag, events, tuple(moves), tuple(limits), good)


@dataclass(frozen=True)
class _Judging:
    """What rows are judged by: limits, what stands beside them, and the stops that were said and nobody dealt with."""

    sheet: Sheet
    file: ApplianceFile | None
    limits: Sequence[Limit]
    tag: str
    beside: Sequence[Reading]
    said: Collection[str]
    outlived: Mapping[str, str]

    def place(self, reading: Reading) -> str:
        """Return where a reading lies within the limits that hold for it; empty without one."""
        assert reading.quantity is not None
        name = self.sheet.quantity(reading.quantity).name
        void = voided(Rows(self.beside, self.tag), self.sheet, self.said)
        span = span_of(applicable(reading.quantity, reading.condition or "", self.limits), reading.unit)
        if span is None:
            return ""
        value, unit, (low, high) = decimal_of(reading.value), show_unit(reading.unit), span
        if any(_is_inside(value, other) != _is_inside(value, span) for other in self._elsewhere(reading)):
            return f"{name} cannot be told: the maker's limit depends on the altitude"
        if low is not None and value < low:
            return f"{name} {_plain(low - value)} {unit} below the limit"
        if high is not None and value > high:
            return f"{name} {_plain(value - high)} {unit} above the limit"
        why = void.get(reading.quantity) or self.outlived.get(reading.id)
        if why:
            return f"{name} cannot be told: {why}"
        rooms = [f"{_plain(value - low)} from the lowest"] if low is not None else []
        rooms += [f"{_plain(high - value)} from the highest"] if high is not None else []
        return f"{name} within, {', '.join(rooms)}"

    def _elsewhere(self, reading: Reading) -> Iterator[tuple[Decimal | None, Decimal | None]]:
        """Yield what lies within the limits at each altitude that may be the one here, while that is not settled."""
        unsettled = open_limits(Rows(self.beside, self.tag), self.sheet, self.file, None)
        others = [limit for limit in self.limits if limit.origin.kind != "appliance file"]
        for own in (*unsettled.doubted, *unsettled.anywhere):
            mine = applicable(reading.quantity or "", reading.condition or "", (*own, *others))
            span = span_of(mine, reading.unit)
            if span is not None:
                yield span

    def is_good(self, row: Sequence[Reading], condition: str, *, last: bool) -> bool:
        """Say whether the checks find every value of a row within its limits, and nothing that stops or contradicts.

        Beside the last row stands what is not traced too, such as CO air-free; beside each, what holds at any firing
        rate: fuel, altitude, plate, the analyser's zero.
        """
        beside = [one for one in self.beside if one.condition == "" or (last and one.condition == condition)]
        own = [limit for limit in self.limits if limit.origin.kind == "quoted"]
        found = checks.check(
            [*row, *beside],
            self.sheet,
            appliance=self.file,
            limits=own,
            tag=self.tag,
            said=self.said,
            outlived=self.outlived,
        )
        names = {one.id for one in row}
        mine = [one for one in found if not names.isdisjoint(one.readings)]
        limited = {limit.quantity for limit in self.file.limits} if self.file else set()
        known = [one for one in mine if one.rule == "limit" and (one.limit is not None or one.quantity in limited)]
        judged = [one.verdict for one in known]
        wrong = any(one.verdict in ("stop", "outside", "conflicting") for one in found if one.condition == condition)
        wrong = wrong or any(one.verdict in ("stop", "outside", "conflicting") for one in mine)
        return bool(judged) and not wrong and all(verdict == "within" for verdict in judged)


def _is_inside(value: Decimal, span: tuple[Decimal | None, Decimal | None]) -> bool:
    low, high = span
    return (low is None or value >= low) and (high is None or value <= high)


def turn_of(reading: Reading) -> tuple[str, str]:
    """Return the screw and the way (``cw``, ``ccw``) of a turn, each empty where it was not said."""
    parts = reading.note.split()
    return next((one for one in parts if one not in _WAYS), ""), next((one for one in parts if one in _WAYS), "")


def _traced(sheet: Sheet) -> tuple[str, ...]:
    return sheet.traced or sheet.plotted


def _events(job: Job, sheet: Sheet, tag: str) -> Iterator[Event]:
    """Yield the readings of the traced quantities and the moves, in the order of the work."""
    moments = {(m.filed.sha256, m.number): (n, m.at) for n, m in enumerate(in_order(job.filed))}
    starts = {(u.evidence, u.number): u.start for u in job.utterances}
    alone = len(job.appliances) == 1
    found: list[tuple[tuple[int, int], Event]] = []
    for reading, doubt in _standing(job):
        if reading.quantity is None or not (reading.appliance == tag or (alone and reading.appliance is None)):
            continue
        move = sheet.quantity(reading.quantity).kind == "move"
        left_out = doubt.startswith(_LEFT_OUT)
        if not move and (reading.quantity not in _traced(sheet) or left_out):
            continue
        # What was over range was read, and nothing can be worked out from it.
        why = doubt or ("" if is_value_text(reading.value) else reading.value)
        source = reading.source
        key = source.evidence, source.utterance
        order, at = moments.get(key, (len(moments), None))
        if at is not None and source.start is not None and source.utterance is not None:
            at += source.start - starts.get((source.evidence, source.utterance), source.start)
        found.append(((order, source.span[0] if source.span else 0), Event(reading, at, move, why)))
    found.sort(key=lambda pair: pair[0])
    # Without a time of their own, seconds within one recording are known, those between recordings are not.
    dated = {one.sha256 for one in job.filed if one.at is not None}
    pieces = {event.reading.source.evidence for _, event in found}
    for _, event in found:
        known = len(pieces) == 1 or event.reading.source.evidence in dated
        yield event if known else replace(event, at=None)


def _standing(job: Job) -> Iterator[tuple[Reading, str]]:
    """Yield every reading that stands and those that stood until the next turn, each with why it does not count."""
    for row in job.gone:
        one = job.as_settled(row.reading)
        last = row.history[-1] if row.history else None
        if one is not None and last is not None and last.what == "replaced" and last.why in MEASURED_ANEW:
            yield one, f"{UNSETTLED}: {one.doubts[0].kind}" if one.doubts else ""
    for row in job.rows.values():
        if row.how == "left out":
            yield row.reading, f"{_LEFT_OUT} {row.by}: {row.history[-1].why}"
        else:
            yield row.reading, _asked(row.reading) if row.how == "open" else ""


def _asked(reading: Reading) -> str:
    return f"{OPEN}: {reading.doubts[0].kind}" if reading.doubts else ""


def _move(
    number: int,
    events: Sequence[Event],
    place: int,
    judging: _Judging,
    sums: dict[str, tuple[Decimal, Decimal]],
) -> TrailMove:
    event, sheet = events[place], judging.sheet
    screw, way = turn_of(event.reading)
    turns = _turns(event)
    net, all_ = sums.get(screw, (Decimal(0), Decimal(0)))
    signed = turns if way == "cw" else -turns if way == "ccw" else Decimal(0)
    sums[screw] = net + signed, all_ + turns
    after = list(_until_next_move(events[place + 1 :], event.reading.condition))
    changes = tuple(_change(quantity, events, place, after) for quantity in _traced(sheet))
    sure = {e.reading.id for e in after if not e.doubt}
    last = [change.after for change in changes if change.after is not None and change.after.id in sure]
    return TrailMove(
        number=number,
        reading=event.reading,
        at=event.at,
        screw=screw,
        way=_WAYS.get(way, ""),
        turns=turns,
        changes=changes,
        settled=_settled([e for e in after if e.reading.quantity == _traced(sheet)[0]]),
        places=tuple(text for reading in last if (text := judging.place(reading))),
        sums=sums[screw],
        as_told="" if event.doubt else _as_told(judging.file, screw, way, changes[0]),
        doubt=event.doubt,
    )


def _turns(event: Event) -> Decimal:
    value = event.reading.value
    return abs(decimal_of(value)) if is_value_text(value) and not event.doubt else Decimal(0)


def _until_next_move(events: Iterable[Event], condition: str | None) -> Iterator[Event]:
    """Yield what was read until a screw was turned again, whichever: what is read then is not of this turn alone."""
    for event in events:
        if event.move:
            return
        if event.reading.condition == condition:
            yield event


def _change(quantity: str, events: Sequence[Event], place: int, after: Sequence[Event]) -> Change:
    """Return what a quantity did from its last value before a turn to its last one before the next turn."""
    condition = events[place].reading.condition
    at = next((n for n in range(place - 1, -1, -1) if _reads(events[n], quantity, condition)), None)
    then = next((e for e in reversed(after) if _reads(e, quantity, condition)), None)
    read = [None if at is None else events[at], then]
    first, last = (None if e is None else e.reading for e in read)
    told = [e for e in read if e is not None and e.doubt]
    turned = [e for e in events[place if at is None else at : place + 1] if e.move]
    change = Change(
        quantity,
        first,
        last,
        open=frozenset(e.reading.id for e in told if e.doubt.startswith(OPEN)),
        unsettled=frozenset(e.reading.id for e in told if e.doubt.startswith(UNSETTLED)),
        over=len(turned),
        screws=len({turn_of(e.reading)[0] for e in turned}),
    )
    if first is None or last is None or told or unit_of(first.unit).kind != unit_of(last.unit).kind:
        return change
    difference = decimal_of(last.value) - convert(decimal_of(first.value), first.unit, last.unit)
    step = Decimal(1).scaleb(int(decimal_of(last.value).as_tuple().exponent))
    one_way = len({turn_of(e.reading) for e in turned}) == 1 and all(_turns(e) for e in turned)
    sum_ = sum((_turns(e) for e in turned), Decimal(0)) if one_way else Decimal(0)
    per_turn = (difference / sum_).quantize(step, ROUND_HALF_EVEN) if sum_ else None
    return replace(change, difference=difference, per_turn=per_turn)


def _reads(event: Event, quantity: str, condition: str | None) -> bool:
    return not event.move and (event.reading.quantity, event.reading.condition) == (quantity, condition)


def _settled(after: Sequence[Event]) -> str:
    """Say whether the last readings after a turn stood still: as long as they went one way, within a step in all."""
    if not after:
        return "not read after it"
    if any(one.doubt.startswith(OPEN) for one in after[-2:]):
        return "a value is open"
    sure = [one for one in after if not one.doubt]
    if len(sure) < 2 or after[-1].doubt:
        return "read once" if len(after) == 1 else "cannot be told"
    unit = sure[-1].reading.unit
    values = [convert(decimal_of(one.reading.value), one.reading.unit, unit) for one in sure]
    start = len(values) - 2
    way = values[-1] - values[start]
    while start and (values[start] - values[start - 1]) * way > 0:
        start -= 1
    moved = values[-1] - values[start]
    step = Decimal(1).scaleb(int(decimal_of(sure[-1].reading.value).as_tuple().exponent))
    if abs(moved) <= step:
        return "settled"
    first, last = sure[start], sure[-1]
    time = "" if first.at is None or last.at is None else f" in {last.at - first.at:.0f} s"
    return f"still moving, {sign_words(moved)}{time}"


def _plain(value: Decimal) -> str:
    return f"{value.normalize():f}"


def _as_told(file: ApplianceFile | None, screw: str, way: str, change: Change) -> str:
    """Say how the first traced quantity went against the maker's word on the screw; empty where nothing is told."""
    told = {} if file is None else {effect.screw: effect.richer for effect in file.screws}
    if screw not in told or way not in _WAYS or not change.difference or (change.over > 1 and not change.per_turn):
        return ""
    richer = told[screw] == _WAYS[way]
    return "as the maker says" if richer == (change.difference > 0) else "against what the maker says"


_Row = tuple[tuple[Reading, ...], float | None]


def _whole_rows(events: Sequence[Event], sheet: Sheet, limits: Sequence[Limit]) -> Iterator[tuple[str, _Row, bool]]:
    """Yield each row between two turns that holds every traced quantity with a limit, and whether it is the last.

    A row with a value that is asked about, or over range, is none.
    """
    row: dict[str, dict[str, Event]] = {}

    def close(condition: str, *, last: bool) -> Iterator[tuple[str, _Row, bool]]:
        held = row.pop(condition, {})
        needed = {q for q in _traced(sheet) if applicable(q, condition, limits)}
        if held and needed and needed <= held.keys() and not any(e.doubt for e in held.values()):
            order = [held[q] for q in _traced(sheet) if q in held]
            yield condition, (tuple(e.reading for e in order), order[-1].at), last

    for event in events:
        condition = event.reading.condition or ""
        if event.move:
            yield from close(condition, last=False)
        else:
            row.setdefault(condition, {})[event.reading.quantity or ""] = event
    for condition in list(row):
        yield from close(condition, last=True)


def _beside(job: Job, sheet: Sheet, tag: str) -> list[Reading]:
    """Return what stands and is not traced: it is judged beside the rows, such as CO air-free, or tells of limits."""
    return [
        one
        for one in job.readings
        if one.appliance in (tag, None) and one.quantity is not None and one.quantity not in _traced(sheet)
        if sheet.quantity(one.quantity).kind != "move"
    ]


# ---------------------------------------------------------------------- words
def amount_words(move: TrailMove, sheet: Sheet) -> str:
    """Return a turn in words: ``high-fire screw, 0.375 turn clockwise``; behind a question mark while it is asked."""
    screw = next((one.name for one in sheet.screws if one.id == move.screw), "screw not said")
    way = f" {move.way}" if move.way else ", way not said"
    mark = "? " if move.doubt else ""
    return f"{mark}{screw}, {show_value(move.reading.value, move.reading.unit)}{way}"


def sum_words(move: TrailMove) -> str:
    """Return the turns of a screw so far: ``+0.25 net, 0.50 in all``, and that a turn in doubt is not in them."""
    return f"{sign_words(move.sums[0])} net, {move.sums[1]} in all{', without this one' if move.doubt else ''}"


def sign_words(value: Decimal | None) -> str:
    """Return a difference with its sign: ``+0.4``, ``−12``, ``0``; empty for None."""
    if value is None:
        return ""
    return f"{value:+f}".replace("-", "−") if value else "0"


def change_words(change: Change, quantity: Quantity) -> str:
    """Return what a turn did to a quantity: ``8.8 to 9.2 %: +0.4 (+1.1 a turn)``; what is missing is said."""
    if change.before is None and change.after is None:
        return "not read"
    if change.before is None or change.after is None:
        known = change.before or change.after
        assert known is not None
        when = "after" if change.before is None else "before"
        return f"{_mark(known, change)}{show_value(known.value, known.unit)} {when} only"
    first, last = change.before, change.after
    unit = "" if first.unit == last.unit else f" {show_unit(first.unit)}"
    span = f"{_mark(first, change)}{first.value}{unit} to {_mark(last, change)}{show_value(last.value, last.unit)}"
    if change.difference is None:
        return span
    over = f" over {change.over} turns" if change.over > 1 else ""
    over += f" of {change.screws} screws" if change.screws > 1 else ""
    turn = f" ({sign_words(change.per_turn)} a turn)" if change.per_turn is not None else ""
    return f"{span}: {sign_words(change.difference)}{over}{turn}"


def _mark(reading: Reading, change: Change) -> str:
    if reading.id in change.open:
        return "? "
    return "never settled: " if reading.id in change.unsettled else ""
