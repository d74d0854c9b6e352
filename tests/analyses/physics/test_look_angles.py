"""Look angles and passes against published examples, Skyfield, Astropy and closed forms."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from sgp4.api import Satrec, jday

from analyses.physics import radio
from analyses.physics.frames import State, from_geodetic, sidereal_angle, to_fixed
from analyses.physics.look_angles import (
    Look,
    Site,
    angle_between,
    bending,
    look_at,
    refraction,
    separation,
    site_at,
)
from analyses.physics.orbit import EARTH_GM, Moment
from analyses.physics.passes import Pass, find_passes, open_time

STILL = (0.0, 0.0, 0.0)
LINES = (
    "1 28057U 03049A   06177.78615833  .00000060  00000-0  35940-4 0  1836",
    "2 28057  98.4283 247.6961 0000884  88.1964 271.9322 14.35478080140550",
)
EPOCH = datetime(2006, 1, 1) + timedelta(days=176.78615833)
KIRUNA = (67.8571, 20.9643, 0.402)
WALLOPS = (37.9249, -75.4765, -0.015)


def tracked(seconds: float) -> State:
    """Return the Earth-fixed state of satellite 28057 by `sgp4`, some seconds after its epoch."""
    satellite = Satrec.twoline2rv(*LINES)
    time = EPOCH + timedelta(seconds=seconds)
    day, part = jday(
        time.year,
        time.month,
        time.day,
        time.hour,
        time.minute,
        time.second + 1e-6 * time.microsecond,
    )
    error, position, velocity = satellite.sgp4(day, part)
    assert error == 0
    return to_fixed(State(position, velocity), sidereal_angle(day + part))


@pytest.fixture(scope="module")
def day() -> list[Moment]:
    """Return a day of that satellite."""
    return [Moment(30.0 * i, tracked(30.0 * i)) for i in range(2881)]


# --- look angles --------------------------------------------------------------------------------


def test_a_published_example() -> None:
    """Curtis, *Orbital Mechanics for Engineering Students*, example 5.9 (from memory).

    Latitude -40 deg, sidereal angle 110 deg, sea level: azimuth 129.8 deg, elevation 41.41 deg.
    """
    site = site_at(-40.0, 110.0, 0.0)
    look = look_at(site, State((-2032.4, 4591.2, -4544.8), STILL))
    assert look.azimuth == pytest.approx(129.8, abs=0.1)
    assert look.elevation == pytest.approx(41.41, abs=0.03)


@pytest.mark.parametrize(
    ("altitude", "elevation", "expected"),
    # Law of cosines, R = 6378.137 km, worked out apart from this project.
    [(500.0, 10.0, 1695.091), (300.0, 10.0, 1160.388)],
)
def test_slant_range_on_the_equator(altitude: float, elevation: float, expected: float) -> None:
    """In the plane of the equator the ellipsoid is a circle; azimuth 90 deg is east."""
    site = site_at(0.0, 0.0, 0.0)
    rise = math.radians(elevation)
    position = (
        site.position[0] + expected * math.sin(rise), expected * math.cos(rise), 0.0
    )  # fmt: skip
    assert math.hypot(*position) == pytest.approx(6378.137 + altitude, abs=1e-3)
    look = look_at(site, State(position, STILL))
    assert (look.azimuth, look.elevation, look.range) == pytest.approx((90.0, elevation, expected))


@pytest.mark.parametrize("place", [KIRUNA, WALLOPS, (-33.0, 21.0, 0.4), (-40.0, 175.0, 0.2)])
@pytest.mark.parametrize("seconds", [0.0, 1111.0, 40000.0])
def test_skyfield_sees_the_same(place: tuple[float, float, float], seconds: float) -> None:
    """Skyfield, which knows nutation and UT1: 0.005 deg, 0.2 km and 0.2 m/s."""
    from skyfield.api import EarthSatellite, load, wgs84

    time_scale = load.timescale(builtin=True)
    satellite = EarthSatellite(*LINES, ts=time_scale)
    site = wgs84.latlon(place[0], place[1], elevation_m=1e3 * place[2])
    t = EPOCH + timedelta(seconds=seconds)
    seen = (satellite - site).at(
        time_scale.utc(t.year, t.month, t.day, t.hour, t.minute, t.second + 1e-6 * t.microsecond)
    )
    elevation, azimuth, distance, _, _, rate = seen.frame_latlon_and_rates(site)
    look = look_at(site_at(*place), tracked(seconds))
    off = angle_between(look.azimuth, look.elevation, azimuth.degrees, elevation.degrees)
    assert off < 0.005
    assert look.range == pytest.approx(distance.km, abs=0.2)
    assert look.range_rate == pytest.approx(rate.km_per_s, abs=2e-4)


@pytest.mark.parametrize("place", [KIRUNA, (-33.0, 21.0, 0.4)])
def test_astropy_sees_the_same(place: tuple[float, float, float]) -> None:
    """Astropy: Earth-fixed position into azimuth and elevation without an atmosphere."""
    import astropy.units as u
    from astropy.coordinates import ITRS, AltAz, CartesianRepresentation, EarthLocation
    from astropy.time import Time
    from astropy.utils import iers

    here = EarthLocation.from_geodetic(place[1], place[0], 1e3 * place[2] * u.m)
    position = tracked(1111.0).position
    with iers.conf.set_temp("auto_download", False):
        time = Time("2006-06-26T19:00:00", scale="utc")
        line = CartesianRepresentation(*position, unit=u.km) - here.get_itrs(time).cartesian
        seen = ITRS(line, obstime=time, location=here).transform_to(
            AltAz(obstime=time, location=here)
        )
        expected = (seen.az.deg, seen.alt.deg, seen.distance.to_value(u.km))
    look = look_at(site_at(*place), State(position, STILL))
    assert (look.azimuth, look.elevation) == pytest.approx(expected[:2], abs=1e-3)
    assert look.range == pytest.approx(expected[2], abs=1e-4)


def test_rates_are_the_differences_of_the_angles() -> None:
    site, step = site_at(*KIRUNA), 0.05
    before, now, after = (look_at(site, tracked(1111.0 + k * step)) for k in (-1, 0, 1))
    assert now.range_rate == pytest.approx((after.range - before.range) / (2 * step), abs=1e-3)
    turned = (after.azimuth - before.azimuth) / (2 * step)
    assert now.azimuth_rate == pytest.approx(turned, abs=1e-3)
    climbed = (after.elevation - before.elevation) / (2 * step)
    assert now.elevation_rate == pytest.approx(climbed, abs=1e-3)


def test_azimuth_rate_grows_towards_the_zenith() -> None:
    """The keyhole: across the line of sight it is speed / (range cos elevation)."""
    site = site_at(0.0, 0.0, 0.0)

    def rate(offset: float) -> float:
        return look_at(site, State((6878.137, 0.0, offset), (0.0, 7.5, 0.0))).azimuth_rate

    assert abs(rate(100.0)) == pytest.approx(math.degrees(7.5 / 100.0))
    assert abs(rate(10.0)) > abs(rate(100.0)) > abs(rate(1000.0))
    assert rate(0.0) == math.inf


def test_doppler_on_the_horizon() -> None:
    """Circular orbit at 500 km, 2245 MHz, Earth at rest: 52.863 kHz (f/c v R/(R + h))."""
    radius = 6878.137
    speed = math.sqrt(EARTH_GM / radius)
    angle = math.acos(6378.137 / radius)
    state = State(
        (radius * math.cos(angle), radius * math.sin(angle), 0.0),
        (-speed * math.sin(angle), speed * math.cos(angle), 0.0),
    )
    look = look_at(site_at(0.0, 0.0, 0.0), state)
    assert look.elevation == pytest.approx(0.0, abs=1e-9)
    assert 2245e3 * look.range_rate / radio.SPEED_OF_LIGHT == pytest.approx(52.863, abs=5e-4)


@given(st.floats(0, 360), st.floats(-89, 89), st.floats(0, 360), st.floats(-89, 89))
def test_the_angle_between_two_directions(a: float, b: float, c: float, d: float) -> None:
    def unit(azimuth: float, elevation: float) -> tuple[float, float, float]:
        q, r = math.radians(azimuth), math.radians(elevation)
        return math.cos(r) * math.sin(q), math.cos(r) * math.cos(q), math.sin(r)

    cosine = sum(x * y for x, y in zip(unit(a, b), unit(c, d), strict=True))
    expected = math.degrees(math.acos(max(-1.0, min(1.0, cosine))))
    assert angle_between(a, b, c, d) == pytest.approx(expected, abs=2e-6)
    looks = Look(a, b, 1.0, 0.0, 0.0, 0.0), Look(c, d, 1.0, 0.0, 0.0, 0.0)
    assert separation(*looks) == angle_between(a, b, c, d)


# --- refraction ---------------------------------------------------------------------------------


@pytest.mark.parametrize("apparent", [0.5, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0])
def test_bending_as_the_fit_of_itu_r_p_834_has_it(apparent: float) -> None:
    """ITU-R P.834, fit over the apparent elevation at sea level (from memory), to 6 %."""
    fit = 1.0 / (1.314 + 0.6437 * apparent + 0.02869 * apparent**2)
    assert bending(apparent, 0.0) == pytest.approx(fit, rel=0.06)


@pytest.mark.parametrize("altitude", [0.0, 0.4])
@pytest.mark.parametrize("apparent", [0.0, 0.5, 5.0, 20.0])
def test_bending_as_scipy_integrates_it(apparent: float, altitude: float) -> None:
    """The same law and atmosphere over the height itself, with SciPy's adaptive quadrature."""

    def index(h: float) -> float:
        return 1.0 + 315e-6 * math.exp(-h / 7.35)

    def slope(root: float) -> float:
        h = altitude + root**2
        kept = index(altitude) * (6371.0 + altitude) * math.cos(math.radians(apparent))
        elevation = math.acos(kept / (index(h) * (6371.0 + h)))
        return 315e-6 / 7.35 * math.exp(-h / 7.35) / index(h) / math.tan(elevation) * 2 * root

    exact = math.degrees(quad(slope, 1e-9, 10.0)[0])
    assert bending(apparent, altitude) == pytest.approx(exact, rel=2e-3)


