"""What a value without a quantity belongs to: a correction, a name left open, what "it" means, or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from itertools import combinations, pairwise
from math import log

from extract.aloud import sound_alike
from extract.assign import Value, fits_free
from extract.book import Book
from extract.clauses import Segment
from extract.context import LAST_KEPT, RECENT, Open
from extract.doubt import doubt
from extract.parse import Parsed, best_fit
from extract.values import fit
from schemas.base import is_value_text
from schemas.doubts import DoubtKind
from schemas.readings import Alternative, Reading, Relabel
from schemas.units import unit_of

__all__ = ["ANOTHER_NAME", "NAMED_BEHIND", "unnamed"]

ANOTHER_NAME = "another name was given behind it"
NAMED_BEHIND = "named so afterwards"
MOST = 10  # values of a row that are looked at
DIFFERENCES = frozenset(("drop", "difference", "apart"))
MORE = frozenset(("more", "less", "higher", "lower", "over", "above", "below", "under"))  # than what is named behind


def unnamed(b: Book, v: Value, p: Parsed, s: Segment) -> tuple[str | None, Reading | None, list[str]] | None:
    """What a value without a quantity belongs to: a correction, a name left open, what "it" means; or nothing."""
    system = b.c.setting.units
    here = b.c.pending
    if here is not None and here.at == b.at and b.c.correcting:
        fits = best_fit(v, here.ids, b.g, system)
        if fits:
            return fits[0][1], b.c.at_slot(fits[0][1], b.c.state, b.phase_for(b.c.state), b.c.tag()), []
    if b.undone:
        r = b.c.readings.get(b.undone[-1])
        if r is not None and r.quantity is not None and fits_value(b, v, r.quantity):
            return r.quantity, r, []
    restated = any(x.has("restate") for x in p.sentence.segments) and all(i.kind != "word" for i in s.items)
    if b.c.correcting or restated:
        r = _of_named_row(b, v)
        if r is not None and r.quantity is not None and (b.made or b.at - max(b.c.last_at, 0) < LAST_KEPT):
            if fits_value(b, v, r.quantity):
                return r.quantity, r, []
            if b.c.correcting:
                return r.quantity, r, []
    several = _in_one_breath(v, p)
    if several and _counted(p):
        return None
    again = several or (any(x.name is not None for x in p.values) and b.c.pending is None and _turned(b))
    if again and not b.c.correcting:
        q = _as_the_row_before(b, v, p)
        if q or not several:
            return None, None, list(dict.fromkeys([*([q] if q else ()), *likely(b, v)]))
    spoken = b.last_of()
    if spoken is not None and spoken.doubts and spoken.quantity is not None and (b.made or b.at - b.c.last_at < RECENT):
        digits = [c for c in v.number.choices[0][0] if c.isdigit()]
        if digits == [c for c in spoken.value if c.isdigit()] and fits_value(b, v, spoken.quantity):
            return spoken.quantity, spoken, []
    if v.condition is None and not b.c.correcting and _said_again(b, v):
        return None
    if spoken is not None and _sounds_like(b, v, spoken):
        return None
    if spoken is not None and spoken.quantity is not None and _broken_up(b, v, spoken):
        whole = f"{spoken.value}.{v.number.choices[0][0]}"
        text = doubt(DoubtKind.CUT_OFF, "a digit was said behind it")
        new = spoken.model_copy(
            update={
                "id": b.new_id(),
                "doubts": (*spoken.doubts, text),
                "alternatives": (Alternative(value=whole, unit=spoken.unit, why="with the digit behind the point"),),
            }
        )
        b.settle(new, spoken.id, text.detail)
        return None
    pending = b.c.pending
    if pending is not None and b.at - pending.at < RECENT:
        fits = best_fit(v, pending.ids, b.g, system)
        if fits and pending.condition and (pending.asked or b.c.state is None):
            v.condition = v.condition or pending.condition
            if b.c.state is None:
                b.enter(pending.condition)  # "High fire CO2?" "Nine two, O2 four six."
        if fits and pending.asked:
            b.c.pending = None
            return None, None, [q for _, q in fits]  # someone answered: to be confirmed
        if fits:
            b.c.pending = None
            announced(b, pending.ids)
            return fits[0][1], None, []
        if len(p.values) == 1 and bare(b, p) and len(v.number.first) > 3:
            b.c.pending = None
            return pending.ids[0], None, []  # "CO2, CO." "9.264.": it fits nothing, and is asked
    mine = [n for n in p.names if n.ids and not n.implied] or [n for n in p.names if n.ids][:1]
    if v.unit in b.g.free and fits_free(v, mine, b.g, system):
        mine = []
    if any(x.name is not None and x.place > v.place for x in p.values) and _turned(b):
        mine = []  # "nine point two, CO sixty", behind a turn: not another CO
    if len(mine) == 1 and v.condition == next((x.condition for x in p.values if x.name is mine[0]), None):
        fits = best_fit(v, mine[0].ids, b.g, system)
        if fits:
            return fits[0][1], None, []
    topic = b.c.topic
    alone = all(
        i.kind in ("number", "unit", "plain", "cue", "condition", "enter", "mark", "state", "choice", "appliance")
        for x in ([s] if p.moves else p.sentence.segments)  # "throttle in a quarter, down to nine two"
        for i in x.items
    )
    pointing = (
        s.has("now", "changed", "reading")
        or any(i.get("appliance") for i in p.laid.items)
        or any(b.tokens[i.start].low in ("it", "it's", "that", "'s", "still", "this", "they") for i in s.items)
    )
    adjusting = topic is not None and only_one_adjusted(b, topic.ids)
    meant = (pointing or v.condition or adjusting) and alone and not (several and not s.has("now", "changed"))
    if topic is not None and b.at - topic.at < RECENT and meant:
        fits = best_fit(v, topic.ids, b.g, system)
        # "it's turning fifty" behind an efficiency: what would be unusual is of something else
        if fits and any(c.usual for c in fit(v.number, v.unit, b.g.measures[fits[0][1]], system).choices):
            return fits[0][1], None, []
        if fits and len(fits) == 1 and b.g.quantities[fits[0][1]].every_job and pointing:
            return None, None, [fits[0][1]]  # "ambient CO zero." "It's twelve.": unusual, so asked, never passed over
    if v.condition in (None, b.c.state) and bare(b, p, anywhere=True):
        b.c.open = (*b.c.open, Open(v.number, v.unit, b.source(v.start, v.end), b.at, None))
    only = _only_in(b, v)
    if only and s.kind == "reading" and not b.c.correcting:
        return None, None, only
    behind = b.tokens[v.end].low if v.end < len(b.tokens) else ""
    more = behind in MORE and v.end + 1 < len(b.tokens) and b.tokens[v.end + 1].kind == "word"
    if behind in DIFFERENCES or more or (behind in b.g.otherwise and v.unit in ("", "deg")):
        return None  # "so one point one drop", "forty three net": worked out, and no reading
    strange = any(i.kind in ("word", "other") for i in s.items)
    shown = s.has("reading") and b.c.state is not None and all(i.kind != "word" for i in p.laid.items)
    if strange or not (v.condition or said_unit(b, v) or bare(b, p) or shown):
        return None
    if s.kind != "reading" or v.number.unit or v.unit in ("min", "s"):
        return None
    if v.unit == "%" and v.start and b.tokens[v.start - 1].low in ("to", "through") and "." not in v.number.first:
        return None  # "taking it down to sixty percent": a firing rate
    wanted = likely(b, v)
    return (None, None, wanted) if wanted else None


def _in_one_breath(v: Value, p: Parsed) -> bool:
    """ "Nine two, sixty one, one nineteen": values without a name, of one moment: each is of another quantity."""
    bare = [x for x in p.values if x.name is None and not x.negated]
    return len(bare) > 1 and all((x.condition, x.phase) == (v.condition, v.phase) for x in bare)


def _counted(p: Parsed) -> bool:
    """ "Three, two, one, there she goes": counted aloud, in steps of one."""
    said = [v.number.first for v in p.values]
    plain = len(said) > 2 and all(v.name is None and not v.unit for v in p.values) and all(map(str.isdigit, said))
    return plain and {int(b) - int(a) for a, b in pairwise(said)} in ({1}, {-1})


def _turned(b: Book) -> bool:
    """Whether nothing was read since a screw was turned."""
    last = b.last_of()
    return last is not None and last.quantity == b.g.move


def _as_the_row_before(b: Book, v: Value, p: Parsed) -> str:
    """ "Boiler two: nine two, sixty one.": the quantity at the same place of the row that was read before; or empty.

    Where fewer values are said than that row had, they are what fits best and stood together.
    """
    bare = [x for x in p.values if not x.negated and x.name is None]
    named = {q for x in p.values if x.name is not None for q in x.name.ids}
    here = b.tokens[p.laid.items[0].start].start
    read = [r for r in b.c.live() if b.measured(r) and r.quantity != b.g.move and r.condition]
    read = [r for r in read if r.id not in b.made or (r.source.span is not None and r.source.span[1] <= here)]
    last = read[-1] if read else None
    if last is None or any(x.others for x in bare) or b.at - b.c.times.get(last.id, float("-inf")) > LAST_KEPT:
        return ""
    row = {str(r.quantity): r for r in read if (r.condition, r.appliance) == (last.condition, last.appliance)}
    row = dict([(q, r) for q, r in row.items() if q not in named][:MOST])
    found: list[tuple[float, float, str]] = []
    for chosen in combinations(row, len(bare)):
        fits = [fit(x.number, x.unit, b.g.measures[q], b.c.setting.units) for q, x in zip(chosen, bare, strict=True)]
        if all(f.choices[0].usual for f in fits):
            apart = sum(_apart(f.choices[0].value, row[q].value) for q, f in zip(chosen, fits, strict=True))
            found.append((round(sum(f.cost for f in fits), 1), apart, chosen[bare.index(v)]))
    return min(found)[2] if found else ""


def _apart(value: str, old: str) -> float:
    """How far a value lies from the one before, as the logarithm of their ratio."""
    new, before = abs(float(value)), abs(float(old))
    return abs(log(new / before)) if new and before else float(new != before)


def _of_named_row(b: Book, v: Value) -> Reading | None:
    """ "No, the high fire one was nine five": what was read last, or its like in the row that is named."""
    r = b.last_of()
    if r is None or r.quantity is None:
        return r
    condition = v.condition if v.condition and "|" not in v.condition else r.condition
    appliance = b.c.tag() if b.appliance_said else r.appliance
    if (condition, appliance) == (r.condition, r.appliance):
        return r
    there = [
        x for x in b.c.live() if (x.quantity, x.condition, x.appliance) == (r.quantity, condition, appliance)
        and x.source.box is None
    ]  # fmt: skip
    return max(there, key=lambda x: x.phase == b.phase_for(condition), default=r)


def _only_in(b: Book, v: Value) -> list[str]:
    """The quantities without a condition that a value with a unit of its own may be ("two thirty nine volts")."""
    given = [q for q in b.g.sheet.quantities if v.unit in q.units and q.kind == "number"]
    behind = [t.low for t in b.tokens[v.end : v.end + 1] if t.kind != "mark"]
    if behind and (behind[0] in b.g.parts or behind[0] not in b.g.lang.plain):
        return []  # "a twelve volt fan"
    if not given or any(q.conditions for q in given) or unit_of(v.unit).kind in ("length", "time"):
        return []  # feet and metres are of pipes as well, and minutes of anything
    return [q.id for q in given if fit(v.number, v.unit, b.g.measures[q.id], b.c.setting.units).choices[0].usual]


def announced(b: Book, ids: Sequence[str]) -> None:
    """ "CO2 nine one. And that's the stack: one twenty four": the name was of what followed."""
    r = b.last_of()
    if r is None or not any(a.why == NAMED_BEHIND and a.quantity in ids for a in r.alternatives):
        return
    doubts = tuple(d for d in r.doubts if d.detail != ANOTHER_NAME)
    b.emit(Relabel(target=r.id, doubts=doubts, source=r.source, why="the name was of what followed"))


def _said_again(b: Book, v: Value) -> bool:
    """ "Four point four. Four point four.": the same number once more, without a name, says nothing new."""
    for rid in reversed([*b.c.last, *b.touched]):
        r = b.c.readings.get(rid)
        if r is not None and b.at - b.c.times.get(rid, float("-inf")) < RECENT and b.measured(r):
            if b.appliance_said and r.appliance != b.c.tag():
                return False  # "boiler two nine one as well"
            said = {v.number.first, *(t for t, _ in v.number.choices)}
            exact = v.number.exact and is_value_text(r.value)  # not over range
            return r.value in said or (exact and Decimal(r.value) == Decimal(v.number.first))
    return False


def _sounds_like(b: Book, v: Value, spoken: Reading) -> bool:
    """ "CO fifty. One five.": a bare number that sounds like the last reading's value is against that."""
    other = sound_alike(spoken.value)
    near = b.at - b.c.times.get(spoken.id, float("-inf")) < 10.0
    return near and bool(other) and not v.unit and v.condition is None and other in {c for c, _ in v.number.choices}


