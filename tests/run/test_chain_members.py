"""What a member of a chain does to what stands above it: fails, takes time, keeps, reads, runs."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from closeout.model.answer import Assurance
from closeout.model.dossier import State
from tests.run.chains import Function, evidence, judged, written

# Each starts processes; a default run has the chains of test_computed_inputs.
pytestmark = pytest.mark.slow

PARAMETERS = """
    x: {value: 10, tolerance: 1, source: x}
    w: {value: 3, tolerance: 0.5, source: x}
    y: {from: low.y}
    z: {from: mid.z}
"""
MID = Function("mid", {"y": "1"}, {"z": "1"}, "return R(y * 2.0)")
TOP = Function("top", {"z": "1", "w": "1"}, {"v": "1"}, "return R(z + w)")
ABOVE = "analysis: top, quantity: v, at_most: 100"
OWN = "analysis: low, quantity: y, at_most: 100"
COMMAND = repr([sys.executable, "-c", "pass"])


def low(body: str, top: str = "", mark: str = "@analysis") -> Function:
    return Function("low", {"x": "1"}, {"y": "1"}, body, mark, top)


@pytest.mark.parametrize(
    ("body", "mark", "why"),
    [
        ("raise ValueError('dry')", "@analysis", "ValueError: dry"),
        ("if x > 10.5:\n    raise ValueError('dry')\nreturn R(x)", "@analysis", "ValueError: dry"),
        ("return R(float('nan'))", "@analysis", "nan"),
        ("return R(float('inf'))", "@analysis", "inf"),
        ("import os\nos._exit(3)", "@analysis", "its process ended with status 3"),
        ("while True:\n    pass", "@analysis(time_limit=0.3)", "0.3 s of processor time"),
        ("return R('wet')", "@analysis", "y is str"),
    ],
)  # fmt: skip
def test_a_member_two_below_that_fails_is_named_and_nothing_is_judged(
    tmp_path: Path, body: str, mark: str, why: str
) -> None:
    parts = (low(body, mark=mark), MID, TOP)
    dossier = judged(written(tmp_path, PARAMETERS, parts, [ABOVE, OWN]))
    above, own = evidence(dossier, 1), evidence(dossier, 2)
    assert (above.state, own.state) == (State.OPEN, State.ERROR)
    assert "low: " in (above.message or "")
    assert why in (above.message or "")
    assert above.margin is None


@pytest.mark.parametrize(
    "basis", ["nominal", "root sum square", "{probability: 0.9, confidence: 0.9}"]
)
def test_a_member_that_fails_leaves_every_basis_open(tmp_path: Path, basis: str) -> None:
    said = [f"{ABOVE}, basis: {basis}"]
    parts = (low("raise ValueError('dry')"), MID, TOP)
    dossier = judged(written(tmp_path, PARAMETERS, parts, said))
    found = evidence(dossier)
    assert found.state is State.OPEN
    assert "low: ValueError: dry" in (found.message or "")


def test_what_is_named_alone_is_judged_with_all_that_it_needs(tmp_path: Path) -> None:
    parts = (low("return R(x + 1.0)"), MID, TOP)
    folder = written(tmp_path, PARAMETERS, parts, [ABOVE, OWN])
    alone = judged(folder, only="A-1")
    assert [one.id for one in alone.requirements] == ["A-1"]
    assert alone.scale.evaluated == 3
    assert evidence(alone).high == pytest.approx(2 * 12 + 3.5)
    assert judged(folder).scale.evaluated == 0
    below = judged(written(tmp_path / "other", PARAMETERS, parts, [ABOVE, OWN]), only="A-2")
    assert below.scale.evaluated == 1


def test_a_member_that_starts_a_process_runs_each_time(tmp_path: Path) -> None:
    parts = (low(f"import subprocess\nsubprocess.run({COMMAND})\nreturn R(x)"), MID, TOP)
    folder = written(tmp_path, PARAMETERS, parts, [ABOVE])
    first = judged(folder)
    again = judged(folder)
    assert evidence(first).state is State.MET
    assert again.scale.evaluated > 0
    (top,) = [one for one in again.evaluations if one.analysis == "top"]
    assert top.not_stored == ("it started a process",)


def test_a_member_that_remembers_is_searched_and_its_memory_is_not_passed_on(
    tmp_path: Path,
) -> None:
    counts = low("COUNT.append(1)\nreturn R(x + 0.0 * len(COUNT))", "COUNT = []")
    found = evidence(judged(written(tmp_path, PARAMETERS, (counts, MID, TOP), [ABOVE])))
    assert (found.state, found.assurance) == (State.MET, Assurance.SEARCHED)
    assert found.high == pytest.approx(25.5)


def test_a_member_that_gives_another_value_the_second_time_runs_apart(tmp_path: Path) -> None:
    """Each evaluation is the first one of its process: x = 9 to 11, and never 1000."""
    first = low("COUNT.append(1)\nreturn R(x if len(COUNT) == 1 else 1000.0)", "COUNT = []")
    found = evidence(judged(written(tmp_path, PARAMETERS, (first, MID, TOP), [ABOVE])))
    assert (found.state, found.assurance) == (State.MET, Assurance.SEARCHED)
    assert (found.value, found.low, found.high) == (23.0, 20.5, 25.5)
    assert "low is searched: it stores a value from one evaluation" in (found.unproved or "")


def test_a_changed_byte_of_a_file_that_a_member_reads_runs_the_chain_again(tmp_path: Path) -> None:
    reads = low("return R(x * FACTOR)", "FACTOR = float(open('analyses/data/f.txt').read())")
    folder = written(tmp_path, PARAMETERS, (reads, MID, TOP), [ABOVE, OWN])
    (folder / "analyses/data").mkdir()
    (folder / "analyses/data/f.txt").write_text("1.0")
    assert evidence(judged(folder)).high == pytest.approx(2 * 11 + 3.5)
    assert judged(folder).scale.evaluated == 0
    (folder / "analyses/data/f.txt").write_text("3.0")
    after = judged(folder)
    assert evidence(after).high == pytest.approx(2 * 33 + 3.5)
    assert after.scale.evaluated == 3
    (folder / "analyses/data/f.txt").unlink()
    assert evidence(judged(folder)).state is not State.MET
