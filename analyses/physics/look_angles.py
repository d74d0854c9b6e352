"""Where a station sees a spacecraft: azimuth, elevation, range, range rate.

Lengths in km, speeds in km/s, angles in deg. Azimuth counts from north over east. Elevation is that
of the straight line above the plane normal to the ellipsoid, unless it is called *apparent*.
"""

from __future__ import annotations

from math import asin, atan2, cos, degrees, radians, sin, sqrt
from typing import NamedTuple

from analyses.physics.frames import State, Vector, from_geodetic


class Site(NamedTuple):
    """A place on the ground: Earth-fixed position, and the axes south, east and up."""

    position: Vector
    south: Vector
    east: Vector
    up: Vector


class Look(NamedTuple):
    azimuth: float
    elevation: float
    range: float
    range_rate: float  # positive: going away
    azimuth_rate: float  # deg/s
    elevation_rate: float  # deg/s


def site_at(latitude: float, longitude: float, geometric_altitude: float) -> Site:
    """Return the site at geodetic coordinates in deg, and km above the ellipsoid."""
    phi, lam = radians(latitude), radians(longitude)
    return Site(
        from_geodetic(latitude, longitude, geometric_altitude),
        (sin(phi) * cos(lam), sin(phi) * sin(lam), -cos(phi)),
        (-sin(lam), cos(lam), 0.0),
        (cos(phi) * cos(lam), cos(phi) * sin(lam), sin(phi)),
    )


def dot(a: Vector, b: Vector) -> float:
    """Return the scalar product."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def look_at(site: Site, state: State) -> Look:
    """Return direction, range and their rates of an Earth-fixed state seen from a site.

    Vallado, algorithm 27 (topocentric south, east, zenith). The rates are those of the straight
    line: no light time, which is 8 ms and 60 m of the orbit at 2500 km.
    """
    (x, y, z), (a, b, c) = state.position, site.position
    line = (x - a, y - b, z - c)
    s, e, u = dot(line, site.south), dot(line, site.east), dot(line, site.up)
    ds, de, du = (dot(state.velocity, axis) for axis in (site.south, site.east, site.up))
    across2 = s * s + e * e
    distance = sqrt(across2 + u * u)
    rate = (s * ds + e * de + u * du) / distance
    return Look(
        azimuth=degrees(atan2(e, -s)) % 360.0,
        elevation=degrees(asin(u / distance)),
        range=distance,
        range_rate=rate,
        azimuth_rate=degrees((ds * e - de * s) / across2),
        elevation_rate=degrees((du - rate * u / distance) / sqrt(across2)),
    )


def separation(a: Look, b: Look) -> float:
    """Return the angle in deg between two directions: half-angle form, exact for small ones."""
    return angle_between(a.azimuth, a.elevation, b.azimuth, b.elevation)


def angle_between(
    azimuth: float, elevation: float, other_azimuth: float, other_elevation: float
) -> float:
    """Return the angle in deg between two directions in deg (haversine)."""
    one, two = radians(elevation), radians(other_elevation)
    across = sin(0.5 * radians(other_azimuth - azimuth)) ** 2 * cos(one) * cos(two)
    half = sin(0.5 * (two - one)) ** 2 + across
    return degrees(2.0 * asin(min(sqrt(half), 1.0)))


def refraction(elevation: float, site_altitude: float) -> float:
    """Return in deg how much higher than the straight line a radio wave arrives from space.

    ITU-R P.834, fit for the free-space elevation in deg and the station's altitude in km (from
    memory): reference atmosphere of exponential refractivity. Holds from 0 to 90 deg above 0 km
    up to 3 km; below the horizon the value at 0 deg is kept.
    """
    angle, h = max(elevation, 0.0), site_altitude
    return 1.0 / (
        1.728 + 0.5411 * angle + 0.03723 * angle**2
        + h * (0.1815 + 0.06272 * angle + 0.01380 * angle**2)
        + h**2 * (0.01727 + 0.008288 * angle)
    )  # fmt: skip
