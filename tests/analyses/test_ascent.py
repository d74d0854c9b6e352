"""The ascent against closed forms and an independent integration."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from fluids.atmosphere import ATMOSPHERE_1976
from scipy.integrate import solve_ivp

from analyses.physics.ascent import Moment, Vehicle, fly
from analyses.physics.standard_atmosphere import STANDARD, geometric_altitude_of, profile
from analyses.pressure_threshold_timing import DRAG_COEFFICIENT, passages

UPRIGHT = ((0.0, math.pi / 2), (200.0, math.pi / 2))
LAUNCHER = Vehicle(
    lift_off_mass=20_000.0,
    vacuum_thrust=370e3,
    vacuum_specific_impulse=295.0,
    nozzle_exit_area=0.7,
    drag_reference_area=2.0,
    drag_coefficient=DRAG_COEFFICIENT,
    pitch_programme=((0.0, math.pi / 2), (10.0, math.pi / 2), (100.0, math.pi / 4)),
)
BARE = replace(LAUNCHER, nozzle_exit_area=0.0, drag_reference_area=0.0, pitch_programme=UPRIGHT)


def pushed(acceleration: float) -> Vehicle:
    """Return a vehicle of constant mass under a constant thrust."""
    return replace(
        BARE, vacuum_thrust=acceleration * BARE.lift_off_mass, vacuum_specific_impulse=math.inf
    )


# Closed form sqrt(2 Z/a) with the 500 hPa level of the standard atmosphere, Z = 5579.330 m.
@pytest.mark.parametrize(("acceleration", "crossing"), [(5.0, 47.2412), (10.0, 33.4046)])
def test_constant_acceleration_crosses_500_hpa(acceleration: float, crossing: float) -> None:
    flight = fly(pushed(acceleration), STANDARD, 0.0, 60.0, 0.05, surface_gravity=0.0)
    first, last = passages([x.time for x in flight], [x.pressure for x in flight], 50e3)
    assert first == last == pytest.approx(crossing, abs=1e-4)
    assert crossing == pytest.approx(
        math.sqrt(2.0 * geometric_altitude_of(50e3) / acceleration), abs=5e-5
    )


@pytest.mark.parametrize("time", [10.0, 40.0, 80.0])
def test_rocket_equation(time: float) -> None:
    """Tsiolkovsky's speed, and its integral over time for the height."""
    end = fly(BARE, STANDARD, 0.0, time, 0.25, surface_gravity=0.0)[-1]
    exhaust = 295.0 * 9.80665
    flow = 370e3 / exhaust
    left = 20_000.0 - flow * time
    ratio = math.log(20_000.0 / left)
    assert end.mass == pytest.approx(left, rel=1e-12)
    assert end.vertical_speed == pytest.approx(exhaust * ratio, rel=1e-7)
    assert end.geometric_altitude == pytest.approx(exhaust * (time - left / flow * ratio), rel=1e-7)
    assert end.downrange == pytest.approx(0.0, abs=1e-6)
    assert end.axial_acceleration == pytest.approx(370e3 / left, rel=1e-12)


def cartesian(vehicle: Vehicle, time: float) -> np.ndarray:
    """Return height, speed and downrange by scipy, in Cartesian coordinates from Earth's centre.

    Air and gravity are the library's; the axes do not turn with the local horizon, so the terms of
    rotation of the code under test do not appear here.
    """
    radius = 6_356_766.0
    mach_points, coefficients = zip(*vehicle.drag_coefficient, strict=True)
    times, pitches = zip(*vehicle.pitch_programme, strict=True)

    def rates(t: float, y: np.ndarray) -> np.ndarray:
        position, velocity = y[:2], y[2:]
        distance = math.hypot(*position)
        up = position / distance
        east = np.array([up[1], -up[0]])
        air = ATMOSPHERE_1976(distance - radius)
        mass = vehicle.lift_off_mass - vehicle.vacuum_thrust * t / (
            vehicle.vacuum_specific_impulse * 9.80665
        )
        speed = math.hypot(*velocity)
        drag = 0.5 * air.rho * speed * vehicle.drag_reference_area
        drag *= np.interp(speed / air.v_sonic, mach_points, coefficients)
        pitch = np.interp(t, times, pitches)
        thrust = vehicle.vacuum_thrust - air.P * vehicle.nozzle_exit_area
        push = thrust * (math.sin(pitch) * up + math.cos(pitch) * east)
        gravity = 9.80665 * (radius / distance) ** 2
        return np.concatenate([velocity, (push - drag * velocity) / mass - gravity * up])

    start = [0.0, radius + 60.0, 0.0, 0.0]
    end = solve_ivp(rates, (0.0, time), start, rtol=1e-9, atol=1e-6, max_step=0.5).y[:, -1]
    angle = math.atan2(end[0], end[1])
    return np.array(
        [math.hypot(end[0], end[1]) - radius, math.hypot(end[2], end[3]), radius * angle]
    )


