"""Every value that readings have or may still have: what a stop is judged on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import NamedTuple

from checks.rows import Rows, in_unit
from physics.laws import CO2_MAX_BAND, O2_IN_AIR, co_air_free, co_air_free_by_co2
from schemas.appliance import Fuel
from schemas.base import is_value_text

__all__ = ["Possible", "possible_air_free", "possible_values"]

# A display that has run past its range. It is the worst that can be read, never no reading.
_OVER_RANGE = frozenset({"ol", "o.l.", "over range", "over-range", "overrange", "pegged", "hi"})


class Possible(NamedTuple):
    """One value that a reading is (``settled``) or may be; ``how`` says how it came about, for the sentence."""

    readings: tuple[str, ...]
    quantity: str
    condition: str
    phase: str
    value: str
    unit: str
    appliance: str | None
    settled: bool
    how: str

    @property
    def over_range(self) -> bool:
        """The display has run past its range."""
        return self.value.casefold().strip() in _OVER_RANGE

    def measured(self, unit: str) -> Decimal | None:
        """Return the value in ``unit``, None where it is no number or measures something else."""
        return in_unit(Decimal(self.value), self.unit, unit) if is_value_text(self.value) else None


def possible_values(rows: Rows) -> Iterator[Possible]:
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
            for a in ([] if r.taken else r.alternatives)
        ]
        for quantity, condition, value, unit, appliance in (own, *others):
            if quantity is not None:
                how = "is" if r.taken else "may be"
                yield Possible((r.id,), quantity, condition or "", r.phase, value, unit, appliance, r.taken, how)


def possible_air_free(values: Sequence[Possible], fuel: Fuel | None) -> Iterator[Possible]:
    """Yield the CO air-free that each possible CO makes with each possible O2 of its row; without O2, with CO2.

    Without either, CO itself is the least that CO air-free can be.
    """
    for co in (v for v in values if v.quantity == "co"):
        ppm = co.measured("[ppm]")
        if ppm is None:
            if co.over_range:
                yield co._replace(quantity="co_air_free", how="cannot be told, CO is past the range:")
            continue
        made = [*_made(co, ppm, _row(values, co, "o2"), fuel)] or [*_made(co, ppm, _row(values, co, "co2"), fuel)]
        yield from made or [co._replace(quantity="co_air_free", how=f"{co.how} at least")]


def _row(values: Sequence[Possible], co: Possible, quantity: str) -> list[Possible]:
    same = [v for v in values if (v.quantity, v.condition, v.appliance) == (quantity, co.condition, co.appliance)]
    return [v for v in same if v.phase == co.phase] or same


def _made(co: Possible, ppm: Decimal, partners: Sequence[Possible], fuel: Fuel | None) -> Iterator[Possible]:
    for partner in partners:
        share = partner.measured("%")
        if share is None:
            continue
        if partner.quantity == "o2":
            if not 0 <= share < O2_IN_AIR:
                continue
            air_free, name = co_air_free(ppm, share), "O2"
        else:
            if share <= 0:
                continue
            # The highest CO2max of the fuel gives the highest CO air-free.
            air_free, name = co_air_free_by_co2(ppm, share, CO2_MAX_BAND[fuel or "natural_gas"][1]), "CO2"
        settled = co.settled and partner.settled
        how = f"worked out from CO and {name} {'is' if settled else 'may be'}"
        yield co._replace(
            readings=(*co.readings, *partner.readings),
            quantity="co_air_free",
            value=str(air_free.quantize(Decimal("0.1"))),
            unit="[ppm]",
            settled=settled,
            how=how,
        )
