"""What speaks for a value and what against it in the other ways of hearing an utterance, as shares of the mass."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

from extract.aloud import aloud, said_in, sound_alike
from extract.assign import Value
from extract.context import Context
from extract.lexicon import Grammar
from extract.parse import Heard
from extract.values import fit
from extract.ways import REJOINED, SECOND, Way
from schemas.base import decimal_of

__all__ = ["Weighed", "has", "ids_of", "named_alike", "same", "values_of", "weigh", "words_before", "words_of"]

BREAKS_OFF = 2  # words before a value by which a hypothesis is known that breaks off there
MOST_SILENT = 0.5  # where more of the mass breaks off, too little is left to judge by


class Weighed(NamedTuple):
    """What speaks for a value and what against it, as shares of the mass.

    ``support``: has it; ``placed``: has it with its firing rate; ``against``: has another number or sense;
    ``twin``: it with -teen for -ty or the other way round; ``confirmed``, ``denied``: so does the second opinion;
    ``otherwise``: some way has it as something else; ``listed``: the numbers heard instead, likeliest first.
    """

    support: float
    placed: float
    against: float
    twin: float
    confirmed: bool
    denied: bool
    otherwise: bool
    listed: tuple[Value, ...]


def weigh(
    v: Value,
    words: str,
    before: Sequence[str],
    read: Sequence[tuple[Sequence[Value], Way]],
    context: Context,
    grammar: Grammar,
) -> Weighed:
    """Weigh a value said in ``words`` behind the words ``before``.

    A hypothesis that breaks off where the value begins, or has there what is no number ("one hundred eight eight"),
    says nothing of it: if the second opinion has the value, the shares are those of the rest. Another number that
    cannot be there (a fan at 49 a minute) says only that the value was not heard so.
    """
    support = against = placed = silent = twin = 0.0
    confirmed = denied = otherwise = False
    # the second opinion has it under its name: then "flow" for "flue" in some hypotheses says nothing
    agreed = any(way.who == SECOND and any(named_alike(v, o) for o in found) for found, way in read)
    others: list[tuple[float, Value]] = []
    for found, way in read:
        second = way.who in (SECOND, REJOINED)
        if any((same(v, o) or _meant(v, o, context, grammar)) and o.condition == v.condition for o in found):
            placed += 1.0 if second else way.mass
        if way.who == REJOINED:
            continue
        if (second or not agreed) and _otherwise(v, found, context, grammar):
            against, denied = against + way.mass, denied or second
            otherwise = True
            continue
        if has(v, words, found, way, context, grammar):
            support, confirmed = support + way.mass, confirmed or second
            continue
        differing = [o for o in found if (_alike(v, o) and _may_be(v, o, context, grammar)) or _shorter(v, o)]
        if differing and agreed and not second and all(_piece(o, v, found) for o in differing):
            silent += way.mass
        elif differing:
            against, denied = against + way.mass, denied or second
            twin += way.mass * any(o.number.first == sound_alike(v.number.first) for o in differing)
            others += [(way.mass + (0.5 if second else 0.0), o) for o in differing]
        elif before and aloud(way.text).split()[-len(before) :] == list(before):
            silent += way.mass
    if confirmed and silent <= MOST_SILENT:
        support, placed, against = (share / (1 - silent) for share in (support, placed, against))
    listed = tuple({o.number.first: o for _, o in sorted(others, key=lambda x: -x[0])}.values())[:3]
    return Weighed(support, placed, against, twin, confirmed, denied, otherwise, listed)


def named_alike(v: Value, o: Value) -> bool:
    """Whether two ways of hearing have the same number under the same name, in no other unit."""
    return same(v, o) and bool(set(ids_of(v)) & set(ids_of(o))) and (not (v.unit and o.unit) or v.unit == o.unit)


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


def has(v: Value, words: str, found: Sequence[Value], way: Way, context: Context, grammar: Grammar) -> bool:
    """Whether a way of hearing has a value: in what was ``found`` in it, or as it sounds."""
    if any(
        same(v, o) or _meant(v, o, context, grammar) or _begun(v, o) or _misnamed(v, o, context, grammar) for o in found
    ):
        return True
    return said_in(words, way.text) or (way.who == SECOND and _written_in(v, way.text, grammar))


def words_of(heard: Heard, v: Value) -> str:
    """The words of a value's number, without its unit where they can be told apart."""
    for p in heard.sentences:
        if any(x is v for x in p.values) and 0 <= v.place < len(p.laid.items):
            number = p.laid.items[v.place]
            if number.kind == "number" and v.start <= number.start < number.end <= v.end:
                return " ".join(token.text for token in heard.tokens[number.start : number.end])
    return " ".join(token.text for token in heard.tokens[v.start : v.end])


