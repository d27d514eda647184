"""Which value belongs to which quantity and condition within one sentence: a small optimal assignment.

Costs: distance, order, other values in between, a comma in between, and how well the number fits the quantity. The
assignment with the least sum is taken; ``second`` tells how far the next one is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

from extract.clauses import Sentence
from extract.language import Language
from extract.lexicon import Grammar, Item
from extract.numbers import Number, said_anew
from extract.tokens import Token
from extract.values import fit
from schemas.units import unit_of

__all__ = ["Laid", "Name", "Value", "assign", "fits_free", "lay", "values_of"]

NONE = 4.0  # leaving a value without a quantity
BREAK = 1.0  # a comma between value and quantity
STRANGE = 1.2  # a word that is not known between a value and a name behind it
BETWEEN = 1.5  # another value or quantity in between
STEP = 0.1  # each item in between
FIT = 0.6  # how much the fit of the number weighs
IMPOSSIBLE = 3 * FIT
MISMATCH = 6 * FIT
CROSSED = 1.0  # values and quantities in different order
LISTED = 0.8  # one more value of a quantity, in a condition of its own
STATED = frozenset(("at", "on", "is", "'s", "was", "of", "the", "in", "about", "reads", ":", "="))
TOLERANCES = (("give", "or", "take"), ("plus", "or", "minus"))
AGAIN = 1.5  # a quantity that has a value already


@dataclass(slots=True)
class Value:
    """A number in a sentence with its unit and what was said around it."""

    number: Number
    unit: str
    start: int
    end: int
    place: int
    segment: int
    approx: bool = False
    hedge: str = ""
    others: tuple[Number, ...] = ()
    negated: bool = False
    changed: bool = False
    followed: bool = False
    noted: str = ""
    name: Name | None = None
    strangers: int = 0
    referred: bool = False
    phase: Literal["", "before", "after"] = ""
    condition: str | None = None
    near: float = 0.0
    rivals: tuple[str, ...] = ()
    led_at: bool = False


@dataclass(slots=True)
class Name:
    """A quantity named in the sentence, or something that swallows a value (``ids`` empty)."""

    ids: tuple[str, ...]
    vague: tuple[str, ...]
    place: int
    segment: int
    implied: bool = False
    used: int = 0
    start: int = 0
    end: int = 0
    by_unit: bool = False


@dataclass(slots=True)
class Laid:
    """A sentence as one row of items with the segment each is in."""

    items: list[Item] = field(default_factory=list)
    segment_of: list[int] = field(default_factory=list)


def lay(sentence: Sentence) -> Laid:
    """Return the items of all segments in one row."""
    laid = Laid()
    for n, s in enumerate(sentence.segments):
        laid.items.extend(s.items)
        laid.segment_of.extend([n] * len(s.items))
    return laid


def values_of(sentence: Sentence, laid: Laid, tokens: Sequence[Token], grammar: Grammar) -> list[Value]:
    """Return the values of a sentence: number, unit, hedges; ranges folded into one value."""
    items = laid.items
    real = {id(c) for s in sentence.segments for c in s.conditions}
    placed = frozenset(n for n, i in enumerate(items) if id(i) in real)
    out: list[Value] = []
    skip = -1
    for n, item in enumerate(items):
        if item.kind != "number" or n <= skip:
            continue
        if n + 1 < len(items) and items[n + 1].kind == "cue" and items[n + 1].role("elsewhere"):
            continue  # "ninety percent modulation": a firing rate
        number: Number = item.value
        unit, m = number.unit, n
        if n + 1 < len(items) and not unit:
            code = _unit_of(items[n + 1], items, grammar)
            if code is not None and laid.segment_of[n + 1] == laid.segment_of[n]:
                unit, m = code, n + 1
        if unit == "min":
            unit, number, m = _minutes(items, m, number)
        elif unit == "{turn}" and m + 1 < len(items) and items[m + 1].kind == "number" and "." not in number.first:
            share: Number = items[m + 1].value
            if share.digits.endswith("/") and share.first.startswith("0."):
                value = number.first + share.first[1:]  # "a turn and a half"
                number, m = Number(((value, 0.0),), exact=True, digits=value + "/"), m + 1
        v = Value(number, unit, item.start, items[m].end, n, laid.segment_of[n])
        _hedges(v, items, n, m, laid, tokens, placed)
        m = _range(v, out, items, n, m, laid, tokens)
        if number.about:
            v.hedge = v.hedge or "range"
        nxt = items[m + 1] if m + 1 < len(items) and laid.segment_of[m + 1] == v.segment else None
        v.followed = nxt is not None and nxt.kind in ("word", "other") and tokens[nxt.start].low != "and"
        skip = m
        if _is_tolerance(v, tokens):
            if out and out[-1].end >= v.start - len(TOLERANCES[0]):
                out[-1].approx = True
                if tokens[v.start - 1].low != "take":
                    out[-1].hedge = "inexact"  # a tolerance of the instrument, or of a target
            continue
        if out and v.place >= 0 and not v.negated and _restarted(out[-1], v, tokens, grammar.lang):
            v.approx = v.approx or out[-1].approx
            out.pop()
        if v.place >= 0:
            out.append(v)
    unsure = [k for k, s in enumerate(sentence.segments) if s.has("unsure")]
    for v in out:
        s = sentence.segments[v.segment]
        settled = bool(unsure) and v.segment > unsure[-1] and s.has("changed")  # "it was climbing, it settled at 64"
        if unsure and not settled and not v.hedge:
            v.hedge = "unsure"
        if s.has("moving") and not v.hedge:
            v.hedge = "unsure"
        v.changed = v.changed or s.has("changed")
    return out


def _is_tolerance(v: Value, tokens: Sequence[Token]) -> bool:
    """ "Forty give or take five", "nine one plus or minus point one": how sure the value before it is."""
    before = tuple(t.low for t in tokens[max(0, v.start - 3) : v.start])
    return before in TOLERANCES or (before[-2:] == ("plus", "or") and v.number.sign == "-")


def _restarted(old: Value, new: Value, tokens: Sequence[Token], lang: Language) -> bool:
    """ "nine poi— nine point two", "one twenty, uh, one twenty six": begun anew over nothing but a hesitation."""
    if old.unit or old.others or old.hedge or new.place != old.place + 1:
        return False
    a, b = old.number.choices[0][0], new.number.choices[0][0]
    if b.startswith(a) and len(b) > len(a) and "." in b:
        return True
    between = [t.low for t in tokens[old.end : new.start]]
    stutter = old.end == old.start + 1 and len(b) > len(a) + 1  # "one, one twenty two"
    paused = old.number.cut or stutter or not lang.fillers.isdisjoint(between)
    small = all(low in lang.fillers or low in (",", "...", "…") for low in between)
    return paused and small and said_anew(tokens, old.start, old.end, new.start, lang)


def _minutes(items: Sequence[Item], m: int, number: Number) -> tuple[str, Number, int]:
    """ "one minute twelve seconds" is 72 s; minutes alone stay minutes."""
    k = m + 1
    if k < len(items) and items[k].role("and"):
        k += 1
    whole = number.choices[0][0]
    if k < len(items) and items[k].kind == "number" and "." not in whole:
        seconds: Number = items[k].value
        said = k + 1 < len(items) and items[k + 1].get("unit") == "s"
        if said or (k == m + 1 and seconds.choices[0][0].isdigit() and int(seconds.choices[0][0]) < 60):
            head, point, tail = seconds.choices[0][0].partition(".")
            if head.isdigit() and int(head) < 60:
                value = f"{int(whole) * 60 + int(head)}{point}{tail}"
                return "s", Number(((value, 0.0),), exact=True, digits=value), k + 1 if said else k
    return "min", number, m


def _unit_of(item: Item, items: Sequence[Item], grammar: Grammar) -> str | None:
    """The unit that a word means; of several ("feet" of height, of gas) one that a quantity named here is given in."""
    codes = [value for kind, value in ((item.kind, item.value), *item.also) if kind == "unit"]
    if len(codes) > 1:
        ids = {q for i in items if i.kind == "quantity" for q in i.value.ids}
        codes.sort(key=lambda code: not any(code in grammar.quantities[q].units for q in ids))
    return codes[0] if codes else None


def _hedges(
    v: Value, items: Sequence[Item], n: int, m: int, laid: Laid, tokens: Sequence[Token], placed: frozenset[int]
) -> None:
    k = n - 1
    while k >= 0 and laid.segment_of[k] == v.segment:
        i = items[k]
        if i.role("approx"):
            v.approx = True
        elif i.kind == "condition" and k in placed and not v.number.about:
            break  # "high 6.8" under a heading: the firing rate, no hedge
        elif i.role("inexact"):
            v.hedge = "inexact"
        elif i.role("not"):
            v.negated = True
        elif not (
            i.kind == "plain"
            and tokens[i.start].low in ("a", "the", "at", "is", "of", "like", "just", "'s", "it", "to")
        ):
            break
        if i.role("not"):
            break
        k -= 1
    if m + 1 < len(items) and laid.segment_of[m + 1] <= v.segment + 1:
        i = items[m + 1]
        # "sixty and change": the hedge takes its "and" along, so it stands right behind
        if i.role("inexact") and (laid.segment_of[m + 1] == v.segment) and tokens[i.start].low not in AHEAD_ONLY:
            v.hedge = "inexact"
        elif tokens[i.start].low == "plus" and (m + 2 >= len(items) or laid.segment_of[m + 2] != v.segment):
            v.hedge = "inexact"  # "a hundred plus", but not "forty plus O2 four four"
        elif i.role("approx") and laid.segment_of[m + 1] == v.segment and (m + 2 >= len(items) or i.end > i.start + 2):
            v.approx = True


AHEAD_ONLY = frozenset(("over", "under", "above", "below", "in", "low", "high", "mid", "upper", "lower", "at", "a"))


def _range(
    v: Value, out: list[Value], items: Sequence[Item], n: int, m: int, laid: Laid, tokens: Sequence[Token]
) -> int:
    """Fold "X to Y", "between X and Y", "X or Y" into one value with others; returns the last item used."""
    before = [i for i in items[max(0, n - 3) : n] if laid.segment_of[n] >= 0]
    between = any(i.role("between") for i in before[-2:])
    if out and any(i.role("leaving") and tokens[i.start].low == "from" for i in before[-1:]):
        prev = out[-1]
        if prev.segment == v.segment and n - prev.place <= 5:
            v.place = -1  # "seven two, up from six nine"
            return m
    while m + 2 < len(items):
        link, nxt = items[m + 1], items[m + 2]
        k = m + 2
        if link.kind == "number" and between and laid.segment_of[m + 1] == v.segment + 1:
            link, nxt, k = items[m], items[m + 1], m + 1  # "between sixty | eighty": "and" has split the segment
            joined = True
        else:
            joined = (
                link.role("range_to")
                or link.role("or")
                or (between and link.role("changed"))
                or (link.kind == "mark" and tokens[link.start].low in ("-", "–", "/"))
            )
            while joined and nxt.kind != "number" and k + 1 < len(items) and k < m + 4:
                if not (nxt.role("unsure") or nxt.role("inexact") or nxt.role("approx") or nxt.kind == "plain"):
                    break
                k += 1
                nxt = items[k]
        if not joined or nxt.kind != "number":
            break
        moved = any(
            tokens[i.start].low
            in (
                "went",
                "dropped",
                "came",
                "rose",
                "fell",
                "climbed",
                "gone",
                "moved",
                "changed",
                "drop",
                "drops",
                "down",
                "up",
                "brought",
                "took",
            )
            for i in before
        )
        second: Number = nxt.value
        end = k
        unit = v.unit
        if k + 1 < len(items) and items[k + 1].get("unit") is not None and laid.segment_of[k + 1] == laid.segment_of[k]:
            unit, end = items[k + 1].get("unit"), k + 1
        if between and (moved or link.role("changed")):  # "from nine eight to nine three"
            v.number, v.unit, v.changed, v.start, v.place = second, unit, True, nxt.start, k
        else:
            v.others = (*v.others, second)
            v.unit = v.unit or unit
            v.hedge = "or" if link.role("or") else "range"
        v.end = items[end].end
        m = end
        if link.kind == "number":
            break
    if (
        between
        and m + 1 < len(items)
        and items[m + 1].kind == "number"
        and laid.segment_of[m + 1] == v.segment + 1
        and not v.others
    ):
        second = items[m + 1].value
        v.others, v.hedge = (second,), "range"
        m += 1
        if m + 1 < len(items) and items[m + 1].get("unit") is not None:
            v.unit = v.unit or items[m + 1].get("unit")
            m += 1
        v.end = items[m].end
    return m


def fits_free(v: Value, names: Sequence[Name], grammar: Grammar, system: str) -> bool:
    """Whether a number with its unit is far likelier of a quantity that nobody named than of those that are.

    "One twenty volts at the switch, half a volt neutral to ground"; only of units in which nothing depends on the
    firing rate.
    """
    named = [q for x in names for q in (x.ids or x.vague)]
    free = [q for q in grammar.free.get(v.unit, ()) if q not in named]
    costs = [[fit(v.number, v.unit, grammar.measures[q], system).cost for q in ids] for ids in (free, named)]
    return bool(free and named) and min(costs[0]) + 0.5 < min(costs[1])


def assign(
    values: Sequence[Value],
    names: Sequence[Name],
    laid: Laid,
    grammar: Grammar,
    system: str,
    tokens: Sequence[Token],
    *,
    corrects: bool = False,
) -> float:
    """Give each value its name (``Value.name``), or None, at the least cost; returns that cost.

    ``corrects``: the sentence puts right what was said before it, or answers to a name without a value.
    """
    if not values:
        return 0.0
    for v in values:
        v.led_at = _leads_at(v, values, names, laid, tokens)
    costs = [[_edge(v, name, values, names, laid, grammar, system, tokens) for name in names] for v in values]
    fits = [[_fit(v, name, grammar, system) for name in names] for v in values]
    alone = [_alone(v, grammar) for v in values]
    lonely = [NONE if not q else 2.5 if any(q in x.ids for x in names) else 1.0 for q in alone]
    for n, v in enumerate(values):
        if v.unit in grammar.free and fits_free(v, names, grammar, system):
            lonely[n] = min(lonely[n], 1.0)
    ahead = [n for n in names if n.ids and n.place < values[0].place]
    surplus = len(values) - len([n for n in names if n.ids])
    if corrects and not ahead and surplus > 0:
        # "CO2 eight nine, correction, eight six, stack ninety nine": it corrects, the stack has its own
        first = min([n.place for n in names if n.ids], default=len(laid.items))
        for n, v in enumerate(values[:surplus]):
            lonely[n] = 0.3 if v.place < first else lonely[n]
    listed = [
        n > 0 and v.condition is not None and v.condition != values[n - 1].condition for n, v in enumerate(values)
    ]
    fixed = _in_order(values, names, fits)
    best: dict[tuple[int, int], tuple[float, tuple[int, ...]]] = {(0, -1): (0.0, ())}
    for n in range(len(values)):
        following: dict[tuple[int, int], tuple[float, tuple[int, ...]]] = {}
        for (mask, last), (sofar, path) in best.items():
            if n in fixed:
                k = fixed[n]
                following[(mask | 1 << k, max(k, last))] = (sofar + fits[n][k], (*path, k))
                continue
            options = [(-1, lonely[n])]
            options += [(k, c) for k, c in enumerate(costs[n]) if c < NONE + 2 or (mask >> k & 1 and listed[n])]
            for k, c in options:
                total = sofar + c
                if k >= 0:
                    if mask >> k & 1:
                        # one name over a list of conditions: "seven eight static, seven one high fire"
                        total = sofar + (min(c, LISTED + fits[n][k]) if listed[n] else c + AGAIN)
                    if k < last:
                        total += CROSSED
                key = (mask | 1 << k if k >= 0 else mask, max(k, last) if k >= 0 else last)
                old = following.get(key)
                if old is None or total < old[0]:
                    following[key] = (total, (*path, k))
        best = following
        if len(best) > 200:
            best = dict(sorted(best.items(), key=lambda x: x[1][0])[:200])
    total, path = min(best.values(), key=lambda x: x[0])
    path, unsure = _parallel(values, path, fits)
    for v, k in zip(values, path, strict=True):
        if k >= 0:
            v.name = names[k]
            names[k].used += 1
            v.near = costs[values.index(v)][k]
            lo, hi = sorted((names[k].place, v.place))
            v.strangers = (values.index(v) in unsure) + sum(
                1 for i in laid.items[lo + 1 : hi] if i.kind == "word" and not _verb(tokens[i.start].low)
            )
        else:
            v.followed = v.followed or v.led_at
            quantity = _alone(v, grammar)
            if quantity is not None:
                v.name = Name((quantity,), (), v.place, v.segment, by_unit=True)
    for before, v in pairwise(values):
        lows = [t.low for t in tokens[max(0, v.start - 2) : v.start]]
        set_against = lows[-1:] in (["under"], ["below"]) and lows[0] in _AMPLY
        if set_against and (v.name is None or v.name is before.name) and not before.hedge:
            v.name, v.followed = None, True  # "forty, well under two hundred"
    for v in values:
        name = _in_another_unit(v, values, names, laid, grammar) if v.name is None and v.unit else None
        if name is not None:
            v.name, name.used = name, 1
    return total


_AMPLY = frozenset(("well", "way", "far", "comfortably", "safely", "nicely", "easily"))
_BESIDE = ("plain", "cue", "condition", "enter")


def _in_another_unit(
    v: Value, values: Sequence[Value], names: Sequence[Name], laid: Laid, grammar: Grammar
) -> Name | None:
    """ "CO point oh one percent", "the fan is at seventy percent": told in a unit that its quantity is not given in.

    Only in one of a quantity of the same group or kind: "a four inch flue" is no flue temperature.
    """
    for name in names:
        lo, hi = sorted((name.place, v.place))
        beside = name.segment == v.segment and all(i.kind in _BESIDE for i in laid.items[lo + 1 : hi])
        if not beside or name.used or name.implied or len(name.ids) != 1:
            continue
        if any(o.name is not None and o.name.ids == name.ids for o in values):
            continue  # "the fan's at eighty percent, fifty four hundred rpm"
        own = grammar.quantities[name.ids[0]]
        peers = {u for q in grammar.sheet.quantities if q.group == own.group for u in q.units}
        kinds = {unit_of(u).kind for u in own.units}
        if v.unit != "deg" and own.conditions and (v.unit in peers or unit_of(v.unit).kind in kinds):
            return name
    return None


def _parallel(
    values: Sequence[Value], path: tuple[int, ...], fits: Sequence[Sequence[float]]
) -> tuple[tuple[int, ...], frozenset[int]]:
    """ "Nine one CO2 and four six O2 at high, eight six and five five at low": the second row follows the first.

    Returns the path and the values that are still not sure.
    """
    rows: dict[str, list[int]] = {}
    for n, v in enumerate(values):
        rows.setdefault(v.condition or "", []).append(n)
    first = next(iter(rows.values()))
    names = [path[n] for n in first]
    if len(rows) < 2 or len(names) < 2 or -1 in names or len(set(names)) < len(names):
        return path, frozenset()
    out, unsure = list(path), set()
    for row in list(rows.values())[1:]:
        own = [k for n in row if (k := path[n]) >= 0 and k not in names]
        if own or len(row) < 2:
            continue
        if len(row) == len(names) and all(fits[n][k] < IMPOSSIBLE for n, k in zip(row, names, strict=True)):
            for n, k in zip(row, names, strict=True):
                out[n] = k
        else:
            unsure.update(row)
    return tuple(out), frozenset(unsure)


def _verb(word: str) -> bool:
    """Most words in -ing, -ed and -ly between a quantity and its value say how it stands there."""
    return word.endswith(("ing", "ed", "ly"))


def _in_order(values: Sequence[Value], names: Sequence[Name], fits: Sequence[Sequence[float]]) -> dict[int, int]:
    """ "CO2 and O2 are nine one and four five": a run of names, then as many values, belong together in order."""
    row = sorted(
        [(x.place, 0, k) for k, x in enumerate(names) if not x.implied]
        + [(v.place, 1, n) for n, v in enumerate(values)]
    )
    runs: list[tuple[int, list[int]]] = []
    for _, which, k in row:
        if not runs or runs[-1][0] != which:
            runs.append((which, []))
        runs[-1][1].append(k)
    out: dict[int, int] = {}
    for (a, some), (b, others) in pairwise(runs):
        real = all(names[k].ids or names[k].vague for k in some if a == 0)
        if (
            (a, b) == (0, 1)
            and real
            and len(some) == len(others) > 1
            and all(fits[n][k] < IMPOSSIBLE for k, n in zip(some, others, strict=True))
        ):
            out.update(zip(others, some, strict=True))
    if [r[0] for r in runs] == [1, 0] and len(runs[0][1]) == len(runs[1][1]) > 1:
        # "one fifty out, one thirty back, that's supply and return"
        some, others = runs[1][1], runs[0][1]
        if all((names[k].ids or names[k].vague) and fits[n][k] < IMPOSSIBLE for k, n in zip(some, others, strict=True)):
            out.update(zip(others, some, strict=True))
    return out


def _alone(v: Value, grammar: Grammar) -> str | None:
    return grammar.by_unit_alone.get(v.unit) if v.unit else None


def _edge(
    v: Value,
    name: Name,
    values: Sequence[Value],
    names: Sequence[Name],
    laid: Laid,
    grammar: Grammar,
    system: str,
    tokens: Sequence[Token],
) -> float:
    """The cost of value ``v`` being of ``name``."""
    lo, hi = sorted((name.place, v.place))
    if v.led_at and name.place > v.place:
        return 99.0
    cost = STEP * max(0, hi - lo - 1)
    cost += BREAK * _breaks(name.segment, v.segment, laid, name.place < v.place)
    cost += BETWEEN * sum(1 for o in values if lo < o.place < hi)
    cost += BETWEEN * sum(1 for o in names if lo < o.place < hi and not o.implied)
    if name.place > v.place:
        between = [tokens[i.start].low for i in laid.items[lo + 1 : hi]]
        link = next((w for w in between if w in ("on", "of", "for", "in")), "")
        # "nine one on the CO2" links; "nine one CO 72" leans the other way
        cost += 0.2 if link else 0.6
        # "thirty navy and the flame signal is five": over a word that is not known nothing leans forward
        cost += STRANGE * sum(1 for i in laid.items[lo + 1 : hi] if i.kind == "word")
    if name.implied:
        cost += 0.8
    if not name.ids and not name.vague:
        if laid.items[name.place].kind == "quantity" and name.segment != v.segment:
            return 99.0  # "with the probe out, now it's four six"
        adjacent = hi - lo == 1 or (v.unit and hi - lo == 2)
        middle = laid.items[lo + 1 : hi]
        stated = name.place < v.place and all(
            i.kind in ("condition", "enter") or tokens[i.start].low in STATED for i in middle
        )
        long = v.unit not in ("", "deg") and unit_of(v.unit).kind == "length"
        if long and any(v.unit in grammar.quantities[q].units for n in names for q in n.ids):
            return 99.0  # "vent run: PVC, twelve feet"
        if stated:
            return 0.0  # "NOx at high fire is 18 ppm"
        named = 0.8 if _alone(v, grammar) else 0.0  # "the pump does eighteen litres a minute"
        return cost + (0.0 if adjacent else 0.6) + named
    badly = _fit(v, name, grammar, system)
    return cost + (badly if badly < MISMATCH else 99.0)


def _leads_at(v: Value, values: Sequence[Value], names: Sequence[Name], laid: Laid, tokens: Sequence[Token]) -> bool:
    """ "At ten fifteen CO2 nine one": a number behind "at" that opens its clause says when or where, not what.

    The name behind it has a number of its own in that clause.
    """
    if v.unit or v.place < 1 or tokens[laid.items[v.place - 1].start].low != "at":
        return False
    if any(laid.items[k].kind not in ("plain", "cue") for k in range(v.place) if laid.segment_of[k] == v.segment):
        return False
    behind = [n.place for n in names if n.place > v.place and n.segment == v.segment and n.ids]
    return bool(behind) and any(o.place > behind[0] and o.segment == v.segment for o in values)


def _fit(v: Value, name: Name, grammar: Grammar, system: str) -> float:
    """How badly the number fits the quantities of a name."""
    ids = name.ids or name.vague
    if not ids:
        return 0.0
    best = min(fit(v.number, v.unit, grammar.measures[q], system).cost for q in ids)
    if best >= 6 and name.ids and name.vague:
        best = min(fit(v.number, v.unit, grammar.measures[q], system).cost for q in name.vague)
    return best * FIT


def _breaks(a: int, b: int, laid: Laid, name_first: bool) -> float:
    if a == b:
        return 0.0
    return abs(a - b) * (0.8 if name_first else 1.4)
