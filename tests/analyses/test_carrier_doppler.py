"""Doppler of the carrier against a published value and against positions."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analyses.carrier_doppler import carrier_doppler


def test_horizon_doppler_of_an_earth_at_rest() -> None:
    """Circular orbit at 500 km, 2245 MHz: 52.863 kHz (closed form f/c v R/(R + h))."""
    assert carrier_doppler(2245.0, 0.0, 500.0).orbit_doppler == pytest.approx(52.863, abs=5e-4)


def test_the_offset_is_the_sum_and_the_oscillator_goes_by_its_ppm() -> None:
    found = carrier_doppler(2245.0, 10.0, 300.0)
    assert found.oscillator_offset == pytest.approx(22.45)  # 10 ppm of 2245 MHz, in kHz
    total = found.orbit_doppler + found.rotation_doppler + found.oscillator_offset
    assert found.carrier_offset == pytest.approx(total)


@pytest.mark.parametrize("height", [200.0, 500.0])
def test_no_pass_of_a_simulated_orbit_exceeds_what_is_said(height: float) -> None:
    """Positions of a circular orbit and of stations, differenced in time, at several inclinations.

    The orbit on the equator against Earth's rotation reaches both values, no other exceeds them.
    """
    radius, frequency = 6378.137 + height, 2245e3
    rate = math.sqrt(398600.4418 / radius**3)
    t = np.arange(-600.0, 600.0, 0.5)
    said = carrier_doppler(2245.0, 0.0, height)
    reached = []
    for inclination in (0.0, 51.6, 98.0, 180.0):
        i = math.radians(inclination)
        u = rate * t
        ship = radius * np.array([np.cos(u), np.sin(u) * math.cos(i), np.sin(u) * math.sin(i)])
        lon = 7.292115e-5 * t
        ground = 6378.137 * np.array([np.cos(lon), np.sin(lon), np.zeros_like(t)])
        distance = np.linalg.norm(ship - ground, axis=0)
        up = np.sum((ship - ground) * ground, axis=0) > 0.0
        speed = np.gradient(distance, t)
        shift = np.max(np.abs(speed[up])) * frequency / 299_792.458
        fastest = np.max(np.gradient(speed, t)[up]) * frequency / 299_792.458
        assert shift <= said.carrier_offset * (1 + 1e-6)
        assert fastest <= said.doppler_rate * (1 + 1e-4)
        reached.append((shift, fastest))
    assert reached[-1][0] == pytest.approx(said.carrier_offset, rel=1e-3)
    assert reached[-1][1] == pytest.approx(said.doppler_rate, rel=1e-3)


@pytest.mark.parametrize(
    ("change", "quantities"),
    [
        ((2245.0, 5.0, 200.0), ("carrier_offset", "doppler_rate")),  # lower orbit
        ((2245.0, 8.0, 300.0), ("carrier_offset",)),  # worse oscillator
        ((2290.0, 5.0, 300.0), ("carrier_offset", "doppler_rate")),  # higher carrier
    ],
)
def test_direction_of_each_input(
    change: tuple[float, float, float], quantities: tuple[str, ...]
) -> None:
    before, after = carrier_doppler(2245.0, 5.0, 300.0), carrier_doppler(*change)
    assert all(getattr(after, name) > getattr(before, name) for name in quantities)
