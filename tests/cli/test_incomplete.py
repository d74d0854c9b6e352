"""Where an analysis could not be evaluated, everything that is written says so, and of what."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from tests.cli.project import ANALYSIS, Project

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

FAILS = ANALYSIS.replace("return Energy(voltage * charge)", "raise RuntimeError('no cell')")
LOST = "INCOMPLETE - could not be evaluated: PWR-010 (energy)"
FIGURE = """

@energy.figure
def curve(voltage: float) -> str:
    'A curve.'
    return "<svg/>"
"""


@pytest.fixture
def failing(project: Project) -> Project:
    project.write({"analyses/energy.py": FAILS})
    return project


def test_verify_says_it_above_everything(failing: Project) -> None:
    run = failing.run("verify")
    assert run.status == 2
    assert LOST in run.stdout.split("ID ", maxsplit=1)[0]
    assert failing.verify().json["incomplete"] == [LOST.removeprefix("INCOMPLETE - ")]


def test_each_page_of_a_package_says_it_and_the_terminal(failing: Project, tmp_path: Path) -> None:
    target = tmp_path / "package"
    run = failing.run("package", "-o", str(target))
    assert run.status == 0  # it was written
    assert LOST in run.stderr
    pages = [p for p in target.rglob("*") if p.suffix in (".md", ".html")]
    assert len(pages) > 8
    for page in pages:
        text = page.read_text("utf-8").replace("\\", "")
        assert LOST in text, page
    for name in ("manifest.json", "dossier.json"):
        told = json.loads((target / name).read_text())
        assert told["incomplete"] == [LOST.removeprefix("INCOMPLETE - ")]
    with (target / "compliance-matrix.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert all(LOST in row["draft"] for row in rows)


def test_a_matrix_says_it(failing: Project, tmp_path: Path) -> None:
    run = failing.run("matrix", "-o", str(tmp_path / "m.html"))
    assert run.status == 0
    assert LOST in run.stderr
    assert LOST in (tmp_path / "m.html").read_text()


def test_what_is_complete_does_not(project: Project, tmp_path: Path) -> None:
    project.write({"analyses/energy.py": ANALYSIS + FIGURE})
    run = project.run("package", "-o", str(tmp_path / "package"))
    assert "INCOMPLETE" not in run.stderr
    assert json.loads((tmp_path / "package/manifest.json").read_text())["incomplete"] == []
    assert "INCOMPLETE" not in (tmp_path / "package/index.html").read_text()


def test_a_figure_that_fails_is_named(project: Project, tmp_path: Path) -> None:
    project.write({"analyses/energy.py": ANALYSIS + FIGURE.replace('return "<svg/>"', "1 / 0")})
    run = project.run("package", "-o", str(tmp_path / "package"))
    assert "INCOMPLETE - could not be made: figure curve of energy" in run.stderr
    assert "figure curve of energy" in (tmp_path / "package/index.html").read_text()
