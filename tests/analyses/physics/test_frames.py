"""Frames and time against published examples, and against pyproj, Astropy and Skyfield."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Transformer

from analyses.physics.frames import (
    EARTH_RATE,
    State,
    from_geodetic,
    julian_date,
    sidereal_angle,
    to_fixed,
    to_geodetic,
    to_inertial,
    turn,
)

# Vallado, Fundamentals of Astrodynamics and Applications, example 3-15 (from memory): 6 April 2004,
# 07:51:28.386009 UTC, with UT1 - UTC = -0.439962 s; no satellite of a catalogue. Pseudo-Earth-fixed
# is the Earth-fixed frame without polar motion.
TEME = State(
    (5094.18016210, 6127.64465950, 6380.34453270), (-4.746131487, 0.785818041, 5.531931288)
)
PSEUDO_FIXED = State(
    (-1033.47503130, 7901.30558560, 6380.34453270), (-3.225632747, -2.872442511, 5.531931288)
)
ITRF = (-1033.47938300, 7901.29527540, 6380.35659580)
UT1 = julian_date(2004, 4, 6, 7, 51, 28.386009 - 0.439962)


def test_julian_date() -> None:
    """Vallado, example 3-4 (from memory): 26 October 1996, 14:20 is 2 450 383.097 222 22."""
    assert julian_date(1996, 10, 26, 14, 20) == pytest.approx(2450383.09722222, abs=1e-8)


def test_julian_date_of_the_standard_epoch() -> None:
    """J2000.0 is 1 January 2000, 12 h, JD 2 451 545.0 (IAU)."""
    assert julian_date(2000, 1, 1, 12) == 2451545.0


def test_sidereal_angle() -> None:
    """Vallado, example 3-5 (from memory): 20 August 1992, 12:14 UT1, 152.578 787 810 deg."""
    found = math.degrees(sidereal_angle(julian_date(1992, 8, 20, 12, 14)))
    assert found == pytest.approx(152.578787810, abs=2e-7)


def test_the_angle_grows_at_the_rate_of_the_earth() -> None:
    """WGS 84 states 7.292115e-5 rad/s; the IAU 1982 formula grows so, to seven digits."""
    day = julian_date(2027, 4, 20)
    hour = (sidereal_angle(day + 1 / 24) - sidereal_angle(day)) % math.tau
    assert hour / 3600.0 == pytest.approx(EARTH_RATE, rel=1e-6)


def test_teme_to_pseudo_earth_fixed() -> None:
    """Vallado, example 3-15: position to 0.1 m, velocity to 0.1 mm/s."""
    found = to_fixed(TEME, sidereal_angle(UT1))
    assert found.position == pytest.approx(PSEUDO_FIXED.position, abs=1e-4)
    assert found.velocity == pytest.approx(PSEUDO_FIXED.velocity, abs=1e-7)


def test_polar_motion_that_is_left_out_is_20_m() -> None:
    """The same example with polar motion: the module says that it leaves out 20 m at most."""
    found = to_fixed(TEME, sidereal_angle(UT1)).position
    assert 0.005 < math.dist(found, ITRF) < 0.020


def test_utc_for_ut1_turns_the_frame_by_14_arc_seconds_at_the_most() -> None:
    """0.9 s of time are 13.5 arc seconds; in the example 0.44 s move the satellite by 256 m."""
    late = to_fixed(TEME, sidereal_angle(UT1 + 0.439962 / 86400.0)).position
    across = math.hypot(*PSEUDO_FIXED.position[:2])
    moved = math.dist(late, PSEUDO_FIXED.position)
    assert moved == pytest.approx(0.439962 * EARTH_RATE * across, abs=2e-3)
    assert math.degrees(0.9 * EARTH_RATE) * 3600.0 < 14.0


def test_teme_is_not_j2000() -> None:
    """Astropy 8: the axes of 2027 lie 0.37 deg from those of J2000, 45 km at 7000 km."""
    import astropy.units as u
    from astropy.coordinates import GCRS, CartesianRepresentation
    from astropy.coordinates import TEME as AstropyTeme
    from astropy.time import Time
    from astropy.utils import iers

    with iers.conf.set_temp("auto_download", False):
        time = Time("2026-04-20T09:30:00", scale="utc")
        there = AstropyTeme(CartesianRepresentation(7000, 0, 0, unit=u.km), obstime=time)
        x, y, z = there.transform_to(GCRS(obstime=time)).cartesian.xyz.to_value(u.km)
    assert 40.0 < math.dist((7000.0, 0.0, 0.0), (x, y, z)) < 50.0


def test_astropy_agrees_on_the_earth_fixed_frame() -> None:
    """Astropy's TEME to ITRS, with the Earth orientation that it ships: polar motion and UT1."""
    import astropy.units as u
    from astropy.coordinates import ITRS, CartesianRepresentation
    from astropy.coordinates import TEME as AstropyTeme
    from astropy.time import Time
    from astropy.utils import iers

    with iers.conf.set_temp("auto_download", False):
        time = Time("2004-04-06T07:51:28.386009", scale="utc")
        there = AstropyTeme(CartesianRepresentation(*TEME.position, unit=u.km), obstime=time)
        x, y, z = there.transform_to(ITRS(obstime=time)).cartesian.xyz.to_value(u.km)
        ut1 = time.ut1.jd1 + time.ut1.jd2
    assert (x, y, z) == pytest.approx(ITRF, abs=1e-3)
    found = to_fixed(TEME, sidereal_angle(float(ut1))).position
    assert math.dist(found, (x, y, z)) < 0.020


