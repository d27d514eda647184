"""Appliance files: what the maker says of one appliance, as data."""

from __future__ import annotations

from typing import Literal

from schemas.base import Model, Name, ValueText
from schemas.sheet import Relation

__all__ = ["ApplianceFile", "ApplianceLimit", "Fuel"]

Fuel = Literal["natural_gas", "methane", "propane", "butane", "oil_no2"]


class ApplianceLimit(Model):
    """A limit of the maker's: quantity, condition, lowest, highest, unit, and where it is written."""

    quantity: Name
    condition: Name | Literal[""] = ""
    low: ValueText | None = None
    high: ValueText | None = None
    unit: str
    page: str = ""


class ApplianceFile(Model):
    """What the maker's instructions say. ``governor`` says which signs the offset pressure may have."""

    id: Name
    title: str
    document: str
    fuel: Fuel
    condensing: bool = True
    governor: Literal["zero or negative", "positive", "not said"] = "not said"
    input_high: ValueText | None = None
    input_low: ValueText | None = None
    input_unit: str = "[Btu_IT]/h"
    limits: tuple[ApplianceLimit, ...]
    relations: tuple[Relation, ...] = ()
