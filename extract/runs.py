"""Values whose digits ran together, were cut apart or were lost on the way: "8.774 parts", "50 to 60" for 5260."""

from __future__ import annotations

from extract.assign import Value
from extract.book import Book
from extract.doubt import doubt
from extract.numbers import Number
from extract.parse import Parsed
from extract.values import Fit, fit
from schemas.doubts import DoubtKind
from schemas.readings import Reading

__all__ = ["doubled", "fuller_than", "fused", "lone_digit", "with_two"]


def with_two(b: Book, quantity: str, v: Value) -> str:
    """5260 for a fan at "50 to 60", where neither end can be but "fifty two sixty" can; empty otherwise."""
    if v.hedge != "range" or len(v.others) != 1:
        return ""
    low, high = v.number.first, v.others[0].first
    if not (low.endswith("0") and low.isdigit() and high.isdigit()):
        return ""
    whole = f"{low[:-1]}2{high}"
    number = Number(((whole, 0.0),), exact=True, digits=whole)
    usual = fit(number, v.unit, b.g.measures[quantity], b.c.setting.units).choices[0].usual
    return whole if usual else ""


def fuller_than(other: str, b: Book, v: Value, quantity: str) -> bool:
    """Whether another hearing has more of the number: 8.08 for "8.0 wait", 7.9 for a lone 9 with decimals shown."""
    said = v.number.first
    more = v.end < len(b.tokens) and b.tokens[v.end].kind != "mark"
    return (more and other.startswith(said) and "." in said and len(other) > len(said)) or (
        lone_digit(b, v, quantity) and "." in other and other.endswith(said)
    )


def lone_digit(b: Book, v: Value, quantity: str) -> bool:
    """ "CO2 eight" of a quantity that instruments show with decimals: recognisers lose the second of "eight eight"."""
    measure = b.g.measures[quantity]
    places = measure.decimals.get(v.unit or measure.default(b.c.setting.units), ())
    text = v.number.first
    return len(text) == 1 and bool(places) and 0 not in places


def doubled(number: Number) -> Number:
    """8.8 for a lone 8: of two words that are the same, recognisers drop one."""
    value = f"{number.first}.{number.first}"
    return number._replace(choices=((value, 0.0),), exact=True, digits=value)


def fused(b: Book, quantity: str, v: Value, p: Parsed) -> bool:
    """Two values run together ("8.774 parts"): cut them apart and ask about both. False if no cut makes sense."""
    by_unit = b.g.by_unit_alone.get(v.unit)
    digits = v.number.first.lstrip("-")
    whole, _, tail = digits.partition(".")
    if not tail:
        return False
    condition = v.condition if v.condition and "|" not in v.condition else b.c.state
    for q in b.g.sheet.quantities:
        if q.kind != "number" or (by_unit and q.id == by_unit) or (not by_unit and q.id != quantity):
            continue
        if condition and condition not in q.conditions:
            continue
        places = min(b.g.measures[q.id].decimals.get(b.g.measures[q.id].default(b.c.setting.units), (1,)))
        if places < 1 or len(tail) <= places or q.units != ("%",):
            continue
        head, rest = f"{whole}.{tail[:places]}", tail[places:]
        second = by_unit or next(iter(b.g.by_unit_alone.values()), None)
        if second is None or not rest.lstrip("0"):
            return False
        f = fit(Number(((head, 0.0),), exact=True, digits=head), "", b.g.measures[q.id], b.c.setting.units)
        g = fit(
            Number(((rest.lstrip("0"), 0.0),), exact=True, digits=rest), "", b.g.measures[second], b.c.setting.units
        )
        if f.cost >= 3 or g.cost >= 3 or not f.choices[0].usual:
            continue
        pair(b, q.id, f, second, g, v, condition)
        return True
    return False


def pair(b: Book, first: str, f: Fit, second: str, g: Fit, v: Value, condition: str | None) -> None:
    ids = (b.new_id(), b.new_id())
    why = doubt(DoubtKind.RUN_TOGETHER, "two values may have run together")
    for n, (q, x) in enumerate(((first, f), (second, g))):
        b.settle(
            Reading(
                id=ids[n], quantity=q, condition=condition, phase=b.phase_for(condition), value=x.choices[0].value,
                unit=x.choices[0].unit, appliance=b.appliance_for(q), source=b.source(v.start, v.end),
                doubts=(why,), asked_with=ids[1 - n],
            ), None, "",
        )  # fmt: skip
