"""Mass budget, natural frequencies, random vibration and margins of safety of the structure."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

from analyses.physics import bolted_joint as joint
from analyses.physics import vibration
from analyses.physics.csv_table import number, read_rows
from analyses.physics.vibration import STANDARD_GRAVITY, Spectrum
from closeout import analysis
from closeout.math import clip, hypot, minimum, power, sqrt
from closeout.units import GPa, Hz, K, MPa, N_m, Unit, count, g, g0, kg, kN, mm, ratio

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DATA = Path(__file__).parent / "data"
POISSON_ALUMINIUM = 0.33  # common practice, no source
POISSON_BOARD = 0.12  # glass-fibre laminate; common practice, no source
AXES = ("x", "y", "z")

kN_per_mm = Annotated[float, Unit("kN/mm")]
kg_per_m2 = Annotated[float, Unit("kg/m^2")]
ppm_per_K = Annotated[float, Unit("ppm/K")]
ByPart = Annotated[Mapping[str, float], Unit("kg")]
ByAxis = Annotated[Mapping[str, float], Unit("g0")]
Margins = Annotated[Mapping[str, float], Unit("1")]


class MassBudget(NamedTuple):
    basic_mass: ByPart  # best estimate of each line, all pieces of it
    total_basic_mass: kg
    contingency: kg  # by maturity, of all lines
    recorder_mass: kg  # with contingency and the uncertainty of the weighing


class Modes(NamedTuple):
    lateral_mode_x: Hz  # across the legs: they bend, the box slides and rocks
    lateral_mode_y: Hz  # in the plane of the legs
    axial_mode: Hz
    board_mode: Hz
    first_mode: Hz  # on a rigid fixture
    first_mode_on_stage: Hz  # the stage's structure under the bolts yields too


class RandomResponse(NamedTuple):
    overall_level: g0  # rms, of the nominal spectrum
    miles_response: ByAxis  # rms
    integrated_response: ByAxis  # rms, over the whole spectrum
    highest_response: ByAxis  # rms, upper bound with which the margins of safety are computed
    miles_shortfall: Annotated[Mapping[str, float], Unit("1")]  # integrated over Miles, less one


class StructureMargins(NamedTuple):
    """Margins of safety: allowable over load with its factors, less one. A case is part, axis."""

    design_acceleration: ByAxis  # along the axis that is shaken, without factors
    highest_preload: kN
    lowest_preload: kN
    bolt_tension: Annotated[Mapping[str, float], Unit("kN")]  # outer load of the worst bolt
    bolt_shear: Annotated[Mapping[str, float], Unit("kN")]
    leg_stress: Annotated[Mapping[str, float], Unit("MPa")]
    bolt_margin: Margins
    bracket_margin: Margins


class Bracket(NamedTuple):
    """Two upright sheets that carry the box; SI units. x is across the sheets, z upright."""

    modulus: float
    width: float
    thickness: float
    height: float
    spacing_x: float  # of the bolts, as of the sheets
    spacing_y: float
    axial_joint: float  # stiffness at one bolt
    lateral_joint: float
    model_error: float


class Body(NamedTuple):
    """The box on the bracket; SI units."""

    mass: float
    height: float  # of the centre of gravity above the mounting plane
    gyration: float
    offset: float  # of the centre of gravity from the middle of the bolts


class Frequencies(NamedTuple):
    x: float
    y: float
    z: float


class Bolt(NamedTuple):
    """One mounting bolt with what it clamps; SI units."""

    diameter: float
    area: float
    stiffness: float
    clamped: float
    preload: tuple[float, float]  # lowest, highest
    torsion: float  # stress by tightening, at the highest preload
    yield_strength: float
    ultimate_strength: float
    friction: float


class Factors(NamedTuple):
    on_yield: float
    on_ultimate: float
    on_gapping: float
    on_slip: float


Load = tuple[float, float]  # tension and shear of the worst bolt, N


# mass


@analysis(validated_by="tests/analyses/test_mass_and_stiffness.py")
def mass_budget(
    cells_in_series: count,
    cells_in_parallel: count,
    cell_mass: g,
    contingency_off_the_shelf: ratio,
    contingency_modified: ratio,
    contingency_new: ratio,
    weighing_uncertainty: kg,
) -> MassBudget:
    """Mass of the recorder line by line, with the contingency that the maturity of each line asks.

    **Model.** Sum of pieces x mass x (1 + contingency) over `analyses/data/mass_list.csv` and the
    cells, whose number is that of the battery. The expanded uncertainty of the weighing is added,
    since it counts against us when the recorder is weighed.

    **Assumptions.** Contingency of 5 %, 10 % and 20 % for off-the-shelf, modified and new parts:
    ECSS practice, as quoted in instrument interface documents. It stands for the growth of an
    estimate, so no line has a tolerance beside it, except the cells, which were weighed. Sources:
    none but the sum. g in the list is the gram, g0 elsewhere standard gravity.

    **Not covered.** Red-tag items (removed), moments of inertia, a system margin of the launch
    authority on top, ballast.
    """
    contingency = {
        "off the shelf": contingency_off_the_shelf,
        "modified": contingency_modified,
        "new": contingency_new,
    }
    cells = cells_in_series * cells_in_parallel * cell_mass / 1000.0
    basic = {"cells": cells}
    grown = cells * contingency_off_the_shelf
    for item, (mass, maturity) in read_mass_list(DATA / "mass_list.csv", set(contingency)).items():
        basic[item] = mass
        grown = grown + mass * contingency[maturity]
    total = sum(basic.values())
    return MassBudget(basic, total, grown, total + grown + weighing_uncertainty)


def read_mass_list(path: Path, maturities: set[str]) -> dict[str, tuple[float, str]]:
    """Return (kg of all pieces, maturity) of each line of the mass list.

    Raises:
        ValueError: a line stands there twice, or has a maturity that has no contingency.
    """
    rows = read_rows(path, ("item", "count", "mass_g", "maturity"))
    wrong = [row["item"] for row in rows if row["maturity"] not in maturities]
    names = [row["item"] for row in rows]
    twice = sorted({name for name in names if names.count(name) > 1})
    if wrong or twice:
        raise ValueError(f"{path.name}: unknown maturity of {wrong}, given twice {twice}")
    return {
        row["item"]: (
            number(path, row, "count") * number(path, row, "mass_g") / 1000.0,
            row["maturity"],
        )
        for row in rows
    }


# natural frequencies


@analysis(validated_by="tests/analyses/test_mass_and_stiffness.py")
def natural_frequencies(
    design_mass: kg,
    cg_height: mm,
    gyration_radius: mm,
    leg_modulus: GPa,
    leg_width: mm,
    leg_thickness: mm,
    leg_height: mm,
    bolt_spacing_x: mm,
    bolt_spacing_y: mm,
    joint_axial_stiffness: kN_per_mm,
    joint_lateral_stiffness: kN_per_mm,
    board_modulus: GPa,
    board_thickness: mm,
    board_area_mass: kg_per_m2,
    board_length: mm,
    board_width: mm,
    mode_model_error: ratio,
    stage_stiffness: kN_per_mm,
) -> Modes:
    """First natural frequencies of the recorder on its bracket and of its largest circuit board.

    **Model.** A rigid box on two upright sheets that are clamped by the bolts below and guided by
    the box above (bending and shear of the sheets), in series with the stiffness of the four bolted
    joints, which is never infinite. Sliding and rocking are joined by Dunkerley's formula, which
    gives a lower bound. Across the sheets, one sheet is pulled and one pushed when the box rocks.
    The board is a plate on simple supports with all of its mass spread over it. The lowest of the
    four is the first mode; on the kick stage the stiffness of the stage's structure, the same in
    each direction and shared by the four bolts, comes in series, for sliding and for rocking. An
    error of the model is applied to each.

    **Sources.** Young (Roark) and Blevins, from memory, as the functions in
    `analyses/physics/vibration.py` say; Dunkerley (1894).

    **Assumptions.** Mass at the limit of the mass requirement, the heaviest that may fly. The
    temperature of the test moves Young's modulus by a thousandth in 5 K, inside its tolerance.
    The joints do not slip (`structure_margins` shows it); a joint that gaps or slips is softer.

    **Not covered.** Bending of the box, lens covers, cables, higher modes, board stiffeners and
    heavy single parts on the board; the model error stands for them until the test.

    **Caution.** A computed frequency does not replace the survey before and after vibration.
    """
    body = Body(design_mass, cg_height / 1e3, gyration_radius / 1e3, 0.0)
    bracket = make_bracket(
        leg_modulus, leg_width, leg_thickness, leg_height, bolt_spacing_x, bolt_spacing_y,
        joint_axial_stiffness, joint_lateral_stiffness, mode_model_error,
    )  # fmt: skip
    board = (1.0 + mode_model_error) * vibration.plate_frequency(
        board_modulus * 1e9, POISSON_BOARD, board_thickness / 1e3, board_area_mass,
        board_length / 1e3, board_width / 1e3,
    )  # fmt: skip
    rigid = modes_of(body, bracket, 0.0)
    soft = modes_of(body, bracket, 1.0 / (stage_stiffness * 1e6))
    return Modes(
        lateral_mode_x=rigid.x,
        lateral_mode_y=rigid.y,
        axial_mode=rigid.z,
        board_mode=board,
        first_mode=minimum(minimum(rigid.x, rigid.y), minimum(rigid.z, board)),
        first_mode_on_stage=minimum(minimum(soft.x, soft.y), minimum(soft.z, board)),
    )


def make_bracket(
    modulus: float,
    width: float,
    thickness: float,
    height: float,
    spacing_x: float,
    spacing_y: float,
    axial_joint: float,
    lateral_joint: float,
    model_error: float,
) -> Bracket:
    """Return the bracket in SI units, of GPa, mm, kN/mm and the relative error of its modes."""
    return Bracket(
        modulus * 1e9, width / 1e3, thickness / 1e3, height / 1e3, spacing_x / 1e3,
        spacing_y / 1e3, axial_joint * 1e6, lateral_joint * 1e6, model_error,
    )  # fmt: skip


def modes_of(body: Body, bracket: Bracket, mounting_flexibility: float) -> Frequencies:
    """Return the modes of the box in Hz; the flexibility (m/N) of what is under the bolts."""
    b = bracket
    across = 2.0 * vibration.guided_leg_stiffness(
        b.modulus, POISSON_ALUMINIUM, b.width, b.thickness, b.height
    )
    along = 2.0 * vibration.guided_leg_stiffness(
        b.modulus, POISSON_ALUMINIUM, b.thickness, b.width, b.height
    )
    upright = 2.0 * b.modulus * b.width * b.thickness / b.height
    axial = 1.0 / (1.0 / upright + 1.0 / (4.0 * b.axial_joint))
    # Rocking over x tilts the sheets against each other; over y it bends them in their plane.
    # What is under the bolts yields evenly at all four, so it turns as well as it gives way.
    turning = 4.0 * mounting_flexibility
    rocking_x = 1.0 / (4.0 / (axial * power(b.spacing_x, 2)) + turning / power(b.spacing_x, 2))
    inertia = vibration.rectangle_inertia(b.thickness, b.width)
    rocking_y = 1.0 / (
        b.height / (2.0 * b.modulus * inertia)
        + 1.0 / (b.axial_joint * power(b.spacing_y, 2))
        + turning / power(b.spacing_y, 2)
    )
    joints = 1.0 / (4.0 * b.lateral_joint) + mounting_flexibility
    sure = 1.0 + b.model_error
    return Frequencies(
        sure
        * vibration.translation_and_rocking(
            body.mass, 1.0 / across + joints, body.height, body.gyration, rocking_x
        ),
        sure
        * vibration.translation_and_rocking(
            body.mass, 1.0 / along + joints, body.height, body.gyration, rocking_y
        ),
        sure * vibration.natural_frequency(1.0 / (1.0 / axial + mounting_flexibility), body.mass),
    )


# random vibration


def read_spectrum(path: Path) -> Spectrum:
    """Return the points (Hz, g0^2/Hz) of a spectrum, frequency rising.

    Raises:
        ValueError: frequencies do not rise, or a value is not above zero.
    """
    names = ("frequency_hz", "density_g02_per_hz")
    rows = [[number(path, row, name) for name in names] for row in read_rows(path, names)]
    points = [(frequency, density) for frequency, density in rows]
    frequencies = [frequency for frequency, _ in points]
    if frequencies != sorted(set(frequencies)) or min(min(row) for row in rows) <= 0:
        raise ValueError(f"{path.name}: frequencies must rise, and all values be above zero")
    return points


@analysis(validated_by="tests/analyses/test_mass_and_stiffness.py")
def random_response(
    design_mass: kg,
    cg_height: mm,
    gyration_radius: mm,
    leg_modulus: GPa,
    leg_width: mm,
    leg_thickness: mm,
    leg_height: mm,
    bolt_spacing_x: mm,
    bolt_spacing_y: mm,
    joint_axial_stiffness: kN_per_mm,
    joint_lateral_stiffness: kN_per_mm,
    mode_model_error: ratio,
    amplification: ratio,
) -> RandomResponse:
    """Level of the vibration test, and rms response of each axis by Miles and by integration.

    **Model.** Each axis is one mode on a moving base, with its frequency from `natural_frequencies`
    and its amplification Q. Miles' formula is set beside the integral of |H|^2 S(f) over the whole
    spectrum (GSFC-STD-7000A, Table 2.4-3). Miles takes the spectrum as flat from zero to infinity:
    where it rises below or lies lower at the mode than around it, Miles is too low and unsafe
    (`miles_shortfall` above zero). So the strength is judged with an upper bound of both, the
    response to a flat spectrum at the highest density from zero to infinity, which in a flat
    spectrum is Miles' value times sqrt(1 + 1/Q^2).

    **Sources.** Miles (1954), as in R. Simmons, NASA GSFC FEMCI (2001); the transfer function of
    any text on vibration; area of a spectrum of straight lines on log-log paper.

    **Not covered.** Several modes in one axis, notching and force limiting, the clipping of peaks
    at 3 sigma, fatigue. The integral is evaluated on numbers only.

    **Caution.** Vibration tests with lithium cells aboard are attended and contained, by the rules
    of the laboratory.
    """
    spectrum = read_spectrum(DATA / "vibration_spectrum.csv")
    modes = modes_of(
        Body(design_mass, cg_height / 1e3, gyration_radius / 1e3, 0.0),
        make_bracket(
            leg_modulus, leg_width, leg_thickness, leg_height, bolt_spacing_x, bolt_spacing_y,
            joint_axial_stiffness, joint_lateral_stiffness, mode_model_error,
        ),
        0.0,
    )  # fmt: skip
    by_miles = {axis: miles_at(f, amplification, spectrum) for axis, f in zip_axes(modes)}
    integrated = {
        axis: vibration.integrated_response(f, amplification, spectrum)
        for axis, f in zip_axes(modes)
    }
    return RandomResponse(
        overall_level=vibration.overall_level(spectrum),
        miles_response=by_miles,
        integrated_response=integrated,
        highest_response={
            axis: highest_response(f, amplification, spectrum) for axis, f in zip_axes(modes)
        },
        miles_shortfall={axis: integrated[axis] / by_miles[axis] - 1.0 for axis in AXES},
    )


@random_response.figure
def response_spectrum(
    design_mass: kg,
    cg_height: mm,
    gyration_radius: mm,
    leg_modulus: GPa,
    leg_width: mm,
    leg_thickness: mm,
    leg_height: mm,
    bolt_spacing_x: mm,
    bolt_spacing_y: mm,
    joint_axial_stiffness: kN_per_mm,
    joint_lateral_stiffness: kN_per_mm,
    mode_model_error: ratio,
    amplification: ratio,
) -> Figure:
    """Spectral density of the vibration at the bolts, and of the response of the recorder in each
    axis, at the inputs. Look at where the peaks stand in the spectrum of the test, and at the rms
    responses in the legend, which are the roots of the areas. All data are invented.
    """
    from analyses import plotting

    found = random_response(
        design_mass, cg_height, gyration_radius, leg_modulus, leg_width, leg_thickness,
        leg_height, bolt_spacing_x, bolt_spacing_y, joint_axial_stiffness,
        joint_lateral_stiffness, mode_model_error, amplification,
    )  # fmt: skip
    spectrum = read_spectrum(DATA / "vibration_spectrum.csv")
    modes = modes_of(
        Body(design_mass, cg_height / 1e3, gyration_radius / 1e3, 0.0),
        make_bracket(
            leg_modulus, leg_width, leg_thickness, leg_height, bolt_spacing_x, bolt_spacing_y,
            joint_axial_stiffness, joint_lateral_stiffness, mode_model_error,
        ),
        0.0,
    )  # fmt: skip
    figure, (axes,) = plotting.panels(height=4.4)
    axes.plot(
        *zip(*spectrum, strict=True), "--", color=plotting.GREY,
        label=f"test, {found.overall_level:.3g} g\N{SUBSCRIPT ZERO} rms",
    )  # fmt: skip
    for series, (axis, frequency) in enumerate(zip_axes(modes)):
        level = found.integrated_response[axis]
        axes.plot(
            *zip(*response_density(frequency, amplification, spectrum), strict=True),
            linestyle=plotting.LINES[series], color=plotting.SERIES[series],
            label=f"{axis}: {frequency:.0f} Hz, {level:.3g} g\N{SUBSCRIPT ZERO} rms",
        )  # fmt: skip
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_ylim(bottom=0.01 * min(density for _, density in spectrum))
    axes.set_xlabel("frequency (Hz)")
    axes.set_ylabel(
        "spectral density of the acceleration\n(g\N{SUBSCRIPT ZERO}\N{SUPERSCRIPT TWO}/Hz)"
    )
    plotting.legend(figure, 2)
    return figure


def response_density(
    frequency: float, amplification: float, spectrum: Spectrum, points: int = 600
) -> list[tuple[float, float]]:
    """Return (Hz, g0^2/Hz) of the response of a mode over its base's spectrum; for curves.

    Points are even on the logarithm of the frequency, and one stands at the mode.
    """
    low, high = spectrum[0][0], spectrum[-1][0]
    even = [low * (high / low) ** (i / points) for i in range(1, points)]
    return [
        (
            f,
            vibration.density_at(f, spectrum)
            * vibration.transmissibility_squared(f / frequency, amplification),
        )
        for f in sorted({low, *even, clip(frequency, low, high), high})
    ]


def zip_axes(values: tuple[float, float, float]) -> list[tuple[str, float]]:
    """Return (axis, value) in the order x, y, z."""
    return list(zip(AXES, values, strict=True))


def miles_at(frequency: float, amplification: float, spectrum: Spectrum) -> float:
    """Return Miles' response in g0 of a mode, with the density of the spectrum at it.

    A mode outside the spectrum is given the density of the nearer end, as nothing is stated there.
    """
    inside = clip(frequency, spectrum[0][0], spectrum[-1][0])
    density = vibration.density_at(inside, spectrum)
    return vibration.miles(frequency, amplification, density)


def highest_response(frequency: float, amplification: float, spectrum: Spectrum) -> float:
    """Return what no response of a mode in g0 is above, whatever the shape of the spectrum."""
    highest = max(density for _, density in spectrum)
    return vibration.flat_response(frequency, amplification, highest)


# margins of safety


@analysis(validated_by="tests/analyses/test_mass_and_stiffness.py")
def structure_margins(
    design_mass: kg,
    cg_height: mm,
    cg_offset: mm,
    gyration_radius: mm,
    leg_modulus: GPa,
    leg_width: mm,
    leg_thickness: mm,
    leg_height: mm,
    leg_yield_strength: MPa,
    leg_ultimate_strength: MPa,
    bolt_spacing_x: mm,
    bolt_spacing_y: mm,
    joint_axial_stiffness: kN_per_mm,
    joint_lateral_stiffness: kN_per_mm,
    mode_model_error: ratio,
    amplification: ratio,
    random_level_tolerance: ratio,
    acoustic_response: g0,
    quasi_static_load: g0,
    structure_model_factor: ratio,
    bolt_diameter: mm,
    bolt_pitch: mm,
    bolt_head_diameter: mm,
    bolt_grip: mm,
    bolt_modulus: GPa,
    bolt_yield_strength: MPa,
    bolt_ultimate_strength: MPa,
    bolt_torque: N_m,
    nut_factor: ratio,
    preload_scatter: ratio,
    preload_loss: ratio,
    expansion_difference: ppm_per_K,
    joint_temperature_change: K,
    thread_friction: ratio,
    joint_friction: ratio,
    yield_factor: ratio,
    ultimate_factor: ratio,
    gapping_factor: ratio,
    slip_factor: ratio,
) -> StructureMargins:
    """Margins of safety of bolts and bracket under quasi-static load, vibration and noise.

    **Model.** A margin of safety is allowable over load with factors, less one, without unit; it is
    not the margin to a limit that a verdict shows. Design acceleration of the axis that is shaken:
    quasi-static + 3 sigma of the random and acoustic responses together (rms, root of the sum of
    squares) at the upper tolerance of the level; the quasi-static load acts on the two other axes
    at the same time. All of it times the model factor. The worst of the four bolts takes its
    quarter, the overturning moment of the centre of gravity above the mounting plane, and what an
    offset of the centre of gravity adds in tension and in shear.

    **Bolts.** Preload from torque and nut factor, with scatter and loss by settling, and the change
    by temperature with either sign. Yield and ultimate at the highest preload, gapping and slip at
    the lowest. Ultimate takes the shear as if nothing rubbed. Slip counts for each bolt alone,
    though the four share it, and takes outer tension with its factor.

    **Bracket.** Bending at the root of a clamped and guided sheet, V L/2, and the upright load of
    rocking; in the plane of the sheets and upright the stress is that of the section alone.

    **Sources.** ECSS-E-HB-32-23A (from memory) and Shigley, chapter 8, for the joint; Young (Roark)
    for the sheets; the integral of the transfer function of one mode
    (any text on random vibration). Factors as the requirement states them.

    **Assumptions.** One mode in each axis. Its random response is an upper bound in closed form
    that neither Miles' formula nor the integral over the spectrum exceeds (`random_response` shows
    the three), so the shape of the spectrum cannot make it unsafe. Rigid flange, no
    prying. Half of the torsion by tightening is left in service and counts for yield.

    **Not covered.** Fatigue, thread stripping and inserts (deeper than one and a half diameters),
    bearing, torsion and local bending of the flange, shock, handling, and the box itself.

    **Caution.** No statement on lifting or pressure. A bolt that was torqued beyond its value, or
    fell, is replaced. The launch authority's stress office decides on flight.
    """
    body = Body(design_mass, cg_height / 1e3, gyration_radius / 1e3, cg_offset / 1e3)
    bracket = make_bracket(
        leg_modulus, leg_width, leg_thickness, leg_height, bolt_spacing_x, bolt_spacing_y,
        joint_axial_stiffness, joint_lateral_stiffness, mode_model_error,
    )  # fmt: skip
    bolt = make_bolt(
        bolt_diameter / 1e3, bolt_pitch / 1e3, bolt_head_diameter / 1e3, bolt_grip / 1e3,
        bolt_modulus * 1e9, bracket.modulus, (bolt_yield_strength * 1e6,
        bolt_ultimate_strength * 1e6), bolt_torque, nut_factor, preload_scatter, preload_loss,
        expansion_difference * 1e-6 * joint_temperature_change, thread_friction, joint_friction,
    )  # fmt: skip
    shaken = design_accelerations(
        modes_of(body, bracket, 0.0), amplification, random_level_tolerance, acoustic_response,
        quasi_static_load,
    )  # fmt: skip
    return margins(
        body, bracket, bolt, shaken, quasi_static_load, structure_model_factor,
        (leg_yield_strength * 1e6, leg_ultimate_strength * 1e6),
        Factors(yield_factor, ultimate_factor, gapping_factor, slip_factor),
    )  # fmt: skip


def make_bolt(
    diameter: float,
    pitch: float,
    head: float,
    grip: float,
    modulus: float,
    clamped_modulus: float,
    strength: tuple[float, float],
    torque: float,
    nut_factor: float,
    scatter: float,
    loss: float,
    expansion: float,
    thread_friction: float,
    friction: float,
) -> Bolt:
    """Return the bolt with its lowest and highest preload; SI units, expansion as a strain.

    The clamped parts are two frusta, each half of the grip. Temperature may act either way.
    """
    area = joint.stress_area(diameter, pitch)
    stiffness = joint.bolt_stiffness(modulus, area, grip)
    clamped = joint.frustum_stiffness(clamped_modulus, diameter, head, grip / 2.0) / 2.0
    preload = joint.preload_of_torque(torque, nut_factor, diameter)
    warmth = joint.thermal_preload(expansion, 1.0, stiffness, clamped, grip)
    ends = (
        preload * (1.0 - scatter) * (1.0 - loss) - warmth,
        preload * (1.0 + scatter) + warmth,
    )
    torsion = joint.torsion_stress(ends[1], diameter, pitch, thread_friction)
    return Bolt(diameter, area, stiffness, clamped, ends, torsion, *strength, friction)


def design_accelerations(
    modes: Frequencies,
    amplification: float,
    level_tolerance: float,
    acoustic: float,
    quasi_static: float,
) -> dict[str, float]:
    """Return the acceleration of each axis in g0 when it is shaken, without factors.

    quasi-static + 3 sqrt(random^2 + acoustic^2), random and acoustic as rms responses.
    """
    spectrum = read_spectrum(DATA / "vibration_spectrum.csv")
    return {
        axis: quasi_static
        + 3.0
        * sqrt(
            power(highest_response(f, amplification, spectrum) * (1.0 + level_tolerance), 2)
            + power(acoustic, 2)
        )
        for axis, f in zip_axes(modes)
    }


def worst_bolt(
    body: Body, bracket: Bracket, accelerations: tuple[float, float, float], factor: float
) -> Load:
    """Return tension and shear of the worst of the four bolts in N, of accelerations in g0."""
    weight = body.mass * STANDARD_GRAVITY * factor
    x, y, z = (weight * each for each in accelerations)
    sx, sy = bracket.spacing_x, bracket.spacing_y
    tension = z * (0.25 + body.offset / (2.0 * sx) + body.offset / (2.0 * sy))
    tension = tension + body.height * (x / (2.0 * sx) + y / (2.0 * sy))
    radius = hypot(sx, sy) / 2.0
    return tension, hypot(x, y) * (0.25 + body.offset / (4.0 * radius))


def leg_stress(
    body: Body, bracket: Bracket, accelerations: tuple[float, float, float], factor: float
) -> float:
    """Return the highest stress in a sheet in Pa, of accelerations in g0; all axes add up."""
    weight = body.mass * STANDARD_GRAVITY * factor
    x, y, z = (weight * each for each in accelerations)
    width, thickness, length = bracket.width, bracket.thickness, bracket.height
    across = 6.0 * (x / 2.0 * length / 2.0) / (width * power(thickness, 2))
    along = 6.0 * (y / 2.0) * (body.height + length) / (thickness * power(width, 2))
    upright = (z / 2.0 + x * body.height / bracket.spacing_x) / (width * thickness)
    return across + along + upright


def margins(
    body: Body,
    bracket: Bracket,
    bolt: Bolt,
    shaken: Mapping[str, float],
    quasi_static: float,
    model_factor: float,
    leg_strength: tuple[float, float],
    factors: Factors,
) -> StructureMargins:
    """Return all margins of safety; the axis that is shaken names the case."""
    tension, shear, stress = {}, {}, {}
    bolts: dict[str, float] = {}
    legs: dict[str, float] = {}
    for index, axis in enumerate(AXES):
        x, y, z = (shaken[axis] if i == index else quasi_static for i in range(3))
        load = worst_bolt(body, bracket, (x, y, z), model_factor)
        tension[axis], shear[axis] = load[0] / 1e3, load[1] / 1e3
        stressed = leg_stress(body, bracket, (x, y, z), model_factor)
        stress[axis] = stressed / 1e6
        bolts |= {f"{mode}, {axis}": margin for mode, margin in bolt_margins(bolt, load, factors)}
        legs[f"yield, {axis}"] = leg_strength[0] / (stressed * factors.on_yield) - 1.0
        legs[f"ultimate, {axis}"] = leg_strength[1] / (stressed * factors.on_ultimate) - 1.0
    lowest, highest = bolt.preload
    return StructureMargins(
        dict(shaken), highest / 1e3, lowest / 1e3, tension, shear, stress, bolts, legs
    )


def bolt_margins(bolt: Bolt, load: Load, factors: Factors) -> list[tuple[str, float]]:
    """Return (mode of failure, margin of safety) of a bolt under its outer tension and shear."""
    tension, shear = load
    lowest, highest = bolt.preload
    share = joint.load_share(bolt.stiffness, bolt.clamped)
    held = joint.yield_margin(
        bolt.yield_strength, bolt.area, highest, tension, share, bolt.torsion, factors.on_yield
    )
    broken = joint.combined_margin(
        bolt.ultimate_strength, bolt.area, highest, tension, share, shear, factors.on_ultimate
    )
    gap = joint.gapping_margin(lowest, tension, share, factors.on_gapping)
    slip = joint.slip_margin(lowest, tension, share, shear, bolt.friction, factors.on_slip)
    return [("yield", held), ("ultimate", broken), ("gapping", gap), ("slip", slip)]
