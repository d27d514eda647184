"""What the rows of a job give away of the instrument: its own CO2 line and its own way of counting efficiency.

An instrument that works CO2 out from O2 shows one line all day, and every instrument counts efficiency by one formula.
Once enough rows agree on it, a row beside it was probably misread, even where physics alone would allow it. A row is
always judged by the others, never by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from typing import NamedTuple

from physics.flue import efficiency, siegert_gross_efficiency, siegert_loss
from physics.fuels import FUELS
from physics.laws import O2_IN_AIR, co2_on_line
from schemas.appliance import Fuel
from schemas.errors import BadInput

__all__ = ["FlueRow", "off_the_formula", "off_the_line"]

# How far, in % CO2, a pair must lie off the line that so many other rows share, beyond what rounding explains. Rows of
# an instrument that measures both gases share one by chance; with these figures a job raises a false "look again" in
# at most 1 % of jobs with such an instrument and in none with one that computes: ``python -m bench.misreads``.
_OFF_THE_LINE: dict[int, Decimal] = {3: Decimal("0.40"), 4: Decimal("0.35"), 5: Decimal("0.30"), 6: Decimal("0.25")}
_MANY = max(_OFF_THE_LINE)
# Other rows agree on a formula if it is off by the same bias in all of them: within rounding of temperatures and O2,
# which is some 0.15 point, and a little for formulas that are not quite ours.
_ONE_FORMULA = 0.4
_OFF_THE_FORMULA = 0.45
_ROWS_FOR_A_FORMULA = 3


def off_the_line(pairs: Sequence[tuple[Decimal, Decimal]]) -> Iterator[tuple[int, Decimal]]:
    """Yield the place of each (CO2, O2) pair that lies off the line of all others, and by how much, in % CO2.

    Both as shown to 0.1 %; a pair near fresh air says nothing of the line and must not be among them.
    """
    spans = [_span(co2, o2) for co2, o2 in pairs]
    allowed = _OFF_THE_LINE.get(min(len(pairs) - 1, _MANY))
    if allowed is None:
        return
    for place, (co2, o2) in enumerate(pairs):
        others = [span for n, span in enumerate(spans) if n != place]
        low, high = max(a for a, _ in others), min(b for _, b in others)
        if low > high:
            continue
        half = Decimal("0.05")
        below = co2_on_line(o2 + half, low) - half - co2
        above = co2 - co2_on_line(o2 - half, high) - half
        if max(below, above) > allowed:
            yield place, abs(co2 - co2_on_line(o2, (low + high) / 2))


def _span(co2: Decimal, o2: Decimal) -> tuple[Decimal, Decimal]:
    """Return the span of CO2max that a pair, shown to 0.1 %, leaves open."""
    half = Decimal("0.05")
    low = (co2 - half) * O2_IN_AIR / (O2_IN_AIR - o2 + half)
    return low, (co2 + half) * O2_IN_AIR / (O2_IN_AIR - o2 - half)


class FlueRow(NamedTuple):
    """What efficiency is worked out from, in °C and %, and the efficiency shown."""

    flue: float
    air: float
    o2: float
    shown: float


def _formulas(fuel: Fuel) -> dict[str, Callable[[FlueRow], float]]:
    gas = FUELS[fuel]
    return {
        "gross without condensation": lambda r: siegert_gross_efficiency(r.flue, r.air, r.o2, fuel),
        "net without condensation": lambda r: 100 - siegert_loss(r.flue, r.air, r.o2, fuel),
        "gross with condensation": lambda r: efficiency(r.flue, r.air, r.o2, gas, "gross").value,
        "net with condensation": lambda r: efficiency(r.flue, r.air, r.o2, gas, "net").value,
    }


def off_the_formula(rows: Sequence[FlueRow], fuel: Fuel) -> Iterator[tuple[int, str, float]]:
    """Yield the place of each row whose efficiency is off the formula that all others follow, which, and by how much.

    A formula is followed if the others lie beside it by one and the same bias. The row must be off every such formula.
    """
    if len(rows) <= _ROWS_FOR_A_FORMULA:
        return
    try:
        off = {name: [row.shown - count(row) for row in rows] for name, count in _formulas(fuel).items()}
    except BadInput:
        return  # a fuel without constants, or a row that is no flue gas: nothing is learned from these
    for place in range(len(rows)):
        beside: dict[str, float] = {}
        for name, values in off.items():
            others = [x for n, x in enumerate(values) if n != place]
            if max(others) - min(others) <= _ONE_FORMULA:
                beside[name] = values[place] - sum(others) / len(others)
        if beside and min(abs(gap) for gap in beside.values()) > _OFF_THE_FORMULA:
            name = min(beside, key=lambda n: abs(beside[n]))
            yield place, name, beside[name]
