"""What is needed to do a worst case again by hand, on the terminal, in JSON and in the report.

The expected numbers are sums and products of the parameters, done by hand beside each check.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.cli.project import Project, make

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

CHARTER = """\
project:
  name: Winch
  note: Invented for a test.
  reviews: [CDR]
  policy:
    contingency:
      - {parameters: ["*_mass"], by_maturity: {estimated: 10 %}}
"""

PARAMETERS = """\
parameters:
  box_mass: {value: 4 kg, tolerance: 0.5 kg, source: Invented, maturity: estimated}
  arm: {value: 0.5 m, tolerance: 0.1 m, source: Invented}
  span: {value: 3 s, source: Invented}
  pull: {from: winch.torque}
"""

MODULE = '''\
"""A winch."""
from typing import Annotated, NamedTuple

from closeout import analysis
from closeout.math import table
from closeout.units import N, N_m, Unit, W, kg, m, s

DRAG = ((0.0, 0.0), (10.0, 2.0), (100.0, 20.0))


def weight(mass: kg) -> N:
    """Return the weight of a mass, at 9.8 m/s^2 (a rounded value, for a test).

    Raises:
        ValueError: never.
    """
    return 9.8 * mass


def drag(torque: N_m) -> N_m:
    """Return what the bearing takes of a torque (an invented table)."""
    return table(torque, DRAG)


class Winch(NamedTuple):
    torque: N_m
    left: N_m


@analysis(model_uncertainty={"left": "0.5 N m"})
def winch(box_mass: kg, arm: m) -> Winch:
    """A weight on an arm."""
    torque = weight(box_mass) * arm
    return Winch(torque, torque - drag(torque))


class Turn(NamedTuple):
    power: W


@analysis
def turn(pull: N_m, span: s) -> Turn:
    """What a turn takes in some time."""
    return Turn(pull / span)


@analysis
def march(arm: m, span: s) -> Turn:
    """The same by steps, which asks for one number."""
    steps = 0
    while steps < float(span):
        steps += 1
    return Turn(arm * steps)
'''

CRITERIA = (
    "analysis: winch, quantity: left, at_least: 10 N m",
    "analysis: turn, quantity: power, at_most: 20 W",
    "analysis: march, quantity: power, at_most: 2 W",
    "analysis: winch, quantity: left, at_least: 1 N m, basis: root sum square",
)


@pytest.fixture(scope="module")
def winch(tmp_path_factory: pytest.TempPathFactory) -> Project:
    items = "".join(
        f"  - id: R-{number}\n    title: Winch\n    source: Invented\n"
        "    statement: The winch shall hold.\n    verification:\n"
        f"      - {{method: analysis, {one}}}\n"
        for number, one in enumerate(CRITERIA)
    )
    return make(
        tmp_path_factory.mktemp("winch") / "p",
        {
            "requirements/project.yaml": CHARTER,
            "requirements/r.yaml": f"requirements:\n{items}",
            "analyses/p.yaml": PARAMETERS,
            "analyses/a.py": MODULE,
        },
    )


def explained(project: Project, name: str, folder: Path) -> tuple[str, dict[str, Any]]:
    run = project.run("explain", name, "--json", str(folder / "e.json"))
    assert run.status == 0, run.said
    (one,) = json.loads((folder / "e.json").read_text())["derivations"]
    return " ".join(run.stdout.split()), one


def test_a_worst_case_with_its_arguments_functions_and_sum(winch: Project, tmp_path: Path) -> None:
    text, one = explained(winch, "R-0", tmp_path)
    # 4 kg + 10 % = 4.4 kg, of which 0.5 kg less is the worst, and 0.5 m - 0.1 m: 3.9 kg and 0.4 m.
    assert "box_mass 4.4 kg 3.9 kg arm 0.5 m 0.4 m the other arguments are as at the inputs" in text
    assert "box_mass: 4 kg as declared, with contingency (up 10 % for estimated): 4.4 kg" in text
    torque = 9.8 * 3.9 * 0.4
    # Between 10 N m and 100 N m the table is a straight line: 0.2 of the torque.
    left = torque - 0.2 * torque
    assert f"the analysis gives {left:.6g} N m" in text
    assert f"{left:.6g} N m - 0.5 N m (model uncertainty) = {left - 0.5:.6g} N m" in text
    assert f"judged {left - 0.5:.6g} N m against at least 10 N m" in text
    assert f"where it is decided: mass = 3.9 kg -> {9.8 * 3.9:.6g} N" in text
    assert "points of drag, straight lines between: 0: 0; 10: 2; 100: 20" in text
    assert {a["name"]: (a["value"], a["there"], a["unit"]) for a in one["arguments"]} == {
        "box_mass": (pytest.approx(4.4), pytest.approx(3.9), "kg"),
        "arm": (0.5, 0.4, "m"),
    }
    assert [f["name"] for f in one["worst"]["functions"]] == ["weight", "drag"]
    (given,) = one["worst"]["functions"][0]["gave"]
    assert (given["value"], given["unit"]) == (pytest.approx(9.8 * 3.9), "N")
    steps = {step["quantity"]: (step["value"], step["unit"]) for step in one["worst"]["steps"]}
    assert steps["torque"] == (pytest.approx(torque), "N m")


def test_what_another_analysis_computes_has_its_value_at_both_points(
    winch: Project, tmp_path: Path
) -> None:
    text, one = explained(winch, "R-1", tmp_path)
    # 9.8 * 4.4 kg * 0.5 m at the inputs, 9.8 * 4.9 kg * 0.6 m at the worst end.
    assert f"pull {9.8 * 4.4 * 0.5:.6g} N m {9.8 * 4.9 * 0.6:.6g} N m" in text
    assert f"= {9.8 * 4.9 * 0.6 / 3:.6g} W" in text
    assert "An analysis with a report of its own" in text
    assert one["steps"][-1]["unit"] == "W"


def test_a_march_has_inputs_and_result_and_no_derivation(winch: Project, tmp_path: Path) -> None:
    text, one = explained(winch, "R-2", tmp_path)
    assert "arm 0.5 m 0.6 m" in text
    assert f"the analysis gives {0.6 * 3:.6g} W" in text
    assert "no symbolic form" in text
    assert (one["steps"], one["worst"]["steps"]) == ([], [])


def test_by_root_sum_square_no_point_decides_and_that_is_said(
    winch: Project, tmp_path: Path
) -> None:
    text, one = explained(winch, "R-3", tmp_path)
    assert "by root sum square the inputs vary together, so no single set of inputs decides" in text
    assert "where it is decided" not in text
    assert one["worst"] is None
    assert {a["there"] for a in one["arguments"]} == {None}


def test_the_report_has_the_same_and_no_word_for_programmers(
    winch: Project, tmp_path: Path
) -> None:
    assert winch.run("package", "-o", str(tmp_path / "out")).status == 0
    report = next((tmp_path / "out").rglob("winch.md")).read_text("utf-8")
    assert "| box_mass | 4.4 kg | 3.9 kg |" in report
    assert f"| gives result | {9.8 * 4.4:.6g} N | {9.8 * 3.9:.6g} N |" in report
    assert "Return the weight of a mass" in report
    assert "ValueError" not in report
    below = next((tmp_path / "out").rglob("turn.md")).read_text("utf-8")
    table = below.split("Inputs of the analyses below it")[1].split("\n\n")[1]
    assert "| box_mass | 4.9 kg |" in table
    assert "| arm | 0.6 m |" in table
