"""Faces and heat capacities of the recorder: by hand, by pint, directions, broken tables."""

from __future__ import annotations

from pathlib import Path

import pint
import pytest

from analyses.box_properties import case_mass, heat_capacities, outer_faces
from tests.analyses.declared import Declared

FACES, CAPACITIES = Declared(outer_faces), Declared(heat_capacities)
HEAD = "item,count,mass_g,maturity\n"


def test_faces_by_hand() -> None:
    """200 mm x 160 mm x 110 mm: 0.032 m2 on top, 0.022 m2 and 0.0176 m2 twice on the sides."""
    found = outer_faces(200.0, 160.0, 110.0)
    assert found.largest_face == pytest.approx(0.032)
    assert found.outer_area == pytest.approx(0.032 + 2 * 0.022 + 2 * 0.0176)


@pytest.mark.parametrize("sizes", [(1, 2, 3), (3, 1, 2), (2, 3, 1)])
def test_the_largest_face_is_that_of_the_two_longest_sides(sizes: tuple[float, ...]) -> None:
    assert outer_faces(*(1e3 * size for size in sizes)).largest_face == pytest.approx(6.0)


def test_capacities_by_pint() -> None:
    """3 kg with 8 cells of 50 g and a case of 196 g: what is left is the housing."""
    unit = pint.UnitRegistry()
    specific = unit("J/(g K)")
    cells, case = 8 * 50 * unit.g, 196 * unit.g
    housing = 0.8 * specific * (3 * unit.kg - cells - case)
    battery = 1.1 * specific * cells + 0.8 * specific * case
    found = heat_capacities(3.0, 4.0, 2.0, 50.0, 0.8, 1.1)
    assert found.housing_capacity == pytest.approx(housing.to("J/K").magnitude)
    assert found.battery_heat_capacity == pytest.approx(battery.to("J/K").magnitude)


@pytest.mark.parametrize(
    ("name", "housing", "battery"),
    [
        ("weighed_mass", 1, 0), ("cell_mass", -1, 1), ("parts_specific_heat", 1, 1),
        ("cell_specific_heat", 0, 1), ("cells_in_parallel", -1, 1),
    ],
)  # fmt: skip
def test_directions(name: str, housing: int, battery: int) -> None:
    """S: a heavier housing or battery warms up and cools down more slowly."""
    before, after = CAPACITIES.find(), CAPACITIES.find(**{name: 1.1 * CAPACITIES.values[name]})
    for quantity, sign in (("housing_capacity", housing), ("battery_heat_capacity", battery)):
        change = getattr(after, quantity) - getattr(before, quantity)
        assert (change > 0) - (change < 0) == sign


@pytest.mark.parametrize("lines", ["", "battery case and protection,1,5,new\n" * 2])
def test_a_list_without_one_case_is_refused(tmp_path: Path, lines: str) -> None:
    path = tmp_path / "list.csv"
    path.write_text(HEAD + "antenna,1,5,new\n" + lines, "utf-8")
    with pytest.raises(ValueError, match="lines of battery case and protection, and not one"):
        case_mass(path)
