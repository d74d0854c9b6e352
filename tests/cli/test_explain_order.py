"""``explain`` of a requirement: the verdict at once, where it breaks, and only then the inputs."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.project import ANALYSIS, Project, base, environment, make
from tests.cli.test_terminal import ESCAPE, in_terminal
from tests.effort import BACKSTOP

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow


def test_verdict_reason_and_break_even_stand_before_the_long_list_of_inputs(
    passing: Project,
) -> None:
    text = passing.run("explain", "PWR-010").stdout
    parts = (
        "PWR-010 issue A: Energy of the battery",
        "C (compliant), closed",
        "met: energy, at least 190 kJ",
        "inputs: voltage = 12 V +/- 0.5 V, charge = 5 A h +/- 5 %",
        "Break-even: energy",
        "Sensitivity: energy",
        "input    value  minimum   maximum   declared",
        "12 V +/- 0.5 V; source: Invented",
        "Derivation: energy",
    )
    places = [text.index(part) for part in parts]
    assert places == sorted(places)


def held_up(tmp_path: Path) -> tuple[Project, Path]:
    """Return a project whose analysis waits for a file wherever a break-even value is searched."""
    go = tmp_path / "go"
    body = f"    while voltage > 13.0 and not os.path.exists({str(go)!r}):\n"
    body += "        time.sleep(0.01)\n    return"
    text = ANALYSIS.replace("    return", body)
    text = text.replace("from typing", "import os\nimport time\nfrom typing", 1)
    return make(tmp_path / "p", base(analysis=text)), go


def test_the_verdict_is_there_before_anything_is_searched(tmp_path: Path) -> None:
    project, go = held_up(tmp_path)
    process = subprocess.Popen(
        [sys.executable, "-m", "closeout", "explain", "PWR-010"],
        cwd=project.path,
        env=environment(),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    begun = ""
    while "inputs: " not in begun and (line := process.stdout.readline()):
        begun += line
    still_runs = process.poll() is None
    go.touch()
    rest, told = process.communicate(timeout=BACKSTOP)
    assert still_runs
    assert "C (compliant), closed" in begun
    assert "Break-even" not in begun
    assert "Break-even" in rest
    assert told == ""
    assert process.returncode == 0


def test_on_a_terminal_it_says_that_it_searches(tmp_path: Path) -> None:
    project, go = held_up(tmp_path)
    body = (project.path / "analyses/energy.py").read_text("utf-8")
    # Long enough for the line to come up; then the search goes on by itself.
    body = body.replace(f"not os.path.exists({str(go)!r})", "time.process_time() < 0.0")
    body = body.replace("    while", "    if voltage > 13.0:\n        time.sleep(0.2)\n    while")
    project.write({"analyses/energy.py": body})
    status, told = in_terminal(project, "explain", "PWR-010")
    plain = ESCAPE.sub("", told)
    assert status == 0
    assert "searching sensitivity and break-even" in plain
    assert plain.index("C (compliant)") < plain.index("searching sensitivity")
    assert plain.index("searching sensitivity") < plain.index("Break-even")


def test_piped_kept_or_not_the_text_is_the_same(tmp_path: Path) -> None:
    project = make(tmp_path / "p")
    first = project.run("explain", "PWR-010")
    assert project.run("explain", "PWR-010") == first
    _, told = in_terminal(project, "explain", "PWR-010")
    assert re.sub(r" +\n", "\n", ESCAPE.sub("", told)).strip() == first.stdout.strip()
