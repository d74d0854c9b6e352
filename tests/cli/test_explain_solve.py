"""``explain --solve``: a formula turned round, where the limit is met.

The project is invented. Every expected number is computed by hand, as written beside it.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tests.cli.project import CHARTER, SYSTEM, Project, make
from tests.cli.test_explain_study import PARAMETERS, RESERVE, requirement, verification

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

MORE = '''

@analysis(model_uncertainty={"reserve": "1 W h"})
def careful(stored_energy: W_h, used_energy: W_h) -> Reserve:
    """The same, of a model that may be off."""
    return Reserve(stored_energy - used_energy)


@analysis
def endless(lamp_current: A) -> Reserve:
    """What nobody has turned round."""
    return Reserve(sin(lamp_current) * exp(lamp_current) + log(lamp_current))


@analysis
def square(lamp_current: A) -> Reserve:
    """What has two solutions."""
    return Reserve(2.0 * lamp_current * lamp_current)
'''


def lantern_files() -> dict[str, str]:
    margin = verification("reserve", "reserve", "at_least: 12 W h")
    other = verification("careful", "reserve", "at_least: 14 W h")
    items = (
        requirement("PWR-010", margin, other),
        requirement("PWR-020", verification("march", "reserve", "at_least: 10 W h")),
        requirement("PWR-030", verification("drop", "drop", "at_most: 20 V")),
        requirement("PWR-040", verification("square", "reserve", "at_most: 72 W h")),
        requirement("PWR-050", verification("endless", "reserve", "at_least: 1 W h")),
        requirement("PWR-060", verification("square", "reserve", "at_least: TBD")),
    )
    functions = "from closeout.math import exp, log, sin\n"
    return {
        "requirements/project.yaml": CHARTER,
        "requirements/system.yaml": SYSTEM,
        "requirements/power.yaml": "requirements:\n" + "".join(items),
        "analyses/parameters.yaml": PARAMETERS,
        "analyses/reserve.py": RESERVE.replace(
            "from closeout.units", functions + "from closeout.units"
        )
        + MORE,
    }


@pytest.fixture(scope="module")
def lantern(tmp_path_factory: pytest.TempPathFactory) -> Project:
    return make(tmp_path_factory.mktemp("lantern") / "p", lantern_files())


def solved(project: Project, *arguments: str) -> str:
    """Return what comes before the usual explanation."""
    run = project.run("explain", *arguments)
    assert run.status == 0, run.stderr
    return re.sub(r"[ \n]+", " ", run.stdout.split("PWR-0", 1)[0] + _first(run.stdout))


def _first(text: str) -> str:
    return text.partition(" issue A: ")[0]


def test_each_verification_is_solved_and_the_answer_comes_first(lantern: Project) -> None:
    # 60 W h - u = 12 W h at u = 48 W h, and with 57 W h stored at 45 W h. With the limit of 14 W h
    # and 1 W h model uncertainty: 45 W h and 42 W h.
    text = solved(lantern, "PWR-010", "--solve", "used_energy")
    first, second = text.split("PWR-010, Verification 2, solved for used_energy")
    assert first.startswith("PWR-010, Verification 1, solved for used_energy")
    assert "where reserve is 12 W h: at least 12 W h used_energy = stored_energy - limit" in first
    assert " = 60 - 12 " in first
    assert "other parameters at nominal: 48 W h, above the declared 38 W h to 42 W h" in first
    assert "42 W h; met below, not met above other parameters at worst" in first
    assert "other parameters at worst: 45 W h, above the declared 38 W h to 42 W h" in first
    assert "where reserve is 15 W h: at least 14 W h, with 1 W h model uncertainty" in second
    assert "other parameters at nominal: 45 W h" in second
    assert "other parameters at worst: 42 W h, in the declared 38 W h to 42 W h" in second


def test_the_answer_is_in_the_unit_of_the_parameter(lantern: Project) -> None:
    # s - 40 W h = 12 W h at 52 W h = 187.2 kJ; with 42 W h used 54 W h = 194.4 kJ.
    text = solved(lantern, "PWR-010", "--solve", "stored_energy")
    assert "other parameters at nominal: 187.2 kJ, below the declared 205.2 kJ to 226.8 kJ" in text
    assert "other parameters at worst: 194.4 kJ, below the declared 205.2 kJ to 226.8 kJ" in text
    assert "not met below, met above" in text


def test_a_what_if_is_solved(lantern: Project) -> None:
    text = solved(
        lantern, "PWR-010", "--solve", "used_energy", "--set", "stored_energy=50 W h exactly"
    )
    assert "other parameters at nominal: 38 W h" in text


def test_the_case_with_the_least_margin(lantern: Project) -> None:
    # 5 I = 20 V at 4 A.
    text = solved(lantern, "PWR-030", "--solve", "lamp_current")
    assert "where drop [far] is 20 V: at most 20 V lamp_current = 0.2 * limit" in text
    assert "4 A, above the declared 2.5 A to 3.5 A; met below, not met above" in text


def test_several_solutions_and_one_that_is_not_meant(lantern: Project) -> None:
    # 2 I^2 = 72 at 6 A and at -6 A.
    text = solved(lantern, "PWR-040", "--solve", "lamp_current")
    assert "nominal: 6 A, above the declared 2.5 A to 3.5 A; met below, not met above" in text
    assert "nominal: -6 A, below the declared 2.5 A to 3.5 A; not met below, met above;" in text
    assert "met above; it is below zero, and what is declared is above" in text
    assert "other parameters at nominal: 2 solutions" in text


def test_sympy_has_ten_seconds(lantern: Project) -> None:
    text = solved(lantern, "PWR-050", "--solve", "lamp_current")
    ended = "not solved (timed out): it ran longer than 10 s of processor time"
    # Which of the two it is depends on how fast SymPy gives up.
    assert ended in text or "SymPy finds no formula for it" in text
    assert "values found by search: see Break-even: reserve" in text


def test_for_programs(lantern: Project) -> None:
    run = lantern.run("explain", "PWR-010", "--solve", "used_energy", "--json", "-")
    assert run.status == 0, run.stderr
    told = json.loads(run.stdout)
    assert (told["format"], told["id"]) == (1, "PWR-010")
    first = told["solved"][0]
    assert (first["parameter"], first["parameter_unit"], first["stated"]) == (
        "used_energy", "W h", "at least 12 W h",
    )  # fmt: skip
    assert first["declared"] == {"value": 40.0, "low": 38.0, "high": 42.0}
    (limit,) = first["limits"]
    assert [(one["others"], one["value"]) for one in limit["solutions"]] == [
        ("nominal", 48.0), ("worst", 45.0),
    ]  # fmt: skip
    (formula,) = limit["formulas"]
    assert formula["latex"].startswith(r"\mathrm{used\ energy} = ")
    assert ElementTree.fromstring(formula["mathml"]).tag.endswith("math")
    (derivation, _) = told["derivations"]
    by = {one["parameter"]: one for one in derivation["derivatives"]}
    assert by["stored_energy"]["text"] == "d_reserve / d_stored_energy = 1"
    assert by["used_energy"]["value"] == -1.0


def test_into_a_file_beside_the_text(lantern: Project, tmp_path: Path) -> None:
    run = lantern.run("explain", "PWR-030", "--json", str(tmp_path / "a.json"))
    assert "PWR-030 issue A" in run.stdout
    told = json.loads((tmp_path / "a.json").read_text("utf-8"))
    assert told["solved"] == []
    assert told["derivations"][0]["steps"][0]["mathml"].startswith("<math")


def test_latex(lantern: Project) -> None:
    run = lantern.run("explain", "PWR-030", "--solve", "lamp_current", "--latex")
    assert r"\mathrm{lamp\ current} = 0.2 \cdot \mathrm{limit}" in run.stdout


@pytest.mark.parametrize(
    ("arguments", "message", "cure"),
    [
        (("PWR-010", "used_enregy"), "no parameter used_enregy", "did you mean used_energy?"),
        (("PWR-010", "lamp_current"), "reserve and careful do not take lamp_current",
         "take one of stored_energy, used_energy"),
        (("SYS-010", "used_energy"), "no analysis verifies SYS-010", "name a requirement that"),
        (("reserve", "used_energy"), "reserve is no requirement", "it verifies PWR-010"),
        (("used_energy", "used_energy"), "used_energy is no requirement", "name a requirement"),
        (("PWR-020", "used_energy"), "march is no formula", "Break-even"),
        (("PWR-060", "lamp_current"), "has no quantity with a decided limit",
         "explain PWR-060 says"),
    ],
)  # fmt: skip
def test_what_cannot_be_asked(
    lantern: Project, arguments: tuple[str, str], message: str, cure: str
) -> None:
    identifier, name = arguments
    run = lantern.run("explain", identifier, "--solve", name)
    assert run.status == 2
    assert f"--solve {name}: " in run.stderr
    assert message in run.stderr
    assert cure in run.stderr
    assert run.stdout == ""


def test_a_margin_that_the_project_enforces_counts(tmp_path: Path) -> None:
    # 10 % of the limit of 12 W h: 60 W h - u = 13.2 W h at 46.8 W h.
    files = lantern_files()
    files["requirements/project.yaml"] = CHARTER.rstrip("\n") + (
        "\n  margins: [{quantity: reserve, of: limit, required: {CDR: 10 %}, enforce: true}]\n"
    )
    text = solved(make(tmp_path / "p", files), "PWR-010", "--solve", "used_energy")
    assert (
        "where reserve is 13.2 W h: at least 12 W h, with the margin of 10 % of the limit" in text
    )
    assert "other parameters at nominal: 46.8 W h" in text
