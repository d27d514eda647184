"""Laws that readings of one flame and one gas line must keep together: how far they are off, and how far they may be.

All arguments and results are exact decimals in the units that the names and docstrings give. A law never corrects a
value and never says which reading is wrong: ``gap`` functions say by how much readings disagree, ``tolerance``
functions how much disagreement instruments and rounding explain.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from types import MappingProxyType

from schemas.appliance import Fuel
from schemas.errors import BadInput

__all__ = [
    "AIR_FREE_BELOW_TOLERANCE",
    "CO2_MAX",
    "CO2_MAX_BAND",
    "COMPUTED_TOLERANCE",
    "FLUE_BELOW_RETURN_TOLERANCE",
    "O2_IN_AIR",
    "OFFSET_TOLERANCE",
    "PRESSURE_TOLERANCE",
    "air_free_gap",
    "air_free_mostly",
    "air_free_tolerance",
    "co2_on_line",
    "co_air_free",
    "co_air_free_by_co2",
    "co_to_co2",
    "dilution_gap",
    "dilution_tolerance",
    "o2_on_line",
    "shortfall",
]

O2_IN_AIR = Decimal("20.9")
"""Oxygen in dry air as combustion instruments and US EPA Methods 3B and 19 take it, % by volume."""

OFFSET_TOLERANCE = Decimal(1)
"""How far above zero a zero or negative governor's offset may read, Pa: one step of a common gauge (common practice, no
source)."""

# Ends of what the fuel may be, % CO2 by volume dry, without excess air. The gases are computed from stoichiometry with
# air of 20.9 % oxygen (tests/test_physics_flue.py does it again with cantera): methane 11.67; natural gas from nearly
# pure methane to a rich North Sea mix; propane from the pure gas (13.684) to one half of which is butane and beyond;
# butane (13.986) with its neighbours. Oil has no one composition: 15.20 is the lower figure of handbooks, from memory;
# the upper end is the oil of physics.fuels (15.56) and a little more.
CO2_MAX_BAND: Mapping[Fuel, tuple[Decimal, Decimal]] = MappingProxyType(
    {
        "natural_gas": (Decimal("11.66"), Decimal("12.17")),
        "methane": (Decimal("11.65"), Decimal("11.70")),
        "propane": (Decimal("13.68"), Decimal("14.00")),
        "butane": (Decimal("13.90"), Decimal("14.02")),
        "oil_no2": (Decimal("15.20"), Decimal("15.60")),
    }
)

CO2_MAX: Mapping[Fuel, Decimal] = MappingProxyType(
    {
        "natural_gas": Decimal("11.9"),
        "methane": Decimal("11.67"),
        "propane": Decimal("13.75"),
        "butane": Decimal("14.0"),
        "oil_no2": Decimal("15.4"),
    }
)
"""The line that gaps are measured from: CO2 without excess air, % by volume dry, near the middle of the fuel's band."""

COMPUTED_TOLERANCE = Decimal("0.19")
"""How far CO2 may lie off the line of its fuel where the instrument works it out from O2, % CO2: rounding of both, and
how far natural gases differ; assumed spreads, no source (bench/misreads.py)."""

PRESSURE_TOLERANCE = Decimal("0.1")
"""How far a gauge may read a running pressure above the static one, in. w.c.: one step of a common gauge
(common practice, no source)."""

AIR_FREE_BELOW_TOLERANCE = Decimal("1")
"""How far a CO air-free may lie below the measured CO, ppm: both are shown in whole ppm."""

FLUE_BELOW_RETURN_TOLERANCE = Decimal("3")
"""How far the flue gas may read below the return water, °F: where the sensors sit (common practice, no source)."""


def co2_on_line(o2: Decimal, co2_max: Decimal) -> Decimal:
    """Return the CO2 (% dry) of flue gas with ``o2`` (% dry) when the fuel makes at most ``co2_max`` (% dry).

    CO2 = CO2max · (20.9 − O2) / 20.9: dry flue gas diluted with dry air. It is the definition of the fuel factor
    Fo = (20.9 − O2) / CO2 of US EPA Method 3B (40 CFR 60, Appendix A-2), solved for CO2.
    """
    return co2_max * (O2_IN_AIR - o2) / O2_IN_AIR


def o2_on_line(co2: Decimal, co2_max: Decimal) -> Decimal:
    """Return the O2 (% dry) of flue gas with ``co2`` (% dry); the inverse of ``co2_on_line``."""
    return O2_IN_AIR - co2 * O2_IN_AIR / co2_max


def dilution_gap(co2: Decimal, o2: Decimal, fuel: Fuel | None) -> Decimal:
    """Return how far ``co2`` is above (+) or below (−) the dilution line at ``o2``; all in % by volume, dry.

    Without a fuel, the gap from the band between natural gas and butane, 0 inside it.
    Source: as ``co2_on_line``.
    """
    if fuel is not None:
        return co2 - co2_on_line(o2, CO2_MAX[fuel])
    low, high = (co2_on_line(o2, CO2_MAX[f]) for f in ("natural_gas", "butane"))
    return max(co2 - high, Decimal(0)) + min(co2 - low, Decimal(0))


