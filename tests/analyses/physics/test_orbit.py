"""Integrated orbits against published examples, SGP4, SciPy's integrator and closed forms."""

from __future__ import annotations

import math
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
import sgp4
from scipy.integrate import solve_ivp
from sgp4.api import Satrec

from analyses.physics.frames import EQUATORIAL_RADIUS, State, to_fixed, to_geodetic
from analyses.physics.orbit import (
    EARTH_GM,
    J2,
    Burn,
    Moment,
    acceleration,
    at,
    fixed_ephemeris,
    launched_state,
    propagate,
    speed_of,
)
from analyses.physics.trajectory_issue import sidereal_angle_at, utc_text


def circular(radius: float, inclination: float) -> State:
    """Return a state at the ascending node of a circular orbit."""
    speed = math.sqrt(EARTH_GM / radius)
    i = math.radians(inclination)
    return State((radius, 0.0, 0.0), (0.0, speed * math.cos(i), speed * math.sin(i)))


def test_two_body_motion_as_published() -> None:
    """Vallado, example 2-4 (from memory): 40 min of Kepler's problem."""
    start = State((1131.340, -2282.343, 6672.423), (-5.64305, 4.30333, 2.42879))
    end = propagate(start, 0.0, 2400.0, j2=0.0)[-1].state
    assert end.position == pytest.approx((-4219.7527, 4363.0292, -3958.7666), abs=0.02)
    assert end.velocity == pytest.approx((3.689866, -1.916735, -6.112511), abs=2e-5)


def test_time_from_perigee_as_published() -> None:
    """Curtis, example 3.1: 9600 km by 21 000 km, 120 deg of true anomaly after 4077 s."""
    speed = math.sqrt(EARTH_GM * (2 / 9600 - 2 / (9600 + 21000)))
    flight = propagate(State((9600.0, 0.0, 0.0), (0.0, speed, 0.0)), 0.0, 4077.0, j2=0.0)
    x, y, _ = flight[-1].state.position
    assert math.degrees(math.atan2(y, x)) == pytest.approx(120.0, abs=0.01)


@pytest.mark.parametrize("inclination", [28.5, 63.4349, 97.4])
def test_the_node_moves_as_the_first_order_theory_says(inclination: float) -> None:
    """Any text on orbits: -3/2 J2 n (Re/p)^2 cos i; the difference is of the order of J2."""
    radius, days = 6878.137, 0.5
    flight = propagate(circular(radius, inclination), 0.0, days * 86400.0)
    rate = math.sqrt(EARTH_GM / radius**3)
    expected = (
        -1.5 * J2 * rate * (EQUATORIAL_RADIUS / radius) ** 2 * math.cos(math.radians(inclination))
    )
    first, last = (momentum(m.state) for m in (flight[0], flight[-1]))
    turned = math.atan2(last[0], -last[1]) - math.atan2(first[0], -first[1])
    assert turned / (days * 86400.0) == pytest.approx(expected, rel=0.02)


def momentum(state: State) -> np.ndarray:
    return np.cross(state.position, state.velocity)


def test_the_sun_synchronous_orbit_follows_the_sun() -> None:
    """360 deg in 365.2422 d are 0.985647 deg/d; at 500 km the inclination is 97.40 deg."""
    flight = propagate(circular(6878.137, 97.40), 0.0, 43200.0)
    first, last = (momentum(m.state) for m in (flight[0], flight[-1]))
    turned = math.atan2(last[0], -last[1]) - math.atan2(first[0], -first[1])
    assert 2.0 * math.degrees(turned) == pytest.approx(0.985647, abs=0.01)


def test_scipy_integrates_the_same() -> None:
    """SciPy's DOP853 at 1e-12, with the field written as the gradient of its potential."""

    def potential(r: np.ndarray) -> float:
        radius = float(np.linalg.norm(r))
        legendre = 0.5 * (3.0 * (r[2] / radius) ** 2 - 1.0)
        return EARTH_GM / radius * (1.0 - J2 * (EQUATORIAL_RADIUS / radius) ** 2 * legendre)

    def rates(_: float, six: np.ndarray) -> np.ndarray:
        step = 1e-2 * np.eye(3)
        pull = [(potential(six[:3] + d) - potential(six[:3] - d)) / 2e-2 for d in step]
        return np.concatenate([six[3:], pull])

    start = circular(6838.0, 97.5)
    six = [*start.position, *start.velocity]
    exact = solve_ivp(rates, (0.0, 3600.0), six, "DOP853", rtol=1e-10, atol=1e-9).y[:, -1]
    end = propagate(start, 0.0, 3600.0)[-1].state
    assert math.dist(end.position, exact[:3]) < 0.02
    assert math.dist(end.velocity, exact[3:]) < 2e-5


