"""CO air-free against CO, O2 and CO2: law L2. An instrument works it out one way, from O2 or from CO2."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from checks.efficiencies import Broken
from physics.laws import (
    AIR_FREE_BELOW_TOLERANCE,
    CO2_MAX_BAND,
    O2_IN_AIR,
    air_free_gap,
    air_free_mostly,
    air_free_tolerance,
    shortfall,
)
from schemas.appliance import Fuel
from schemas.base import decimal_of
from schemas.readings import Reading

__all__ = ["air_free_broken"]

_BASIS = "oxygen correction to 0 % O2 as in US EPA Method 19 (40 CFR 60, Appendix A-7)"
_BY_CO2 = "CO air-free is CO · CO2max / CO2: the same dilution (as the ANSI Z21 series defines it, from memory)"
_USUAL = "what O2 is in the field: common practice, no source"
# How far the CO2 of one row may be off where an instrument measures it, % CO2 (assumed, no source).
_CO2_NOISE = Decimal("0.3")
_HALF = Decimal("0.5")
# What the two ways may differ by: the CO2max of the gas against the instrument's own.
_OTHER_WAY = Decimal("0.03")


def air_free_broken(
    gas_rows: Sequence[dict[str, Reading]], fuels: Sequence[Fuel], usual_o2: tuple[str | None, str | None]
) -> Iterator[Broken]:
    """Yield each CO air-free that its row's CO and O2 do not make; without O2, CO and CO2; else what O2 it takes."""
    rows = [row for row in gas_rows if {"co", "co_air_free"} <= row.keys()]
    for row in rows:
        co, air_free = row["co"], row["co_air_free"]
        if shortfall(_of(co), _of(air_free)) > AIR_FREE_BELOW_TOLERANCE:
            text = "CO air-free cannot be below CO as measured"
            yield Broken("air_free_below_co", (co, air_free), text, _BASIS)
        elif "o2" in row and _of(row["o2"]) < O2_IN_AIR:
            others = [other for other in rows if other is not row]
            yield from _off_o2(row, fuels, others)
        elif "co2" in row and _of(row["co2"]) > 0:
            low, high = _by_co2(row, fuels, _CO2_NOISE)
            if not low <= _of(air_free) <= high:
                text = f"they do not fit each other, CO and CO2 make {low:.0f} to {high:.0f} ppm air-free"
                yield Broken("air_free_of_co_and_co2", (co, air_free, row["co2"]), text, _BY_CO2)
        elif "o2" not in row:
            yield from _needs_o2(co, air_free, usual_o2)


def _off_o2(row: dict[str, Reading], fuels: Sequence[Fuel], others: Sequence[dict[str, Reading]]) -> Iterator[Broken]:
    co, air_free, o2 = row["co"], row["co_air_free"], row["o2"]
    gap = air_free_gap(_of(air_free), _of(co), _of(o2))
    made = f"CO and O2 make {_of(air_free) - gap:.1f} ppm air-free"
    if _fits_o2(row):
        if abs(gap) > air_free_mostly(_of(co), _of(o2), co_step=_step(co), o2_step=_step(o2)):
            text = f"{made}; rounding alone seldom goes so far"
            yield Broken("air_free_of_co_and_o2", (co, air_free, o2), text, _BASIS, "look again")
        return
    near = abs(gap) <= _of(air_free) * _OTHER_WAY + _tolerance(row)
    if near and _fits_co2(row, fuels):
        if others and all(_fits_co2(other, fuels) for other in others) and not any(map(_fits_o2, others)):
            return
        text = f"{made}; it would fit CO and CO2, if the instrument works it out from those"
        yield Broken("air_free_of_co_and_o2", (co, air_free, o2), text, _BASIS, "look again")
    else:
        text = f"they do not fit each other, {made}"
        yield Broken("air_free_of_co_and_o2", (co, air_free, o2), text, _BASIS)


def _fits_o2(row: dict[str, Reading]) -> bool:
    if "o2" not in row or not 0 <= _of(row["o2"]) < O2_IN_AIR:
        return False
    return abs(air_free_gap(_of(row["co_air_free"]), _of(row["co"]), _of(row["o2"]))) <= _tolerance(row)


def _tolerance(row: dict[str, Reading]) -> Decimal:
    return air_free_tolerance(_of(row["co"]), _of(row["o2"]), co_step=_step(row["co"]), o2_step=_step(row["o2"]))


def _fits_co2(row: dict[str, Reading], fuels: Sequence[Fuel]) -> bool:
    if "co2" not in row or _of(row["co2"]) <= 0:
        return False
    low, high = _by_co2(row, fuels, Decimal(0))
    return low <= _of(row["co_air_free"]) <= high


def _by_co2(row: dict[str, Reading], fuels: Sequence[Fuel], noise: Decimal) -> tuple[Decimal, Decimal]:
    """Return the least and the most CO air-free that CO and CO2 make, with rounding, for all that the gas may be."""
    co, co2 = _of(row["co"]), _of(row["co2"])
    off, half = noise + _step(row["co2"]) / 2, _step(row["co"]) / 2
    least = (co - half) * min(CO2_MAX_BAND[fuel][0] for fuel in fuels) / (co2 + off)
    most = (co + half) * max(CO2_MAX_BAND[fuel][1] for fuel in fuels) / max(co2 - off, Decimal("0.1"))
    return least - _HALF, most + _HALF


def _needs_o2(co: Reading, air_free: Reading, usual: tuple[str | None, str | None]) -> Iterator[Broken]:
    """Yield a CO and its CO air-free that only an unusual O2 makes of each other."""
    half = _step(co) / 2
    least = O2_IN_AIR * (1 - (_of(co) + half) / max(_of(air_free) - _HALF, _HALF))
    most = O2_IN_AIR * (1 - max(_of(co) - half, Decimal(0)) / (_of(air_free) + _HALF))
    low, high = usual
    if (high is not None and least > Decimal(high)) or (low is not None and most < Decimal(low)):
        middle = O2_IN_AIR * (1 - _of(co) / max(_of(air_free), Decimal(1)))
        text = f"it takes an O2 of {max(middle, Decimal(0)):.1f} % to make the one of the other, which is unusual"
        yield Broken("air_free_needs_o2", (co, air_free), text, _USUAL, "look again")


def _of(reading: Reading) -> Decimal:
    return decimal_of(reading.value)


def _step(reading: Reading) -> Decimal:
    return Decimal(1).scaleb(int(_of(reading).as_tuple().exponent))