@pytest.mark.parametrize("time", [20.0, 40.0, 80.0])
def test_independent_integration(time: float) -> None:
    end = fly(LAUNCHER, STANDARD, 60.0, time, 0.25)[-1]
    height, speed, downrange = cartesian(LAUNCHER, time)
    assert end.geometric_altitude == pytest.approx(height, abs=0.02)
    assert math.hypot(end.vertical_speed, end.horizontal_speed) == pytest.approx(speed, abs=2e-3)
    assert end.downrange == pytest.approx(downrange, abs=0.02)


def test_fourth_order() -> None:
    """Halving the step cuts the error by about 2^4 where no table has a kink."""
    smooth = replace(
        LAUNCHER,
        drag_coefficient=((0.0, 0.4), (30.0, 0.4)),
        pitch_programme=((0.0, math.pi / 2), (100.0, math.pi / 4)),
    )
    ends = [fly(smooth, STANDARD, 0.0, 48.0, h)[-1].geometric_altitude for h in (4.0, 2.0, 1.0)]
    assert 10.0 < (ends[0] - ends[1]) / (ends[1] - ends[2]) < 25.0


def test_step_is_short_enough() -> None:
    coarse, fine = (fly(LAUNCHER, STANDARD, 60.0, 50.0, h)[-1] for h in (0.25, 0.0625))
    assert coarse.geometric_altitude == pytest.approx(fine.geometric_altitude, abs=0.05)


def crossing(vehicle: Vehicle, pressure: float = 101_325.0, offset: float = 0.0) -> float:
    """Return when still air of 55 kPa is passed."""
    flight = fly(vehicle, profile(pressure, offset), 60.0, 80.0, 0.25)
    return passages([x.time for x in flight], [x.pressure for x in flight], 55e3)[1]


def test_what_makes_an_ascent_slow() -> None:
    still = crossing(LAUNCHER)
    assert crossing(replace(LAUNCHER, lift_off_mass=20_400.0)) > still
    assert crossing(replace(LAUNCHER, vacuum_thrust=360e3)) > still
    assert crossing(replace(LAUNCHER, drag_reference_area=2.4)) > still
    assert crossing(replace(LAUNCHER, nozzle_exit_area=0.8)) > still
    assert crossing(LAUNCHER, 104_500.0) > still
    assert crossing(LAUNCHER, offset=25.0) > still


def test_half_of_the_pressure_a_little_more_than_half_a_minute_after_lift_off() -> None:
    """Common practice, no source."""
    flight = fly(LAUNCHER, STANDARD, 60.0, 60.0, 0.25)
    half: Moment = next(x for x in flight if x.pressure < 0.5 * flight[0].pressure)
    assert 30.0 < half.time < 45.0
    assert 0.8 < half.mach < 1.3


def test_dynamic_pressure_and_axial_acceleration() -> None:
    """Definitions: q = rho V^2/2 = gamma p M^2/2, and (thrust - drag)/mass."""
    x = fly(LAUNCHER, STANDARD, 60.0, 40.0, 0.25)[-1]
    assert x.dynamic_pressure == pytest.approx(0.7 * x.pressure * x.mach**2, rel=1e-12)
    points, coefficients = zip(*DRAG_COEFFICIENT, strict=True)
    drag = x.dynamic_pressure * 2.0 * float(np.interp(x.mach, points, coefficients))
    assert x.axial_acceleration == pytest.approx(
        (370e3 - 0.7 * x.pressure - drag) / x.mass, rel=1e-12
    )


def test_refusals() -> None:
    with pytest.raises(ValueError, match="burns the whole lift-off mass"):
        fly(LAUNCHER, STANDARD, 0.0, 200.0, 0.25)
    with pytest.raises(ValueError, match="outside the standard atmosphere"):
        fly(pushed(50.0), STANDARD, 0.0, 100.0, 0.25)
    with pytest.raises(ValueError, match="outside the table"):
        fly(replace(BARE, pitch_programme=((0.0, 1.5), (10.0, 1.5))), STANDARD, 0.0, 50.0, 0.25)
