"""Flight of a stage by integration: gravity with the Earth's flattening, and a burn.

Positions in km, speeds in km/s, in the frame TEME (`frames`). Mean elements (SGP4) are not for a
stage that burns, and their fit to a few radar tracks is not there before the flight; so the state
that the launcher promises is integrated.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from itertools import pairwise
from math import ceil, cos, hypot, inf, radians, sin
from typing import NamedTuple

from analyses.physics.frames import (
    EARTH_RATE,
    EQUATORIAL_RADIUS,
    State,
    Vector,
    from_geodetic,
    to_fixed,
)
from closeout.units import deg, km, km_s, m_s, rad, s

EARTH_GM = 398_600.4418  # km3/s2, WGS 84
J2 = 1.08262668e-3  # flattening term of the Earth's field, EGM-96
STEP = 30.0  # s; halving it moves a state 2 h later by some metres

_LAST = State((inf, inf, inf), (inf, inf, inf))  # sorts behind each state of its time

Six = tuple[float, float, float, float, float, float]


class Burn(NamedTuple):
    """A burn against the motion: begin and length in s, loss of speed in m/s."""

    start: s
    duration: s
    speed_loss: m_s


class Moment(NamedTuple):
    """One point of an ephemeris: time in s, state in TEME."""

    time: s
    state: State


def acceleration(position: Vector, j2: float = J2) -> Vector:
    """Return the acceleration by gravity in km/s2: central field and the term J2.

    Vallado, section 8.6.1, first zonal harmonic; every text on orbits has it.
    """
    x, y, z = position
    r2 = x * x + y * y + z * z
    central = -EARTH_GM / (r2 * r2**0.5)
    share = 1.5 * j2 * EQUATORIAL_RADIUS**2 / r2
    tilt = 5.0 * z * z / r2
    across = central * (1.0 + share * (1.0 - tilt))
    return across * x, across * y, central * (1.0 + share * (3.0 - tilt)) * z


def propagate(
    start: State,
    begin: s,
    end: s,
    burn: Burn | None = None,
    step: s = STEP,
    j2: float = J2,
) -> list[Moment]:
    """Return the ephemeris from a state at a time to an end, both in s.

    Classical fourth-order Runge-Kutta; a burn begins and ends on a point of its own. During the
    burn the acceleration is constant and against the inertial velocity.

    Raises:
        ValueError: the end is not after the begin, or the burn has no length.
    """
    if end <= begin:
        raise ValueError(f"the flight ends at {end:g} s, not after its begin at {begin:g} s")
    if burn is not None and burn.duration <= 0.0:
        raise ValueError(f"a burn of {burn.duration:g} s has no length")
    edges = {begin, end}
    if burn is not None:
        edges |= {t for t in (burn.start, burn.start + burn.duration) if begin < t < end}
    corners = sorted(edges)
    flight = [Moment(begin, start)]
    six: Six = (*start.position, *start.velocity)
    for left, right in pairwise(corners):
        middle = 0.5 * (left + right)
        burning = burn is not None and burn.start < middle < burn.start + burn.duration
        brake = 1e-3 * burn.speed_loss / burn.duration if burn is not None and burning else 0.0
        count = ceil((right - left) / step)
        h = (right - left) / count
        for i in range(count):
            six = _runge_kutta(six, h, brake, j2)
            time = right if i == count - 1 else left + (i + 1) * h
            flight.append(Moment(time, State(six[:3], six[3:])))
    return flight


def _rates(six: Six, brake: float, j2: float) -> Six:
    """Return the rates of position and velocity; the brake in km/s2."""
    x, y, z, u, v, w = six
    a, b, c = acceleration((x, y, z), j2)
    if brake:
        share = brake / (u * u + v * v + w * w) ** 0.5
        a, b, c = a - share * u, b - share * v, c - share * w
    return u, v, w, a, b, c


def _ahead(six: Six, rates: Six, by: float) -> Six:
    a, b, c, d, e, f = six
    p, q, r, s, t, u = rates
    return a + by * p, b + by * q, c + by * r, d + by * s, e + by * t, f + by * u


def _runge_kutta(six: Six, h: float, brake: float, j2: float) -> Six:
    """Return position and velocity one step later."""
    half, third, sixth = 0.5 * h, h / 3.0, h / 6.0
    k1 = _rates(six, brake, j2)
    k2 = _rates(_ahead(six, k1, half), brake, j2)
    k3 = _rates(_ahead(six, k2, half), brake, j2)
    k4 = _rates(_ahead(six, k3, h), brake, j2)
    x, y, z, u, v, w = [
        s + sixth * a + third * b + third * c + sixth * d
        for s, a, b, c, d in zip(six, k1, k2, k3, k4, strict=True)
    ]
    return x, y, z, u, v, w


def fixed_ephemeris(flight: Sequence[Moment], angle: rad, epoch: s = 0.0) -> list[Moment]:
    """Return an ephemeris in the Earth-fixed frame; ``angle`` is the sidereal one in rad at epoch.

    The Earth turns evenly over a flight: its rate is that of WGS 84.
    """
    return [Moment(t, to_fixed(s, angle + EARTH_RATE * (t - epoch))) for t, s in flight]


def at(flight: Sequence[Moment], time: s) -> State:
    """Return the state of an ephemeris at a time in s, between its points.

    Cubic of Hermite through position and velocity of both neighbours; with points 30 s apart it
    is right to a few centimetres. Velocity is the derivative of that cubic.

    Raises:
        ValueError: the time is not on the ephemeris.
    """
    first, last = flight[0].time, flight[-1].time
    if not first <= time <= last:
        raise ValueError(f"{time:g} s is not on the ephemeris, {first:g} s to {last:g} s")
    right = min(bisect_right(flight, (time, _LAST)), len(flight) - 1)
    return _hermite(flight[right - 1], flight[right], time)


def _hermite(a: Moment, b: Moment, time: float) -> State:
    h = b.time - a.time
    x = (time - a.time) / h
    y = 1.0 - x
    p, q = y * y * (1.0 + 2.0 * x), x * x * (3.0 - 2.0 * x)
    r, s = h * x * y * y, -h * x * x * y
    slope, left, right = 6.0 * x * y / h, y * (1.0 - 3.0 * x), x * (3.0 * x - 2.0)
    (x0, y0, z0), (u0, v0, w0) = a.state
    (x1, y1, z1), (u1, v1, w1) = b.state
    return State(
        (
            p * x0 + r * u0 + q * x1 + s * u1,
            p * y0 + r * v0 + q * y1 + s * v1,
            p * z0 + r * w0 + q * z1 + s * w1,
        ),
        (
            slope * (x1 - x0) + left * u0 + right * u1,
            slope * (y1 - y0) + left * v0 + right * v1,
            slope * (z1 - z0) + left * w0 + right * w1,
        ),
    )


def launched_state(
    latitude: deg,
    longitude: deg,
    geometric_altitude: km,
    speed: m_s,
    flight_path_angle: deg,
    heading: deg,
) -> State:
    """Return a state with Earth-fixed axes, and the *inertial* velocity along them.

    The form in which a launcher's trajectory is agreed: geodetic place in deg and km, inertial
    speed in m/s, its angle above the local horizontal and its direction from north over east in
    deg. Turn it by the sidereal angle to get TEME (:func:`inertial_state`).
    """
    phi, lam = radians(latitude), radians(longitude)
    gamma, psi = radians(flight_path_angle), radians(heading)
    north, east, up = (
        1e-3 * speed * cos(gamma) * cos(psi),
        1e-3 * speed * cos(gamma) * sin(psi),
        1e-3 * speed * sin(gamma),
    )
    out = up * cos(phi) - north * sin(phi)  # in the meridian, away from the axis
    return State(
        from_geodetic(latitude, longitude, geometric_altitude),
        (
            out * cos(lam) - east * sin(lam),
            out * sin(lam) + east * cos(lam),
            up * sin(phi) + north * cos(phi),
        ),
    )


def speed_of(state: State) -> km_s:
    """Return the speed of a state in km/s."""
    u, v, w = state.velocity
    return hypot(u, v, w)
