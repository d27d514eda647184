"""Every value that readings have or may still have: what a stop is judged on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import NamedTuple

from checks.rows import Rows, in_unit
from checks.words import shown
from physics.laws import (
    CO2_MAX_BAND,
    COMPUTED_TOLERANCE,
    O2_IN_AIR,
    co_air_free,
    co_air_free_by_co2,
    co_to_co2,
    dilution_gap,
)
from schemas.appliance import ApplianceFile, Fuel
from schemas.base import is_value_text
from schemas.doubts import DoubtKind
from schemas.readings import Alternative, Reading
from schemas.sheet import Quantity, Sheet
from schemas.units import unit_of

__all__ = ["Possible", "open_fuels", "possible_air_free", "possible_ratio", "possible_values"]

# A display that has run past its range. It is the worst that can be read, never no reading.
_OVER_RANGE = frozenset({"ol", "o.l.", "over range", "over-range", "overrange", "pegged", "hi"})

_NO_END = "past any figure"
"""What is worked out by a division by next to nothing."""

# What the CO cell of a zeroed analyser may show in clean air: common practice, no source.
_DRIFT = Decimal(5)

_OF_PLACE = frozenset({DoubtKind.CONDITION_UNCLEAR, DoubtKind.APPLIANCE_UNCLEAR})


class Possible(NamedTuple):
    """One value that a reading is (``settled``) or may be; ``how`` says how it came about, for the sentence.

    ``condition`` and ``appliance`` None: which is not known, or it is of the visit. ``figure`` is what was worked out,
    unrounded and in ``unit``.
    """

    readings: tuple[str, ...]
    quantity: str
    condition: str | None
    phase: str
    value: str
    unit: str
    appliance: str | None
    settled: bool
    how: str
    figure: Decimal | None = None

    @property
    def over_range(self) -> bool:
        """The display has run past its range, or there is no end to what was worked out."""
        return self.value.casefold().strip() in _OVER_RANGE or self.value == _NO_END

    @property
    def shown(self) -> str:
        """The value as it is told, with its unit."""
        if self.over_range:
            return self.value if self.value == _NO_END else "over range"
        return shown(self.value.replace("_", " "), self.unit)

    def measured(self, unit: str) -> Decimal | None:
        """Return the value in ``unit``, None where it is no number or measures something else."""
        value = Decimal(self.value) if self.figure is None and is_value_text(self.value) else self.figure
        return None if value is None else in_unit(value, self.unit, unit)


def possible_values(rows: Rows, sheet: Sheet) -> Iterator[Possible]:
    """Yield what every reading is, and what it may be while its question is open."""
    for r in rows.all:
        own = (r.quantity, r.condition, r.value, r.unit, r.appliance)
        others = [
            (
                r.quantity if a.quantity is None else a.quantity,
                r.condition if a.condition is None else a.condition,
                r.value if a.value is None else a.value,
                r.unit if a.unit is None else a.unit,
                r.appliance if a.appliance is None else a.appliance,
            )
            for a in r.alternatives
            if _is_open(a, r)
        ]
        others += [(name, r.condition, r.value, r.unit, r.appliance) for name in _may_be_of(r, sheet)]
        ways = [
            (*_placed(sheet, name, condition, appliance), value, unit)
            for name, condition, value, unit, appliance in (own, *others)
            if name is not None
        ]
        for quantity, condition, appliance, value, unit in dict.fromkeys(ways):
            how = "is" if r.taken else "may be"
            yield Possible((r.id,), quantity, condition, r.phase, value, unit, appliance, r.taken, how)


def _placed(
    sheet: Sheet, name: str, condition: str | None, appliance: str | None
) -> tuple[str, str | None, str | None]:
    """Return what a value may be of and where: what has no condition or appliance of its own is asked for none."""
    quantity = sheet.quantity(name)
    return name, condition if quantity.conditions else "", None if quantity.every_job else appliance


def _may_be_of(reading: Reading, sheet: Sheet) -> Iterator[str]:
    """Yield what a value may be of, by its unit and its place, among what stops the work at a figure of the sheet's.

    That is where its quantity is asked, or where its unit is none of its quantity's: 45 ppm are no temperature.
    """
    if reading.taken:
        return
    own = next((q for q in sheet.quantities if q.id == reading.quantity), None)
    strange = own is None or (bool(reading.unit) and bool(own.units) and not _measures(own, reading.unit))
    unclear = any(doubt.kind == DoubtKind.QUANTITY_UNCLEAR for doubt in reading.doubts)
    if not (unclear or strange):
        return
    judged = {stop.quantity: None for stop in sheet.stops if stop.at or stop.above}
    for quantity in sheet.quantities:
        placed = not reading.condition or reading.condition in quantity.conditions
        if quantity.id in judged and placed and reading.unit and _measures(quantity, reading.unit):
            yield quantity.id


def _measures(quantity: Quantity, unit: str) -> bool:
    return any(one and unit_of(one).kind == unit_of(unit).kind for one in quantity.units)


def _is_open(way: Alternative, reading: Reading) -> bool:
    """Say whether a reading may still be something else: where only its place is asked, its value is not in doubt."""
    asked = {doubt.kind for doubt in reading.doubts}
    return bool(asked - _OF_PLACE) or (bool(asked) and way.value in (None, reading.value))


def open_fuels(values: Sequence[Possible], sheet: Sheet, file: ApplianceFile | None) -> tuple[Fuel, ...]:
    """Return every fuel that may be burnt here: the file's and each that may have been said; else the sheet's."""
    said = {value.value for value in values if value.quantity == "fuel"} | ({file.fuel} if file else set())
    choices = {choice for q in sheet.quantities if q.id == "fuel" for choice in q.choices}
    return tuple(fuel for fuel in CO2_MAX_BAND if fuel in (said or choices)) or tuple(CO2_MAX_BAND)


def possible_air_free(values: Sequence[Possible], fuels: Sequence[Fuel]) -> Iterator[Possible]:
    """Yield the CO air-free that each possible CO makes with each possible O2 and CO2 of its row, for the worst fuel.

    A CO2 that fits its O2, both settled, adds nothing: the O2 alone needs no fuel. Without either, CO itself is the
    least that CO air-free can be.
    """
    highest = max(CO2_MAX_BAND[fuel][1] for fuel in fuels)
    for co in (v for v in values if v.quantity == "co"):
        ppm = co.measured("[ppm]")
        if ppm is None:
            if co.over_range:
                yield co._replace(quantity="co_air_free", how="cannot be told, CO is past the range:")
            continue
        row = _row(values, co, "o2")
        o2s = [(o2, share) for o2, share in row if 0 <= share < O2_IN_AIR]
        air = [o2 for o2, share in row if share >= O2_IN_AIR and ppm > _DRIFT]
        co2s = [one for one in _row(values, co, "co2") if not any(_fits(*one, *o2, fuels) for o2 in o2s)]
        made = [_made(co, o2, co_air_free(ppm, share), "O2") for o2, share in o2s]
        made += [_made(co, co2, co_air_free_by_co2(ppm, share, highest), "CO2") for co2, share in co2s]
        made += [_made(co, o2, None, "O2") for o2 in air]
        yield from made or [co._replace(quantity="co_air_free", how=f"{co.how} at least")]


def possible_ratio(values: Sequence[Possible]) -> Iterator[Possible]:
    """Yield the CO to CO2 ratio, both by volume, that each possible CO makes with each possible CO2 of its row."""
    for co in (v for v in values if v.quantity == "co"):
        ppm = co.measured("[ppm]")
        for co2, share in _row(values, co, "co2") if ppm is not None else []:
            made = _made(co, co2, co_to_co2(ppm or Decimal(0), share), "CO2", step="0.00001")
            yield made._replace(quantity="co_ratio", unit="")


def _row(values: Sequence[Possible], co: Possible, quantity: str) -> list[tuple[Possible, Decimal]]:
    """Return the values of another gas in the row of a CO with their shares in %, those of the same phase first.

    Where it is not known of which condition or appliance one of the two is, it may be of any.
    """
    mine = [v for v in values if v.quantity == quantity]
    same = [v for v in mine if (v.condition, v.appliance) == (co.condition, co.appliance)]
    same = same or [v for v in mine if _may_be(v.condition, co.condition) and _may_be(v.appliance, co.appliance)]
    # What was read after a turn says nothing of the flame before it.
    found = [v for v in same if v.phase == co.phase] or [v for v in same if (co.phase, v.phase) != ("before", "after")]
    shares = [(v, v.measured("%")) for v in found]
    return [(v, share) for v, share in shares if share is not None and (share > 0 or quantity == "o2")]


def _may_be(one: str | None, other: str | None) -> bool:
    return one is None or other is None or one == other


def _fits(co2: Possible, co2_share: Decimal, o2: Possible, o2_share: Decimal, fuels: Sequence[Fuel]) -> bool:
    gap = dilution_gap(co2_share, o2_share, fuels[0] if len(fuels) == 1 else None)
    return co2.settled and o2.settled and abs(gap) <= COMPUTED_TOLERANCE


def _rounded(value: Decimal, step: Decimal) -> str:
    """Return a figure as it is told: rounded, but 400.02 is not told as 400.0, which is no more than 400."""
    found = value.quantize(step)
    whole = found != value and found == found.to_integral_value()
    return str(value.quantize(step / 100) if whole else found)


def _made(co: Possible, partner: Possible, value: Decimal | None, name: str, step: str = "0.1") -> Possible:
    """Return what a CO and its partner make; ``value`` None: no figure, as the partner is that of air."""
    settled = co.settled and partner.settled
    return co._replace(
        readings=(*co.readings, *partner.readings),
        quantity="co_air_free",
        condition=partner.condition if co.condition is None else co.condition,
        value=_NO_END if value is None else _rounded(value, Decimal(step)),
        figure=value,
        unit="[ppm]",
        settled=settled,
        how=f"worked out from CO and {name} {'is' if settled else 'may be'}",
    )
