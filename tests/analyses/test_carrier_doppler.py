"""Doppler of the carrier against a published value and against positions."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analyses.carrier_doppler import carrier_doppler
from analyses.physics import radio


def test_horizon_doppler_of_an_earth_at_rest() -> None:
    """Circular orbit at 500 km, 2245 MHz: 52.863 kHz (closed form f/c v R/(R + h)).

    The bulge adds 3/4 J2 (R/r)^2 = 3/4 * 1.08263e-3 * 0.8600 = 0.0698 %, by hand.
    """
    assert radio.horizon_doppler(2245.0, 500.0) == pytest.approx(52.863, abs=5e-4)
    found = carrier_doppler(2245.0, 0.0, 500.0).orbit_doppler
    assert found == pytest.approx(52.863 * 1.000698, abs=8e-4)


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
        assert shift <= said.carrier_offset
        assert fastest <= said.doppler_rate
        reached.append((shift, fastest))
    assert reached[-1][0] == pytest.approx(said.carrier_offset, rel=1e-3)
    assert reached[-1][1] == pytest.approx(said.doppler_rate, rel=2e-3)


@pytest.mark.parametrize(
    ("inclination", "sign"),
    # almost on the equator: with the Earth's turning, and against it
    [(0.1, -1.0), (179.9, +1.0)],
)
@pytest.mark.parametrize("height", [300.0, 500.0])
def test_a_pass_as_sgp4_and_skyfield_have_it(
    height: float, inclination: float, sign: float
) -> None:
    """`sgp4` flies a circular orbit, Skyfield looks at it from the equator, over one revolution.

    Elements are invented, without drag; the altitude is the one at which it passes overhead. Both
    know the Earth's bulge, which is 0.07 % of the shift and twice that of the rate.
    """
    from sgp4.api import WGS84, Satrec
    from skyfield.api import EarthSatellite, load, wgs84

    time_scale = load.timescale(builtin=True)
    motion = 60.0 * math.sqrt(398600.4418 / (6378.137 + height) ** 3)  # rad/min
    tilt, elements = math.radians(inclination), Satrec()
    elements.sgp4init(
        WGS84, "i", 1, 28000.0, 0.0, 0.0, 0.0, 1e-6, 0.0, tilt, 0.0, motion, 0.0
    )  # fmt: skip
    ship, site = EarthSatellite.from_satrec(elements, time_scale), wgs84.latlon(0.0, 0.0)
    times = time_scale.tt_jd(ship.epoch.tt + np.arange(0.0, 7200.0) / 86400.0)  # each second
    elevation, _, distance, _, _, rate = (ship - site).at(times).frame_latlon_and_rates(site)
    up, speed = elevation.degrees > 0.0, rate.km_per_s
    shift = np.max(np.abs(speed[up])) * 2245e3 / 299_792.458
    fastest = np.max(np.gradient(speed, 1.0)[up]) * 2245e3 / 299_792.458
    said = carrier_doppler(2245.0, 0.0, float(distance.km.min()))
    assert said.orbit_doppler + sign * said.rotation_doppler == pytest.approx(shift, rel=1e-4)
    if sign > 0:
        assert said.doppler_rate == pytest.approx(fastest, rel=5e-4)
        assert said.doppler_rate > fastest
    else:
        assert said.doppler_rate > fastest


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