def _broken_up(b: Book, v: Value, spoken: Reading) -> bool:
    """ "Nine. One.": a single digit alone behind a whole number of a quantity that is read with decimals."""
    digit = v.number.choices[0][0]
    places = b.g.measures[str(spoken.quantity)].decimals.get(spoken.unit, ())
    near = b.at - b.c.times.get(spoken.id, float("-inf")) < 10.0
    lone = len(digit) == 1 and not v.unit and not v.condition and bool(places) and 0 not in places
    return near and lone and "." not in spoken.value and spoken.taken and not b.c.correcting


def only_one_adjusted(b: Book, ids: Sequence[str]) -> bool:
    """Whether a screw was just turned and this is all that was read before it: then a bare number is that again."""
    last = b.last_of()
    if last is None or b.c.state is None:
        return False
    row = [r for r in b.c.live() if r.condition == b.c.state and r.appliance == b.c.tag() and b.measured(r)]
    moved = any(r.quantity == b.g.move and r.condition == b.c.state for r in b.c.live())
    groups = {b.g.quantities[q].group for q in ids}  # a screw at the valve is turned for these
    return moved and {r.quantity for r in row if b.g.quantities[str(r.quantity)].group in groups} == set(ids)


def fits_value(b: Book, v: Value, quantity: str) -> bool:
    return bool(best_fit(v, (quantity,), b.g, b.c.setting.units))


