"""Mass budget of the recorder, and its natural frequencies for the stiffness that is asked."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, NamedTuple

from analyses.box_on_bracket import Body, lowest_frequencies, make_bracket
from analyses.physics import vibration
from analyses.physics.csv_table import number, read_rows
from closeout import analysis
from closeout.math import minimum
from closeout.units import GPa, Hz, Unit, count, g, kg, mm, ratio

DATA = Path(__file__).parent / "data"
MASS_LIST = DATA / "mass_list.csv"
POISSON_BOARD = 0.12  # glass-fibre laminate; common practice, no source

kN_per_mm = Annotated[float, Unit("kN/mm")]
kg_per_m2 = Annotated[float, Unit("kg/m^2")]
ByPart = Annotated[Mapping[str, float], Unit("kg")]


class MassBudget(NamedTuple):
    basic_mass: ByPart  # best estimate of each line, all pieces of it
    total_basic_mass: kg
    contingency: kg  # by maturity, of all lines
    recorder_mass: kg  # with contingency and the uncertainty of the weighing


class Modes(NamedTuple):
    """Lower bounds, safe for stiffness alone: loads rise with frequency (`structure_margins`)."""

    lateral_mode_x: Hz  # across the legs: they bend, the box slides and rocks
    lateral_mode_y: Hz  # in the plane of the legs
    axial_mode: Hz
    board_mode: Hz
    first_mode: Hz  # on a rigid fixture
    first_mode_on_stage: Hz  # the stage's structure under the bolts yields too


# mass


@analysis(validated_by="tests/analyses/test_mass_and_stiffness.py")
def mass_budget(
    cells_in_series: count,
    cells_in_parallel: count,
    cell_mass: g,
    cameras: count,
    contingency_off_the_shelf: ratio,
    contingency_modified: ratio,
    contingency_new: ratio,
    weighing_uncertainty: kg,
) -> MassBudget:
    """Mass of the recorder line by line, with the contingency that the maturity of each line asks.

    **Model.** Sum of pieces x mass x (1 + contingency) over `analyses/data/mass_list.csv` and the
    cells, whose number is that of the battery; a count that another analysis needs as well is a
    parameter (`cameras`). The expanded uncertainty of the weighing is added,
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
    lines = read_mass_list(MASS_LIST, set(contingency), {"cameras": cameras})
    for item, (mass, maturity) in lines.items():
        basic[item] = mass
        grown = grown + mass * contingency[maturity]
    total = sum(basic.values())
    return MassBudget(basic, total, grown, total + grown + weighing_uncertainty)


def read_mass_list(
    path: Path, maturities: set[str], counts: Mapping[str, float]
) -> dict[str, tuple[float, str]]:
    """Return (kg of all pieces, maturity) of each line of the mass list.

    Args:
        counts: of what has a parameter's name in place of a number.

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
            (counts[row["count"]] if row["count"] in counts else number(path, row, "count"))
            * number(path, row, "mass_g")
            / 1000.0,
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
    gives a lower bound: safe here, where the frequency must be high enough, and unsafe for loads,
    which `random_response` and `structure_margins` find from both modes without it. Across the
    sheets, one sheet is pulled and one pushed when the box rocks. The board is a plate on simple
    supports with all of its mass spread over it. The lowest of the four is the first mode; on the
    kick stage the stiffness of the stage's structure, the same in each direction and shared by the
    four bolts, comes in series, for sliding and for rocking. An error of the model is applied to
    each.

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
    rigid = lowest_frequencies(body, bracket)
    soft = lowest_frequencies(body, bracket, 1.0 / (stage_stiffness * 1e6))
    return Modes(
        lateral_mode_x=rigid.x,
        lateral_mode_y=rigid.y,
        axial_mode=rigid.z,
        board_mode=board,
        first_mode=minimum(minimum(rigid.x, rigid.y), minimum(rigid.z, board)),
        first_mode_on_stage=minimum(minimum(soft.x, soft.y), minimum(soft.z, board)),
    )
