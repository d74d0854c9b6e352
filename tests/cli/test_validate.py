"""``verify --validate`` runs the tests that analyses name; what is said is run or named.

The project is that of ``project.py``: ``energy`` and ``warmth``, both validated by one test file.
Voltage times charge, 12 V and 5 A h, is 60 W h by hand.
"""

from __future__ import annotations

import re
import subprocess
import sys
import time
from importlib.metadata import distributions
from itertools import takewhile
from pathlib import Path
from typing import Any

import pytest

from closeout.evaluate.validation import StoredResults, installed_names, state_key
from closeout.snapshot import open_tree, store_folder
from closeout.store.database import open_store
from tests.cli.project import (
    ANALYSIS,
    CHARTER,
    WARMTH,
    Project,
    Run,
    base,
    by_id,
    environment,
    make,
    power,
    repository,
    requirement,
)

# Each starts processes of a second or more.
pytestmark = pytest.mark.slow

TEST = "tests/test_energy.py"
PASSES = """\
from analyses.energy import energy

def test_by_hand():
    assert energy(12.0, 5.0).energy == 60.0

class TestTwice:
    def test_doubled(self):
        assert energy(24.0, 5.0).energy == 120.0
"""
WRONG = PASSES.replace("== 60.0", "== 61.0")
# What names a test that leaves a mark outside of the project tells how often it was run.
MARKS = """\
import os
from analyses.energy import energy

def test_by_hand():
    with open({mark!r}, "a") as file:
        file.write("run ")
    assert energy(12.0, 5.0).energy == 60.0
"""


def files(test: str = PASSES, named: str = TEST, **more: str | None) -> dict[str, str | bytes]:
    """Return a project of which ``energy`` is validated by a test of this text."""
    analysis = ANALYSIS.replace("tests/test_all.py", named)
    return base(analysis=analysis, **{TEST: test}, **more)


def state(run: Run, analysis: str = "energy") -> str | None:
    """Return what JSON says of an analysis' validation, in both of its places."""
    whole = {one["analysis"]: one["state"] for one in run.json["validation"]}
    entries = [e for r in run.json["requirements"] for e in r["verification"]]
    for entry in entries:
        assert entry["validation"] == whole.get(entry["analysis"])
    return whole[analysis]


def told_of(run: Run, analysis: str = "energy") -> list[dict[str, Any]]:
    (found,) = [one["tests"] for one in run.json["validation"] if one["analysis"] == analysis]
    return list(found)


def failed(run: Run) -> dict[str, Any]:
    (problem,) = [p for p in run.json["problems"] if p["rule"] == "validation-failed"]
    return dict(problem)


def test_a_test_that_is_named_is_not_said_to_be_run(tmp_path: Path) -> None:
    project = make(tmp_path / "p", files(WRONG))
    run = project.verify()
    assert run.status == 0
    assert state(run) == "named"
    assert "validation: 2 analyses named only" in project.run("verify").stdout
    assert f"{TEST} (named, not run)" in project.run("explain", "energy").stdout


def test_a_test_that_passes_is_said_to_be_run_and_is_known_from_then_on(tmp_path: Path) -> None:
    mark = tmp_path / "mark"
    project = make(tmp_path / "p", files(MARKS.format(mark=str(mark))))
    before = project.contents()
    run = project.verify("--validate")
    assert run.status == 0
    assert state(run) == "passed"
    assert "validation: 2 analyses run and passed" in project.run("verify", "--validate").stdout
    assert state(project.verify()) == "passed"
    assert f"{TEST} (run: passed)" in project.run("explain", "energy").stdout
    assert mark.read_text() == "run "  # once, although two runs asked for it
    assert project.contents() == before


@pytest.mark.slow
def test_the_documents_say_run_or_named(tmp_path: Path) -> None:
    project = make(tmp_path / "p", files())
    assert project.run("package", "-o", "named").status == 0
    assert project.run("package", "--validate", "-o", "run").status == 0

    def pages(folder: str) -> tuple[str, str]:
        top = project.path / folder
        names = ("analyses/energy.md", "verification-control.md")
        return tuple((top / name).read_text("utf-8") for name in names)  # type: ignore[return-value]

    report, control = pages("named")
    assert f"{TEST} (named, not run)" in report
    # What was not run is said in the report, and not again in each row.
    assert "validation" not in control
    report, control = pages("run")
    assert f"{TEST} (run: passed)" in report
    assert "validation run: passed" in control


