"""A hook that is killed at any moment leaves tree, index and store as they were."""

from __future__ import annotations

import hashlib
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.cli.project import Project, base, environment, repository

pytestmark = pytest.mark.slow

# How many; CLOSEOUT_KILLS asks for more.
KILLS = int(os.environ.get("CLOSEOUT_KILLS", "20"))


def _state(project: Project) -> dict[str, str]:
    """Return a digest of each file of the tree and of git, but for what the tool keeps."""
    return {
        str(path.relative_to(project.path)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(project.path.rglob("*"))
        if path.is_file() and ".closeout" not in path.parts
    }


def _started(project: Project) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "closeout", "hook", "run"],
        cwd=project.path, env=environment(), stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL, start_new_session=True,
    )  # fmt: skip


def test_tree_index_and_store_survive(tmp_path: Path) -> None:
    project = repository(tmp_path / "p", base())
    project.replace("analyses/parameters.yaml", "12 V, tolerance: 0.5 V", "11 V, tolerance: 0.5 V")
    project.git("add", "--all")
    began = time.monotonic()
    answer = project.run("hook", "run")
    took = time.monotonic() - began
    assert answer.status == 1
    before = _state(project)
    drawn = random.Random(20261201)
    for number in range(KILLS):
        if number % 2:  # half of them with nothing known yet
            subprocess.run(["rm", "-rf", str(project.path / ".closeout")], check=True)
        process = _started(project)
        time.sleep(drawn.uniform(0.0, 1.2 * took))
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        assert _state(project) == before, number
    # What is left of it says the same, and once more nothing is in its way.
    again = project.run("hook", "run")
    assert (again.status, again.stderr) == (answer.status, answer.stderr)
    assert answer.stdout.partition("closeout: not compliant")[0] in again.stdout
