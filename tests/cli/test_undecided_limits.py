"""A limit that is TBD leaves its criterion open, and is listed wherever criteria are."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.cli.project import CHARTER, FROST, Project, base, make, power, repository, requirement

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

# ISO/IEC/IEEE 29148:2011, 5.2.6: a complete set of requirements holds no TBD.
ALLOWED = f"{CHARTER}  policy: {{open_terms_until: CDR}}\n"
TEST = """\
  - id: PWR-020
    title: Voltage of the battery
    statement: The battery shall give the voltage that the limit says.
    source: Invented
    verification:
      - {method: test, level: system, stage: qualification, review: CDR, quantity: voltage,
         at_most: TBD, records: [TR-001]}
records:
  - {id: TR-001, method: test, date: 2026-03-02, judged: {PWR-020: A}, title: Invented, RESULT}
"""


def _with(tmp_path: Path, limit: str, charter: str = ALLOWED) -> Project:
    return make(tmp_path, base(charter=charter, power=power(requirement(limit=limit))))


def _entry(project: Project, name: str = "PWR-010") -> dict[str, Any]:
    result = next(r for r in project.verify().json["requirements"] if r["id"] == name)
    (entry,) = result["verification"]
    return {**entry, "compliance": result["compliance"]}


@pytest.mark.parametrize(
    ("limit", "state", "says"),
    [
        ("at_most: TBD", "open", "at most TBD"),
        ("at_least: TBD", "open", "at least TBD"),
        # 54.625 W h at worst, by hand in tests/cli/project.py
        ("at_least: 190 kJ\n        at_most: TBD", "open", "at most TBD"),
        ("at_least: 55 W h\n        at_most: TBD", "not met", None),
        ("equal_to: TBD\n        within: 1 W h", "open", "equal to TBD"),
        ("equal_to: 60 W h\n        within: TBD", "open", "within TBD"),
        ("equal_to: TBD\n        within: TBD", "open", "equal to and within TBD"),
        ("at_most: TBD\n        basis: root sum square", "open", "at most TBD"),
        ("at_most: TBD\n        basis: nominal", "open", "at most TBD"),
        ("at_most: TBD\n        basis: {probability: 0.9, confidence: 0.9}", "open", "at most TBD"),
    ],
)
def test_a_limit_to_be_decided_is_open_and_one_that_is_broken_is_not_met(
    tmp_path: Path, limit: str, state: str, says: str | None
) -> None:
    entry = _entry(_with(tmp_path, limit))
    assert entry["state"] == state
    assert (says is None) == ("TBD: not met before it is" not in (entry["message"] or ""))
    assert says is None or entry["message"].startswith(says)
    assert "TBD" in entry["limit_text"]
    assert entry["margin"] is not None or entry["at"] == {}


@pytest.mark.parametrize("basis", ["worst case", "{probability: 0.9, confidence: 0.9}"])
def test_it_is_listed_wherever_criteria_are(tmp_path: Path, basis: str) -> None:
    project = _with(tmp_path, f"at_most: TBD\n        basis: {basis}")
    verified, explained = project.run("verify"), project.run("explain", "PWR-010")
    assert (verified.status, explained.status) == (1, 0)
    assert project.run("matrix", "-o", str(tmp_path / "m.html")).status == 0
    for text in (verified.stdout, explained.stdout, (tmp_path / "m.html").read_text()):
        assert "at most TBD: not met before it is decided" in " ".join(text.split())


def test_it_is_named_in_lint_with_its_line_until_the_policy_allows_none(tmp_path: Path) -> None:
    run = _with(tmp_path, "at_most: TBD").run("lint")
    assert run.status == 0, run.said
    run = _with(tmp_path / "late", "at_most: TBD", CHARTER).run("lint")
    assert run.status == 1
    assert "[open-term]" in run.stdout
    assert "power.yaml:16" in run.stdout
    assert "PWR-010 still has TBD" in run.stdout


@pytest.mark.parametrize(
    "result", ["measured: {voltage: 12 V +/- 0.1 V (k = 2)}", "outcome: met", "outcome: not met"]
)
def test_no_record_meets_what_is_not_decided(tmp_path: Path, result: str) -> None:
    text = power(requirement()) + TEST.replace("RESULT", result)
    failed = result == "outcome: not met"
    if failed:
        text += "nonconformances: [{id: NCR-1, found_by: TR-001, requirements: [PWR-020]}]\n"
    project = make(tmp_path, base(charter=ALLOWED, power=text))
    entry = _entry(project, "PWR-020")
    assert entry["state"] == ("not met" if failed else "open")
    assert failed or entry["message"].startswith("at most TBD")


def test_an_analysis_and_a_test_of_the_same_open_limit_are_both_open(tmp_path: Path) -> None:
    tested = (
        "      - {method: test, stage: acceptance, review: AR, quantity: energy, at_most: TBD}\n"
    )
    text = power(requirement(limit="at_most: TBD", more=tested))
    project = make(tmp_path, base(charter=ALLOWED, power=text))
    result = next(r for r in project.verify().json["requirements"] if r["id"] == "PWR-010")
    assert (result["compliance"], result["closed"]) == ("open", False)
    assert [entry["state"] for entry in result["verification"]] == ["open", "open"]


@pytest.mark.parametrize("text", ["TBD W h", "tbd", "TBDs"])
def test_a_limit_is_tbd_and_no_more(tmp_path: Path, text: str) -> None:
    run = _with(tmp_path, f"at_most: {text}").run("lint")
    assert run.status == 2
    assert "or TBD where it is not decided yet" in run.stdout


def test_nothing_else_may_be_tbd(tmp_path: Path) -> None:
    frost = FROST.replace("[5 degC, 20 degC]", "TBD")
    waiver = (
        "waivers: [{id: RFW-1, kind: waiver, requirement: PWR-010,"
        " accepts: {quantity: energy, at_least: TBD}}]\n"
    )
    files = base(charter=ALLOWED, power=power() + waiver, frost=power(frost))
    run = make(tmp_path, files).run("lint")
    assert run.stdout.count("'TBD' does not begin with a number") == 2, run.stdout


def test_deciding_it_is_a_change_of_the_criterion_against_git(tmp_path: Path) -> None:
    undecided = power(requirement(limit="at_least: 190 kJ\n        at_most: TBD"))
    project = repository(tmp_path, base(charter=ALLOWED, power=undecided))
    assert project.run("lint").status == 0
    project.replace("requirements/power.yaml", "at_most: TBD", "at_most: 70 W h")
    run = project.run("lint")
    assert (
        "(energy at least 190 kJ, at most TBD -> energy at least 190 kJ, at most 70 W h)"
        in run.stdout
    )
    assert "[issue-not-raised]" in run.stdout
    project.replace("requirements/power.yaml", "issue: A", "issue: B")
    assert project.run("lint").status == 0
    assert project.run("verify", "--only", "PWR-010").status == 0