def test_an_analysis_whose_test_fails_shows_nothing_as_met(tmp_path: Path) -> None:
    project = make(tmp_path / "p", files(WRONG))
    run = project.verify("--validate")
    assert run.status == 2
    problem = failed(run)
    assert (problem["severity"], problem["path"], problem["line"]) == ("error", TEST, 4)
    assert "which validates energy, failed: test_by_hand: " in problem["message"]
    assert "60.0 == 61.0" in problem["message"]
    assert "--validate" in problem["cure"]
    result = by_id(run.json)
    (entry,) = result["PWR-010"]["verification"]
    assert (entry["state"], entry["validation"]) == ("error", "failed")
    assert TEST in entry["message"]
    assert (result["PWR-010"]["compliance"], result["PWR-010"]["closed"]) == ("open", False)
    assert result["THM-010"]["compliance"] == "C"  # of another test
    # What is known does not depend on an option.
    known = project.verify()
    assert known.status == 2
    assert failed(known) == problem
    text = project.run("verify").stdout
    assert "validation: 1 analysis run and passed, 1 run and failed" in text
    assert f"energy: {TEST} (run: failed" in text
    project.write({TEST: PASSES})
    # A failure is not forgotten with a change: the test has to be run again.
    changed = project.verify()
    assert (changed.status, state(changed)) == (2, "failed")
    assert "when it was last run, on another state" in failed(changed)["message"]
    mended = project.verify("--validate")
    assert (mended.status, state(mended)) == (0, "passed")
    project.write({"README.md": "Invented."})
    assert state(project.verify()) == "named"


def test_what_is_not_met_stays_so_and_no_waiver_reaches_it(tmp_path: Path) -> None:
    waiver = """\
waivers:
  - {id: RFW-001, kind: waiver, requirement: PWR-010,
     accepts: {quantity: energy, at_least: 190 kJ}, approved_by: board, date: 2026-01-30,
     document: RFW-001, expires: AR}
"""
    short = power(requirement(limit="at_least: 200 kJ"))
    project = make(tmp_path / "p", files(WRONG, power=short) | {"requirements/w.yaml": waiver})
    covered = by_id(project.verify().json)["PWR-010"]
    assert (covered["compliance"], covered["covered"]) == ("NC", True)
    run = project.verify("--validate")
    result = by_id(run.json)["PWR-010"]
    assert (result["compliance"], result["covered"], run.status) == ("NC", False, 2)
    assert result["verification"][0]["state"] == "not met"


SKIP = "import pytest\n@pytest.mark.skip(reason='no bench')\ndef test_a(): ...\n"
XFAIL = "import pytest\n@pytest.mark.xfail(reason='bad model')\n"
OUTCOMES = {
    "skip": (SKIP, "skipped", "1 of 1 tests: no bench"),
    "one_of_two": (f"{SKIP}def test_b(): ...\n", "skipped", "1 of 2 tests: no bench"),
    "module": (
        "import pytest\npytest.skip('not here', allow_module_level=True)\n", "skipped", "not here",
    ),
    "xfail": (f"{XFAIL}def test_a(): assert 0\n", "skipped", "expected to fail (bad model)"),
    "xpass": (f"{XFAIL}def test_a(): ...\n", "skipped", "(bad model), and it passed"),
    "empty": ("def a_test(): ...\n", "nothing collected", "pytest finds no test of this name"),
    "import": (
        "import nowhere\ndef test_a(): ...\n", "failed",
        "it cannot be collected: ModuleNotFoundError: No module named 'nowhere'",
    ),
    "fixture": ("def test_a(unknown): ...\n", "failed", "fixture 'unknown' not found"),
    "exit": ("import os\ndef test_a(): os._exit(7)\n", "failed", "pytest ended with status 7"),
    "passes": ("def test_a(): ...\n", "passed", None),
}  # fmt: skip


