"""The mission gives the same verdicts on any day, and in a clone without its history."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from tests.cli.project import environment
from tests.cli.test_dates import CLOCK, Dated

ROOT = Path(__file__).parents[2]
PARTS = ("requirements", "analyses", "tests")
COMMITTED, ONE_DAY, ANOTHER = "2026-12-01", "2026-12-02", "2028-02-29"


def _judged(mission: Dated, on: str) -> Any:
    # An empty store, and processor time on a busy machine.
    document = mission.run("verify", "--json", "-", on=on, backstop=3600).json
    scale = document["scale"]
    # How much the store held, and what is told of the history alone, is not the verdicts'.
    del scale["evaluated"], scale["from_store"]
    rules = [problem["rule"] for problem in document.pop("problems")]
    return document, [rule for rule in rules if rule != "history-cut-off"]


@pytest.mark.slow
def test_two_days_and_a_shallow_clone_give_the_same(tmp_path: Path) -> None:
    clock = tmp_path / "clock"
    clock.mkdir()
    (clock / "sitecustomize.py").write_text(CLOCK)
    passed_over = shutil.ignore_patterns("__pycache__", ".closeout")
    for part in PARTS:
        shutil.copytree(ROOT / part, tmp_path / "mission" / part, ignore=passed_over)
    mission = Dated(tmp_path / "mission", clock, {}, whole=True)
    mission.commit("2026-11-29").commit(COMMITTED)
    subprocess.run(
        ["git", "clone", "--quiet", "--depth", "1", f"file://{mission.project.path}", "shallow"],
        cwd=tmp_path,
        env=environment(),
        check=True,
    )
    shallow = Dated(tmp_path / "shallow", clock, {}, whole=True)
    here, there = _judged(mission, ONE_DAY), _judged(shallow, ANOTHER)
    assert here == there
    document, rules = here
    assert (document["exit_status"], rules) == (0, [])
    assert document["snapshot"]["date"] == COMMITTED
