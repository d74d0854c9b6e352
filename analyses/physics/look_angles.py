"""Where a station sees a spacecraft: azimuth, elevation, range, range rate.

Lengths in km, speeds in km/s, angles in deg. Azimuth counts from north over east. Elevation is that
of the straight line above the plane normal to the ellipsoid, unless it is called *apparent*.
"""

from __future__ import annotations

from math import asin, atan2, cos, degrees, exp, inf, radians, sin, sqrt
from typing import NamedTuple

from analyses.physics.frames import State, Vector, from_geodetic

_MEAN_RADIUS = 6371.0  # km, of the sphere whose layers bend a ray
_SCALE_HEIGHT = 7.35  # km, of the refractivity
_LAYERS = 80


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
    line: no light time, which is 8 ms and 60 m of the orbit at 2500 km. At the very zenith the
    azimuth turns over: its rate is without limit there, and the elevation is at its top.
    """
    (x, y, z), (a, b, c) = state.position, site.position
    line = (x - a, y - b, z - c)
    s, e, u = dot(line, site.south), dot(line, site.east), dot(line, site.up)
    ds, de, du = (dot(state.velocity, axis) for axis in (site.south, site.east, site.up))
    across = sqrt(s * s + e * e)
    distance = sqrt(across * across + u * u)
    rate = (s * ds + e * de + u * du) / distance
    at_zenith = across < 1e-9 * distance
    return Look(
        azimuth=degrees(atan2(e, -s)) % 360.0,
        elevation=degrees(atan2(u, across)),
        range=distance,
        range_rate=rate,
        azimuth_rate=inf if at_zenith else degrees((ds * e - de * s) / (across * across)),
        elevation_rate=0.0 if at_zenith else degrees((du - rate * u / distance) / across),
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

    Elevation in deg of the straight line (below the horizon that of the horizon is kept), altitude
    of the site in km. The bending belongs to the apparent elevation, so it is found by repetition.
    """
    straight = max(elevation, 0.0)
    lift = 0.0
    for _ in range(6):
        lift = bending(straight + lift, site_altitude)
    return lift


def bending(apparent_elevation: float, site_altitude: float) -> float:
    """Return in deg how much a ray to space bends that leaves a site at an elevation in deg.

    Bouguer's law in spherical layers: n r cos(elevation) stays, and the ray bends by the integral
    of -(1/n) dn/dr over the tangent of its elevation. Refractivity of the reference atmosphere of
    ITU-R P.453: N = 315 exp(-h / 7.35 km). Mid-point rule in the root of the height, up to 100 km.
    """
    kept = _index(site_altitude) * (_MEAN_RADIUS + site_altitude)
    kept *= cos(radians(apparent_elevation))
    step = sqrt(100.0) / _LAYERS
    total = 0.0
    for i in range(_LAYERS):
        root = (i + 0.5) * step
        height = site_altitude + root * root
        index = _index(height)
        cosine = kept / (index * (_MEAN_RADIUS + height))
        tangent = sqrt(1.0 - cosine * cosine) / cosine
        total += (index - 1.0) / (_SCALE_HEIGHT * index * tangent) * 2.0 * root * step
    return degrees(total)


def _index(height: float) -> float:
    """Return the refractive index of air at a height in km (ITU-R P.453)."""
    return 1.0 + 315e-6 * exp(-height / _SCALE_HEIGHT)