def dilution_tolerance(*, co2_step: Decimal = Decimal("0.1"), o2_step: Decimal = Decimal("0.1")) -> Decimal:
    """Return the largest |``dilution_gap``| that is still explained, in % CO2, when the instrument measures both gases.

    0.55 = three standard deviations of 0.18, from 0.10 in O2, 0.15 in CO2 and 0.12 in CO2max (how far natural gases
    differ). The spreads are assumptions (no source); instruments that compute CO2 from O2 keep ``COMPUTED_TOLERANCE``.
    ``co2_step`` and ``o2_step`` are the last place that was given: "CO2 nine" may be anything from 8.5 to 9.5.
    """
    step = Decimal("0.1")
    return Decimal("0.55") + max(co2_step - step, Decimal(0)) / 2 + max(o2_step - step, Decimal(0)) / 4


def co_air_free(co: Decimal, o2: Decimal) -> Decimal:
    """Return CO (ppm) without excess air from measured ``co`` (ppm, dry) and ``o2`` (% dry).

    CO · 20.9 / (20.9 − O2): the oxygen correction of US EPA Method 19 (40 CFR 60, Appendix A-7, Eq. 19-1) to 0 % O2.

    Raises:
        BadInput: ``o2`` is that of fresh air or more, so nothing has burned.
    """
    if o2 >= O2_IN_AIR:
        raise BadInput(f"CO air-free cannot be worked out at O2 {o2} %: that is fresh air; check where the probe is.")
    return co * O2_IN_AIR / (O2_IN_AIR - o2)


def co_air_free_by_co2(co: Decimal, co2: Decimal, co2_max: Decimal) -> Decimal:
    """Return CO (ppm) without excess air from measured ``co`` (ppm, dry) and ``co2`` (% dry): CO · CO2max / CO2.

    The same dilution as ``co_air_free``; the two agree on the dilution line. (As the ANSI Z21 series defines it, from
    memory.)

    Raises:
        BadInput: ``co2`` is 0 or less, so nothing has burned.
    """
    if co2 <= 0:
        raise BadInput(f"CO air-free cannot be worked out at CO2 {co2} %: nothing burns where the probe is.")
    return co * co2_max / co2


def co_to_co2(co: Decimal, co2: Decimal) -> Decimal:
    """Return the ratio of measured ``co`` (ppm, dry) to ``co2`` (% dry), both by volume: 96 ppm to 9.2 % is 0.00104.

    Raises:
        BadInput: ``co2`` is 0 or less, so nothing has burned.
    """
    if co2 <= 0:
        raise BadInput(f"A CO to CO2 ratio cannot be worked out at CO2 {co2} %: nothing burns where the probe is.")
    return co / (co2 * 10_000)


def air_free_gap(air_free: Decimal, co: Decimal, o2: Decimal) -> Decimal:
    """Return how far an instrument's CO air-free (ppm) is above (+) or below (−) the one worked out from CO and O2.

    Raises:
        BadInput: as ``co_air_free``.
    """
    return air_free - co_air_free(co, o2)


def air_free_tolerance(
    co: Decimal, o2: Decimal, *, co_step: Decimal = Decimal(1), o2_step: Decimal = Decimal("0.1")
) -> Decimal:
    """Return the largest |``air_free_gap``| that rounding explains, in ppm, at ``co`` ppm and ``o2`` %.

    Half of the last places of CO and O2 (``co_step`` ppm, ``o2_step`` %), half a ppm of the result, and 0.3 % for
    instruments that take air to hold 20.95 or 21 % oxygen. Those that work it out from CO2 may differ by 3 % more.

    Raises:
        BadInput: as ``co_air_free``.
    """
    air_free, left = co_air_free(co, o2), O2_IN_AIR - o2
    rounding = co_step / 2 * O2_IN_AIR / left + air_free * o2_step / 2 / left + Decimal("0.5")
    return rounding + air_free * Decimal("0.003")


def air_free_mostly(
    co: Decimal, o2: Decimal, *, co_step: Decimal = Decimal(1), o2_step: Decimal = Decimal("0.1")
) -> Decimal:
    """Return the |``air_free_gap``|, in ppm, that nearly all true rows keep; arguments as for ``air_free_tolerance``.

    Half steps seldom add up as far as that allows: each is anywhere in its span (a standard deviation of half a step
    over √3), and together they stay below 2.35 standard deviations in all but one of 1,000 rows of bench/misreads.py or
    so. That an instrument takes air to hold up to 21 % oxygen is no chance and comes on top.

    Raises:
        BadInput: as ``co_air_free``.
    """
    air_free, left = co_air_free(co, o2), O2_IN_AIR - o2
    halves = (co_step / 2 * O2_IN_AIR / left, air_free * o2_step / 2 / left, Decimal("0.5"))
    spread = (sum((half**2 for half in halves), Decimal(0)) / 3).sqrt()
    return Decimal("2.35") * spread + air_free - co * 21 / (21 - o2)


def shortfall(lower: Decimal, upper: Decimal) -> Decimal:
    """Return how far ``upper`` falls short of ``lower`` (0 where it does not), both in the same unit.

    For pairs where one cannot be below the other: static pressure and pressure with gas flowing (flow costs pressure),
    CO air-free and CO (taking the air out cannot thin the gas), return water and flue gas (gas cannot leave colder
    than the coldest water it passed), return and supply water while firing.
    """
    return max(lower - upper, Decimal(0))