def test_geodetic_coordinates_of_a_published_position() -> None:
    """Vallado, example 3-3 (from memory): latitude 34.352496, longitude 46.4464, 5085.22 km."""
    found = to_geodetic((6524.834, 6862.875, 6448.296))
    assert found[0] == pytest.approx(34.352496, abs=1e-6)
    assert found[1] == pytest.approx(46.4464, abs=1e-4)
    assert found[2] == pytest.approx(5085.22, abs=0.01)


PLACES = [
    (0.0, 0.0, 0.0), (70.0, 25.0, 0.12), (-33.0, 21.0, 0.4), (52.0, 10.0, 0.05),
    (-40.0, 175.0, 0.2), (64.0, -21.0, 0.06), (-82.0, 106.0, 470.0), (89.9, -120.0, 500.0),
]  # fmt: skip


@pytest.mark.parametrize("place", PLACES)
def test_geodetic_coordinates_as_pyproj_has_them(place: tuple[float, float, float]) -> None:
    """PROJ's conversion from EPSG:4979 to EPSG:4978 (both WGS 84), to a millimetre."""
    latitude, longitude, altitude = place
    conversion = Transformer.from_crs("EPSG:4979", "EPSG:4978")
    expected = [x / 1e3 for x in conversion.transform(latitude, longitude, 1e3 * altitude)]
    assert from_geodetic(*place) == pytest.approx(expected, abs=1e-6)
    assert to_geodetic(from_geodetic(*place)) == pytest.approx(place, abs=1e-6)


@given(
    st.floats(-90, 90), st.floats(-179.9, 179.9), st.floats(-5, 3000)
)  # fmt: skip
def test_geodetic_coordinates_come_back(latitude: float, longitude: float, altitude: float) -> None:
    found = to_geodetic(from_geodetic(latitude, longitude, altitude))
    assert found[0] == pytest.approx(latitude, abs=1e-8)
    assert found[2] == pytest.approx(altitude, abs=1e-6)


def test_geometric_altitude_is_not_the_distance_from_a_sphere() -> None:
    """WGS 84: the polar radius is 6356.752 km, 500 km above the pole are 479 km above a sphere."""
    pole = math.hypot(*from_geodetic(90.0, 0.0, 500.0))
    assert pole - 6378.137 == pytest.approx(500.0 - 21.385, abs=1e-3)


def test_a_place_on_the_ground_has_no_earth_fixed_velocity() -> None:
    position = from_geodetic(52.0, 10.0, 0.0)
    inertial = to_inertial(State(position, (0.0, 0.0, 0.0)), 1.0)
    across = math.hypot(*position[:2])
    assert math.hypot(*inertial.velocity) == pytest.approx(EARTH_RATE * across)
    back = to_fixed(inertial, 1.0)
    assert back.position == pytest.approx(position)
    assert back.velocity == pytest.approx((0.0, 0.0, 0.0), abs=1e-15)


def test_the_place_that_turns_with_the_earth_runs_east() -> None:
    """Greenwich stands at the sidereal angle, and gets there eastward."""
    x, y, _ = turn((1.0, 0.0, 0.0), -0.5)  # Earth-fixed x, in TEME, at an angle of 0.5 rad
    assert math.atan2(y, x) == pytest.approx(0.5)