def test_only_a_test_that_ran_and_passed_is_passed(tmp_path: Path) -> None:
    texts = {f"tests/test_{name}.py": text for name, (text, *_) in OUTCOMES.items()}
    analysis = ANALYSIS.replace('"tests/test_all.py"', repr(tuple(texts)))
    project = make(tmp_path / "p", base(analysis=analysis, **texts))
    run = project.verify("--validate")
    told = {one["test"]: one for one in told_of(run)}
    for name, (_, expected, reason) in OUTCOMES.items():
        one = told[f"tests/test_{name}.py"]
        assert one["state"] == expected, one
        assert one["message"] == reason or reason in one["message"]
    assert (run.status, state(run)) == (2, "failed")
    # All of it is kept, as it would end so again; and all but what passed is listed.
    assert told_of(project.verify()) == told_of(run)
    (line,) = listed(project)
    assert "tests/test_skip.py (run: skipped, 1 of 1 tests: no bench)" in line
    assert "tests/test_passes.py" not in line


def listed(project: Project) -> list[str]:
    """Return what the text lists as not validated, an analysis a line however it is wrapped."""
    lines = project.run("verify").stdout.splitlines()
    (at,) = [n for n, line in enumerate(lines) if line.startswith("validation: ")]
    below = list(takewhile(lambda line: line.startswith("  "), lines[at + 1 :]))
    return re.sub(r"\n    +", " ", "\n".join(below)).splitlines()


def test_functions_and_classes_are_run_alone_and_a_wrong_name_harms_no_other(
    tmp_path: Path,
) -> None:
    names = (f"{TEST}::TestTwice::test_doubled", f"{TEST}::test_by_hand", f"{TEST}::test_gone")
    analysis = ANALYSIS.replace('"tests/test_all.py"', repr(names))
    project = make(tmp_path / "p", base(analysis=analysis, **{TEST: WRONG}))
    run = project.verify("--validate")
    told = {one["test"]: one["state"] for one in told_of(run)}
    assert told == dict(zip(names, ("passed", "failed", "nothing collected"), strict=True))
    assert state(run) == "failed"


CONFTEST = "import pytest\n@pytest.fixture\ndef volts(): return 12.0\n"
BY_ALL = """\
import pathlib
from analyses.energy import energy
from tests.by_hand import FACTOR

def test_by_hand(volts):
    charge = float(pathlib.Path("tests/charge.txt").read_text())
    assert energy(volts, charge).energy == volts * charge * FACTOR
"""


def known(project: Project) -> dict[str, str]:
    """Return what is kept of tests for the present state, without running anything."""
    store = open_store(store_folder(project.path))
    with open_tree(project.path) as snapshot:
        found = StoredResults(snapshot, store).all()
    store.close()
    return {name: str(test.state) for name, test in found.items()}


@pytest.mark.parametrize("under_git", [pytest.param(False, marks=pytest.mark.slow), True])
def test_a_result_holds_until_any_file_changes(under_git: bool, tmp_path: Path) -> None:
    content = files(BY_ALL) | {
        "tests/conftest.py": CONFTEST,
        "tests/charge.txt": "5.0",
        "tests/by_hand.py": "FACTOR = 1.0\n",
        "analyses/data/log.csv": "0\n",
        "pytest.ini": "[pytest]\n",
    }
    project = (repository if under_git else make)(tmp_path / "p", content)
    assert state(project.verify("--validate")) == "passed"
    for changed in (TEST, "tests/conftest.py", "tests/charge.txt", "tests/by_hand.py",
                    "analyses/data/log.csv", "pytest.ini", "analyses/energy.py"):  # fmt: skip
        assert known(project)[TEST] == "passed"
        text = (project.path / changed).read_text()
        project.write({changed: text + "\n"})
        assert known(project) == {}, changed
        if changed == "tests/charge.txt":
            # Not read by any analysis: the run itself would be known.
            assert state(project.verify()) == "named"
        project.write({changed: text})
    project.write({"tests/new.py": ""})
    assert known(project) == {}


