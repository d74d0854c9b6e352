"""What else runs on the machine decides nothing: processor time is limited, not the clock."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from closeout.evaluate import allowance
from closeout.evaluate.allowance import Allowance, spent_by
from tests.evaluate.project import Project, environment, module
from tests.evaluate.test_runs import PARAMETERS, requirements

ROOT = Path(__file__).parents[2]
BUSY = 5
# Two tenths of a second of arithmetic, or three.
WORK = "n = 0\nfor i in range(2_000_000):\n    n += i % 7\n"
LIMIT = "@analysis(time_limit={})"


@contextmanager
def busy(count: int) -> Iterator[None]:
    """Let so many processes compute for nothing meanwhile."""
    command = [sys.executable, "-c", "while True:\n    pass"]
    processes = [subprocess.Popen(command) for _ in range(count)]
    try:
        yield
    finally:
        for process in processes:
            process.kill()
            process.wait()


@pytest.fixture
def soon(monkeypatch: pytest.MonkeyPatch) -> None:
    """Wait by the clock for what never ends no longer than a test can."""
    monkeypatch.setattr(allowance, "FAR_TIMES", 0.0)
    monkeypatch.setattr(allowance, "FAR_SECONDS", 1.5)


def test_time_by_the_clock_is_not_limited(tmp_path: Path) -> None:
    sleeping = "import time\ntime.sleep(1.0)"
    project = Project(
        tmp_path / "p",
        {
            "analyses/a.py": module(f"{sleeping}\nreturn R(x)", mark=LIMIT.format(0.5)),
            "analyses/b.py": module("return R(x)", top=sleeping, mark=LIMIT.format(0.5)),
        },
    )
    assert project.ask().values == {"a.f": 1.0, "b.f": 1.0}


CHILD = "import subprocess, sys\nsubprocess.run([sys.executable, '-c', 'while True: pass'])\n"
LATE = {
    "itself": "while True:\n    pass",
    "a process that it started": CHILD + "return R(x)",
    "one of its threads": (
        "import threading\ndef turn():\n    while True:\n        pass\n"
        "thread = threading.Thread(target=turn)\nthread.start()\nthread.join()"
    ),
    "processes one after the other": (
        "import subprocess, sys\nwhile True:\n"
        "    subprocess.run([sys.executable, '-c', 'sum(range(2_000_000))'])"
    ),
}


@pytest.mark.parametrize("name", LATE)
def test_processor_time_is(tmp_path: Path, name: str) -> None:
    project = Project(tmp_path / "p", {"analyses/a.py": module(LATE[name], mark=LIMIT.format(0.5))})
    failure = project.ask().failure("a.f")
    assert failure.kind == "timed out"
    assert failure.message == "it ran longer than 0.5 s of processor time and was ended"


def test_what_a_process_did_before_does_not_count() -> None:
    one = Allowance(0.5, before=7.0)
    assert one.allows(7.25)
    assert not one.allows(7.75)


def test_processor_time_of_a_process_and_of_what_it_waited_for() -> None:
    code = (
        "import os, subprocess, sys, time\n"
        "turn = 'import time\\nwhile time.process_time() < .3: 1'\n"
        "subprocess.run([sys.executable, '-c', turn])\n"
        "exec(turn)\nprint(flush=True)\nsys.stdin.read()"
    )
    command = [sys.executable, "-c", code]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        process.stdout.readline()
        spent = spent_by(process.pid)
        assert spent is not None
        assert 0.55 < spent < 5.0
        process.kill()
    assert spent_by(process.pid) is None


ONCE = """\
import os
if not os.path.exists({mark!r}):
    open({mark!r}, 'x').close()
    {bad}
if not os.path.exists({other!r}):
    raise RuntimeError('not alone')
return R(x)
"""
BAD = {
    "sleeps": "import time; time.sleep(1000)",
    "is killed": "os.kill(os.getpid(), 9)",
    "has no memory": "raise MemoryError",
    "loses its module": "import time; time.sleep(0.3); os.kill(os.getppid(), 9)",
}


@pytest.mark.usefixtures("soon")
@pytest.mark.parametrize("name", BAD)
def test_what_load_may_have_ended_is_asked_again_alone(tmp_path: Path, name: str) -> None:
    """Alone: what was asked beside it is answered by then."""
    mark, other = str(tmp_path / "mark"), str(tmp_path / "other")
    body = ONCE.format(mark=mark, other=other, bad=BAD[name])
    beside = f"import time\ntime.sleep(1.0)\nopen({other!r}, 'x').close()\nreturn R(2 * x)"
    project = Project(
        tmp_path / "p",
        {"analyses/a.py": module(body), "analyses/b.py": module(beside)},
    )
    assert project.ask(jobs=3).values == {"a.f": 1.0, "b.f": 2.0}


@pytest.mark.usefixtures("soon")
def test_an_import_that_load_may_have_ended_is_done_again(tmp_path: Path) -> None:
    mark = str(tmp_path / "mark")
    top = (
        f"import os, time\nif not os.path.exists({mark!r}):\n"
        f"    open({mark!r}, 'x').close()\n    time.sleep(1000)"
    )
    project = Project(
        tmp_path / "p",
        {"analyses/a.py": module("return R(x)", top=top), "analyses/b.py": module("return R(x)")},
    )
    assert project.ask().values == {"a.f": 1.0, "b.f": 1.0}


@pytest.mark.usefixtures("soon")
def test_what_waits_for_ever_ends(tmp_path: Path) -> None:
    body = "import time\ntime.sleep(1000)"
    project = Project(tmp_path / "p", {"analyses/a.py": module(body, mark=LIMIT.format(1.0))})
    failure = project.ask().failure("a.f")
    assert failure.kind == "timed out"
    assert "neither in parallel nor alone" in failure.message
    assert "less than its 1 s of processor time" in failure.message


def _judged(root: Path, *options: str) -> dict[str, Any]:
    done = subprocess.run(
        [sys.executable, "-m", "closeout", "verify", "--json", "-", *options],
        cwd=root, env=environment(), capture_output=True, text=True, check=False,
    )  # fmt: skip
    shown: dict[str, Any] = json.loads(done.stdout)
    return shown


@pytest.mark.slow
def test_a_project_judged_on_a_busy_machine(tmp_path: Path) -> None:
    """On two processors its analyses take several times their limit by the clock."""
    names = [f"m{i}" for i in range(2)]
    files = {
        f"analyses/{n}.py": module(f"{WORK}return R(x + n - n)", mark=LIMIT.format(1.0))
        for n in names
    }
    files |= {
        "analyses/p.yaml": PARAMETERS,
        "requirements/r.yaml": requirements(
            **dict.fromkeys(names, "at_least: 1 W, basis: nominal")
        ),
    }
    quiet = _judged(Project(tmp_path / "a", files).root)
    assert quiet["totals"]["C"] == len(names)
    with busy(BUSY):
        assert _judged(Project(tmp_path / "b", files).root) == quiet


@pytest.mark.slow
def test_the_mission_judged_on_a_busy_machine(tmp_path: Path) -> None:
    """From an empty store each, in a copy without git."""
    import shutil

    for name in ("a", "b"):
        for folder in ("requirements", "analyses", "tests"):
            ignored = shutil.ignore_patterns("__pycache__")
            shutil.copytree(ROOT / folder, tmp_path / name / folder, ignore=ignored)
    quiet = _judged(tmp_path / "a")
    with busy(os.cpu_count() or 1):
        assert _judged(tmp_path / "b") == quiet
    assert not [
        e for r in quiet["requirements"] for e in r["verification"] if e["state"] == "error"
    ]
