"""Faces of the recorder's box, and heat capacities of its two bodies, from sizes and masses."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, NamedTuple

from analyses.mass_and_stiffness import MASS_LIST
from analyses.physics.csv_table import number, read_rows
from closeout import analysis
from closeout.math import maximum
from closeout.units import J_per_K, Unit, count, g, kg, m2, mm

BATTERY_CASE = "battery case and protection"  # of the mass list

J_per_g_K = Annotated[float, Unit("J/(g K)")]


class OuterFaces(NamedTuple):
    largest_face: m2
    outer_area: m2  # of all faces but the one that is mounted


class HeatCapacities(NamedTuple):
    housing_capacity: J_per_K  # of all but cells and their case
    battery_heat_capacity: J_per_K  # of cells and their case


@analysis(validated_by="tests/analyses/test_box_properties.py")
def outer_faces(box_length: mm, box_width: mm, box_height: mm) -> OuterFaces:
    """Compute the largest outer face of the recorder, and the area of all that air can reach.

    **Model.** A closed box that stands on its mounting plane, of length times width.

    **On the safe side.** The sizes are those of the envelope, so each area is a bound from above:
    safe for heat from Sun, Earth, air and plume, and for the loss of conditioned air, hot and cold.

    **Sources.** Area of a rectangle. The sizes are invented.

    **Not covered.** Lens covers, connectors and feet; what the blanket leaves free to radiate,
    which is no outer face as a whole (radiating_area).
    """
    length, width, height = box_length / 1e3, box_width / 1e3, box_height / 1e3
    base, front, side = length * width, length * height, width * height
    return OuterFaces(maximum(base, maximum(front, side)), base + 2.0 * (front + side))


@analysis(validated_by="tests/analyses/test_box_properties.py")
def heat_capacities(
    weighed_mass: kg,
    cells_in_series: count,
    cells_in_parallel: count,
    cell_mass: g,
    parts_specific_heat: J_per_g_K,
    cell_specific_heat: J_per_g_K,
) -> HeatCapacities:
    """Compute the heat capacities of housing and battery from the mass that was weighed.

    **Model.** Mass times specific heat. The battery is the cells and their case
    (`analyses/data/mass_list.csv`), the housing all that is left of the recorder's weighed mass:
    boards, cameras and harness too.

    **On the safe side.** The engineering model was weighed, which lacks coating and a timer, 24 g.
    The flight model is heavier and slower to warm up and to cool down, so that no temperature of it
    is further out. Growth of the mass acts the same way, and no contingency is added.

    **Sources.** Definition of the specific heat. Specific heats are declared parameters.

    **Not covered.** Parts that are loosely tied to the housing and take no heat in minutes (lens,
    antenna): some hundred grams, within the range of the specific heat.

    **Caution.** Nothing here makes a hot cell safe.
    """
    cells = cells_in_series * cells_in_parallel * cell_mass  # g
    case = case_mass(MASS_LIST)
    return HeatCapacities(
        housing_capacity=parts_specific_heat * (1e3 * weighed_mass - cells - case),
        battery_heat_capacity=cell_specific_heat * cells + parts_specific_heat * case,
    )


def case_mass(path: Path) -> g:
    """Return the mass of the battery's case in g.

    Raises:
        ValueError: the mass list has no such line, or several.
    """
    rows = read_rows(path, ("item", "count", "mass_g"))
    lines = [row for row in rows if row["item"] == BATTERY_CASE]
    if len(lines) != 1:
        raise ValueError(f"{path.name}: {len(lines)} lines of {BATTERY_CASE}, and not one")
    return number(path, lines[0], "count") * number(path, lines[0], "mass_g")
