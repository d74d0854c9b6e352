"""Frames and time: Earth-fixed, inertial of date (TEME), geodetic coordinates, sidereal time.

Lengths in km, speeds in km/s, angles in deg unless a name says otherwise. Three frames are meant:

- *Earth-fixed*: turns with the Earth, z along its axis, x at the Greenwich meridian. Polar motion
  is left out (under 0.6 arc seconds, 20 m on the ground), so it stands for the ITRF as well.
- *TEME*: does not turn; z along the axis of the date, x at the mean equinox of the date. The frame
  of SGP4. It is not J2000: between the two lie precession and nutation, 0.37 deg in 2027.
- *Local*: south, east, up at a station, `look_angles`.

UT1 is taken as UTC. They differ by less than 0.9 s, which turns TEME by up to 14 arc seconds; an
orbit that is both given and wanted in the Earth-fixed frame does not see it.
"""

from __future__ import annotations

from math import atan2, cos, degrees, hypot, pi, radians, sin, sqrt
from typing import NamedTuple

from closeout.units import deg, km, rad

EQUATORIAL_RADIUS = 6378.137  # km, WGS 84
FLATTENING = 1.0 / 298.257223563  # WGS 84
EARTH_RATE = 7.292115e-5  # rad/s, WGS 84
J2000 = 2451545.0  # Julian date
DAY = 86_400.0  # s

_ECCENTRICITY_2 = FLATTENING * (2.0 - FLATTENING)

Vector = tuple[float, float, float]


class State(NamedTuple):
    """Where something is and how fast it moves in the frame that is said beside it."""

    position: Vector
    velocity: Vector


def julian_date(
    year: int, month: int, day: int, hour: int = 0, minute: int = 0, second: float = 0.0
) -> float:
    """Return the Julian date of a Gregorian date, 1901 to 2099 (Vallado, algorithm 14)."""
    whole = 367 * year - 7 * (year + (month + 9) // 12) // 4 + 275 * month // 9 + day
    return whole + 1721013.5 + (hour + (minute + second / 60.0) / 60.0) / 24.0


def sidereal_angle(julian_date_ut1: float) -> rad:
    """Return the Greenwich mean sidereal angle in rad, 0 to 2 pi (IAU 1982; Vallado, 3-45)."""
    t = (julian_date_ut1 - J2000) / 36525.0
    seconds = 67310.54841 + t * (876600.0 * 3600.0 + 8640184.812866 + t * (0.093104 - t * 6.2e-6))
    return 2.0 * pi * (seconds % DAY) / DAY


def turn(vector: Vector, angle: rad) -> Vector:
    """Return the components of a vector in axes that are turned about z by an angle in rad."""
    x, y, z = vector
    c, s = cos(angle), sin(angle)
    return c * x + s * y, c * y - s * x, z


def to_fixed(state: State, angle: rad) -> State:
    """Return an Earth-fixed state from one in TEME, at a sidereal angle in rad.

    The velocity is the one that is seen from the turning Earth.
    """
    x, y, z = turn(state.position, angle)
    u, v, w = turn(state.velocity, angle)
    return State((x, y, z), (u + EARTH_RATE * y, v - EARTH_RATE * x, w))


def to_inertial(state: State, angle: rad) -> State:
    """Return a state in TEME from an Earth-fixed one, at a sidereal angle in rad."""
    x, y, z = state.position
    u, v, w = state.velocity
    turning = (u - EARTH_RATE * y, v + EARTH_RATE * x, w)
    return State(turn((x, y, z), -angle), turn(turning, -angle))


def from_geodetic(latitude: deg, longitude: deg, geometric_altitude: km) -> Vector:
    """Return the Earth-fixed position of geodetic coordinates on WGS 84.

    Closed form of any text on geodesy; latitude is the geodetic one, altitude along the normal.
    """
    phi, lam = radians(latitude), radians(longitude)
    normal = EQUATORIAL_RADIUS / sqrt(1.0 - _ECCENTRICITY_2 * sin(phi) ** 2)
    across = (normal + geometric_altitude) * cos(phi)
    along = (normal * (1.0 - _ECCENTRICITY_2) + geometric_altitude) * sin(phi)
    return across * cos(lam), across * sin(lam), along


def to_geodetic(position: Vector) -> Vector:
    """Return geodetic latitude and longitude in deg and altitude in km of a position on WGS 84.

    Bowring's iteration on the parametric latitude; two rounds are exact to a millimetre for
    altitudes up to that of satellites.
    """
    x, y, z = position
    across = hypot(x, y)
    polar = EQUATORIAL_RADIUS * (1.0 - FLATTENING)
    second = _ECCENTRICITY_2 / (1.0 - _ECCENTRICITY_2)
    beta = atan2(z, (1.0 - FLATTENING) * across)
    for _ in range(2):
        phi = atan2(
            z + second * polar * sin(beta) ** 3,
            across - _ECCENTRICITY_2 * EQUATORIAL_RADIUS * cos(beta) ** 3,
        )
        beta = atan2((1.0 - FLATTENING) * sin(phi), cos(phi))
    foot = EQUATORIAL_RADIUS * sqrt(1.0 - _ECCENTRICITY_2 * sin(phi) ** 2)
    altitude = across * cos(phi) + z * sin(phi) - foot
    return degrees(phi), degrees(atan2(y, x)), altitude
