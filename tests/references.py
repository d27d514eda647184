"""Reference libraries that take seconds to load, loaded once a test needs them."""

from __future__ import annotations

from functools import cache
from importlib import import_module
from typing import Any

__all__ = ["coolprop"]


@cache
def coolprop() -> Any:
    """Return CoolProp, the reference for water, air and flue gas properties."""
    return import_module("CoolProp.CoolProp")
