"""Appliance files: what the maker says of one appliance, as data."""

from __future__ import annotations

from typing import Literal

from pydantic import field_validator, model_validator

from schemas.base import Model, Name, ValueText, decimal_of
from schemas.sheet import Relation
from schemas.units import UnitCode, UnitCodeOrNone, unit_of

__all__ = ["ApplianceFile", "ApplianceLimit", "Fuel", "ScrewEffect", "same_gas"]

Fuel = Literal["natural_gas", "methane", "propane", "butane", "oil_no2"]


def same_gas(one: str, other: str) -> bool:
    """Say whether two fuels are one gas for a burner: natural gas is methane for the most part."""
    return one == other or {one, other} == {"natural_gas", "methane"}


class ApplianceLimit(Model):
    """A limit of the maker's: quantity, condition, lowest, highest, unit, and where it is written.

    Without a condition it holds in every condition that has no limit of its own. ``fuel`` and ``altitude_from`` to
    ``altitude_to`` (inclusive, in ``altitude_unit``) say for which gas and which sites it holds; there it takes the
    place of one that says nothing of them.
    """

    quantity: Name
    condition: Name | Literal[""] = ""
    low: ValueText | None = None
    high: ValueText | None = None
    unit: UnitCodeOrNone
    fuel: Fuel | None = None
    altitude_from: ValueText | None = None
    altitude_to: ValueText | None = None
    altitude_unit: Literal["[ft_i]", "m"] = "[ft_i]"
    page: str = ""

    @property
    def by_altitude(self) -> bool:
        """Whether it holds at some altitudes only."""
        return self.altitude_from is not None or self.altitude_to is not None

    @model_validator(mode="after")
    def _runs_upwards(self) -> ApplianceLimit:
        if self.low is None and self.high is None:
            raise ValueError(f"{self.quantity}: a limit needs low, high or both")
        if self.low is not None and self.high is not None and decimal_of(self.low) > decimal_of(self.high):
            raise ValueError(f"{self.quantity}: low {self.low} is above high {self.high}")
        from_, to = self.altitude_from, self.altitude_to
        if from_ is not None and to is not None and decimal_of(from_) > decimal_of(to):
            raise ValueError(f"{self.quantity}: altitude_from {from_} is above altitude_to {to}")
        return self


class ScrewEffect(Model):
    """Which way of turning a screw of the sheet's makes the mixture richer (more CO2), as the maker says."""

    screw: Name
    richer: Literal["clockwise", "counterclockwise"]
    page: str = ""


class ApplianceFile(Model):
    """What the maker's instructions say. ``governor`` says which signs the offset pressure may have.

    ``input_basis`` is the heating value that the inputs are reckoned on, None where the instructions do not say.
    """

    id: Name
    title: str
    maker: str = ""
    model: str = ""
    document: str
    fuel: Fuel
    condensing: bool = True
    governor: Literal["zero or negative", "positive", "not said"] = "not said"
    input_high: ValueText | None = None
    input_low: ValueText | None = None
    input_unit: UnitCode = "[Btu_IT]/h"
    input_basis: Literal["gross", "net"] | None = None
    limits: tuple[ApplianceLimit, ...]
    relations: tuple[Relation, ...] = ()
    screws: tuple[ScrewEffect, ...] = ()

    @field_validator("input_high", "input_low")
    @classmethod
    def _is_an_input(cls, value: str | None) -> str | None:
        if value is not None and decimal_of(value) <= 0:
            raise ValueError(f"{value} is no input of a burner; give a number above 0")
        return value

    @field_validator("input_unit")
    @classmethod
    def _is_power(cls, code: str) -> str:
        if unit_of(code).kind != "power":
            raise ValueError(f"{code!r} is no unit of an input; use [Btu_IT]/h or kW")
        return code
