"""Mass and natural frequencies: sums by hand, and the direction of each input."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any, get_type_hints

import pytest
import yaml
from uncertainties import ufloat

from analyses import mass_and_stiffness as structure
from analyses.physics.csv_table import read_rows
from analyses.random_vibration import random_response
from tests.analyses.declared import found_for

ROOT = Path(__file__).parents[2]


def read(text: object) -> float:
    """Return the number of an amount; per cent as a ratio, everything else in its own unit."""
    number, _, unit = str(text).partition(" ")
    return float(number) / 100 if unit == "%" else float(number)


DECLARED: dict[str, Any] = {}
for name in ("structure", "power", "recorder"):
    path = ROOT / "analyses" / f"{name}.yaml"
    DECLARED |= yaml.safe_load(path.read_text("utf-8"))["parameters"]
VALUES = {
    name: read(fields["value"]) if "value" in fields else found_for(name)[0]
    for name, fields in DECLARED.items()
    if "value" in fields or name == "design_mass"
}


def find(analysis: Any, **changed: float) -> Any:
    """Return the results of an analysis at the declared values, some of them changed."""
    names = [name for name in get_type_hints(analysis.function) if name != "return"]
    return analysis(**{name: changed.get(name, VALUES[name]) for name in names})


# --- mass -----------------------------------------------------------------------------------------


def test_mass_by_hand() -> None:
    """Eight cells of 48 g are 0.384 kg; g is the gram and not standard gravity."""
    found = find(structure.mass_budget)
    assert found.basic_mass["cells"] == pytest.approx(8 * 48 / 1000, rel=1e-12)
    assert found.basic_mass["camera with lens"] == pytest.approx(2 * 168 / 1000)
    assert found.total_basic_mass == pytest.approx(sum(found.basic_mass.values()))
    # off the shelf 5 %, modified 10 %, new 20 %: lines of the list in g
    grown = (
        0.05 * (384 + 336 + 36 + 214 + 96 + 48)
        + 0.10 * (118 + 92 + 180)
        + 0.20 * (196 + 104 + 62 + 662 + 214 + 58 + 10)
    )
    assert found.contingency == pytest.approx(grown / 1000)
    assert found.recorder_mass == pytest.approx(found.total_basic_mass + grown / 1000 + 0.02)


@pytest.mark.parametrize(
    ("name", "published"),
    # ECSS practice, as printed in an instrument interface document.
    [
        ("contingency_off_the_shelf", 0.05),
        ("contingency_modified", 0.10),
        ("contingency_new", 0.20),
    ],
)
def test_contingency_is_the_published_one(name: str, published: float) -> None:
    """1 kg more of such parts is so much more contingency: 5 %, 10 % and 20 %."""
    assert VALUES[name] == published
    lines = read_rows(
        ROOT / "analyses" / "data" / "mass_list.csv", ("item", "count", "mass_g", "maturity")
    )
    maturity = name.removeprefix("contingency_").replace("_", " ")
    grams = [pieces(x) * float(x["mass_g"]) for x in lines if x["maturity"] == maturity]
    if maturity == "off the shelf":
        grams.append(8 * VALUES["cell_mass"])
    without = find(structure.mass_budget, **{name: 0.0}).contingency
    grown = find(structure.mass_budget).contingency - without
    assert grown == pytest.approx(published * sum(grams) / 1000, rel=1e-9)


def test_mass_and_its_spread_by_uncertainties() -> None:
    """The library `uncertainties`: 2 g of each piece, independent, and 0.5 g common to the cells.

    Law of propagation: the sum is the same, and the cells' common error counts eight times.
    """
    lines = read_rows(ROOT / "analyses" / "data" / "mass_list.csv", ("item", "count", "mass_g"))
    total = 8 * ufloat(VALUES["cell_mass"], 0.5)
    for row in lines:
        total += sum(ufloat(float(row["mass_g"]), 2.0) for _ in range(pieces(row)))
    found = find(structure.mass_budget)
    assert found.total_basic_mass == pytest.approx(total.nominal_value / 1000, rel=1e-12)
    heavier = find(structure.mass_budget, cell_mass=VALUES["cell_mass"] + 0.5)
    many = sum(map(pieces, lines))
    common = 1000 * (heavier.total_basic_mass - found.total_basic_mass)
    assert math.hypot(common, 2.0 * math.sqrt(many)) == pytest.approx(total.std_dev, rel=1e-9)


def pieces(row: Mapping[str, str]) -> int:
    return 2 if row["count"] == "cameras" else int(row["count"])  # recorder.yaml


def test_as_many_cameras_are_weighed_as_fly() -> None:
    more = find(structure.mass_budget, cameras=3).total_basic_mass
    assert more - find(structure.mass_budget).total_basic_mass == pytest.approx(0.168)


def test_more_cells_weigh_more() -> None:
    assert find(structure.mass_budget, cells_in_parallel=3).recorder_mass == pytest.approx(
        find(structure.mass_budget).recorder_mass + 4 * 0.048 * 1.05
    )


@pytest.mark.parametrize(
    "name",
    [
        "cell_mass", "contingency_off_the_shelf", "contingency_modified", "contingency_new",
        "weighing_uncertainty",
    ],
)  # fmt: skip
def test_each_raises_the_mass(name: str) -> None:
    more = find(structure.mass_budget, **{name: 1.1 * VALUES[name]})
    assert more.recorder_mass > find(structure.mass_budget).recorder_mass


def test_a_list_with_an_unknown_maturity_or_a_line_twice_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text("item,count,mass_g,maturity\na,1,5,new\nb,1,5,old\na,1,5,new\n", "utf-8")
    with pytest.raises(ValueError, match=r"unknown maturity of \['b'\], given twice \['a'\]"):
        structure.read_mass_list(path, {"new"}, {})


# --- modes ----------------------------------------------------------------------------------------


def test_modes_by_hand() -> None:
    """Sheets, joints and rocking in series, with the numbers of the parameter file."""
    found = find(structure.natural_frequencies)
    bending = 0.04**3 / (12 * 70e9 * 0.14 * 0.004**3 / 12)
    shear = 1.2 * 0.04 / (70e9 / 2.66 * 0.14 * 0.004)
    flexible = (bending + shear) / 2 + 1 / (4 * 2.6e6)
    axial = 1 / (0.04 / (2 * 70e9 * 0.14 * 0.004) + 1 / (4 * 16e6))
    rocking = axial * 0.17**2 / 4
    turn = (0.055**2 + 0.05**2) / rocking
    expected = 1 / (2 * math.pi * math.sqrt(3.2 * (flexible + turn)))
    assert found.lateral_mode_x == pytest.approx(expected, rel=1e-12)
    assert found.axial_mode == pytest.approx(math.sqrt(axial / 3.2) / (2 * math.pi), rel=1e-12)


def test_first_mode_is_the_lowest() -> None:
    found = find(structure.natural_frequencies)
    lowest = min(found.lateral_mode_x, found.lateral_mode_y, found.axial_mode, found.board_mode)
    assert found.first_mode == lowest
    soft = find(structure.natural_frequencies, board_thickness=0.5)
    assert soft.first_mode == soft.board_mode < lowest


@pytest.mark.parametrize(
    ("name", "factor"),
    [
        ("design_mass", 1.1), ("cg_height", 1.1), ("gyration_radius", 1.1), ("leg_modulus", 0.9),
        ("leg_width", 0.9), ("leg_thickness", 0.9), ("leg_height", 1.1), ("bolt_spacing_x", 0.9),
        ("joint_axial_stiffness", 0.9), ("joint_lateral_stiffness", 0.9),
    ],
)  # fmt: skip
def test_each_lowers_the_first_mode(name: str, factor: float) -> None:
    """S: the stiffness of the mounting counts, like mass and bracket."""
    before = find(structure.natural_frequencies)
    after = find(structure.natural_frequencies, **{name: factor * VALUES[name]})
    assert after.first_mode < before.first_mode
    if name != "bolt_spacing_x":  # on the stage the box rocks over y first
        assert after.first_mode_on_stage < before.first_mode_on_stage


def test_narrower_bolts_lower_the_mode_on_the_stage() -> None:
    """S: the stage under the bolts turns the more, the nearer they are."""
    before = find(structure.natural_frequencies)
    after = find(structure.natural_frequencies, bolt_spacing_y=0.9 * VALUES["bolt_spacing_y"])
    assert after.first_mode_on_stage < before.first_mode_on_stage


def test_mounting_and_model_error_lower_the_mode() -> None:
    """S: first mode with mounting stiffness; softer is worse, rigid is the fixture."""
    stage = [
        find(structure.natural_frequencies, stage_stiffness=k).first_mode_on_stage
        for k in (10, 20, 1e9)
    ]
    fixture = find(structure.natural_frequencies)
    assert stage[0] < stage[1] < stage[2] == pytest.approx(fixture.first_mode, rel=1e-6)
    worse = find(structure.natural_frequencies, mode_model_error=-0.1)
    assert worse.first_mode == pytest.approx(0.9 * fixture.first_mode)


def test_first_mode_on_the_stage_by_hand() -> None:
    """S: 20 kN/mm under four bolts, 5 kN/mm each: it gives way and it turns the box.

    Springs of 5 kN/mm at plus and minus half of the spacing: k_r = 4 x 5e6 (s/2)^2.
    """
    found = find(structure.natural_frequencies)
    inertia, joint, stage = 0.004 * 0.14**3 / 12, 16e6, 5e6
    along = 0.04**3 / (12 * 70e9 * inertia) + 1.2 * 0.04 / (70e9 / 2.66 * 0.14 * 0.004)
    slide = along / 2 + 1 / (4 * 2.6e6) + 1 / 20e6
    turn = 0.04 / (2 * 70e9 * inertia) + 1 / (joint * 0.11**2) + 1 / (stage * 0.11**2)
    y = 1 / (2 * math.pi * math.sqrt(3.2 * (slide + (0.055**2 + 0.05**2) * turn)))
    across = 0.04**3 / (12 * 70e9 * 0.14 * 0.004**3 / 12) + 1.2 * 0.04 / (
        70e9 / 2.66 * 0.14 * 0.004
    )
    sheet = 0.04 / (70e9 * 0.14 * 0.004) + 1 / (2 * joint) + 1 / (2 * stage)  # of one side
    turn_x = sheet / (2 * (0.17 / 2) ** 2)
    slide_x = across / 2 + 1 / (4 * 2.6e6) + 1 / 20e6
    x = 1 / (2 * math.pi * math.sqrt(3.2 * (slide_x + (0.055**2 + 0.05**2) * turn_x)))
    assert found.first_mode_on_stage == pytest.approx(min(x, y), rel=1e-12)


def test_board_directions() -> None:
    before = find(structure.natural_frequencies).board_mode
    for name, factor in (
        ("board_modulus", 0.9), ("board_thickness", 0.9), ("board_area_mass", 1.1),
        ("board_length", 1.1), ("board_width", 1.1),
    ):  # fmt: skip
        changed = find(structure.natural_frequencies, **{name: factor * VALUES[name]})
        assert changed.board_mode < before, name


@pytest.mark.parametrize("axis", ["x", "y"])
def test_what_is_asked_for_stiffness_is_below_the_exact_mode(axis: str) -> None:
    """S: each side of a bound has its use; `test_random_vibration` holds the other side."""
    lowest = find(structure.natural_frequencies)
    exact = find(random_response).mode[f"{axis}, first"]
    assert getattr(lowest, f"lateral_mode_{axis}") < exact


def test_gravity_and_gram_are_kept_apart() -> None:
    """The mass list is in gram and gives kilograms."""
    hints = get_type_hints(structure.mass_budget.function, include_extras=True)
    assert hints["cell_mass"].__metadata__[0].text == "g"
