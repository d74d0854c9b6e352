"""Margins of safety of the bolts and the bracket that hold the recorder."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, NamedTuple

from analyses.box_on_bracket import Body, Bracket, lateral_modes, make_bracket, upright_mode
from analyses.physics import bolted_joint as joint
from analyses.physics.vibration import STANDARD_GRAVITY
from analyses.random_vibration import ByAxis, Response, highest_responses, read_spectrum
from closeout import analysis
from closeout.math import hypot, power, sqrt
from closeout.units import GPa, K, MPa, N, N_m, Pa, Unit, g0, kg, kN, m, m2, mm, ratio

AXES = ("x", "y", "z")

kN_per_mm = Annotated[float, Unit("kN/mm")]
ppm_per_K = Annotated[float, Unit("ppm/K")]
Margins = Annotated[Mapping[str, float], Unit("1")]


class StructureMargins(NamedTuple):
    """Margins of safety: allowable over load with its factors, less one.

    A case is the mode of failure and the axis that is shaken; nothing is shaken at tightening.
    """

    design_acceleration: ByAxis  # of the centre of gravity, along the axis that is shaken
    design_overturning: ByAxis  # moment over mass and height of the centre of gravity; no factors
    lowest_preload: kN
    highest_preload: kN
    tightening_stress: MPa  # tension and the whole torsion of the thread together
    bolt_tension: Annotated[Mapping[str, float], Unit("kN")]  # outer load of the worst bolt
    bolt_shear: Annotated[Mapping[str, float], Unit("kN")]
    leg_stress: Annotated[Mapping[str, float], Unit("MPa")]
    bolt_margin: Margins
    bracket_margin: Margins


class Bolt(NamedTuple):
    """One mounting bolt with what it clamps; SI units."""

    area: m2
    share: ratio  # of an outer tension that it takes, an upper bound
    preload: tuple[float, float]  # lowest, highest, with settling and temperature
    tightened: N  # highest preload as the tool leaves it
    torsion: Pa  # stress by the torque of the thread, at that preload
    yield_strength: Pa
    ultimate_strength: Pa
    friction: ratio


class Factors(NamedTuple):
    on_yield: ratio
    on_ultimate: ratio
    on_gapping: ratio
    on_slip: ratio


class Load(NamedTuple):
    """What the box pulls at its bracket, with its factor; all axes act at once."""

    along: tuple[float, float, float]  # N
    over: tuple[float, float]  # N m in the mounting plane, of what acts along x, along y
    offset: m  # of the centre of gravity along x and along y

    @property
    def torsion(self) -> N_m:
        """Return the moment about z in N m: each lateral force has the other axis' offset."""
        return (self.along[0] + self.along[1]) * self.offset