@pytest.mark.parametrize("elevation", [3.0, 5.0, 10.0, 20.0, 40.0, 70.0])
def test_refraction_is_a_little_above_the_optical_one(elevation: float) -> None:
    """Saemundsson (Meeus, *Astronomical Algorithms*, 16.4): optical, 1.02 cot(h + 10.3/(h + 5.11)).

    Water adds for radio: 315 (ITU-R P.453) against some 290 for light, so 1.0 to 1.2 of it.
    """
    optical = 1.02 / math.tan(math.radians(elevation + 10.3 / (elevation + 5.11))) / 60.0
    assert 1.0 < refraction(elevation, 0.0) / optical < 1.2


@pytest.mark.parametrize("elevation", [15.0, 30.0, 60.0])
def test_refraction_of_a_flat_atmosphere_high_up(elevation: float) -> None:
    """(n - 1) cot elevation with n - 1 = 315e-6 (ITU-R P.453): any text on refraction."""
    flat = math.degrees(315e-6 / math.tan(math.radians(elevation)))
    assert refraction(elevation, 0.0) == pytest.approx(flat, rel=0.03)


def test_what_is_lifted_is_the_bending_at_the_apparent_elevation() -> None:
    lift = refraction(0.0, 0.0)
    assert bending(lift, 0.0) == pytest.approx(lift, rel=2e-3)


