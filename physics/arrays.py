"""The laws of ``physics.laws`` and the loss of ``physics.flue`` over arrays: for measuring how much they catch.

The constants are those of the scalar forms, and tests/test_physics_arrays.py holds each against its scalar form. All
arguments are arrays (or numbers that go with them) in the units of the scalar forms; nothing is checked.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from physics.flue import siegert_constants
from physics.fuels import FUELS
from physics.laws import O2_IN_AIR
from schemas.appliance import Fuel

__all__ = ["co2_on_line", "co_air_free", "gross_efficiency", "siegert_loss"]

Array = NDArray[np.float64]
_AIR = float(O2_IN_AIR)


def co2_on_line(o2: Array, co2_max: Array | float) -> Array:
    """CO2 (% dry) at ``o2`` (% dry): ``physics.laws.co2_on_line``."""
    return co2_max * (_AIR - o2) / _AIR


def co_air_free(co: Array, o2: Array) -> Array:
    """CO (ppm) without excess air: ``physics.laws.co_air_free``."""
    return co * _AIR / (_AIR - o2)


def siegert_loss(flue: Array, air: Array, o2: Array, fuel: Fuel) -> Array:
    """Flue loss in % of the net heat, temperatures in °C: ``physics.flue.siegert_loss``."""
    a2, b = siegert_constants(fuel)
    return (flue - air) * (a2 / (21 - o2) + b)


def gross_efficiency(flue: Array, air: Array, o2: Array, fuel: Fuel) -> Array:
    """Efficiency in % of the gross heat without condensation, by Siegert: ``physics.flue.siegert_gross_efficiency``."""
    gas = FUELS[fuel]
    return (100 - siegert_loss(flue, air, o2, fuel)) * (gas.net / gas.gross)
