"""``explain`` of a requirement: sensitivity, break-even, derivation.

The project is invented. Every expected number is computed by hand, as written beside it.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.cli.project import CHARTER, SYSTEM, Project, make

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

# reserve = stored - used: 60 W h +/- 3 W h (216 kJ +/- 10.8 kJ), less 40 W h +/- 2 W h, is 20 W h,
# and 15 W h at the worst. Shares of the spread 9/13 = 69.2 % and 4/13 = 30.8 %.
PARAMETERS = """\
parameters:
  stored_energy: {value: 216 kJ, tolerance: 10.8 kJ, source: Invented}
  used_energy: {value: 40 W h, tolerance: 2 W h, source: Invented}
  lamp_current: {value: 3 A, tolerance: 0.5 A, source: Invented}
"""

RESERVE = '''\
"""Energy that is left."""
from collections.abc import Mapping
from typing import Annotated, NamedTuple

from closeout import analysis
from closeout.units import A, Unit, W_h


class Reserve(NamedTuple):
    reserve: W_h


class Drop(NamedTuple):
    drop: Annotated[Mapping[str, float], Unit("V")]


@analysis
def reserve(stored_energy: W_h, used_energy: W_h) -> Reserve:
    """Energy that is stored, less what is used."""
    return Reserve(stored_energy - used_energy)


@analysis
def march(stored_energy: W_h, used_energy: W_h) -> Reserve:
    """The same in a hundred steps, on plain numbers only."""
    left = float(stored_energy)
    for _ in range(100):
        left -= float(used_energy) / 100.0
    return Reserve(left)


@analysis
def drop(lamp_current: A) -> Drop:
    """Voltage that is lost on the way to the lamps."""
    return Drop({"near": 2.0 * lamp_current, "far": 5.0 * lamp_current})
'''


def verification(analysis: str, quantity: str, limit: str, more: str = "") -> str:
    return f"""\
      - method: analysis
        level: system
        stage: qualification
        review: CDR
        analysis: {analysis}
        quantity: {quantity}
        {limit}
{more}"""


def requirement(identifier: str, *verifications: str) -> str:
    return f"""\
  - id: {identifier}
    title: Light
    statement: The lantern shall do what the limit says.
    derived_from: [SYS-010]
    source: Invented
    verification:
{"".join(verifications)}"""


@pytest.fixture(scope="module")
def lantern(tmp_path_factory: pytest.TempPathFactory) -> Project:
    margin = verification("reserve", "reserve", "at_least: 12 W h")
    items = (
        requirement("PWR-010", margin, margin),
        requirement("PWR-020", verification("march", "reserve", "at_least: 16 W h")),
        requirement("PWR-030", verification("drop", "drop", "at_most: 20 V")),
        requirement("PWR-040", margin.rstrip("\n") + "\n        basis: nominal\n"),
    )
    files = {
        "requirements/project.yaml": CHARTER,
        "requirements/system.yaml": SYSTEM,
        "requirements/power.yaml": "requirements:\n" + "".join(items),
        "analyses/parameters.yaml": PARAMETERS,
        "analyses/reserve.py": RESERVE,
    }
    return make(tmp_path_factory.mktemp("lantern") / "p", files)


def explained(project: Project, *arguments: str) -> str:
    run = project.run("explain", *arguments)
    assert run.status == 0, run.stderr
    assert run.stderr == ""
    return re.sub(r" +", " ", run.stdout)


def test_linear_margin(lantern: Project) -> None:
    text = explained(lantern, "PWR-010")
    # Sorted, the greatest with the longest bar; 2 W h is two thirds of it: 13 of 20 signs.
    bars = [line.split() for line in text.split("\n") if "#" in line]
    assert [bar[0] for bar in bars] == ["stored_energy", "used_energy"]
    assert [len(bar[1]) for bar in bars] == [20, 13]
    assert " 69.2 % -3 to +3 W h\n" in text
    assert " 30.8 % +2 to -2 W h\n" in text
    assert "exact derivatives" in " ".join(text.split())
    # At nominal 52 W h = 187.2 kJ, 8/3 tolerances away, and 48 W h, 8/2 away.
    nominal, worst = text.split("other parameters at nominal\n")[1].split(
        " other parameters at worst\n"
    )
    assert "stored_energy now 216 kJ not met below 187.2 kJ 2.67 tolerances away" in nominal
    assert "used_energy now 40 W h not met above 48 W h 4 tolerances away" in nominal
    # At worst 12 + 42 = 54 W h = 194.4 kJ, 6/3 away, and 57 - 12 = 45 W h, 5/2 away.
    assert "stored_energy now 216 kJ not met below 194.4 kJ 2 tolerances away" in worst
    assert "used_energy now 40 W h not met above 45 W h 2.5 tolerances away" in worst
    # 216 kJ - 10.8 kJ = 205.2 kJ = 57 W h, and 40 W h + 2 W h.
    steps = (
        " reserve = stored_energy - used_energy\n at the inputs\n = 60 - 40\n = 20 W h\n"
        " where it is decided\n = 57 - 42\n = 15 W h\n"
    )
    assert f"Derivation: reserve\n{steps}" in text
    assert "mathrm" not in text


def test_break_even_values_are_replayed_by_verify(lantern: Project) -> None:
    # With the other at its worst, 42 W h.
    for value, status in (("194.4 kJ", 0), ("194.39 kJ", 1)):
        what_if = ("--set", f"stored_energy={value}", "--set", "used_energy=42 W h")
        run = lantern.run("verify", "--only", "PWR-040", *what_if)
        assert run.status == status, run.stdout


def test_two_alike_verifications_are_studied_once(lantern: Project) -> None:
    text = explained(lantern, "PWR-010")
    assert text.count("Sensitivity") == 1
    assert "Verification 2, searched\n as Verification 1\n" in text


def test_latex(lantern: Project) -> None:
    text = explained(lantern, "PWR-010", "--latex")
    assert r"\mathrm{stored\ energy} - \mathrm{used\ energy}" in text
    assert "= 60 - 40\n" in text


def test_a_march_and_a_criterion_that_fails_at_worst(lantern: Project) -> None:
    # 20 W h meets 16 W h and 15 W h does not. At nominal 56 W h = 201.6 kJ and 44 W h; at worst
    # 58 W h = 208.8 kJ (the nominal 60 W h holds there) and 41 W h.
    text = explained(lantern, "PWR-020")
    assert "first order, by differences" in " ".join(text.split())
    assert "no symbolic form: " in text
    assert "analyses/reserve.py:" in text
    nominal, worst = text.split("other parameters at nominal\n")[1].split(
        " other parameters at worst\n"
    )
    assert "stored_energy now 216 kJ not met below 201.6 kJ 1.33 tolerances away" in nominal
    assert "used_energy now 40 W h not met above 44 W h 2 tolerances away" in nominal
    assert "stored_energy now 216 kJ not met below 208.8 kJ 0.667 tolerances away" in worst
    assert "used_energy now 40 W h not met above 41 W h 0.5 tolerances away" in worst


def test_the_case_with_the_least_margin(lantern: Project) -> None:
    # 5 lamp_current is 20 V at 4 A, two tolerances of 0.5 A from 3 A.
    text = explained(lantern, "PWR-030")
    assert "Sensitivity: drop [far]\n" in text
    assert "lamp_current now 3 A not met above 4 A 2 tolerances away" in text
    steps = " drop[far] = 5 * lamp_current\n at the inputs\n = 5 * 3\n = 15 V\n"
    assert f"{steps} where it is decided\n = 5 * 3.5\n = 17.5 V\n" in text
    assert "drop[near] =" not in text


def test_nominal_basis_has_no_tolerances(lantern: Project) -> None:
    text = explained(lantern, "PWR-040")
    assert "no input has a tolerance here" in text
    assert "stored_energy now 216 kJ not met below 187.2 kJ no tolerance" in text
    assert "other parameters at worst" not in text


@pytest.mark.parametrize("basis", ["root sum square", "{probability: 0.99, confidence: 0.9}"])
def test_whatever_the_basis_the_others_are_worst_at_the_worst_case(
    lantern: Project, tmp_path: Path, basis: str
) -> None:
    files = {name: lantern.path.joinpath(name).read_text("utf-8") for name in lantern.contents()}
    files["requirements/power.yaml"] = files["requirements/power.yaml"].replace("nominal", basis)
    text = explained(make(tmp_path / "p", files), "PWR-040")
    worst = text.split("other parameters at worst\n")[1]
    assert "stored_energy now 216 kJ not met below 194.4 kJ 2 tolerances away" in worst


def test_what_if(lantern: Project) -> None:
    # used_energy becomes 42 W h: stored may fall to 54 W h = 194.4 kJ, the others at nominal.
    text = explained(lantern, "PWR-010", "--set", "used_energy=42 W h")
    nominal = text.split("other parameters at nominal\n")[1].split(" other parameters at worst\n")[
        0
    ]
    assert "stored_energy now 216 kJ not met below 194.4 kJ 2 tolerances away" in nominal


def test_the_second_time_it_comes_from_the_store(lantern: Project) -> None:
    first = explained(lantern, "PWR-020")
    assert explained(lantern, "PWR-020") == first


def test_an_analysis_that_raises_is_told_without_a_study(tmp_path: Path) -> None:
    broken = RESERVE.replace("return Reserve(stored_energy - used_energy)", "return 1 / 0")
    items = requirement("PWR-010", verification("reserve", "reserve", "at_least: 12 W h"))
    project = make(
        tmp_path / "p",
        {
            "requirements/project.yaml": CHARTER,
            "requirements/system.yaml": SYSTEM,
            "requirements/power.yaml": "requirements:\n" + items,
            "analyses/parameters.yaml": PARAMETERS,
            "analyses/reserve.py": broken,
        },
    )
    text = explained(project, "PWR-010")
    assert "ZeroDivisionError" in text
    assert "Sensitivity" not in text