def test_refraction_lifts_less_higher_up_and_at_a_high_station() -> None:
    values = [refraction(x, 0.0) for x in (0.0, 1.0, 5.0, 20.0, 60.0, 90.0)]
    assert values == sorted(values, reverse=True)
    assert refraction(5.0, 2.0) < refraction(5.0, 0.0)
    assert refraction(-3.0, 0.0) == refraction(0.0, 0.0)


# --- passes -------------------------------------------------------------------------------------


def overhead(altitude: float) -> tuple[list[Moment], Site]:
    """Return an overhead pass on the equator, Earth at rest, culminating at 0 s."""
    radius = 6378.137 + altitude
    rate = math.sqrt(EARTH_GM / radius**3)

    def state(t: float) -> State:
        c, s = math.cos(rate * t), math.sin(rate * t)
        return State(
            (radius * c, radius * s, 0.0), (-rate * radius * s, rate * radius * c, 0.0)
        )  # fmt: skip

    flight = [Moment(t, state(t)) for t in range(-1500, 1501, 30)]
    return flight, site_at(0.0, 0.0, 0.0)


@pytest.mark.parametrize(("mask", "expected"), [(0.0, 693.2639), (10.0, 442.9961)])
def test_longest_overhead_pass(mask: float, expected: float) -> None:
    """Circular orbit at 500 km over an Earth at rest, worked out apart from this project."""
    flight, site = overhead(500.0)
    [one] = find_passes(flight, site, mask, -1500.0, 1500.0)
    assert one.duration == pytest.approx(expected, abs=0.01)
    assert one.top == pytest.approx(0.0, abs=0.01)
    assert one.highest_elevation == pytest.approx(90.0, abs=0.01)


@pytest.mark.parametrize(
    ("place", "mask", "count", "total"),
    # Skyfield 1.55, 24 h from the epoch of the elements.
    [(KIRUNA, 5.0, 11, 7153.41), (WALLOPS, 10.0, 4, 1862.10)],
)
def test_windows_of_a_day_as_skyfield_has_them(
    day: list[Moment], place: tuple[float, float, float], mask: float, count: int, total: float
) -> None:
    passes = find_passes(day, site_at(*place), mask, 0.0, 86400.0)
    assert len(passes) == count
    assert sum(one.duration for one in passes) == pytest.approx(total, abs=0.5)