@analysis(validated_by="tests/analyses/test_structure_strength.py")
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
    axis_coupling: ratio,
    structure_model_factor: ratio,
    bolt_diameter: mm,
    bolt_pitch: mm,
    bolt_head_diameter: mm,
    bolt_hole_diameter: mm,
    bolt_grip: mm,
    bolt_modulus: GPa,
    bolt_yield_strength: MPa,
    bolt_ultimate_strength: MPa,
    bolt_torque: N_m,
    thread_friction: ratio,
    head_friction: ratio,
    preload_scatter: ratio,
    preload_loss: ratio,
    expansion_difference: ppm_per_K,
    joint_temperature_change: K,
    joint_friction: ratio,
    yield_factor: ratio,
    ultimate_factor: ratio,
    gapping_factor: ratio,
    slip_factor: ratio,
) -> StructureMargins:
    """Margins of safety of bolts and bracket under quasi-static load, vibration and noise.

    **Model.** A margin of safety is allowable over load with factors, less one, without unit; it is
    not the margin to a limit that a verdict shows. Design load of the axis that is shaken:
    quasi-static + 3 sigma of the random and acoustic responses together (rms, root of the sum of
    squares) at the upper tolerance of the level; on the two other axes act at the same time the
    quasi-static load and a share of what the shaken axis has beyond it, for the centre of gravity
    is off the middle and joins the axes. All of it times the model factor. The shear of the base
    and its overturning moment m h x'' + m r^2 theta'' have each their own 3 sigma, of both modes of
    sliding and rocking, and are taken as reached together. The worst of the four bolts takes its
    quarter, the overturning moment, and what an offset of the centre of gravity along both axes
    adds in tension and, by the moment about z, in shear.

    **Bolts.** Preload from the torque that turns thread and collar, each with its friction, with
    the scatter that is left, loss by settling, and the change by temperature with either sign.
    Yield at tightening with the whole torsion of the thread; yield and ultimate in service at the
    highest preload, gapping and slip at the lowest. Ultimate takes the shear as if nothing rubbed.
    Slip counts for each bolt alone, though the four share it, and takes outer tension with its
    factor.

    **Bracket.** Bending at the root of a clamped and guided sheet, V L/2, and the upright load of
    rocking; in the plane of the sheets and upright the stress is that of the section alone.

    **Bounds, and what they are safe for.** Responses: upper bounds of the exact ones, safe for
    loads (`random_response` shows both); the lower bound of the frequency is not used, it is safe
    for stiffness only. Share of outer tension that a bolt takes: an upper bound for its stress,
    and nothing for gapping and slip. Torsion by tightening: elastic, above the plastic value. The
    flange is rigid, as in the test: what yields under the bolts lowers the frequencies.

    **Sources.** VDI 2230, ECSS-E-HB-32-23A and NASA-STD-5020 (from memory) and Shigley, chapter 8,
    for the joint; Young (Roark) for the sheets; the two modes as `analyses/physics/two_modes.py`
    says. Factors as the requirement states them.

    **Assumptions.** The responses are Gaussian, so 3 sigma is the peak that is designed for. The
    share that joins the axes holds for an offset of 4 mm and a radius of gyration near 50 mm: a
    model with all six motions of the box and all couplings, in the tests, stays below the loads
    found here all over the declared ranges. Rigid flange, no prying. Half of the torsion by
    tightening is left in service and counts for yield. The head is turned, so the shank takes the
    torque of the thread, and that of the collar ends under the head.

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
    arms = (
        joint.thread_arm(bolt_diameter / 1e3, bolt_pitch / 1e3, thread_friction),
        joint.collar_arm(bolt_head_diameter / 1e3, bolt_hole_diameter / 1e3, head_friction),
    )
    bolt = make_bolt(
        bolt_diameter / 1e3, bolt_pitch / 1e3, bolt_head_diameter / 1e3, bolt_grip / 1e3,
        bolt_modulus * 1e9, bracket.modulus, (bolt_yield_strength * 1e6,
        bolt_ultimate_strength * 1e6), bolt_torque, arms, preload_scatter, preload_loss,
        expansion_difference * 1e-6 * joint_temperature_change, joint_friction,
    )  # fmt: skip
    shaken = design_loads(
        highest_responses(
            lateral_modes(body, bracket), upright_mode(body, bracket), amplification,
            read_spectrum(),
        ),
        random_level_tolerance, acoustic_response, quasi_static_load,
    )  # fmt: skip
    return margins(
        body, bracket, bolt, shaken, quasi_static_load, axis_coupling, structure_model_factor,
        (leg_yield_strength * 1e6, leg_ultimate_strength * 1e6),
        Factors(yield_factor, ultimate_factor, gapping_factor, slip_factor),
    )  # fmt: skip


def make_bolt(
    diameter: m,
    pitch: m,
    head: m,
    grip: m,
    modulus: Pa,
    clamped_modulus: Pa,
    strength: tuple[float, float],
    torque: N_m,
    arms: tuple[float, float],
    scatter: ratio,
    loss: ratio,
    expansion: ratio,
    friction: ratio,
) -> Bolt:
    """Return the bolt with its lowest and highest preload; SI units, expansion as a strain.

    ``arms`` are those of thread and collar. The clamped parts are two frusta, each half of the
    grip. Temperature may act either way.
    """
    area = joint.stress_area(diameter, pitch)
    stiffness = joint.bolt_stiffness(modulus, area, grip)
    clamped = joint.frustum_stiffness(clamped_modulus, diameter, head, grip / 2.0) / 2.0
    preload = joint.preload_of_torque(torque, *arms)
    warmth = joint.thermal_preload(expansion, 1.0, stiffness, clamped, grip)
    tightened = preload * (1.0 + scatter)
    return Bolt(
        area,
        joint.load_share(stiffness, clamped),
        (preload * (1.0 - scatter) * (1.0 - loss) - warmth, tightened + warmth),
        tightened,
        joint.torsion_stress(tightened * arms[0], diameter, pitch),
        *strength,
        friction,
    )


def design_loads(
    responses: Response, level_tolerance: ratio, acoustic: g0, quasi_static: g0
) -> Response:
    """Return acceleration and overturning of each axis in g0 when it is shaken, without factors.

    quasi-static + 3 sqrt(random^2 + acoustic^2), random and acoustic as rms responses. Noise moves
    the box as a whole: its overturning is its acceleration.
    """

    def peaks(random: Mapping[str, float]) -> dict[str, float]:
        return {
            axis: quasi_static
            + 3.0 * sqrt(power(rms * (1.0 + level_tolerance), 2) + power(acoustic, 2))
            for axis, rms in random.items()
        }

    return Response(peaks(responses.acceleration), peaks(responses.overturning))


def load_of(body: Body, shaken: Response, axis: str, others: g0, model_factor: ratio) -> Load:
    """Return the load with one axis shaken and an acceleration in g0 along each of the others."""
    weight = body.mass * STANDARD_GRAVITY * model_factor
    along = dict.fromkeys(AXES, others) | {axis: shaken.acceleration[axis]}
    over = dict.fromkeys("xy", others)
    over |= {one: g for one, g in shaken.overturning.items() if one == axis}
    x, y, z = (weight * along[one] for one in AXES)
    lever = weight * body.height
    return Load((x, y, z), (lever * over["x"], lever * over["y"]), body.offset)


def worst_bolt(load: Load, bracket: Bracket) -> tuple[float, float]:
    """Return the highest tension and shear of the four bolts in N.

    Tension: a quarter, and what the moments about x and y ask of pairs of bolts. Shear: a quarter,
    and the moment about z over four bolts at a radius, as if it had the direction of the first.
    """
    x, y, z = load.along
    sx, sy = bracket.spacing_x, bracket.spacing_y
    over_x, over_y = load.over
    tension = z * (0.25 + load.offset / (2.0 * sx) + load.offset / (2.0 * sy))
    tension = tension + over_x / (2.0 * sx) + over_y / (2.0 * sy)
    return tension, hypot(x, y) / 4.0 + load.torsion / (2.0 * hypot(sx, sy))


def leg_stress(load: Load, bracket: Bracket) -> Pa:
    """Return the highest stress in a sheet in Pa; all axes add up, and so do their maxima."""
    x, y, z = load.along
    over_x, over_y = load.over
    width, thickness, length = bracket.width, bracket.thickness, bracket.height
    across = _bending_across(x, width, thickness, length)
    sideways = _half_and_couple(y, load.torsion, bracket.spacing_x)
    bent = _bending_along(over_y + z * load.offset, sideways, length)
    along = 6.0 * bent / (thickness * power(width, 2))
    upright = _half_and_couple(z, over_x + z * load.offset, bracket.spacing_x)
    return across + along + upright / (width * thickness)


def _bending_across(shear: N, width: m, thickness: m, length: m) -> Pa:
    """Return the stress of half the shear in a sheet that is clamped and guided: 6 (V L/2)/(b t^2).

    V is half of what both sheets take.
    """
    return 6.0 * (shear / 2.0 * length / 2.0) / (width * power(thickness, 2))


def _half_and_couple(force: N, moment: N_m, spacing: m) -> N:
    """Return the force on one of two sheets: half of it, and the couple that a moment asks."""
    return force / 2.0 + moment / spacing


def _bending_along(moment: N_m, force: N, length: m) -> N_m:
    """Return the moment at the root of one of two sheets in its plane."""
    return moment / 2.0 + force * length


def margins(
    body: Body,
    bracket: Bracket,
    bolt: Bolt,
    shaken: Response,
    quasi_static: g0,
    coupling: ratio,
    model_factor: ratio,
    leg_strength: tuple[float, float],
    factors: Factors,
) -> StructureMargins:
    """Return all margins of safety; the axis that is shaken names the case."""
    tension, shear, stress = {}, {}, {}
    bolts = {
        "tightening": joint.tightening_margin(
            bolt.yield_strength, bolt.area, bolt.tightened, bolt.torsion
        )
    }
    legs: dict[str, float] = {}
    for axis in AXES:
        others = quasi_static + coupling * (shaken.acceleration[axis] - quasi_static)
        load = load_of(body, shaken, axis, others, model_factor)
        pulled, sheared = worst_bolt(load, bracket)
        tension[axis], shear[axis] = pulled / 1e3, sheared / 1e3
        stressed = leg_stress(load, bracket)
        stress[axis] = stressed / 1e6
        found = bolt_margins(bolt, pulled, sheared, factors)
        bolts |= {f"{mode}, {axis}": margin for mode, margin in found.items()}
        legs[f"yield, {axis}"] = leg_strength[0] / (stressed * factors.on_yield) - 1.0
        legs[f"ultimate, {axis}"] = leg_strength[1] / (stressed * factors.on_ultimate) - 1.0
    lowest, highest = bolt.preload
    return StructureMargins(
        design_acceleration=shaken.acceleration,
        design_overturning=shaken.overturning,
        lowest_preload=lowest / 1e3,
        highest_preload=highest / 1e3,
        tightening_stress=hypot(bolt.tightened / bolt.area, sqrt(3.0) * bolt.torsion) / 1e6,
        bolt_tension=tension,
        bolt_shear=shear,
        leg_stress=stress,
        bolt_margin=bolts,
        bracket_margin=legs,
    )


def bolt_margins(bolt: Bolt, tension: N, shear: N, factors: Factors) -> Margins:
    """Return the margin of safety of a bolt in service by mode of failure."""
    lowest, highest = bolt.preload
    return {
        "yield": joint.yield_margin(
            bolt.yield_strength, bolt.area, highest, tension, bolt.share, bolt.torsion,
            factors.on_yield,
        ),
        "ultimate": joint.combined_margin(
            bolt.ultimate_strength, bolt.area, highest, tension, bolt.share, shear,
            factors.on_ultimate,
        ),
        "gapping": joint.gapping_margin(lowest, tension, factors.on_gapping),
        "slip": joint.slip_margin(lowest, tension, shear, bolt.friction, factors.on_slip),
    }  # fmt: skip
