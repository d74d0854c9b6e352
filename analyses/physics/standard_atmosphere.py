"""The standard atmosphere, and real days near it.

Source: U.S. Standard Atmosphere 1976 (NOAA-S/T 76-1562), equations 23, 33a, 33b, 42, 50 and
table 4; up to 32 km it is the atmosphere of ISO 2533. Valid from 5 km below sea level to 84.852 km
geopotential altitude. Above 80 km the temperature is the molecular-scale temperature, which is up
to 0.05 % above the kinetic one; pressure, density and speed of sound are those of the standard.

Geopotential altitude H = r0 Z/(r0 + Z) belongs to the constant gravity g0, geometric altitude Z is
the distance from sea level. At 50 km they differ by 390 m.
"""

from __future__ import annotations

from bisect import bisect_right
from typing import Annotated, NamedTuple

from closeout.math import exp, log, sqrt
from closeout.units import K, Pa, Unit, kg_m3, m, m_s

K_per_m = Annotated[float, Unit("K/m")]

EARTH_RADIUS = 6_356_766.0  # m, r0 of the standard
STANDARD_GRAVITY = 9.80665  # m/s2
GAS_CONSTANT = 8314.32 / 28.9644  # J/(kg K), of dry air
HEAT_CAPACITY_RATIO = 1.4
SEA_LEVEL_PRESSURE = 101_325.0  # Pa
SEA_LEVEL_TEMPERATURE = 288.15  # K
LOWEST_GEOPOTENTIAL_ALTITUDE = -5_000.0  # m
HIGHEST_GEOPOTENTIAL_ALTITUDE = 84_852.0  # m

# Table 4 of the standard: base in m of geopotential altitude, gradient of temperature in K/m.
_LAYERS = (
    (0.0, -6.5e-3),
    (11_000.0, 0.0),
    (20_000.0, 1.0e-3),
    (32_000.0, 2.8e-3),
    (47_000.0, 0.0),
    (51_000.0, -2.8e-3),
    (71_000.0, -2.0e-3),
)
_BASES = tuple(base for base, _ in _LAYERS[1:])


class Layer(NamedTuple):
    """A layer with a constant gradient of temperature: SI units, values at its base."""

    base_geopotential_altitude: m
    base_temperature: K
    gradient: K_per_m
    base_pressure: Pa


class Air(NamedTuple):
    """The state of still air: Pa, K, kg/m3, m/s."""

    pressure: Pa
    temperature: K
    density: kg_m3
    speed_of_sound: m_s


Profile = tuple[Layer, ...]


def to_geopotential(geometric_altitude: m) -> m:
    """Return the geopotential altitude, in m (equation 18 of the standard)."""
    return EARTH_RADIUS * geometric_altitude / (EARTH_RADIUS + geometric_altitude)


def to_geometric(geopotential_altitude: m) -> m:
    """Return the geometric altitude, in m (equation 19 of the standard)."""
    return EARTH_RADIUS * geopotential_altitude / (EARTH_RADIUS - geopotential_altitude)


def _pressure(layer: Layer, geopotential_altitude: m) -> Pa:
    """Return the pressure in a layer, in Pa: equations 33a and 33b."""
    rise = geopotential_altitude - layer.base_geopotential_altitude
    scale = STANDARD_GRAVITY / GAS_CONSTANT
    if layer.gradient == 0.0:
        return layer.base_pressure * exp(-scale * rise / layer.base_temperature)
    warming = layer.gradient * rise / layer.base_temperature
    return layer.base_pressure * exp(-scale / layer.gradient * log(1.0 + warming))


def profile(sea_level_pressure: Pa = SEA_LEVEL_PRESSURE, temperature_offset: K = 0.0) -> Profile:
    """Return the layers of a day: the standard's gradients from other values at sea level.

    The offset, in K, is added to the temperature at each geopotential altitude and the pressure,
    in Pa, follows from hydrostatic balance, so a warm day lifts each level of pressure. With the
    default values it is the standard atmosphere.
    """
    temperature = SEA_LEVEL_TEMPERATURE + temperature_offset
    layer = Layer(0.0, temperature, _LAYERS[0][1], sea_level_pressure)
    layers = [layer]
    for base, gradient in _LAYERS[1:]:
        temperature += layer.gradient * (base - layer.base_geopotential_altitude)
        layer = Layer(base, temperature, gradient, _pressure(layer, base))
        layers.append(layer)
    return tuple(layers)


STANDARD = profile()


def air_at(geometric_altitude: m, day: Profile = STANDARD) -> Air:
    """Return the state of the air at a geometric altitude in m.

    Raises:
        ValueError: the altitude is outside the standard's lower part, -5 km to 84.852 km
            geopotential.
    """
    height = to_geopotential(geometric_altitude)
    if not LOWEST_GEOPOTENTIAL_ALTITUDE <= height <= HIGHEST_GEOPOTENTIAL_ALTITUDE:
        raise ValueError(
            f"a geopotential altitude of {height:.0f} m is outside the standard atmosphere, "
            f"{LOWEST_GEOPOTENTIAL_ALTITUDE:.0f} m to {HIGHEST_GEOPOTENTIAL_ALTITUDE:.0f} m"
        )
    layer = day[bisect_right(_BASES, height)]
    pressure = _pressure(layer, height)
    temperature = layer.base_temperature + layer.gradient * (
        height - layer.base_geopotential_altitude
    )
    density = pressure / (GAS_CONSTANT * temperature)
    return Air(
        pressure, temperature, density, sqrt(HEAT_CAPACITY_RATIO * GAS_CONSTANT * temperature)
    )


def geometric_altitude_of(pressure: Pa, day: Profile = STANDARD) -> m:
    """Return the geometric altitude, in m, at which still air has a pressure in Pa.

    Raises:
        ValueError: the pressure is not found between -5 km and 84.852 km geopotential.
    """
    highest = _pressure(day[0], LOWEST_GEOPOTENTIAL_ALTITUDE)
    lowest = _pressure(day[-1], HIGHEST_GEOPOTENTIAL_ALTITUDE)
    if not lowest <= pressure <= highest:
        raise ValueError(
            f"a pressure of {pressure:g} Pa is outside this day's atmosphere, "
            f"{lowest:g} Pa to {highest:g} Pa"
        )
    layer = next((each for each in reversed(day) if each.base_pressure >= pressure), day[0])
    stretch = GAS_CONSTANT / STANDARD_GRAVITY * log(layer.base_pressure / pressure)
    if layer.gradient == 0.0:
        rise = layer.base_temperature * stretch
    else:
        rise = layer.base_temperature / layer.gradient * (exp(layer.gradient * stretch) - 1.0)
    return to_geometric(layer.base_geopotential_altitude + rise)
