"""Every doubt has its source here: what fit, hedges, context and physics found, said as named reasons."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal

from extract.context import Setting
from extract.lexicon import Grammar
from physics import laws
from schemas.appliance import Fuel
from schemas.base import decimal_of, is_value_text
from schemas.doubts import Doubt, DoubtKind
from schemas.errors import BadInput
from schemas.readings import Alternative, Reading
from schemas.units import convert, show_unit

__all__ = ["FIT", "HEDGES", "TESTS", "against_governor", "amount", "broken", "doubt", "step_of"]

FIT = {
    "value": (DoubtKind.VALUE_UNCLEAR, "the digits can be read in more than one way"),
    "impossible": (DoubtKind.IMPOSSIBLE, "no such value can be"),
    "unusual": (DoubtKind.UNUSUAL, "unusual; the point may stand elsewhere"),
    "unit": (DoubtKind.UNIT_UNCLEAR, "no unit was said and another unit fits better"),
    "unit kind": (DoubtKind.UNIT_UNCLEAR, "the unit said is not one of this quantity"),
    "sign": (DoubtKind.SIGN_UNCLEAR, "plus or minus was not said"),
    "fused": (DoubtKind.RUN_TOGETHER, "more digits than the instrument shows"),
}
HEDGES = {
    "inexact": (DoubtKind.HEDGED, "said as a little more or less"),
    "unsure": (DoubtKind.HEDGED, "the speaker was not sure"),
    "range": (DoubtKind.RANGE, "two values were said"),
    "or": (DoubtKind.VALUE_UNCLEAR, "one value or the other"),
}
TESTS = tuple(
    k.value
    for k in (
        DoubtKind.HEARD_UNCLEARLY,
        DoubtKind.VALUE_UNCLEAR,
        DoubtKind.RUN_TOGETHER,
        DoubtKind.IMPOSSIBLE,
        DoubtKind.UNUSUAL,
        DoubtKind.UNIT_UNCLEAR,
        DoubtKind.SIGN_UNCLEAR,
        DoubtKind.HEDGED,
        DoubtKind.RANGE,
        DoubtKind.CUT_OFF,
        DoubtKind.QUANTITY_UNCLEAR,
        DoubtKind.CONDITION_UNCLEAR,
        DoubtKind.APPLIANCE_UNCLEAR,
        DoubtKind.LIMIT_QUOTED,
        DoubtKind.CONFLICT,
        DoubtKind.RELATION,
    )
)
"""The tests that every spoken reading goes through; a reading names those it came through."""


def doubt(kind: DoubtKind, detail: str = "") -> Doubt:
    """Return a doubt."""
    return Doubt(kind=kind, detail=detail)


def amount(value: Decimal, unit: str, other: str) -> Decimal | None:
    """Return ``value`` in another unit, None where it cannot be brought to it; without another unit, as it is."""
    if not unit and other:
        return None
    try:
        return convert(value, unit, other) if other else value
    except BadInput:
        return None


def _amount(reading: Reading, unit: str) -> Decimal | None:
    return amount(decimal_of(reading.value), reading.unit, unit) if is_value_text(reading.value) else None


def broken(
    new: Reading, others: Iterable[Reading], grammar: Grammar, setting: Setting
) -> tuple[Doubt, tuple[str, ...]] | None:
    """Return the law of nature that ``new`` breaks with readings of the same row, and the ids of those it is unsure
    about too; None if all laws hold.

    Where a law orders two readings taken at different times (running below static), the new one alone is asked about;
    where both came from one row of the analyser, either may be wrong.
    """
    row: Mapping[str, Reading] = {
        str(r.quantity): r
        for r in others
        if r.id != new.id and r.appliance == new.appliance and r.condition == new.condition and r.phase == new.phase
    }
    told = next((r.value for r in others if r.quantity == "fuel" and r.taken), None)
    found = _gas(new, row, setting, next((fuel for fuel in laws.CO2_MAX if fuel == told), None))
    if found:
        return found
    slot = (new.quantity, new.condition)
    for law in grammar.laws:
        slots = [(s.quantity, s.condition) for s in law.slots]
        if slot not in slots:
            continue
        other = slots[1 - slots.index(slot)]
        for r in others:
            if (r.quantity, r.condition) != other or r.appliance != new.appliance or r.id == new.id or not r.taken:
                continue
            if r.condition == new.condition and r.phase != new.phase:
                continue
            first, second = (new, r) if slots[0] == slot else (r, new)
            a, b = _amount(first, law.unit), _amount(second, law.unit)
            if a is None or b is None or a <= b + decimal_of(law.amount or "0"):
                continue
            both = r.condition == new.condition and _one_row(new, r, grammar)
            return doubt(DoubtKind.RELATION, law.text), ((r.id,) if both else ())
    return None


def against_governor(new: Reading, setting: Setting) -> Reading:
    """Return ``new``, with a doubt and the minus as the other value if it is an offset that the governor cannot give.

    Common practice, no source: a zero or negative governor holds the offset at or below zero. Where the appliance file
    names one, even a plus that was said is asked about; it is never impossible.
    """
    if new.quantity != "outlet_pressure" or setting.governor != "zero or negative":
        return new
    pascal = _amount(new, "Pa")
    unclear = any(d.kind == DoubtKind.SIGN_UNCLEAR for d in new.doubts)
    if unclear or pascal is None or pascal <= laws.OFFSET_TOLERANCE:
        return new
    plus = doubt(DoubtKind.SIGN_UNCLEAR, "a zero or negative governor gives no plus")
    minus = Alternative(value=f"-{new.value}", unit=new.unit, why=plus.detail)
    return new.model_copy(update={"doubts": (*new.doubts, plus), "alternatives": (minus, *new.alternatives)})


def _one_row(a: Reading, b: Reading, grammar: Grammar) -> bool:
    """Whether two readings come from one place: then either may be the wrong one."""
    return grammar.quantities[str(a.quantity)].group == grammar.quantities[str(b.quantity)].group


def _gas(
    new: Reading, row: Mapping[str, Reading], setting: Setting, said_fuel: Fuel | None
) -> tuple[Doubt, tuple[str, ...]] | None:
    """CO2 against O2, CO air-free against CO: the laws of one flame."""
    both = {**row, str(new.quantity): new}
    if new.quantity in ("co2", "o2") and "co2" in both and "o2" in both:
        # natural gas unless job or talk says otherwise: only a doubt hangs on it
        fuel = setting.fuel or said_fuel or "natural_gas"
        c, o = both["co2"], both["o2"]
        x, y = _amount(c, "%"), _amount(o, "%")
        if x is not None and y is not None:
            gap = laws.dilution_gap(x, y, fuel)
            steps = {"co2_step": step_of(c.value), "o2_step": step_of(o.value)}
            if abs(gap) > laws.dilution_tolerance(**steps):
                text = f"CO2 {c.value} % and O2 {o.value} % cannot both be right"
                return doubt(DoubtKind.RELATION, text), (row["o2" if new.quantity == "co2" else "co2"].id,)
    if new.quantity in ("co", "co_air_free") and "co" in both and "co_air_free" in both:
        a, f = both["co"], both["co_air_free"]
        x, y = _amount(a, "[ppm]"), _amount(f, "[ppm]")
        if x is not None and y is not None and y < x - laws.AIR_FREE_BELOW_TOLERANCE:
            text = f"CO air-free {f.value} {show_unit('[ppm]')} cannot be less than CO {a.value}"
            return doubt(DoubtKind.RELATION, text), (row["co" if new.quantity == "co_air_free" else "co_air_free"].id,)
    return None


def step_of(value: str) -> Decimal:
    """Return the last place that was said: 0.1 for "9.2", 1 for "9"."""
    return Decimal(1).scaleb(-len(value.partition(".")[2]))
