"""Runs at once, runs that are killed: the next one is right."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from tests.evaluate.project import Project, environment, module, running
from tests.evaluate.test_runs import requirements

COUNT = 12


def many(root: Path, factor: int = 1) -> Project:
    """A project of several modules, of which each answer takes a while."""
    files: dict[str, str | bytes] = {
        f"analyses/m{i}.py": module(
            f"import time\ntime.sleep(0.01)\nreturn R({i} + x * FACTOR)",
            top="from analyses.helper import FACTOR",
        )
        for i in range(COUNT)
    }
    limits = {f"m{i}": "at_least: 0 W" for i in range(COUNT)}
    return Project(
        root,
        {
            **files,
            "analyses/helper.py": f"FACTOR = {factor}\n",
            "analyses/p.yaml": "parameters:\n  x: {value: 2 W, tolerance: 1 W, source: Invented}\n",
            "requirements/r.yaml": requirements(**limits),
        },
    )


def start(project: Project) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "closeout", "verify", "--json", "-"], cwd=project.root,
        env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def check(dossier: dict[str, Any], factor: int) -> None:
    """Check every extent: i + x * factor for x from 1 to 3."""
    assert len(dossier["requirements"]) == COUNT
    for item in dossier["requirements"]:
        number = int(item["id"].removeprefix("R-m"))
        [evidence] = item["verification"]
        assert evidence["state"] == "met"
        assert (evidence["low"], evidence["high"]) == (number + factor, number + 3 * factor)


@pytest.mark.slow
@pytest.mark.parametrize("rounds", [2, pytest.param(20, marks=pytest.mark.slow)])
def test_two_runs_at_once(tmp_path: Path, rounds: int) -> None:
    for i in range(rounds):
        # Every other round begins without a store, so that both make it.
        project = many(tmp_path / f"p{i // 2}", factor=i + 1)
        processes = [start(project), start(project)]
        for process in processes:
            out, err = process.communicate(timeout=120)
            assert err == ""
            check(json.loads(out), factor=i + 1)
        assert project.scale() == (0, COUNT)


@pytest.mark.slow
@pytest.mark.parametrize("times", [3, pytest.param(20, marks=pytest.mark.slow)])
def test_killed_at_any_moment(tmp_path: Path, times: int) -> None:
    chance = random.Random(7)
    project = many(tmp_path / "p")
    for factor in range(2, 2 + times):
        project.write({"analyses/helper.py": f"FACTOR = {factor}\n"})
        process = start(project)
        time.sleep(chance.uniform(0.05, 0.7))
        process.send_signal(signal.SIGKILL)
        process.communicate()
        done, dossier = project.verify()
        check(dossier, factor)
        assert done.stderr == ""
    assert project.scale() == (0, COUNT)
    assert not os.path.isdir("/proc/self/task") or running(str(project.root)) == []


def test_what_was_answered_before_an_interruption_is_stored(tmp_path: Path) -> None:
    mark = tmp_path / "mark"
    slow = module(f"import time\nopen({str(mark)!r}, 'x').close()\ntime.sleep(1000)")
    project = many(tmp_path / "p")
    project.write({"analyses/z.py": slow, "requirements/z.yaml": requirements(z="at_least: 1 W")})
    process = start(project)
    while not mark.exists():  # the last to begin
        time.sleep(0.05)
    time.sleep(1)
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=20)
    assert process.returncode == 130
    (project.root / "analyses/z.py").unlink()
    (project.root / "requirements/z.yaml").unlink()
    evaluated, stored = project.scale()
    assert (evaluated, stored) == (0, COUNT)
    assert not os.path.isdir("/proc/self/task") or running(str(project.root)) == []