def test_half_the_step_moves_two_hours_by_metres() -> None:
    start = circular(6838.0, 97.5)
    a, b = (propagate(start, 0.0, 7200.0, step=step)[-1].state for step in (30.0, 15.0))
    assert math.dist(a.position, b.position) < 0.02


def test_the_energy_is_kept() -> None:
    """The field does not change with time, so speed^2/2 less the potential stays."""

    def energy(state: State) -> float:
        radius = math.hypot(*state.position)
        legendre = 0.5 * (3.0 * (state.position[2] / radius) ** 2 - 1.0)
        pull = EARTH_GM / radius * (1.0 - J2 * (EQUATORIAL_RADIUS / radius) ** 2 * legendre)
        return 0.5 * speed_of(state) ** 2 - pull

    flight = propagate(circular(6838.0, 97.5), 0.0, 7200.0)
    assert energy(flight[-1].state) == pytest.approx(energy(flight[0].state), rel=1e-7)


def test_the_library_that_we_check_against_is_the_published_one() -> None:
    """AIAA 2006-6753, verification set (00005 at 0 min, 06251 at 120 min), as `sgp4` runs it."""
    first = verification_case("00005").sgp4_tsince(0.0)[1]
    second = verification_case("06251").sgp4_tsince(120.0)[1]
    assert first == pytest.approx((7022.46529266, -1400.08296755, 0.03995155), abs=1e-6)
    assert second == pytest.approx((-3935.69800083, 409.10980837, 5471.33577327), abs=1e-6)


def verification_case(number: str) -> Satrec:
    lines = (Path(sgp4.__file__).parent / "SGP4-VER.TLE").read_text("ascii").splitlines()
    place = next(i for i, line in enumerate(lines) if line.startswith(f"1 {number}"))
    return Satrec.twoline2rv(lines[place], lines[place + 1][:69])


@pytest.mark.parametrize(("number", "minutes"), [("06251", 100.0), ("28057", 100.0)])
def test_sgp4_flies_the_same_for_a_revolution(number: str, minutes: float) -> None:
    """The mean-element theory, from its own state at the epoch: within 3 km (its own accuracy)."""
    satellite = verification_case(number)
    _, position, velocity = satellite.sgp4_tsince(0.0)
    end = propagate(State(position, velocity), 0.0, 60.0 * minutes)[-1].state
    expected = satellite.sgp4_tsince(minutes)[1]
    assert math.dist(end.position, expected) < 3.0
    flat = propagate(State(position, velocity), 0.0, 60.0 * minutes, j2=0.0)[-1].state
    assert math.dist(flat.position, expected) > 10.0  # the term J2 is what brings it there


def test_gravity_at_the_equator_and_at_the_pole() -> None:
    """WGS 84 defines gravity with the turning Earth: 9.7803253359 and 9.8321849379 m/s2."""
    turning = 7.292115e-5**2 * EQUATORIAL_RADIUS
    equator = -acceleration((EQUATORIAL_RADIUS, 0.0, 0.0))[0] - turning
    pole = -acceleration((0.0, 0.0, 6356.752314245))[2]
    assert 1e3 * equator == pytest.approx(9.7803253359, abs=2e-4)
    assert 1e3 * pole == pytest.approx(9.8321849379, abs=2e-4)


def test_a_burn_takes_the_speed_that_it_says() -> None:
    """Far from a change by gravity (1 s): the loss of speed is the stated one."""
    start = circular(6838.0, 97.5)
    burn = Burn(0.0, 1.0, 150.0)
    after = propagate(start, 0.0, 1.0, burn)[-1].state
    before = propagate(start, 0.0, 1.0)[-1].state
    assert 1e3 * (speed_of(before) - speed_of(after)) == pytest.approx(150.0, abs=0.2)