def said_unit(b: Book, v: Value) -> bool:
    return bool(v.unit) and v.unit not in ("deg", "min", "s")


def bare(b: Book, p: Parsed, anywhere: bool = False) -> bool:
    """Nothing but numbers and small words, while readings are being taken."""
    items = [i for x in p.sentence.segments for i in x.items]
    small = all(i.kind in ("number", "unit") or i.kind == "plain" or i.kind == "cue" for i in items)
    few = sum(1 for i in items if i.kind in ("plain", "cue")) <= 3
    decimal = any("." in v.number.first for v in p.values) or sum(not v.negated for v in p.values) > 1
    if anywhere:
        placed = ("number", "unit", "plain", "cue", "condition", "enter", "appliance")
        return few and all(i.kind in placed for i in items)
    return small and few and decimal and b.c.state is not None and "i" not in {b.tokens[i.start].low for i in items}


def likely(b: Book, v: Value) -> list[str]:
    """The quantities that a bare value may be, likeliest first."""
    condition = v.condition if v.condition and "|" not in v.condition else b.c.state
    group = None
    if b.c.topic and b.c.topic.ids:
        group = b.g.quantities[b.c.topic.ids[0]].group
    last = b.last_of()
    recent = last is not None and b.at - b.c.times.get(last.id, float("-inf")) < RECENT
    again = last.quantity if last is not None and recent else None  # it may be said once more
    tuned = condition in b.g.conditions and b.g.conditions[str(condition)].adjusted
    found = []
    for n, q in enumerate(b.g.sheet.quantities):
        if q.kind != "number" or not q.conditions or (condition and condition not in q.conditions) or q.noted_units:
            continue
        if not q.said:
            continue  # excess air is not told without its name
        f = fit(v.number, v.unit, b.g.measures[q.id], b.c.setting.units)
        if f.cost > 0.8 or not f.choices[0].usual or "unit" in f.doubts:
            continue
        filled = q.id != again and b.c.at_slot(q.id, condition, b.phase_for(condition), b.c.tag()) is not None
        usually = 0.25 if tuned and q.id in b.g.sheet.plotted else 0.0  # there most of what is said is of these
        found.append((f.cost + (1.0 if filled else 0.0) - (0.3 if q.group == group else 0.0) - usually, n, q.id))
    found.sort()
    return [q for _, _, q in found[:3]]
