"""The standard atmosphere against the published tables and an independent library."""

from __future__ import annotations

import math

import pytest
from fluids.atmosphere import ATMOSPHERE_1976
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from analyses.physics.standard_atmosphere import (
    GAS_CONSTANT,
    STANDARD,
    air_at,
    geometric_altitude_of,
    profile,
    to_geometric,
    to_geopotential,
)

# Geometric altitude in m against pressure in Pa: closed form of U.S. Standard Atmosphere 1976,
# equations 33a and 33b, equal to fluids 1.3.1 in the digits given.
PRESSURES = (
    (0, 101325.00), (1_000, 89876.285), (5_000, 54048.286), (5_500, 50539.315), (7_000, 41105.276),
    (10_000, 26499.898), (15_000, 12111.826), (20_000, 5529.3119), (30_000, 1197.0316),
    (50_000, 79.779093), (80_000, 1.0524735),
)  # fmt: skip
# Pressure in hPa against geometric altitude in m: the same, inverted.
LEVELS = (
    (850, 1457.635), (700, 3013.611), (500, 5579.330), (400, 7193.568), (200, 11805.934),
    (100, 16221.012), (50, 20642.985), (1, 48182.541),
)  # fmt: skip
# Geopotential altitude in m of the bases, temperature in K and pressure in Pa: U.S. Standard
# Atmosphere 1976, as in ISO 2533 up to 32 km (from memory).
BASES = (
    (11_000, 216.65, 22632.06), (20_000, 216.65, 5474.889), (32_000, 228.65, 868.0187),
    (47_000, 270.65, 110.9063), (51_000, 270.65, 66.93887), (71_000, 214.65, 3.956420),
    (84_852, 186.946, 0.3733836),
)  # fmt: skip
# Geometric altitude in m, temperature in K, density in kg/m3, speed of sound in m/s: U.S. Standard
# Atmosphere 1976, table I (from memory), five printed digits.
STATES = (
    (0, 288.150, 1.2250, 340.29), (1_000, 281.651, 1.1117, 336.43),
    (5_000, 255.676, 0.73643, 320.55),
    (10_000, 223.252, 0.41351, 299.53), (11_000, 216.774, 0.36480, 295.15),
    (20_000, 216.650, 0.088910, 295.07), (30_000, 226.509, 0.018410, 301.71),
    (50_000, 270.650, 1.0269e-3, 329.80), (80_000, 198.639, 1.8458e-5, 282.54),
)  # fmt: skip


@pytest.mark.parametrize(("height", "pressure"), PRESSURES)
def test_pressure_at_geometric_altitude(height: float, pressure: float) -> None:
    assert air_at(height).pressure == pytest.approx(pressure, rel=5e-8)


@pytest.mark.parametrize(("level", "height"), LEVELS)
def test_geometric_altitude_of_a_pressure(level: float, height: float) -> None:
    assert geometric_altitude_of(100.0 * level) == pytest.approx(height, abs=6e-4)


@pytest.mark.parametrize(("height", "temperature", "pressure"), BASES)
def test_bases_of_the_layers(height: float, temperature: float, pressure: float) -> None:
    air = air_at(to_geometric(height) - 1e-6)
    assert air.temperature == pytest.approx(temperature, abs=1e-3)
    assert air.pressure == pytest.approx(pressure, rel=1e-6)


@pytest.mark.parametrize(("height", "temperature", "density", "sound"), STATES)
def test_printed_states(height: float, temperature: float, density: float, sound: float) -> None:
    air = air_at(height)
    assert air.temperature == pytest.approx(temperature, abs=1.1e-3)
    assert air.density == pytest.approx(density, rel=5e-5)
    assert air.speed_of_sound == pytest.approx(sound, abs=6e-3)


@pytest.mark.parametrize("height", range(-600, 86_000, 433))
def test_grid_of_the_library(height: int) -> None:
    air, other = air_at(height), ATMOSPHERE_1976(height)
    assert to_geopotential(height) == pytest.approx(other.H, rel=1e-12)
    assert air.pressure == pytest.approx(other.P, rel=1e-9)
    assert air.temperature == pytest.approx(other.T, rel=1e-12)
    assert air.density == pytest.approx(other.rho, rel=1e-9)
    assert air.speed_of_sound == pytest.approx(other.v_sonic, rel=1e-9)


