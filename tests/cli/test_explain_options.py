"""``explain`` says what it did not do: options without effect, the range of a search, what is
impossible, and what there is for a probability.

The projects are invented; every expected number is worked out by hand, as written beside it.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.cli.project import Project, base, make
from tests.cli.test_chance import CHARTER, MODULE, PARAMETERS, bracket

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

RECORD = """\
requirements:
  - id: R-1
    title: Label
    statement: The bracket shall carry a label.
    source: Invented
    verification:
      - {method: inspection, level: system, stage: qualification, review: CDR, records: [IN-1]}
records:
  - {id: IN-1, method: inspection, title: Label, document: D-1, date: 2026-01-20, outcome: met,
     judged: {R-1: A}}
"""

# loss = 2 W x share of the time: at most 3 W, so the share would have to be 1.5 to break it.
DUTY = '''\
"""Mean power of a lamp that is on for a share of the time."""
from typing import NamedTuple

from closeout import analysis
from closeout.units import K, W, degC, percent


class Mean(NamedTuple):
    power: W
    above_zero: K


@analysis(validated_by="tests/test_all.py")
def mean(lamp_power: W, time_share: percent, wall_temperature: degC) -> Mean:
    """Power when on, times the share of the time; and 300 K above the wall."""
    return Mean(lamp_power * time_share / 100.0, wall_temperature + 300.0)
'''


def said(project: Project, *options: str, identifier: str = "R-1") -> str:
    run = project.run("explain", identifier, *options)
    assert run.status == 0, run.stderr
    return " ".join(run.stdout.split())


@pytest.mark.parametrize(
    "option", [("--quantile", "0.95,0.95"), ("--boundary", "voltage,charge"), ("--latex",)]
)
@pytest.mark.parametrize("identifier", ["R-1", "energy", "voltage"])
def test_an_option_without_effect_says_so(tmp_path: Path, option: tuple[str], identifier: str):
    project = make(tmp_path / "p", base(power=RECORD))
    text = said(project, *option, identifier=identifier)
    assert f"{option[0]} had no effect" in text
    assert "had no effect" not in said(project, identifier=identifier)


def test_a_quantile_where_nothing_has_a_spread_says_so(tmp_path: Path) -> None:
    project = make(tmp_path / "p")
    project.replace(
        "requirements/power.yaml", "at_least: 190 kJ", "at_least: 54 W h\n        basis: nominal"
    )
    assert "no quantiles: no input has a tolerance here" in said(
        project, "--quantile", "0.95,0.95", identifier="PWR-010"
    )
    assert "no quantiles" not in said(project, identifier="PWR-010")


def duty(tmp_path: Path, limit: str) -> Project:
    return make(
        tmp_path / "p",
        {
            "requirements/project.yaml": CHARTER,
            "requirements/r.yaml": f"""\
requirements:
  - id: R-1
    title: Power
    source: Invented
    statement: The lamp shall do what the limit says.
    verification:
      - {{method: analysis, review: CDR, risk: RA 1, analysis: mean, {limit}}}
""",
            "analyses/p.yaml": """\
parameters:
  lamp_power: {value: 2 W, range: [2 W, 2 W], source: Invented}
  time_share: {value: 50 %, tolerance: 1 %, source: Invented}
  wall_temperature: {value: 20 degC, tolerance: 1 K, source: Invented}
""",
            "analyses/duty.py": DUTY,
            "tests/test_all.py": "",
        },
    )


def test_a_share_above_the_whole_is_no_break_even_value(tmp_path: Path) -> None:
    text = said(duty(tmp_path, "quantity: power, at_most: 3 W"))
    # 3 W / 50 % = 6 W of the lamp turn it; a share of 150 % is none.
    assert "lamp_power now 2 W not met above 6 W" in text
    assert "150 %" not in text
    # Searched to 0 % and to 100 %, and the wall from absolute zero, -273.15 degC, to 1000 K above.
    assert "no break-even of one parameter alone within time_share from 0 % to 100 %" in text
    assert "wall_temperature from -273.1" in text
    assert "to 1020 degC" in text


def test_a_share_within_the_whole_is_one(tmp_path: Path) -> None:
    # 1.8 W / 2 W = 90 %.
    assert "not met above 90 %" in said(duty(tmp_path, "quantity: power, at_most: 1.8 W"))


def test_nothing_turns_and_the_range_is_stated(tmp_path: Path) -> None:
    # 300 K above -273.15 degC is 26.85 K, and no temperature is lower.
    text = said(duty(tmp_path, "quantity: above_zero, at_least: 26 K"))
    assert "no break-even of any single parameter, met within" in text
    assert re.search(r"wall_temperature from -273\.15? degC to 1020 degC", text)
    text = said(duty(tmp_path / "lower", "quantity: above_zero, at_least: 27 K"))
    assert "not met below -273 degC" in text


def test_a_probability_has_spread_drivers_and_break_even_and_says_of_what(tmp_path: Path) -> None:
    text = said(bracket(tmp_path, "0.999"))
    # 400 MPa less 300 MPa, three sigma either way: -5 MPa to 205 MPa; the stress turns it at 400.
    assert "extreme value -5 MPa to 205 MPa" in text
    assert "strength #################### 64.0 %" in text  # 20^2 / (20^2 + 15^2)
    assert "stress now 300 MPa not met above 400 MPa" in text
    assert "the break-even of the required probability is not searched" in text


def test_a_probability_is_studied_though_its_worst_case_fails(tmp_path: Path) -> None:
    project = bracket(tmp_path, "0.99", "0.9")
    # Below 345 MPa of strength there is no value: 2.75 sigma, so that three sigma have none.
    body = "    if strength < 345.0:\n        raise ValueError('too soft')\n    return"
    project.write({"analyses/bracket.py": MODULE.replace("    return", body)})
    project.write(
        {"analyses/p.yaml": PARAMETERS.replace("sigma: 20", "distribution: normal, sigma: 20")}
    )
    text = said(project)
    assert "Sensitivity" in text
    assert "stress now 300 MPa not met above 400 MPa" in text
    assert "no extreme value: over the declared tolerances: ValueError: too soft" in text
