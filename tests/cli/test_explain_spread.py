"""How far a quantity spreads, by one method beside the other, and where two parameters turn it.

The invented lantern of tests/cli/project.py: energy = voltage times charge, 12 V +/- 0.5 V and
5 A h +/- 0.25 A h. By hand: extreme values 11.5 x 4.75 = 54.625 and 12.5 x 5.25 = 65.625; root sum
square 60 -+ sqrt((5 x 0.5)^2 + (12 x 0.25)^2) = 60 -+ 3.905.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.cli.project import ANALYSIS, CHARTER, PARAMETERS, WARMTH, Project, make

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

REQUIREMENT = """\
requirements:
  - id: R-1
    title: Energy
    source: Invented
    statement: The lantern shall hold at least 54 W h.
    verification:
      - method: analysis
        review: CDR
        analysis: energy
        quantity: energy
        at_least: 54 W h
"""


@pytest.fixture
def lantern(tmp_path: Path) -> Project:
    return make(
        tmp_path / "p",
        {
            "requirements/project.yaml": CHARTER,
            "requirements/r.yaml": REQUIREMENT,
            "analyses/p.yaml": PARAMETERS,
            "analyses/energy.py": ANALYSIS,
            "analyses/warmth.py": WARMTH,
        },
    )


def explained(project: Project, *options: str) -> str:
    run = project.run("explain", "R-1", *options)
    assert run.status == 0, run.stderr
    return re.sub(r" +", " ", run.stdout)


def test_extreme_value_and_root_sum_square_stand_side_by_side(lantern: Project) -> None:
    text = explained(lantern)
    assert "extreme value 54.62 W h to 65.63 W h proved over the declared tolerances\n" in text
    assert "root sum square 56.09 W h to 63.91 W h linearisation error up to 0.12" in text


def test_sobol_indices_stand_below_the_shares(lantern: Project) -> None:
    # Variances: 25 x 0.25/3 of the voltage, 144 x 0.0625/3 of the charge: 0.410 and 0.590 of the
    # whole, less the 0.1 % that only both make together.
    rows = re.findall(r"^ (\w+) (0\.\d+) \+/- \S+ (0\.\d+) \+/-", explained(lantern), re.MULTILINE)
    assert [name for name, *_ in rows] == ["charge", "voltage"]
    assert [float(first) for _, first, _ in rows] == pytest.approx([0.590, 0.410], abs=0.04)


def test_a_quantile_is_bounded_where_it_is_asked(lantern: Project) -> None:
    assert "Wilks" not in explained(lantern)
    text = " ".join(explained(lantern, "--quantile", "0.95,0.99").split())
    found = re.search(r"confidence 99 %, at least 95 % of all values are above (\S+) W h", text)
    assert found is not None
    # The fifth of a hundred of 60 with the spread 5 dV + 12 dQ, a trapezium 5 to 6 W h wide each
    # way: F(x) = x^2 / (2 x 5 x 6) from its lower end, 0.05 at 1.73 above 54.5, the product of the
    # two deviations left out, which is at most 0.125.
    assert 56.0 < float(found[1]) < 56.5
    assert "taken as uniform: voltage, charge" in text


def test_the_boundary_of_two_parameters_is_drawn(lantern: Project) -> None:
    text = lantern.run("explain", "R-1", "--boundary", "voltage,charge").stdout
    assert "charge in A h, up to" in text
    assert "voltage in V, " in text
    drawn = [line for line in text.split("\n") if line.startswith("      |")]
    assert len(drawn) == 21
    assert sum("*" in line for line in drawn) >= 10  # 54 W h = voltage x charge, a hyperbola
    assert sum("+" in line for line in drawn) == 1
    # With the two on the axes nothing else is left: both lines are the same, one hides the other.
    assert not any("o" in line for line in drawn)


@pytest.mark.parametrize(
    ("option", "value", "told"),
    [
        ("--boundary", "voltage", "not a pair of parameters"),
        ("--boundary", "voltage,voltage", "not a pair of parameters"),
        ("--quantile", "95,95", "not a share and a confidence"),
        ("--quantile", "much", "not a share and a confidence"),
    ],
)
def test_what_cannot_be_asked_is_told(lantern: Project, option: str, value: str, told: str) -> None:
    run = lantern.run("explain", "R-1", option, value)
    assert run.status == 2
    assert told in run.stderr
    assert "Traceback" not in run.stderr


def test_a_boundary_of_something_else_is_told(lantern: Project) -> None:
    text = explained(lantern, "--boundary", "voltage,cell_temperature")
    assert "cell_temperature is no argument of the analysis" in text


def test_a_what_if_shows_what_it_changes(lantern: Project) -> None:
    text = explained(lantern, "--set", "voltage=11 V")
    assert "WHAT IF" in text
    assert "What the settings change\n R-1 C -> NC margin +0.625 W h -> -4.12 W h" in text


def test_the_command_that_replays_a_counterexample_keeps_the_settings(lantern: Project) -> None:
    run = lantern.run("verify", "--set", "cell_temperature=30 degC", "--set", "charge=4 A h")
    (line,) = [one for one in run.stdout.split("\n") if "closeout verify --set" in one]
    assert "cell_temperature=30 degC" in line
    assert line.count("charge=") == 1
