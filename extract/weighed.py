"""How the ways in which an utterance was heard weigh for and against a value of it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

from extract.aloud import aloud, said_in
from extract.assign import Value
from extract.context import Context
from extract.lexicon import Grammar
from extract.parse import Heard
from extract.values import fit
from extract.ways import SECOND, Way
from extract.whereabouts import rates_of
from schemas.base import decimal_of

__all__ = [
    "Read",
    "Weighed",
    "confirmed_by_second",
    "ids_of",
    "named_alike",
    "read_of",
    "same",
    "values_of",
    "weigh",
    "words_of",
]

BREAKS_OFF = 2  # words before a value by which a hypothesis is known that breaks off there
_LIKE_WORDS = ("1", "2", "4")  # on, to, for
MOST_SILENT = 0.5  # where more of the mass breaks off, too little is left to judge by


class Read(NamedTuple):
    """A way of hearing, with the values found in it and the firing rates and other conditions that it names."""

    values: Sequence[Value]
    way: Way
    rates: frozenset[object]


def read_of(heard: Heard, way: Way) -> Read:
    """Return a way of hearing with what was understood of it."""
    return Read(values_of(heard), way, frozenset(rates_of(heard)))


class Weighed(NamedTuple):
    """What speaks for a value and what against it, as shares of the mass.

    ``support``: has it; ``placed``: has it with its firing rate; ``against``: has another number or sense;
    ``confirmed``: the second opinion has it, ``partly``: some of its digits and no others, ``denied``: another number
    or sense, ``wholly``: it under its name and at its firing rate; ``otherwise``: some way has it as something else;
    ``listed``: the numbers heard instead, likeliest first.
    """

    support: float
    placed: float
    against: float
    confirmed: bool
    partly: bool
    denied: bool
    otherwise: bool
    wholly: bool
    listed: tuple[Value, ...]


def weigh(v: Value, heard: Heard, read: Sequence[Read], context: Context, grammar: Grammar) -> Weighed:
    """Weigh a value of ``heard`` by all ways that it was ``read`` in.

    A hypothesis that breaks off where the value begins says nothing of it: if the second opinion has the value, the
    shares are those of the rest. Another number that cannot be there (a fan at 49 a minute) says only that the value
    was not heard so. A way that names no firing rate says nothing of it, if the second opinion has the value at its
    own. A piece of the number (120 for 129, 0.6 for 9.6) is what noise leaves of it, in the second opinion too.
    """
    words, before = words_of(heard, v), _words_before(heard, v)
    support = against = placed = silent = placeless = 0.0
    confirmed = denied = otherwise = partly = False
    # the second opinion has it under its name: then "flow" for "flue" in some hypotheses says nothing
    agreed = any(r.way.who == SECOND and any(named_alike(v, o) for o in r.values) for r in read)
    both = any(r.way.who == SECOND and _there(v, r) for r in read)
    others: list[tuple[float, Value]] = []
    for one in read:
        found, way = one.values, one.way
        second = way.who == SECOND
        has = _has(v, words, one, context, grammar)
        if _there(v, one) or (has and one.rates == {v.condition}):
            placed += 1.0 if second else way.mass
        elif both and has and not one.rates:
            placeless += way.mass
        if (second or not agreed) and _otherwise(v, found, context, grammar):
            against, denied = against + way.mass, denied or second
            otherwise = True
            continue
        if has:
            support, confirmed = support + way.mass, confirmed or second
            continue
        differing = [o for o in found if (_alike(v, o) and _may_be(v, o, context, grammar)) or _shorter(v, o)]
        if second and found and all(_piece(v, o) for o in differing or found):
            partly = True
        elif differing:
            against, denied = against + way.mass, denied or second
            others += [(way.mass + (0.5 if second else 0.0), o) for o in differing]
        elif before and aloud(way.text).split()[-len(before) :] == list(before):
            silent += way.mass
    if confirmed and silent <= MOST_SILENT:
        support, placed, against = (share / (1 - silent) for share in (support, placed, against))
    placed = placed / (1 - placeless) if placeless < 1 else placed
    listed = tuple({o.number.first: o for _, o in sorted(others, key=lambda x: -x[0])}.values())[:3]
    wholly = agreed and confirmed and (both or v.condition is None)
    return Weighed(support, placed, against, confirmed, partly, denied, otherwise, wholly, listed)


def confirmed_by_second(v: Value, heard: Heard, read: Sequence[Read], context: Context, grammar: Grammar) -> bool:
    """Whether the second opinion has a value too."""
    words = words_of(heard, v)
    return any(r.way.who == SECOND and _has(v, words, r, context, grammar) for r in read)


def _there(v: Value, one: Read) -> bool:
    """Whether a way of hearing has a value at its firing rate."""
    return any(same(v, o) and (o.condition or "") == (v.condition or "") for o in one.values)


def _has(v: Value, words: str, one: Read, context: Context, grammar: Grammar) -> bool:
    """Whether a way of hearing has a value: among those found in it, or as it sounds."""
    if any(same(v, o) or _begun(v, o) or _misnamed(v, o, context, grammar) for o in one.values):
        return True
    return said_in(words, one.way.text) or (one.way.who == SECOND and _written_in(v, one.way.text))


def named_alike(v: Value, o: Value) -> bool:
    """Whether two ways of hearing have the same number under the same name, in no other unit."""
    return same(v, o) and bool(set(ids_of(v)) & set(ids_of(o))) and (not (v.unit and o.unit) or v.unit == o.unit)


def same(a: Value, b: Value) -> bool:
    """The same number for the same quantity and condition."""
    # 6 % is 6.0 %; without a unit the digit may have been cut off: "eight point oh wait" for 8.08.
    alike = bool(a.unit) and a.unit == b.unit and decimal_of(a.number.first) == decimal_of(b.number.first)
    if a.number.first not in {b.number.first, *(t for t, _ in b.number.choices)} and not alike:
        return False
    if a.number.sign != b.number.sign or (a.condition and b.condition and a.condition != b.condition):
        return False
    if a.noted != b.noted and a.unit == b.unit:
        return False  # the same time for another volume
    return not ids_of(a) or not ids_of(b) or bool(set(ids_of(a)) & set(ids_of(b)))


def values_of(heard: Heard) -> list[Value]:
    """Every value that might be written down."""
    out = []
    for p in heard.sentences:
        out += [v for v in (*p.values, *p.clock, *(m.value for m in p.moves if m.value)) if not v.negated]
    return out


def ids_of(v: Value) -> tuple[str, ...]:
    return (v.name.ids or v.name.vague) if v.name else ()


def words_of(heard: Heard, v: Value) -> str:
    return " ".join(token.text for token in heard.tokens[v.start : v.end])


def _words_before(heard: Heard, v: Value) -> Sequence[str]:
    """The words right before a value, as they sound; empty where there are too few."""
    said = aloud(" ".join(token.text for token in heard.tokens[: v.start])).split()[-BREAKS_OFF:]
    return said if len(said) == BREAKS_OFF else ()


def _otherwise(v: Value, found: Sequence[Value], context: Context, grammar: Grammar) -> bool:
    """Whether a way of hearing has the same number as something else and nowhere as this.

    In another unit, of another quantity whose number it may well be, denied, or as a limit.
    """
    alike = [o for o in found if v.number.first in {o.number.first, *(text for text, _ in o.number.choices)}]
    return bool(alike) and all(_another(v, o, context, grammar) for o in alike)


def _another(v: Value, o: Value, context: Context, grammar: Grammar) -> bool:
    if v.unit and o.unit and v.unit != o.unit:
        return True
    mine, theirs = (set(ids_of(x)) if x.name and not x.name.implied else set() for x in (v, o))
    if not (mine and theirs) or mine & theirs:
        return False
    fits = [fit(o.number, o.unit or v.unit, grammar.measures[q], context.setting.units) for q in sorted(theirs)]
    return any(f.choices[0].usual and not f.doubts for f in fits)


def _misnamed(v: Value, other: Value, context: Context, grammar: Grammar) -> bool:
    """Whether the other is this number under a name that cannot have its unit: "flow 58 degrees" for the flue's."""
    if not other.unit or set(ids_of(other)) & set(ids_of(v)) or other.number != v.number:
        return False
    fits = [fit(other.number, other.unit, grammar.measures[q], context.setting.units) for q in ids_of(other)]
    return bool(fits) and all("unit kind" in f.doubts for f in fits)