@pytest.mark.parametrize("threshold", [45e3, 50e3, 55e3, 60e3, 65e3])
def test_threshold_altitudes_of_the_library(threshold: float) -> None:
    height = brentq(lambda z: ATMOSPHERE_1976(z).P - threshold, 0.0, 10e3, xtol=1e-9)
    assert geometric_altitude_of(threshold) == pytest.approx(height, abs=1e-5)


@pytest.mark.parametrize("offset", [-25.0, -10.0, 15.0, 25.0])
@pytest.mark.parametrize("height", [1_000.0, 5_000.0, 11_500.0, 25_000.0, 60_000.0])
def test_a_real_day_is_in_hydrostatic_balance(offset: float, height: float) -> None:
    """ln p falls by the integral of g/(R T) over the geometric altitude, by quadrature.

    Gravity and the standard's temperature are the library's.
    """

    def integrand(z: float) -> float:
        still = ATMOSPHERE_1976(z)
        return float(still.g / (GAS_CONSTANT * (still.T + offset)))

    kinks = [to_geometric(base) for base, _, _ in BASES if to_geometric(base) < height]
    fall, _ = quad(integrand, 0.0, height, points=kinks or None, epsabs=1e-11)
    air = air_at(height, profile(98_000.0, offset))
    # The library's gravity at sea level is 9.80665 m/s2 but for rounding in its sixth digit.
    assert air.pressure == pytest.approx(98_000.0 * math.exp(-fall), rel=2e-6)
    assert air.temperature == pytest.approx(ATMOSPHERE_1976(height).T + offset, abs=1e-9)


def test_warm_and_high_pressure_days_lift_a_level() -> None:
    still = geometric_altitude_of(55e3)
    assert geometric_altitude_of(55e3, profile(101_325.0, 25.0)) > still
    assert geometric_altitude_of(55e3, profile(104_500.0, 0.0)) > still
    assert geometric_altitude_of(55e3, profile(101_325.0, -25.0)) < still
    assert geometric_altitude_of(55e3, profile(96_000.0, 0.0)) < still


def test_extremes_on_record_at_sea_level() -> None:
    """About 870 hPa to 1084 hPa (WMO archive, from memory) move a level by hundreds of metres."""
    low = geometric_altitude_of(55e3, profile(87_000.0))
    high = geometric_altitude_of(55e3, profile(108_400.0))
    assert air_at(0.0, profile(87_000.0)).pressure == pytest.approx(87_000.0, rel=1e-12)
    assert 1_000.0 < high - low < 2_500.0


@given(st.floats(-4_900.0, 85_900.0))
def test_inverse_gives_back_the_altitude(height: float) -> None:
    assert geometric_altitude_of(air_at(height).pressure) == pytest.approx(height, abs=1e-4)
    assert to_geometric(to_geopotential(height)) == pytest.approx(height, abs=1e-6)


@given(st.floats(-4_900.0, 85_000.0), st.floats(1.0, 500.0))
def test_pressure_falls_with_height(height: float, rise: float) -> None:
    assert air_at(height + rise).pressure < air_at(height).pressure


def test_outside_the_standard_is_refused() -> None:
    with pytest.raises(ValueError, match="outside the standard atmosphere, -5000 m to 84852 m"):
        air_at(90_000.0)
    with pytest.raises(ValueError, match="outside the standard atmosphere"):
        air_at(-5_100.0)
    with pytest.raises(ValueError, match="outside this day's atmosphere"):
        geometric_altitude_of(0.1)
    with pytest.raises(ValueError, match="outside this day's atmosphere"):
        geometric_altitude_of(200e3)


def test_the_default_day_is_the_standard() -> None:
    assert profile() == STANDARD
    assert air_at(4_321.0, profile()) == air_at(4_321.0)