def test_a_deorbit_burn_lowers_the_perigee_as_the_vis_viva_equation_says() -> None:
    """Short burn of 150 m/s from 6838 km without J2: perigee from the energy by hand."""
    start = circular(6838.0, 0.0)
    speed = math.sqrt(EARTH_GM / 6838.0) - 0.150
    axis = 1.0 / (2.0 / 6838.0 - speed**2 / EARTH_GM)
    burn = Burn(0.0, 0.1, 150.0)
    flight = propagate(start, 0.0, 4000.0, burn, j2=0.0)
    low = min(math.hypot(*m.state.position) for m in flight)
    assert low == pytest.approx(2 * axis - 6838.0, abs=0.2)


def test_a_burn_that_lies_outside_of_the_flight_does_nothing() -> None:
    start = circular(6838.0, 97.5)
    plain = propagate(start, 0.0, 600.0)
    assert propagate(start, 0.0, 600.0, Burn(900.0, 60.0, 150.0)) == plain


@pytest.mark.parametrize(
    ("end", "burn", "word"),
    [(0.0, None, "not after its begin"), (60.0, Burn(10.0, 0.0, 1.0), "no length")],
)
def test_a_flight_that_cannot_be_is_told(end: float, burn: Burn | None, word: str) -> None:
    with pytest.raises(ValueError, match=word):
        propagate(circular(6838.0, 0.0), 0.0, end, burn)


def test_between_the_points_an_ephemeris_is_right_to_centimetres() -> None:
    start = circular(6838.0, 97.5)
    coarse, fine = propagate(start, 0.0, 600.0), propagate(start, 0.0, 600.0, step=0.5)
    worst = max(math.dist(at(coarse, m.time).position, m.state.position) for m in fine)
    slip = max(math.dist(at(coarse, m.time).velocity, m.state.velocity) for m in fine)
    assert worst < 1e-4  # km
    assert slip < 1e-5  # km/s


@pytest.mark.parametrize("time", [-1.0, 601.0])
def test_a_time_outside_of_the_ephemeris_is_told(time: float) -> None:
    with pytest.raises(ValueError, match="is not on the ephemeris, 0 s to 600 s"):
        at(propagate(circular(6838.0, 97.5), 0.0, 600.0), time)


def test_the_agreed_state_has_the_speed_and_heading_that_it_says() -> None:
    state = launched_state(30.0, 40.0, 460.0, 7600.0, 2.0, 97.0)
    assert speed_of(state) == pytest.approx(7.6)
    assert to_geodetic(state.position) == pytest.approx((30.0, 40.0, 460.0), abs=1e-6)
    phi, lam = math.radians(30.0), math.radians(40.0)
    up = (math.cos(phi) * math.cos(lam), math.cos(phi) * math.sin(lam), math.sin(phi))
    east = (-math.sin(lam), math.cos(lam), 0.0)
    climb = float(np.dot(up, state.velocity))
    assert climb == pytest.approx(7.6 * math.sin(math.radians(2.0)))
    across = float(np.dot(east, state.velocity)) / (7.6 * math.cos(math.radians(2.0)))
    assert across == pytest.approx(math.sin(math.radians(97.0)))
    north = launched_state(0.0, 0.0, 460.0, 7600.0, 0.0, 0.0).velocity
    assert north == pytest.approx((0.0, 0.0, 7.6))


def test_an_earth_fixed_ephemeris_turns_with_the_earth() -> None:
    flight = propagate(circular(6838.0, 97.5), 0.0, 600.0)
    fixed = fixed_ephemeris(flight, 0.3)
    assert fixed[-1] == Moment(600.0, to_fixed(flight[-1].state, 0.3 + 7.292115e-5 * 600.0))


def test_utc_is_rounded_to_what_is_shown() -> None:
    lift_off = datetime(2027, 4, 20, 23, 59, 59)
    assert utc_text(lift_off, 0.9996) == "2027-04-21T00:00:00.000"
    assert utc_text(lift_off, 0.9996, "microseconds") == "2027-04-20T23:59:59.999600"


def test_the_sidereal_angle_of_a_utc() -> None:
    """Vallado, example 3-5 (from memory), as above, with seconds in the time."""
    found = math.degrees(sidereal_angle_at(datetime(1992, 8, 20, 12, 14, 0)))
    assert found == pytest.approx(152.578787810, abs=2e-7)
    later = math.degrees(sidereal_angle_at(datetime(1992, 8, 20, 12, 14, 1)))
    assert later - found == pytest.approx(15.041067 / 3600.0, abs=2e-7)  # arc seconds a second