def test_the_key_of_a_state_holds_each_file_and_each_installed_distribution() -> None:
    files, installed = {"a.py": "1" * 64, "b.csv": "2" * 64}, ("numpy-2.4.6.dist-info",)
    keys = [
        state_key(files, installed),
        state_key(files, ("numpy-2.4.7.dist-info",)),
        state_key(files, (*installed, "scipy-1.17.1.dist-info")),
        state_key({**files, "a.py": "3" * 64}, installed),
        state_key({**files, "c.py": None}, installed),
    ]
    assert len(set(keys)) == len(keys)
    assert state_key(dict(reversed(files.items())), installed) == keys[0]
    # What importlib.metadata of the standard library finds is in the key.
    found = {name.rsplit("-", 2)[0].lower() for name in installed_names()}
    assert {d.metadata["Name"].lower().replace("-", "_") for d in distributions()} <= {
        name.replace("-", "_").replace(".", "_") for name in found
    }


def test_analyses_that_share_a_test_run_it_once_and_both_fall_with_it(tmp_path: Path) -> None:
    mark = tmp_path / "mark"
    shared = WARMTH.replace("tests/test_all.py", TEST)
    test = MARKS.format(mark=str(mark)).replace("== 60.0", "== 61.0")
    project = make(tmp_path / "p", files(test, warmth=shared))
    run = project.verify("--validate")
    assert mark.read_text() == "run "
    assert "which validates energy, warmth, failed" in failed(run)["message"]
    assert {r["compliance"] for r in run.json["requirements"]} == {"open"}
    # Of what is not judged, nothing is run.
    project.write({TEST: MARKS.format(mark=str(mark)), "analyses/warmth.py": WARMTH})
    assert state(project.verify("--validate", "--only", "THM-010")) == "failed"
    assert mark.read_text() == "run "


def test_a_commit_and_the_index_are_tested_as_they_are(tmp_path: Path) -> None:
    project = repository(tmp_path / "p", files())
    project.write({TEST: WRONG})
    wrong = project.commit("wrong")
    project.write({TEST: PASSES, ".gitignore": "ignored.py\n", "ignored.py": "X = 1\n"})
    run = project.verify("--validate", "--at", wrong)
    assert (run.status, failed(run)["path"], state(run)) == (2, TEST, "failed")
    assert state(project.verify("--validate", "--at", f"{wrong}~1")) == "passed"
    assert state(project.verify("--at", wrong)) == "failed"
    # The staged state is known once the same files were tested, and a failure of it blocks.
    project.commit("mended")
    project.write({TEST: WRONG})
    project.git("add", "--all")
    assert project.verify("--validate").status == 2
    project.write({TEST: PASSES})  # in the working tree alone
    hook = project.run("hook", "run")
    assert (hook.status, f"{TEST}:4:1: " in hook.stdout) == (2, True)


def test_a_test_sees_what_a_commit_would_hold_and_nothing_else(tmp_path: Path) -> None:
    test = """\
import os
from analyses.energy import energy

def test_by_hand():
    assert energy(12.0, 5.0).energy == 60.0
    open("analyses/left.txt", "w").close()  # in a copy

def test_no_other_file():
    assert not os.path.exists("ignored.txt") and not os.path.exists(".git")
    assert os.environ.get("MY_OWN") is None and os.environ["TZ"] == "UTC"
"""
    more = {".gitignore": "ignored.txt\n", "ignored.txt": "left over"}
    project = repository(tmp_path / "p", files(test) | more)
    before = project.contents()
    run = project.verify("--validate", env=environment(MY_OWN="1", PYTEST_ADDOPTS="-k nothing"))
    assert state(run) == "passed", told_of(run)
    assert project.contents() == before


SLOW = f"import pytest\npytestmark = pytest.mark.slow\n{PASSES}"
MARKERS = 'markers = ["slow: takes long"]\nfilterwarnings = ["error"]\n'


