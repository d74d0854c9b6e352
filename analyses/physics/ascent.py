"""Planar ascent of a point mass under thrust, drag and gravity.

State: geometric altitude, downrange distance, vertical and horizontal speed. Round Earth that does
not turn, air at rest, thrust along a programmed pitch angle, drag against the speed, no lift:

    dZ/dt = w,  ds/dt = u r0/(r0 + Z)
    dw/dt = (T sin(pitch) - D w/V)/m - g + u u/(r0 + Z)
    du/dt = (T cos(pitch) - D u/V)/m - w u/(r0 + Z)
    T = T_vacuum - p A_exit,  dm/dt = -T_vacuum/(Isp g0),  D = q A Cd(Mach),  g = g0 (r0/(r0 + Z))^2

Source: the planar equations of motion of any text, as H. D. Curtis, Orbital Mechanics for
Engineering Students, chapter "Rocket vehicle dynamics", here in vertical and horizontal components
because the flight-path angle has no value at rest. Integrated by the classical fourth-order
Runge-Kutta formula.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from analyses.physics.standard_atmosphere import EARTH_RADIUS, STANDARD_GRAVITY, Profile, air_at
from closeout.math import cos, hypot, sin, table
from closeout.units import N, Pa, kg, kg_s, m, m2, m_s, m_s2, ratio, s

State = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Vehicle:
    """What flies, in SI units; the pitch is in rad above the horizon against s after lift-off."""

    lift_off_mass: kg
    vacuum_thrust: N
    vacuum_specific_impulse: s
    nozzle_exit_area: m2
    drag_reference_area: m2
    drag_coefficient: tuple[tuple[float, float], ...]
    pitch_programme: tuple[tuple[float, float], ...]

    @property
    def mass_flow(self) -> kg_s:
        """Propellant that is burnt, in kg/s."""
        return self.vacuum_thrust / (self.vacuum_specific_impulse * STANDARD_GRAVITY)

    def mass_at(self, time: s) -> kg:
        """Return the mass in kg at a time in s after lift-off."""
        return self.lift_off_mass - self.mass_flow * time


class Moment(NamedTuple):
    """The flight at one time, in SI units; the axial acceleration is what a sensor feels."""

    time: s
    geometric_altitude: m
    downrange: m
    vertical_speed: m_s
    horizontal_speed: m_s
    mass: kg
    pressure: Pa
    dynamic_pressure: Pa
    mach: ratio
    axial_acceleration: m_s2


class Loads(NamedTuple):
    """What the air does to the vehicle, and the thrust that it leaves: SI units."""

    pressure: Pa
    dynamic_pressure: Pa
    mach: ratio
    thrust: N
    drag: N


def _loads(vehicle: Vehicle, day: Profile, geometric_altitude: m, speed: m_s) -> Loads:
    """Return the loads at a geometric altitude in m and a speed in m/s."""
    pressure, _, density, speed_of_sound = air_at(geometric_altitude, day)
    dynamic_pressure = 0.5 * density * speed * speed
    mach = speed / speed_of_sound
    thrust = vehicle.vacuum_thrust - pressure * vehicle.nozzle_exit_area
    drag = dynamic_pressure * vehicle.drag_reference_area * table(mach, vehicle.drag_coefficient)
    return Loads(pressure, dynamic_pressure, mach, thrust, drag)


def _moment(vehicle: Vehicle, time: s, state: State, loads: Loads) -> Moment:
    """Return the moment that belongs to a state and what the air does there."""
    pressure, dynamic_pressure, mach, thrust, drag = loads
    mass = vehicle.mass_at(time)
    felt = (thrust - drag) / mass
    return Moment(time, *state, mass, pressure, dynamic_pressure, mach, felt)


def _rates(vehicle: Vehicle, surface_gravity: m_s2) -> Callable[[float, State, Loads], State]:
    """Return the right-hand side of the equations of motion, by time, state and loads."""
    lift_off_mass, mass_flow, programme = (
        vehicle.lift_off_mass, vehicle.mass_flow, vehicle.pitch_programme
    )  # fmt: skip

    def rates(time: float, state: State, loads: Loads) -> State:
        height, _, up, along = state
        _, _, _, thrust, drag = loads
        speed = hypot(up, along)
        mass = lift_off_mass - mass_flow * time
        push = thrust / mass
        # The component of the drag is this times the component of the speed; at rest there is none.
        brake = drag / (mass * speed) if speed > 0.0 else 0.0
        pitch = table(time, programme)
        radius = EARTH_RADIUS + height
        shrink = EARTH_RADIUS / radius
        fall = surface_gravity * shrink * shrink
        return (
            up,
            along * shrink,
            push * sin(pitch) - brake * up - fall + along * along / radius,
            push * cos(pitch) - brake * along - up * along / radius,
        )

    return rates


def runge_kutta(
    rates: Callable[[float, State], State], time: float, state: State, step: float, k1: State
) -> State:
    """Return the state one step later, by the classical fourth-order Runge-Kutta formula.

    ``k1`` are the rates at the begin.
    """

    def ahead(slope: State, by: float) -> State:
        (a, b, c, d), (da, db, dc, dd) = state, slope
        return a + by * da, b + by * db, c + by * dc, d + by * dd

    half = 0.5 * step
    k2 = rates(time + half, ahead(k1, half))
    k3 = rates(time + half, ahead(k2, half))
    k4 = rates(time + step, ahead(k3, step))
    a, b, c, d = [w + 2.0 * (x + y) + z for w, x, y, z in zip(k1, k2, k3, k4, strict=True)]
    return ahead((a, b, c, d), step / 6.0)


def fly(
    vehicle: Vehicle,
    day: Profile,
    launch_geometric_altitude: m,
    duration: s,
    step: s,
    surface_gravity: m_s2 = STANDARD_GRAVITY,
) -> list[Moment]:
    """Return the flight from rest at lift-off, one moment each step up to the duration (s).

    A drag coefficient and a pitch are needed over all of the flight: their tables do not
    extrapolate.

    Raises:
        ValueError: the propellant lasts longer than the mass, or the flight leaves a table or the
            standard atmosphere.
    """
    if vehicle.mass_flow * duration >= vehicle.lift_off_mass:
        raise ValueError(
            f"a mass flow of {vehicle.mass_flow:.1f} kg/s burns the whole lift-off mass of "
            f"{vehicle.lift_off_mass:.0f} kg within {duration:g} s"
        )
    with_loads = _rates(vehicle, surface_gravity)

    def loads_at(state: State) -> Loads:
        return _loads(vehicle, day, state[0], hypot(state[2], state[3]))

    def rates(time: float, state: State) -> State:
        return with_loads(time, state, loads_at(state))

    state: State = (launch_geometric_altitude, 0.0, 0.0, 0.0)
    loads = loads_at(state)
    flight = [_moment(vehicle, 0.0, state, loads)]
    for i in range(round(duration / step)):
        state = runge_kutta(rates, i * step, state, step, with_loads(i * step, state, loads))
        loads = loads_at(state)
        flight.append(_moment(vehicle, (i + 1) * step, state, loads))
    return flight