def test_the_first_window_over_kiruna(day: list[Moment]) -> None:
    """Skyfield 1.55: 795.399 s to 1538.691 s, highest at 81.0327 deg."""
    first = find_passes(day, site_at(*KIRUNA), 5.0, 0.0, 86400.0)[0]
    assert first.rise == pytest.approx(795.399, abs=0.5)
    assert first.set == pytest.approx(1538.691, abs=0.5)
    assert first.highest_elevation == pytest.approx(81.0327, abs=0.02)


# skyfield 1.55 sets the type of an array, which NumPy 2.5 wants nobody to do.
@pytest.mark.filterwarnings(
    r"ignore:Setting the dtype on a NumPy array:DeprecationWarning:skyfield\.searchlib"
)
def test_each_window_of_the_day_as_skyfield_finds_it(day: list[Moment]) -> None:
    from skyfield.api import EarthSatellite, load, wgs84

    time_scale = load.timescale(builtin=True)
    satellite = EarthSatellite(*LINES, ts=time_scale)
    start = time_scale.utc(
        EPOCH.year, EPOCH.month, EPOCH.day, EPOCH.hour, EPOCH.minute,
        EPOCH.second + 1e-6 * EPOCH.microsecond,
    )  # fmt: skip
    site = wgs84.latlon(KIRUNA[0], KIRUNA[1], elevation_m=1e3 * KIRUNA[2])
    times, events = satellite.find_events(site, start, start + 1.0, altitude_degrees=5.0)
    seconds = [86400.0 * float(t - start) for t in times]
    rises = [t for t, event in zip(seconds, events, strict=True) if event == 0]
    sets = [t for t, event in zip(seconds, events, strict=True) if event == 2]
    passes = find_passes(day, site_at(*KIRUNA), 5.0, 0.0, 86400.0)
    assert [one.rise for one in passes] == pytest.approx(rises, abs=0.5)
    assert [one.set for one in passes] == pytest.approx(sets, abs=0.5)


def test_a_pass_shorter_than_the_step_is_found() -> None:
    flight, site = overhead(500.0)
    [one] = find_passes(flight, site, 89.0, -1500.0, 1500.0)
    assert 0.0 < one.duration < 3.0
    [between] = find_passes(flight, site, 89.0, -1499.0 + 7.0, 1500.0)
    assert between.duration == pytest.approx(one.duration, abs=0.01)


def test_a_window_is_cut_by_begin_and_end() -> None:
    flight, site = overhead(500.0)
    [late] = find_passes(flight, site, 5.0, 50.0, 1500.0)
    assert late.rise == late.top == 50.0
    [early] = find_passes(flight, site, 5.0, -1500.0, -50.0)
    assert early.set == early.top == -50.0
    assert find_passes(flight, site, 5.0, 100.0, 100.0) == []
    [whole] = find_passes(flight, site, 5.0, -1e9, 1e9)
    assert (late.set, early.rise) == pytest.approx((whole.set, whole.rise), abs=0.01)


def test_a_station_on_the_other_side_has_no_pass() -> None:
    flight, _ = overhead(500.0)
    assert find_passes(flight, site_at(0.0, 180.0, 0.0), 0.0, -1500.0, 1500.0) == []


def test_a_higher_mask_makes_windows_shorter(day: list[Moment]) -> None:
    spans = [
        sum(p.duration for p in find_passes(day, site_at(*KIRUNA), mask, 0.0, 86400.0))
        for mask in (0.0, 5.0, 10.0, 30.0)
    ]
    assert spans == sorted(spans, reverse=True)
    assert len(set(spans)) == 4


def test_times_together() -> None:
    windows = [(0.0, 10.0), (5.0, 20.0), (8.0, 9.0), (30.0, 40.0), (40.0, 45.0)]
    assert open_time(windows, 1) == 20.0 + 15.0
    assert open_time(windows, 2) == 5.0
    assert open_time(windows, 3) == 1.0
    assert open_time([], 1) == 0.0


def test_duration_of_a_pass() -> None:
    assert Pass(10.0, 20.0, 35.0, 50.0).duration == 25.0


def test_up_is_the_normal_of_the_ellipsoid_and_not_the_radius() -> None:
    """At 45 deg they differ by 0.1924 deg (f sin 2 phi and the next term, WGS 84)."""
    site = site_at(45.0, 0.0, 0.0)
    radial = [x / math.hypot(*site.position) for x in site.position]
    cosine = sum(x * y for x, y in zip(radial, site.up, strict=True))
    assert math.degrees(math.acos(cosine)) == pytest.approx(0.1924, abs=1e-4)
    higher = from_geodetic(45.0, 0.0, 100.0)
    assert look_at(site, State(higher, STILL)).elevation == pytest.approx(90.0, abs=1e-5)
