"""The recorder as a rigid box on its bracket: springs, bounds of its frequencies, its modes."""

from __future__ import annotations

from typing import Annotated, NamedTuple

from analyses.physics import two_modes, vibration
from analyses.physics.two_modes import TwoModes
from closeout.math import power
from closeout.units import GPa, Hz, N_per_m, Pa, Unit, kg, m, mm, ratio

kN_per_mm = Annotated[float, Unit("kN/mm")]
m_per_N = Annotated[float, Unit("m/N")]

POISSON_ALUMINIUM = 0.33  # common practice, no source


class Bracket(NamedTuple):
    """Two upright sheets that carry the box; SI units. x is across the sheets, z upright."""

    modulus: Pa
    width: m
    thickness: m
    height: m
    spacing_x: m  # of the bolts, as of the sheets
    spacing_y: m
    axial_joint: N_per_m  # stiffness at one bolt
    lateral_joint: N_per_m
    model_error: ratio  # of each frequency


class Body(NamedTuple):
    """The box on the bracket; SI units."""

    mass: kg
    height: m  # of the centre of gravity above the mounting plane
    gyration: m  # about a lateral axis through the centre of gravity
    offset: m  # of the centre of gravity from the middle of the bolts, along x and along y


class Springs(NamedTuple):
    """What carries the box: m/N for sliding, N m/rad for rocking, N/m upright."""

    sliding: tuple[float, float]  # along x, along y
    rocking: tuple[float, float]  # with the box that slides along x, along y
    upright: N_per_m


class Frequencies(NamedTuple):
    """Lower bounds along x and y, the mode along z; Hz."""

    x: Hz
    y: Hz
    z: Hz


def make_bracket(
    modulus: GPa,
    width: mm,
    thickness: mm,
    height: mm,
    spacing_x: mm,
    spacing_y: mm,
    axial_joint: kN_per_mm,
    lateral_joint: kN_per_mm,
    model_error: ratio,
) -> Bracket:
    """Return the bracket in SI units, of GPa, mm, kN/mm and the relative error of its modes."""
    return Bracket(
        modulus * 1e9, width / 1e3, thickness / 1e3, height / 1e3, spacing_x / 1e3,
        spacing_y / 1e3, axial_joint * 1e6, lateral_joint * 1e6, model_error,
    )  # fmt: skip


def springs_of(bracket: Bracket, mounting_flexibility: m_per_N = 0.0) -> Springs:
    """Return the springs under the box; the flexibility (m/N) is that of what is under the bolts.

    Rocking along x tilts the sheets against each other; along y it bends them in their plane. What
    is under the bolts yields evenly at all four, so it turns as well as it gives way.
    """
    b = bracket
    across = stiffness_of_sheets(b.modulus, b.width, b.thickness, b.height)
    along = stiffness_of_sheets(b.modulus, b.thickness, b.width, b.height)
    upright = upright_stiffness(b)
    turning = 4.0 * mounting_flexibility
    rocking_x = 1.0 / (4.0 / (upright * power(b.spacing_x, 2)) + turning / power(b.spacing_x, 2))
    inertia = vibration.rectangle_inertia(b.thickness, b.width)
    rocking_y = 1.0 / (
        b.height / (2.0 * b.modulus * inertia)
        + 1.0 / (b.axial_joint * power(b.spacing_y, 2))
        + turning / power(b.spacing_y, 2)
    )
    joints = 1.0 / (4.0 * b.lateral_joint) + mounting_flexibility
    return Springs(
        (1.0 / across + joints, 1.0 / along + joints),
        (rocking_x, rocking_y),
        1.0 / (1.0 / upright + mounting_flexibility),
    )


def stiffness_of_sheets(modulus: Pa, width: m, thickness: m, height: m) -> N_per_m:
    """Return the stiffness of both sheets that bend across a thickness."""
    return 2.0 * vibration.guided_leg_stiffness(
        modulus, POISSON_ALUMINIUM, width, thickness, height
    )


def upright_stiffness(bracket: Bracket) -> N_per_m:
    """Return the stiffness upright: two sheets, 2 E A/L, in series with four joints."""
    b = bracket
    sheets = 2.0 * b.modulus * b.width * b.thickness / b.height
    return 1.0 / (1.0 / sheets + 1.0 / (4.0 * b.axial_joint))


def lowest_frequencies(
    body: Body, bracket: Bracket, mounting_flexibility: m_per_N = 0.0
) -> Frequencies:
    """Return lower bounds of the first frequencies of the box: for stiffness, never for loads."""
    springs = springs_of(bracket, mounting_flexibility)
    sure = 1.0 + bracket.model_error
    x, y = (
        sure
        * vibration.translation_and_rocking(body.mass, sliding, body.height, body.gyration, rocking)
        for sliding, rocking in zip(springs.sliding, springs.rocking, strict=True)
    )
    return Frequencies(x, y, upright_mode(body, bracket, springs))


def lateral_modes(body: Body, bracket: Bracket) -> dict[str, TwoModes]:
    """Return both modes along x and both along y, without approximation; the flange is rigid."""
    springs = springs_of(bracket)
    sure = 1.0 + bracket.model_error
    found = {}
    for axis, sliding, rocking in zip("xy", springs.sliding, springs.rocking, strict=True):
        modes = two_modes.sliding_and_rocking(
            body.mass, sliding, body.height, body.gyration, rocking
        )
        first, second = modes.frequency
        found[axis] = modes._replace(frequency=(sure * first, sure * second))
    return found


def upright_mode(body: Body, bracket: Bracket, springs: Springs | None = None) -> Hz:
    """Return the frequency along z in Hz."""
    stiffness = (springs or springs_of(bracket)).upright
    return (1.0 + bracket.model_error) * vibration.natural_frequency(stiffness, body.mass)