def _may_be(v: Value, other: Value, context: Context, grammar: Grammar) -> bool:
    """Whether another number can be one of such a quantity: also one that would be unusual ("nine hundred" for 90)."""
    names = [q for q in ids_of(other) if q in ids_of(v)] or ids_of(other)
    fits = [fit(other.number, other.unit or v.unit, grammar.measures[q], context.setting.units) for q in names]
    return not fits or any("impossible" not in f.doubts and f.cost < 3 for f in fits)


def _begun(v: Value, other: Value) -> bool:
    """Whether the other is the beginning of the value, cut off: "nine point" for "nine point oh"."""
    return other.number.cut and v.number.first.startswith(other.number.first)


def _piece(v: Value, other: Value) -> bool:
    """Whether the other is at least half of the digits of a value, those at its beginning or its end.

    Where the one digit that it lacks may be a small word ("10.9 on" heard as 10.91, "O two forty" as 240), it is none.
    """
    if ids_of(other) and not set(ids_of(v)) & set(ids_of(other)):
        return False
    whole, part = (x.number.first.replace(".", "").lstrip("0") or "0" for x in (v, other))
    head = part.rstrip("0")
    if whole in (part, head) or 2 * len(head or part) < len(whole):
        return False
    if head and whole.startswith(head):
        return whole[len(head) :] not in _LIKE_WORDS
    return whole.endswith(part) and whole[: -len(part)] not in _LIKE_WORDS


def _shorter(v: Value, other: Value) -> bool:
    """Whether the other is the value without its last digits, of nothing that is named: "10.9 on" for "10.91"."""
    short = other.number.first
    return not ids_of(other) and "." in short and v.number.first.startswith(short) and v.number.first != short


def _written_in(v: Value, text: str) -> bool:
    """Whether a text has the value at the end of a run of digits: "CO29.1" for CO2 9.1, "C0102" for CO 102."""
    runs = re.findall(r"[0-9]+(?:[.,][0-9]+)?", re.sub(r"\bC?O2\b", "", text))
    value = v.number.choices[0][0]
    if any(run.endswith(value) and (len(value) > 1 or run == value) for run in runs):
        return True
    digits = re.sub(r"[^0-9]", "", v.number.digits)
    joined = re.findall(r"[0-9](?:[-. ]?[0-9])*", text)  # "9-1" and "288" for CO2 8.8
    return len(digits) > 1 and any(re.sub(r"[^0-9]", "", run).endswith(digits) for run in joined)


def _alike(a: Value, b: Value) -> bool:
    """Another number for the same quantity, or another quantity for the same number."""
    return bool(set(ids_of(a)) & set(ids_of(b))) or a.number.first == b.number.first
