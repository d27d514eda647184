"""Units: UCUM codes in files, trade notation on screens, exact conversion for comparison only."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from functools import cache
from importlib.resources import files
from math import lcm
from types import MappingProxyType
from typing import Annotated

import pint
from pydantic import AfterValidator

from schemas.base import Model
from schemas.errors import BadInput

__all__ = ["Unit", "UnitCode", "UnitCodeOrNone", "convert", "show_unit", "unit_of", "units"]


class Unit(Model):
    """One unit, as a row of ``units.toml``."""

    code: str
    kind: str
    show: str
    pint: str
    say: str
    said: tuple[str, ...]


@cache
def units() -> Mapping[str, Unit]:
    """Return every known unit by its UCUM code, in the order of the file."""
    rows = tomllib.loads(files("schemas").joinpath("units.toml").read_text(encoding="utf-8"))["unit"]
    return MappingProxyType({row["code"]: Unit.model_validate(row) for row in rows})


def unit_of(code: str) -> Unit:
    """Return the unit of a UCUM code.

    Raises:
        BadInput: the code is not one of ours.
    """
    try:
        return units()[code]
    except KeyError:
        raise BadInput(f"{code!r} is not a unit code known here; use one of {', '.join(units())}.") from None


def _known(code: str) -> str:
    if code not in units():
        raise ValueError(f"{code!r} is not a unit code known here; use one of {', '.join(units())}")
    return code


UnitCode = Annotated[str, AfterValidator(_known)]
"""A UCUM code of ``units.toml``."""

UnitCodeOrNone = Annotated[str, AfterValidator(lambda code: code and _known(code))]
"""A UCUM code of ``units.toml``, or empty where there is no unit."""


def show_unit(code: str) -> str:
    """Return the trade's notation for a UCUM code: ``in. w.c.`` for ``[in_i'H2O]``; empty stays empty."""
    return unit_of(code).show if code else ""


@cache
def _registry() -> pint.UnitRegistry[Fraction]:
    return pint.UnitRegistry(non_int_type=Fraction)


@cache
def _line(source: str, target: str) -> tuple[int, int, int]:
    """Return the whole numbers a, b, c with ``(a · value + b) / c`` in ``target`` for any value in ``source``.

    Every conversion here is such a line, so two points of it tell it; pint works them out in fractions.
    """
    at_0, at_1 = (_registry().Quantity(Fraction(n), source).to(target).magnitude for n in (0, 1))
    slope = at_1 - at_0
    below = lcm(slope.denominator, at_0.denominator)
    return int(slope * below), int(at_0 * below), below


def convert(value: Decimal, source: str, target: str) -> Decimal:
    """Convert ``value`` from one UCUM unit to another for comparison; no rounding for display.

    Worked out in fractions and rounded once, to the 28 digits of a decimal: what has fewer digits is exact, so a value
    that lies on a limit compares equal to it in either unit (14 °F with -10 °C, 609.6 m with 2,000 ft).

    A temperature is a point on the scale, not a difference.

    Raises:
        BadInput: an unknown code, or units of different kinds.
    """
    if source == target:
        return value
    a, b = unit_of(source), unit_of(target)
    if a.kind != b.kind:
        raise BadInput(f"{a.show} cannot be compared with {b.show}.")
    slope, shift, below = _line(a.pint, b.pint)
    above, under = value.as_integer_ratio()
    return Decimal(slope * above + shift * under) / Decimal(below * under)
