"""Models of the box on its bracket that share no formula with the analyses; NumPy and SciPy.

Springs are written out from the drawing, modes come from scipy.linalg.eigh, and what they answer to
a spectrum from Simpson's rule of SciPy over their transfer functions, with viscous damping.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import simpson
from scipy.linalg import eigh

GRAVITY = 9.80665  # m/s2, standard
# GSFC-STD-7000A, Table 2.4-3, qualification up to 22.7 kg.
SPECTRUM = np.array([(20, 0.026), (50, 0.16), (800, 0.16), (2000, 0.026)])
FREQUENCIES = np.exp(np.linspace(np.log(20.0), np.log(2000.0), 6001))
DENSITY = np.exp(np.interp(np.log(FREQUENCIES), *np.log(SPECTRUM).T))

Array = NDArray[np.float64]


class Springs(NamedTuple):
    """Of the whole mounting, in its plane under the middle of the box; N/m and N m/rad."""

    x: float
    y: float
    z: float
    rocking_x: float  # about y: the box rocks along x
    rocking_y: float
    twist: float  # about z


def springs(v: Mapping[str, float]) -> Springs:
    """Return the springs of declared values in the units of the parameter files."""
    e = 1e9 * v["leg_modulus"]
    w, t, length = (v[f"leg_{name}"] / 1e3 for name in ("width", "thickness", "height"))
    sx, sy = v["bolt_spacing_x"] / 1e3, v["bolt_spacing_y"] / 1e3
    axial, lateral = 1e6 * v["joint_axial_stiffness"], 1e6 * v["joint_lateral_stiffness"]
    shear = 1.2 * length / (e / (2 * 1.33) * w * t)
    across = length**3 / (e * w * t**3) + shear  # of a sheet, one end clamped, one guided
    along = length**3 / (e * t * w**3) + shear
    side = length / (e * w * t) + 1 / (2 * axial)  # a sheet upright, with its two bolts
    bent = length * 12 / (2 * e * t * w**3)
    return Springs(
        x=1 / (across / 2 + 1 / (4 * lateral)),
        y=1 / (along / 2 + 1 / (4 * lateral)),
        z=2 / side,
        rocking_x=2 / side * (sx / 2) ** 2,
        rocking_y=1 / (bent + 1 / (4 * axial * (sy / 2) ** 2)),
        # sheets give way in their own planes, at half of the spacing; joints at their radius
        twist=1 / (along / 2 / (sx / 2) ** 2 + 1 / (lateral * (sx**2 + sy**2))),
    )


def transfer(modes: Array, amplification: float) -> NDArray[np.complex128]:
    """Return absolute acceleration over the base's, of each mode at each frequency."""
    ratio = FREQUENCIES / modes[:, None]
    damping = 1j * ratio / amplification
    return (1 + damping) / (1 - ratio**2 + damping)


def mean_square(gain: Array) -> float:
    """Return the integral of a gain, squared already, times the spectrum, in g0^2."""
    return float(simpson(gain * DENSITY * FREQUENCIES, x=np.log(FREQUENCIES)))


class Lateral(NamedTuple):
    modes: Array  # Hz
    gain: Array  # of the centre of gravity, squared, at FREQUENCIES
    acceleration: float  # g0 rms, of the centre of gravity
    overturning: float  # moment in the mounting plane over m h, g0 rms


def lateral(v: Mapping[str, float], axis: str) -> Lateral:
    """Return what the exact two modes of sliding and rocking along x or y answer."""
    own = springs(v)
    m, h, r = v["design_mass"], v["cg_height"] / 1e3, v["gyration_radius"] / 1e3
    stiffness = np.diag([getattr(own, axis), getattr(own, f"rocking_{axis}")])
    inertia = np.array([[m, m * h], [m * h, m * (h * h + r * r)]])
    squares, shapes = eigh(stiffness, inertia)
    modes = np.sqrt(squares) / (2 * np.pi) * (1 + v["mode_model_error"])
    driven = shapes.T @ inertia @ np.array([1.0, 0.0])
    answer = transfer(modes, v["amplification"])
    moved = ((shapes[0] + h * shapes[1]) * driven) @ answer
    turned = (shapes[1] * driven) @ answer
    return Lateral(
        modes,
        abs(moved) ** 2,
        mean_square(abs(moved) ** 2) ** 0.5,
        mean_square(abs(moved + r * r / h * turned) ** 2) ** 0.5,
    )


def worst_bolts(v: Mapping[str, float], shaken: int) -> tuple[float, float]:
    """Return rms tension and shear in N of the worst bolt, all six motions of the box coupled.

    The centre of gravity is off the middle along x and along y; the base moves along one axis. The
    shear is that in its worst direction.
    """
    own = springs(v)
    m, r = v["design_mass"], v["gyration_radius"] / 1e3
    x, y, z = np.array([v["cg_offset"], v["cg_offset"], v["cg_height"]]) / 1e3
    # displacement of the centre of gravity: that of the plane and rotation x (x, y, z)
    arm = np.array([[0, z, -y], [-z, 0, x], [y, -x, 0]])
    lever = np.hstack([np.eye(3), arm])
    inertia = m * lever.T @ lever
    inertia[3:, 3:] += m * r * r * np.eye(3)
    # a rotation about x is rocking along y, and about y along x
    stiffness = np.diag([own.x, own.y, own.z, own.rocking_y, own.rocking_x, own.twist])
    squares, shapes = eigh(stiffness, inertia)
    modes = np.sqrt(squares) / (2 * np.pi) * (1 + v["mode_model_error"])
    driven = shapes.T @ inertia[:, shaken]
    base = (inertia @ shapes * driven) @ transfer(modes, v["amplification"])  # N, N m for 1 m/s2
    return _worst(base, v["bolt_spacing_x"] / 1e3, v["bolt_spacing_y"] / 1e3)


def _worst(base: NDArray[np.complex128], sx: float, sy: float) -> tuple[float, float]:
    tensions, shears = [], []
    for right in (-0.5, 0.5):
        for back in (-0.5, 0.5):
            # two bolts at half of the spacing pull against two: M/(2 s) each
            pulled = base[2] / 4 + back * base[3] / sy - right * base[4] / sx
            twist = base[5] / (sx**2 + sy**2)  # over four bolts at a radius: 4 rho^2 = sx^2 + sy^2
            one = base[0] / 4 - back * sy * twist
            two = base[1] / 4 + right * sx * twist
            cross = mean_square((one * two.conj()).real)
            spread = [[mean_square(abs(one) ** 2), cross], [cross, mean_square(abs(two) ** 2)]]
            tensions.append(mean_square(abs(pulled) ** 2) ** 0.5)
            shears.append(float(np.linalg.eigvalsh(spread)[-1]) ** 0.5)
    return GRAVITY * max(tensions), GRAVITY * max(shears)
