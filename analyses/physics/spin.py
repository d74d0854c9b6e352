"""An antenna on a body that spins: when it looks towards a line of sight, and nodes of dispersion.

Angles in rad. The body spins about an axis that stays in inertial space; the antenna's axis keeps
one angle to it (its *cone*) and runs round it.
"""

from __future__ import annotations

from math import acos, atan2, cos, pi, sin, sqrt
from typing import NamedTuple

from analyses.physics.frames import State, Vector
from analyses.physics.look_angles import dot
from closeout.units import rad

_FAR = sqrt(3.0)


class Axes(NamedTuple):
    """The spin axis and two axes across it, right-handed, from which the spin angle counts."""

    spin: Vector
    zero: Vector
    quarter: Vector


def cross(a: Vector, b: Vector) -> Vector:
    """Return the vector product."""
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


def unit(vector: Vector) -> Vector:
    """Return the vector at length one."""
    size = sqrt(dot(vector, vector))
    return vector[0] / size, vector[1] / size, vector[2] / size


def direction(start: Vector, end: Vector) -> Vector:
    """Return the unit vector from one place to another."""
    return unit((end[0] - start[0], end[1] - start[1], end[2] - start[2]))


def orbit_axes(state: State) -> Axes:
    """Return the orbit's normal, the direction away from the Earth, and along the motion.

    The state is an inertial one.
    """
    out = unit(state.position)
    normal = unit(cross(state.position, state.velocity))
    return Axes(normal, out, cross(normal, out))


def tilted(axes: Axes, to_zero: rad, to_quarter: rad) -> Axes:
    """Return axes whose spin axis is turned towards the other two by small angles."""
    spin = unit(_sum(axes.spin, _sum(_times(axes.zero, to_zero), _times(axes.quarter, to_quarter))))
    zero = unit(_sum(axes.zero, _times(spin, -dot(axes.zero, spin))))
    return Axes(spin, zero, cross(spin, zero))


def _sum(a: Vector, b: Vector) -> Vector:
    return a[0] + b[0], a[1] + b[1], a[2] + b[2]


def _times(a: Vector, factor: float) -> Vector:
    return factor * a[0], factor * a[1], factor * a[2]


def direction_in(axes: Axes, line: Vector) -> tuple[float, float]:
    """Return of a unit vector its angle from the spin axis and its angle round it."""
    polar = acos(max(-1.0, min(1.0, dot(line, axes.spin))))
    return polar, atan2(dot(line, axes.quarter), dot(line, axes.zero))


def half_turn(polar: rad, cone: rad, reach: rad) -> rad | None:
    """Return the part of a half turn in which the antenna's axis is within reach of a line.

    Spherical law of cosines: cos(reach) = cos(polar) cos(cone) + sin(polar) sin(cone) cos(turn).
    ``polar`` is the angle from the spin axis to the line, ``cone`` that to the antenna's axis. pi
    where it always is, None where it never is. Over a whole turn it is so for the share turn / pi.
    """
    level = cos(reach) - cos(polar) * cos(cone)
    span = sin(polar) * sin(cone)
    if level >= span:
        return None
    return pi if level <= -span else acos(level / span)


def angle_between(polar: rad, cone: rad, turned: rad) -> rad:
    """Return the angle from the antenna's axis to a line, by the spherical law of cosines.

    ``polar`` and ``cone`` as in :func:`half_turn`; ``turned`` is the spin angle between the two.
    """
    level = cos(polar) * cos(cone) + sin(polar) * sin(cone) * cos(turned)
    return acos(max(-1.0, min(1.0, level)))


def normal_nodes() -> list[tuple[float, float]]:
    """Return nodes and weights for the mean over a standard normal variable.

    Gauss-Hermite with three points: exact for polynomials up to degree 5.
    """
    return [(-_FAR, 1.0 / 6.0), (0.0, 2.0 / 3.0), (_FAR, 1.0 / 6.0)]


def plane_nodes() -> list[tuple[float, float, float]]:
    """Return nodes and weights for the mean over two independent standard normal variables.

    The centre and four points on the axes: exact for polynomials up to degree 3, and for squares
    of fourth degree of each variable alone.
    """
    arms = [(_FAR, 0.0), (-_FAR, 0.0), (0.0, _FAR), (0.0, -_FAR)]
    return [(0.0, 0.0, 1.0 / 3.0), *((x, y, 1.0 / 6.0) for x, y in arms)]