@pytest.mark.parametrize(
    "options",
    ["-n auto --dist loadfile -m 'not slow' -x -k nothing --strict-markers --strict-config",
     "-p no:xdist -p no:cacheprovider --import-mode=importlib --lf -m 'not slow'"],
    ids=["with-xdist", "without-xdist"],
)  # fmt: skip
def test_options_of_the_project_leave_out_nothing_that_is_named(
    options: str, tmp_path: Path
) -> None:
    ini = f'[tool.pytest.ini_options]\naddopts = "{options}"\n{MARKERS}pythonpath = ["tests"]\n'
    test = SLOW.replace("from analyses", "from by_hand import NOTHING\nfrom analyses")
    more = {"pyproject.toml": ini, "tests/by_hand.py": "NOTHING = 0\n"}
    project = make(tmp_path / "p", files(test) | more)
    # Of the folder above it is no part of the project.
    (tmp_path / "pytest.ini").write_text("[pytest]\naddopts = --unknown-above\n")
    run = project.verify("--validate")
    assert state(run) == "passed", told_of(run)


@pytest.mark.slow
def test_what_pytest_cannot_do_is_told_of_what_is_concerned(tmp_path: Path) -> None:
    other = "tests/other/test_all.py"
    more = {other: "def test_a(): ...\n", "tests/other/conftest.py": "raise ValueError('bad')\n"}
    project = make(tmp_path / "p", files(warmth=WARMTH.replace("tests/test_all.py", other)) | more)
    run = project.verify("--validate")
    assert (state(run), state(run, "warmth")) == ("passed", "failed")
    assert "ValueError: bad" in told_of(run, "warmth")[0]["message"]
    project = make(tmp_path / "q", files() | {"pytest.ini": "[pytest]\naddopts = --unknown\n"})
    run = project.verify("--validate")
    assert (state(run), run.status) == ("failed", 2)
    assert "status 4" in told_of(run)[0]["message"]


@pytest.mark.slow
def test_a_test_that_does_not_end_is_ended_told_and_not_kept(tmp_path: Path) -> None:
    test = f"{PASSES}\n\ndef test_for_ever():\n    while True: ...\n"
    names = f"{TEST}::test_for_ever", f"{TEST}::test_by_hand"
    charter = f"{CHARTER}  policy: {{test_time: 1.5}}\n"
    analysis = ANALYSIS.replace('"tests/test_all.py"', repr(names))
    project = make(tmp_path / "p", base(analysis=analysis, charter=charter, **{TEST: test}))
    run = project.verify("--validate")
    assert run.status == 2
    told = {one["test"]: one for one in told_of(run)}
    assert told[names[0]]["message"] == ("it ran longer than 1.5 s of processor time and was ended")
    assert told[names[1]]["state"] == "passed"
    assert TEST not in " ".join(known(project))
    assert state(project.verify()) == "named"


def test_a_name_without_a_file_stays_named(tmp_path: Path) -> None:
    project = make(tmp_path / "p", files(named="tests/test_gone.py"))
    run = project.verify("--validate")
    assert (state(run), run.status) == ("named", 0)
    assert told_of(run)[0]["message"] == "it does not exist"
    text = project.run("verify").stdout
    assert "validation: 1 analysis run and passed, 1 named only" in text
    assert "energy: tests/test_gone.py (named, not run, it does not exist)" in text


@pytest.mark.skipif(sys.platform != "linux", reason="a process is tied to another by prctl(2)")
def test_a_killed_tool_leaves_no_test_running(tmp_path: Path) -> None:
    mark, outlived = tmp_path / "mark", tmp_path / "outlived"
    # Where nobody ends it, it says so and ends by itself: no clock is looked at here.
    body = f"""\
import os, time

def test_by_hand():
    with open({str(mark)!r}, "w") as file:
        file.write(str(os.getpid()))
    time.sleep(300)
    open({str(outlived)!r}, "w").close()
"""
    project = make(tmp_path / "p", files(body))
    command = [sys.executable, "-m", "closeout", "verify", "--validate"]
    with subprocess.Popen(command, cwd=project.path, env=environment()) as run:
        while not (mark.exists() and mark.read_text()):
            assert run.poll() is None
            time.sleep(0.05)
        run.kill()
    while _runs(mark.read_text()):
        time.sleep(0.05)
    assert not outlived.exists()


def _runs(process: str) -> bool:
    try:
        status = (Path("/proc") / process / "status").read_text()
    except OSError:
        return False
    return "State:\tZ" not in status