def words_before(heard: Heard, v: Value) -> Sequence[str]:
    """The words right before a value, as they sound; empty where there are too few."""
    said = aloud(" ".join(token.text for token in heard.tokens[: v.start])).split()[-BREAKS_OFF:]
    return said if len(said) == BREAKS_OFF else ()


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


def values_of(heard: Heard) -> list[Value]:
    """Every value that might be written down."""
    out = []
    for p in heard.sentences:
        out += [v for v in (*p.values, *p.clock, *(m.value for m in p.moves if m.value)) if not v.negated]
    return out


def ids_of(v: Value) -> tuple[str, ...]:
    return (v.name.ids or v.name.vague) if v.name else ()


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


def _digits(v: Value) -> str:
    return re.sub(r"[^0-9]", "", v.number.digits)


def _meant(v: Value, other: Value, context: Context, grammar: Grammar) -> bool:
    """Whether both mean the same value of a quantity that they name: "86 five" and 86.5 of efficiency."""
    if v.noted != other.noted or (v.condition and other.condition and v.condition != other.condition):
        return False
    shared = sorted(set(ids_of(v)) & set(ids_of(other)))
    if not shared or _digits(v) != _digits(other) or v.number.sign != other.number.sign:
        return False
    system = context.setting.units
    fits = [[fit(x.number, x.unit, grammar.measures[q], system).choices[0] for x in (v, other)] for q in shared]
    return all((one.value, one.unit) == (two.value, two.unit) and one.usual for one, two in fits)


def _piece(o: Value, v: Value, found: Sequence[Value]) -> bool:
    """Whether another number of the same name stands right beside one, and both are the value in pieces but for a
    "-ty": "one hundred eight eight" for 188."""
    beside = [x for x in found if o.name is not None and x.name is o.name and (x.start == o.end or x.end == o.start)]
    pieces = sorted([o, *beside], key=lambda x: x.start)
    said = "".join(_digits(x) for x in pieces).replace("0", "")
    whole = _digits(v)  # of two digits, "ten eight" would be 18
    return len(pieces) > 1 and len(whole) > 2 and said == whole.replace("0", "")


def _begun(v: Value, other: Value) -> bool:
    """Whether the other is the beginning of the value, cut off: "nine point" for "nine point oh"."""
    return other.number.cut and v.number.first.startswith(other.number.first)


def _shorter(v: Value, other: Value) -> bool:
    """Whether the other is the value without its last digits, of nothing that is named: "10.9 on" for "10.91"."""
    short = other.number.first
    return not ids_of(other) and "." in short and v.number.first.startswith(short) and v.number.first != short


def _written_in(v: Value, text: str, grammar: Grammar) -> bool:
    """Whether a text has the value in a run of digits with those of its name: "CO29.1" for CO2 9.1, "C0102" for CO 102.

    What else stands in front of it makes another number: 140 has no 40 in it.
    """
    names = [name for q in ids_of(v) for name in grammar.quantities[q].said]
    leads = ("", "0", "2", "02") if any(name.lower().endswith(("2", "two")) for name in names) else ("", "0")
    text = re.sub(r"(?<=[0-9]),(?=[0-9]{3}(?![0-9]))", "", text)  # thousands
    runs = re.findall(r"[0-9]+(?:[.,][0-9]+)*", text)
    joined = [
        re.sub(r"[^0-9]", "", run) for run in re.findall(r"[0-9](?:[-. ]?[0-9])*", text)
    ]  # "9-1", "288" for CO2 8.8
    value, digits = v.number.choices[0][0], _digits(v)
    return any(run == f"{lead}{value}" and (len(value) > 1 or not lead) for run in runs for lead in leads) or any(
        len(digits) > 1 and run == f"{lead}{digits}" for run in joined for lead in leads
    )


def _alike(a: Value, b: Value) -> bool:
    """Another number for the same quantity, or another quantity for the same number."""
    return bool(set(ids_of(a)) & set(ids_of(b))) or a.number.first == b.number.first
