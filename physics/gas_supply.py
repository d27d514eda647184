"""Gas supply: clocking the meter, its volume at base conditions, altitude, air, orifices, a closed pipe. SI and °C."""

from __future__ import annotations

from schemas.errors import BadInput

__all__ = [
    "air_density",
    "atmospheric_pressure",
    "clocked_flow",
    "closed_pipe_pressure",
    "orifice_flow_ratio",
    "volume_factor",
]

_STANDARD_PRESSURE = 101325.0
_EARTH_RADIUS = 6356766.0  # m, US Standard Atmosphere 1976
_GAS_CONSTANT_AIR = 287.0531  # J/(kg K), dry air of the same standard
_GAS_CONSTANT_VAPOUR = 461.523  # J/(kg K)


def clocked_flow(volume: float, seconds: float) -> float:
    """Return the flow an hour of ``volume`` that went through the meter in ``seconds``; in the unit of the volume.

    3600 · V / t: the definition. Times the heating value of a unit of volume it is the input.

    Raises:
        BadInput: no time or no volume.
    """
    if seconds <= 0 or volume <= 0:
        raise BadInput("Clocking the meter needs a volume and a time above zero.")
    return 3600 * volume / seconds


def volume_factor(
    gauge: float,
    temperature: float,
    barometer: float = _STANDARD_PRESSURE,
    *,
    base_pressure: float,
    base_temperature: float,
) -> float:
    """Return what an uncompensated meter's volume is multiplied with to state it at base conditions.

    (gauge + barometer) / base pressure · base temperature / temperature, ideal gas; pressures Pa, temperatures °C.
    Base conditions have to be named: US gas is mostly sold at 60 °F and 14.73 psia, ISO 13443 has 15 °C and
    101.325 kPa. A meter that compensates for temperature already needs the pressure part only.

    Raises:
        BadInput: a pressure or temperature at or below absolute zero.
    """
    kelvin, base_kelvin = temperature + 273.15, base_temperature + 273.15
    if min(gauge + barometer, base_pressure, kelvin, base_kelvin) <= 0:
        raise BadInput("Pressure and temperature must be above absolute zero.")
    return (gauge + barometer) / base_pressure * base_kelvin / kelvin


def atmospheric_pressure(altitude: float) -> float:
    """Return the pressure in Pa of the standard atmosphere at ``altitude`` metres above sea level (−1,000 to 11,000).

    US Standard Atmosphere 1976, lowest layer: geometric to geopotential altitude, then 101325 · (1 − 0.0065 h /
    288.15)^5.25588.

    Raises:
        BadInput: outside −1,000 to 11,000 m.
    """
    if not -1000 <= altitude <= 11000:
        raise BadInput(f"{altitude:g} m is outside −1,000 to 11,000 m.")
    geopotential = _EARTH_RADIUS * altitude / (_EARTH_RADIUS + altitude)
    return float(_STANDARD_PRESSURE * (1 - 0.0065 * geopotential / 288.15) ** 5.25588)


def air_density(temperature: float, pressure: float = _STANDARD_PRESSURE, vapour: float = 0.0) -> float:
    """Return the density of air in kg/m³ at ``temperature`` °C and ``pressure`` Pa with ``vapour`` Pa of water in it.

    Ideal gases with the constants of dry air (US Standard Atmosphere 1976) and of water vapour.

    Raises:
        BadInput: a temperature at or below absolute zero, or more vapour than pressure.
    """
    kelvin = temperature + 273.15
    if kelvin <= 0 or not 0 <= vapour <= pressure:
        raise BadInput("Air needs a temperature above absolute zero and no more vapour than pressure.")
    return (pressure - vapour) / (_GAS_CONSTANT_AIR * kelvin) + vapour / (_GAS_CONSTANT_VAPOUR * kelvin)


def orifice_flow_ratio(before: float, after: float) -> float:
    """Return the flow through the same orifice at pressure ``after`` as a share of that at ``before`` (same unit).

    The square root of the ratio: incompressible flow through an orifice, at pressures far below the atmosphere's.

    Raises:
        BadInput: a pressure that is not above zero.
    """
    if before <= 0 or after < 0:
        raise BadInput("An orifice passes gas only with a pressure above zero.")
    return float((after / before) ** 0.5)


def closed_pipe_pressure(gauge: float, start: float, end: float, barometer: float = _STANDARD_PRESSURE) -> float:
    """Return the gauge pressure in Pa of a tight closed pipe when its gas goes from ``start`` to ``end`` °C.

    Ideal gas at constant volume: (gauge + barometer) · end / start in kelvin, less the barometer.

    Raises:
        BadInput: a temperature or pressure at or below absolute zero.
    """
    if min(start, end) <= -273.15 or gauge + barometer <= 0:
        raise BadInput("Pressure and temperature must be above absolute zero.")
    return (gauge + barometer) * (end + 273.15) / (start + 273.15) - barometer
