"""Appliance files: what the maker says of one appliance, as data."""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator

from schemas.base import Model, Name, ValueText, decimal_of
from schemas.sheet import Relation
from schemas.units import UnitCode, UnitCodeOrNone

__all__ = ["ApplianceFile", "ApplianceLimit", "Fuel"]

Fuel = Literal["natural_gas", "methane", "propane", "butane", "oil_no2"]


class ApplianceLimit(Model):
    """A limit of the maker's: quantity, condition, lowest, highest, unit, and where it is written.

    Without a condition it holds in every condition that has no limit of its own.
    """

    quantity: Name
    condition: Name | Literal[""] = ""
    low: ValueText | None = None
    high: ValueText | None = None
    unit: UnitCodeOrNone
    page: str = ""

    @model_validator(mode="after")
    def _runs_upwards(self) -> ApplianceLimit:
        if self.low is None and self.high is None:
            raise ValueError(f"{self.quantity}: a limit needs low, high or both")
        if self.low is not None and self.high is not None and decimal_of(self.low) > decimal_of(self.high):
            raise ValueError(f"{self.quantity}: low {self.low} is above high {self.high}")
        return self


class ApplianceFile(Model):
    """What the maker's instructions say. ``governor`` says which signs the offset pressure may have."""

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
    limits: tuple[ApplianceLimit, ...]
    relations: tuple[Relation, ...] = ()
