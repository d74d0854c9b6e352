"""Where a station sees a spacecraft: azimuth, elevation, range, range rate.

Lengths in km, speeds in km/s, angles in deg. Azimuth counts from north over east. Elevation is that
of the straight line above the plane normal to the ellipsoid, unless it is called *apparent*.
"""

from __future__ import annotations

from math import asin, atan2, cos, degrees, exp, inf, radians, sin, sqrt
from typing import NamedTuple

from analyses.physics.frames import State, Vector, from_geodetic
from closeout.units import deg, deg_per_s, km, km_s, ratio

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
    azimuth: deg
    elevation: deg
    range: km
    range_rate: km_s  # positive: going away
    azimuth_rate: deg_per_s
    elevation_rate: deg_per_s


def site_at(latitude: deg, longitude: deg, geometric_altitude: km) -> Site:
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
    (x, y, z), (dx, dy, dz) = state
    (a, b, c), (s1, s2, s3), (e1, e2, e3), (u1, u2, u3) = site
    x, y, z = x - a, y - b, z - c
    s, ds = x * s1 + y * s2 + z * s3, dx * s1 + dy * s2 + dz * s3
    e, de = x * e1 + y * e2 + z * e3, dx * e1 + dy * e2 + dz * e3
    u, du = x * u1 + y * u2 + z * u3, dx * u1 + dy * u2 + dz * u3
    across = sqrt(s * s + e * e)
    distance = sqrt(across * across + u * u)
    rate = (s * ds + e * de + u * du) / distance
    at_zenith = across < 1e-9 * distance
    return Look(
        degrees(atan2(e, -s)) % 360.0,
        degrees(atan2(u, across)),
        distance,
        rate,
        inf if at_zenith else degrees((ds * e - de * s) / (across * across)),
        0.0 if at_zenith else degrees((du - rate * u / distance) / across),
    )


def climbs(site: Site, state: State) -> bool:
    """Return whether the elevation of an Earth-fixed state rises: the sign of its rate alone.

    The sine of the elevation is u / r, and its rate has the sign of r^2 du/dt - u (r dr/dt).
    """
    (x, y, z), (dx, dy, dz) = state
    (a, b, c), _, _, (u1, u2, u3) = site
    x, y, z = x - a, y - b, z - c
    u, du = x * u1 + y * u2 + z * u3, dx * u1 + dy * u2 + dz * u3
    return du * (x * x + y * y + z * z) > u * (x * dx + y * dy + z * dz)


def separation(a: Look, b: Look) -> deg:
    """Return the angle in deg between two directions: half-angle form, exact for small ones."""
    return angle_between(a.azimuth, a.elevation, b.azimuth, b.elevation)


def angle_between(azimuth: deg, elevation: deg, other_azimuth: deg, other_elevation: deg) -> deg:
    """Return the angle in deg between two directions in deg (haversine)."""
    one, two = radians(elevation), radians(other_elevation)
    across = sin(0.5 * radians(other_azimuth - azimuth)) ** 2 * cos(one) * cos(two)
    half = sin(0.5 * (two - one)) ** 2 + across
    return degrees(2.0 * asin(min(sqrt(half), 1.0)))


def refraction(elevation: deg, site_altitude: km) -> deg:
    """Return in deg how much higher than the straight line a radio wave arrives from space.

    Elevation in deg of the straight line (below the horizon that of the horizon is kept), altitude
    of the site in km. The bending belongs to the apparent elevation, so it is found by repetition.
    """
    straight = max(elevation, 0.0)
    lift = 0.0
    for _ in range(6):
        lift = bending(straight + lift, site_altitude)
    return lift


def bending(apparent_elevation: deg, site_altitude: km) -> deg:
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


def _index(height: km) -> ratio:
    """Return the refractive index of air at a height in km (ITU-R P.453)."""
    return 1.0 + 315e-6 * exp(-height / _SCALE_HEIGHT)
