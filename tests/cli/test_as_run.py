"""Tests as they were run, through the command line; everything in the project is invented."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.cli.project import CHARTER, Project, Run, by_id, make

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

TOLERANCES = CHARTER + "  policy: {test_tolerances: {'*_temperature': 2 K}}\n"
FILE = """\
articles:
  - {id: BAT, title: Battery, model: flight, build: FM-3}
  - {id: EM, title: Battery of the engineering model, model: engineering, build: EM-1}
parameters:
  discharge_power: {value: 50 W, condition: true, source: Invented}
  cell_temperature: {value: 20 degC, condition: true, source: Invented}
requirements:
  - id: PWR-090
    title: Energy of a full charge
    statement: The battery shall give at least 80 W h.
    source: Invented
    verification:
      - method: test
        level: subsystem
        stage: acceptance
        review: CDR
        quantity: energy
        at_least: 80 W h
        given: {discharge_power: 52 W, cell_temperature: [5 degC, 20 degC]}
        within: {discharge_power: 1 W}
        harsher: {discharge_power: higher}
        records: [TR-COLD, TR-WARM]
records:
  - id: TR-COLD
    method: test
    date: 2026-01-02
    judged: {PWR-090: A}
    article: {BAT: FM-3}
    conditions: {discharge_power: 55 W, cell_temperature: "5.4 degC +/- 0.5 K (k = 2)"}
    measured: {energy: 84.1 W h +/- 0.4 W h (k = 1)}
  - id: TR-WARM
    method: test
    date: 2026-01-03
    judged: {PWR-090: A}
    article: {BAT: FM-3}
    conditions: {discharge_power: [51.5 W, 52.1 W], cell_temperature: 19.6 degC}
    measured: {energy: 86.9 W h +/- 0.6 W h (k = 2)}
"""
TOLD = "TR-COLD ran at discharge_power = 55 W (required 52 W, within 1 W, harsher)"


@pytest.fixture
def project(tmp_path: Path) -> Project:
    return make(
        tmp_path / "p",
        {"requirements/project.yaml": TOLERANCES, "requirements/power.yaml": FILE},
    )


def plain(run: Run) -> str:
    """Return what was printed on one line, so that nothing depends on the width."""
    return " ".join(run.stdout.split())


def test_what_was_run_stands_beside_what_is_required(project: Project) -> None:
    run = project.verify()
    (entry,) = by_id(run.json)["PWR-090"]["verification"]
    assert (run.status, entry["state"], entry["low"]) == (0, "met", 83.3)
    assert entry["uncertainty"] == "0.8 W h (k = 2), raised from 0.4 W h (k = 1)"
    rows = {(row["record"], row["condition"]): row for row in entry["as_run"]}
    assert len(rows) == 4
    assert rows["TR-COLD", "discharge_power"] == {
        "record": "TR-COLD",
        "condition": "discharge_power",
        "as_run": "55 W",
        "required": "52 W",
        "within": "1 W",
        "verdict": "harsher",
    }
    warm = rows["TR-WARM", "discharge_power"]
    assert (warm["as_run"], warm["verdict"]) == ("51.5 W to 52.1 W", "within")
    cold = rows["TR-COLD", "cell_temperature"]
    assert (cold["required"], cold["within"]) == ("5 degC to 20 degC", "2 K")
    explained = plain(project.run("explain", "PWR-090"))
    assert f"as run: {TOLD}" in explained
    assert "uncertainty deducted: 0.8 W h (k = 2), raised from 0.4 W h (k = 1)" in explained
    assert project.run("package", "--review", "CDR", "-o", "out").status == 0
    for document in ("verification-control.md", "verification-control.html"):
        text = " ".join((project.path / "out" / document).read_text("utf-8").split())
        assert "TR-COLD ran at" in re.sub("<.*?>", "", text).replace("\\", "")
    assert project.run("matrix", "-o", "m.csv").status == 0
    assert TOLD in (project.path / "m.csv").read_text("utf-8")


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("[51.5 W, 52.1 W]", "50.8 W",
         "TR-WARM was made at discharge_power = 50.8 W, the criterion applies at 52 W, within 1 W"),
        (", TR-WARM]", "]",
         "tested at 5.4 degC +/- 0.5 K (k = 2); the criterion applies from 5 degC to 20 degC"),
        ("FM-3}\n    conditions: {discharge_power: 55",
         "FM-2}\n    conditions: {discharge_power: 55",
         "re-opened: TR-COLD was made on BAT build FM-2, BAT is at build FM-3"),
        ("article: {BAT: FM-3}\n    conditions: {discharge_power: 55", "conditions:"
         " {discharge_power: 55", "TR-COLD does not name its article"),
        ("article: {BAT: FM-3}\n    conditions: {discharge_power: 55", "article: {EM: EM-1}\n"
         "    conditions: {discharge_power: 55",
         "an engineering model, and at acceptance only a flight or protoflight model counts"),
        (", TR-WARM]", "]", "test both ends, or state another point with its reason (tested_at:)"),
        ("        within: {discharge_power: 1 W}\n        harsher: {discharge_power: higher}\n", "",
         "TR-COLD was made at discharge_power = 55 W, the criterion applies at 52 W, and no test"
         " tolerance is stated (within:)"),
    ],
)  # fmt: skip
def test_what_does_not_count_is_open_and_said(
    project: Project, old: str, new: str, told: str
) -> None:
    project.replace("requirements/power.yaml", old, new)
    run = project.run("verify")
    assert run.status == 1
    assert told in plain(run)
    assert by_id(project.verify().json)["PWR-090"]["compliance"] == "open"


def test_a_failure_at_a_harsher_condition_is_told(project: Project) -> None:
    project.replace("requirements/power.yaml", "84.1 W h", "74.1 W h")
    run = project.run("verify")
    assert run.status in (1, 2)
    said = plain(run)
    assert "TR-COLD was made at discharge_power = 55 W, harsher than the 52 W required" in said
    assert TOLD in said
    assert by_id(project.verify().json)["PWR-090"]["compliance"] == "NC"


def test_a_coverage_factor_below_one_is_refused_with_place_and_cure(project: Project) -> None:
    project.replace("requirements/power.yaml", "(k = 1)", "(k = 0.001)")
    run = project.run("verify")
    assert run.status == 2
    said = plain(run)
    assert "the coverage factor of" in said
    assert "requirements/power.yaml:" in said
    assert "action: write the expanded uncertainty with its k" in said
