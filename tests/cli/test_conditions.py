"""A condition is given by each criterion whose analysis takes it, or holds as it is declared."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from tests.cli.project import Project, base, by_id, make
from tests.graph.projects import build, requirement, requirements, spec

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

GIVEN = "        given: {cell_temperature: [0 degC, 20 degC]}\n"


def test_a_condition_that_is_left_out_of_the_starter_is_told_with_what_was_used(
    tmp_path: Path,
) -> None:
    made = make(tmp_path / "here", {})
    assert made.run("start", "lantern").status == 0
    lantern = Project(made.path / "lantern")
    (path,) = [p for p in (lantern.path / "requirements").glob("*.yaml") if GIVEN in p.read_text()]
    place = f"requirements/{path.name}"
    assert lantern.run("lint").status == 0
    lantern.replace(place, GIVEN, "")
    run = lantern.verify()
    assert run.status == 2
    (problem,) = run.json["problems"]
    assert (problem["rule"], problem["severity"]) == ("condition-not-given", "error")
    assert problem["path"] == place
    assert "cell_temperature" in problem["message"]
    assert "20 degC would be used" in problem["message"]
    assert "declared" in problem["cure"]
    assert by_id(run.json)["PWR-010"]["compliance"] != "C"
    assert lantern.run("lint").status == 2
    # Where the project says that it is its environment, it holds, and the output names it.
    lantern.replace(
        "analyses/power.yaml", "20 degC, condition: true", "20 degC, condition: declared"
    )
    run = lantern.verify()
    assert run.status == 0
    (found, _) = by_id(run.json)["PWR-010"]["verification"]
    assert (found["given"], found["declared"]) == ({}, {"cell_temperature": "20 degC"})


FROST = """\
requirements:
  - id: THM-010
    title: No frost
    statement: The cell shall stay above the freezing point of water.
    derived_from: [SYS-010]
    rationale: Invented
    source: Invented
    verification:
      - {method: analysis, review: CDR, analysis: warmth, quantity: distance, at_least: 19 K,
         risk: Invented}
"""
DECLARED = "{value: 20 degC, tolerance: 2 K, condition: declared, source: Invented}"


@pytest.fixture(scope="module")
def frosty(tmp_path_factory: pytest.TempPathFactory) -> Project:
    """A project in which a declared condition decides: 18 degC at the least, 19 K asked."""
    project = make(tmp_path_factory.mktemp("frosty") / "p", base(frost=FROST))
    old = "{value: 20 degC, condition: true, source: Invented}"
    project.replace("analyses/parameters.yaml", old, DECLARED)
    return project


def found(project: Project, *arguments: str) -> dict[str, Any]:
    (entry,) = by_id(project.verify("--only", "THM-010", *arguments).json)["THM-010"][
        "verification"
    ]
    return dict(entry)


def test_what_is_declared_holds_with_its_spread_and_is_named(frosty: Project) -> None:
    entry = found(frosty)
    assert (entry["state"], entry["value"], entry["low"]) == ("not met", 20.0, 18.0)
    assert entry["declared"] == {"cell_temperature": "20 degC +/- 2 K"}
    assert entry["given"] == {}
    for command in (("verify", "--only", "THM-010"), ("explain", "THM-010")):
        said = " ".join(frosty.run(*command).stdout.split())
        assert "as declared cell_temperature = 20 degC +/- 2 K" in said, command
    assert "condition, as declared" in frosty.run("explain", "THM-010").stdout
    assert "condition, declared" in frosty.run("explain", "cell_temperature").stdout


def test_what_is_declared_is_named_in_reports_and_matrix(frosty: Project, tmp_path: Path) -> None:
    assert frosty.run("package", "-o", str(tmp_path / "out")).status == 0
    report = next((tmp_path / "out").rglob("warmth.html")).read_text("utf-8")
    assert "cell_temperature (condition, as declared)" in re.sub("<.*?>", "", report)
    assert frosty.run("matrix", "-o", "m.md").status == 0
    matrix = (frosty.path / "m.md").read_text("utf-8")
    assert "as declared cell" in matrix


def test_given_and_set_beat_what_is_declared(frosty: Project, tmp_path: Path) -> None:
    entry = found(frosty, "--set", "cell_temperature=25 degC +/- 1 K")
    assert (entry["state"], entry["low"], entry["declared"]) == ("met", 24.0, {})
    under = FROST.replace("19 K,", "19 K, given: {cell_temperature: 21 degC},")
    given = make(tmp_path / "p", base(frost=under))
    old = "{value: 20 degC, condition: true, source: Invented}"
    given.replace("analyses/parameters.yaml", old, DECLARED)
    entry = found(given)
    assert (entry["value"], entry["declared"]) == (21.0, {})
    assert entry["given"] == {"cell_temperature": "21 degC"}


BY_F = "method: analysis, analysis: f, quantity: x, at_least: 1 W"
SOME = "parameters:\n  p: {value: 24 h, tolerance: 1 h, condition: true}\n  q: {value: 1 W}\n"


def rules(*verifications: str, parameters: str = SOME) -> list[tuple[str, object]]:
    """Return rule and number of the verification of each finding."""
    text = requirements(requirement("R-1", *verifications)) + parameters
    built = build(text, spec("f", {"p": "h", "q": "W"}), spec("g", {"q": "W"}))
    return [(finding.rule, finding.where.steps[3]) for finding in built.plan.findings]


def test_each_criterion_that_leaves_it_out_is_told_whatever_its_basis() -> None:
    chance = "basis: {probability: 0.9, confidence: 0.9}"
    found = rules(
        f"{BY_F}, given: {{p: [1 h, 2 h]}}",
        BY_F,
        f"{BY_F}, basis: root sum square",
        f"{BY_F}, basis: nominal",
        f"{BY_F}, {chance}",
        BY_F,
    )
    assert found == [("condition-not-given", number) for number in range(1, 6)]


def test_what_does_not_take_it_need_not_give_it() -> None:
    # A test without an analysis speaks of the criterion under every condition that others give.
    other = "method: analysis, analysis: g, quantity: x, at_least: 1 W"
    test = "method: test, quantity: x, at_least: 1 W"
    assert rules(f"{BY_F}, given: {{p: 5 h}}", other, test) == []


def test_a_test_that_an_analysis_judges_gives_it_too() -> None:
    test = "method: test, records: [T-1], analysis: f, quantity: x, at_least: 1 W"
    more = SOME + "records:\n  - {id: T-1, method: test}\n"
    assert rules(test, parameters=more) == [("condition-not-given", 0)]
    assert rules(f"{test}, given: {{p: 5 h}}", parameters=more) == []


def test_a_what_if_does_not_give_it() -> None:
    text = requirements(requirement("R-1", BY_F)) + SOME
    built = build(text, spec("f", {"p": "h", "q": "W"}), settings={"p": "30 h exactly"})
    (finding,) = built.plan.findings
    assert finding.rule == "condition-not-given"
    assert "30 h exactly would be used" in finding.message
