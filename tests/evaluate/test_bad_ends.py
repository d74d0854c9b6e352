"""Each bad end is an error of that analysis alone; the others are answered, nothing is left."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import pytest

from closeout.evaluate import allowance, engine, workers
from tests.evaluate.project import Asked, Project, environment, module, running

QUICK = "@analysis(time_limit=0.5)"


@dataclass(frozen=True)
class End:
    """A module, and how its analysis ends: kind of the failure, a part of the message, kept?"""

    text: str
    kind: str
    said: str
    stored: bool = True


ENDS = {
    "raises": End(module("raise ValueError('no root')"), "raised", "ValueError: no root"),
    "exits": End(module("import sys\nsys.exit('so')"), "exited", "sys.exit('so')"),
    "os_exit": End(module("import os\nprint('bye')\nos._exit(3)"), "exited", "status 3", False),
    "os_exit_0": End(module("import os\nos._exit(0)"), "exited", "status 0", False),
    "killed": End(module("import os\nos.kill(os.getpid(), 9)"), "killed", "SIGKILL", False),
    "aborts": End(module("import os\nos.abort()"), "killed", "SIGABRT", False),
    "segfault": End(
        module("import ctypes\nctypes.string_at(0)"), "killed", "SIGSEGV", False
    ),
    "hangs": End(module("while True:\n    pass", mark=QUICK), "timed out", "0.5 s", False),
    "ignores_sigterm": End(
        module(
            "import signal, time\nfor s in (1, 2, 15):\n    signal.signal(s, signal.SIG_IGN)\n"
            "time.sleep(1000)", mark=QUICK,
        ),
        "timed out", "it waits for something", False,
    ),
    "child_holds_pipes": End(
        module("import os, time\nif os.fork() == 0:\n    time.sleep(1000)\nos._exit(1)"),
        "exited", "status 1", False,
    ),
    "child_in_a_session": End(
        module(
            "import os, time\nif os.fork() == 0:\n    os.setsid()\n    if os.fork() == 0:\n"
            "        time.sleep(1000)\n    os._exit(0)\nos.wait()\nos._exit(1)"
        ),
        "exited", "status 1", False,
    ),
    "nan": End(module("return R(float('nan'))"), "bad result", "y is nan"),
    "inf": End(module("return R(-1e308 * 10)"), "bad result", "y is -inf"),
    "too_large": End(module("return R(10**400)"), "bad result", "y is inf"),
    "text": End(module("return R('1')"), "bad result", "y is str, not a number"),
    "boolean": End(module("return R(True)"), "bad result", "y is bool, not a number"),
    "numpy_boolean": End(
        module("import numpy\nreturn R(numpy.bool_(True))"), "bad result", "not a number"
    ),
    "none": End(module("return None"), "bad result", "returned NoneType, not the declared R"),
    "other_class": End(
        module("class S(NamedTuple):\n    y: float\nreturn S(1.0)"), "bad result", "returned S"
    ),
    "wrong_field": End(module("return R(z=1.0)"), "raised", "TypeError"),
    "absent_alone": End(module("return R(absent('never'))"), "bad result", "only a case"),
    "no_case": End(module("return Cases({})", result="Cases"), "bad result", "has no case"),
    "no_mapping": End(module("return Cases(1.0)", result="Cases"), "bad result", "not a mapping"),
    "bad_case": End(
        module("return Cases({1: 1.0, '': 1.0, 'a\\x1b[2J': 1.0, '\\ud800': 1.0})", result="Cases"),
        "bad result", "the case 1",
    ),
    "bad_reason": End(
        module("return Cases({'a': absent('\\x1b[2J')})", result="Cases"),
        "bad result", "cannot be shown",
    ),
    "memory": End(module("bytearray(1 << 50)"), "killed", "out of memory", False),
    "memory_bit_by_bit": End(
        module(
            "import resource\nresource.setrlimit(resource.RLIMIT_AS, (1 << 28, 1 << 28))\n"
            "kept = []\nwhile True:\n    kept.append([0] * 100_000)"
        ),
        "killed", "out of memory", False,
    ),
    "recursion": End(module("return f(x)"), "raised", "RecursionError"),
    "huge_message": End(module("raise ValueError('m' * 10_000_000)"), "raised", "ValueError: mmm"),
    "odd_message": End(
        module("raise ValueError('\\ud800\\udcff \\x1b[2J \\r end')"), "raised", "\\ud800\\udcff"
    ),
    "str_raises": End(
        module("class E(Exception):\n    def __str__(self):\n        raise OSError\nraise E"),
        "raised", "E",
    ),
    "exit_code_raises": End(
        module(
            "import sys\nclass C:\n    def __repr__(self):\n        raise OSError\nsys.exit(C())"
        ),
        "raised", "SystemExit",
    ),
    "base_exception": End(module("raise KeyboardInterrupt"), "raised", "KeyboardInterrupt"),
    "group": End(
        module("raise BaseExceptionGroup('two', [ValueError('a'), SystemExit(1)])"),
        "raised", "two",
    ),
    "closes_descriptors": End(
        module("import os\nos.closerange(0, 4096)\nreturn R(x)"), "exited", "no result", False
    ),
    "kills_its_parent": End(
        module("import os\nos.kill(os.getppid(), 9)\nreturn R(x)"), "killed", "around it", False
    ),
    "patches_json": End(
        module("import json\njson.dumps = json.JSONEncoder = None\nraise OSError('x')"),
        "raised", "OSError: x",
    ),
    "opens_all_descriptors": End(
        module("kept = []\nwhile True:\n    kept.append(open('/dev/null'))"), "raised", "OSError"
    ),
}  # fmt: skip

GOOD = {
    "prints": (module("for _ in range(20_000):\n    print('{\"y\": 1}' * 10)\nreturn R(x)"), 1.0),
    "reads_input": (
        module("import sys\nreturn R(float(len(sys.stdin.read())) + len(sys.stdin.readline()))"),
        0.0,
    ),
    "numpy_float": (module("import numpy\nreturn R(numpy.float32(0.5))"), 0.5),
    "numpy_integer": (module("import numpy\nreturn R(numpy.int64(5))"), 5.0),
    "fraction": (
        module("from fractions import Fraction\nreturn R(Fraction(1, 4))"), 0.25
    ),
    "environment": (
        module("import os\nos.environ.clear()\nos.chdir('/')\nreturn R(x)"), 1.0
    ),
    "patches_os": (
        module("import os\nos._exit = os.write = os.fork = os.getpid = None\nreturn R(x)"), None
    ),
    "daemon_thread": (
        module(
            "import threading, time\n"
            "threading.Thread(target=time.sleep, args=(1000,), daemon=True).start()\nreturn R(x)"
        ),
        1.0,
    ),
    "thread": (
        module(
            "import threading, time\nthreading.Thread(target=time.sleep, args=(1000,)).start()\n"
            "return R(x)"
        ),
        1.0,
    ),
    "forks": (module("import os\nif os.fork():\n    os.wait()\nreturn R(x)"), 1.0),
    "absent": (module("return Cases({'a': x, 'b': absent('never')})", result="Cases"),
               {"a": 1.0, "b": "never"}),
    "last": (module("return R(9 * x)"), 9.0),
}  # fmt: skip


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Project:
    texts = {name: end.text for name, end in ENDS.items()}
    texts |= {name: text for name, (text, _) in GOOD.items()}
    # Beside the one that kills the process around it stands one that does not.
    texts["kills_its_parent"] += "\n\n@analysis\ndef g(x: W) -> R:\n    return R(5 * x)\n"
    root = tmp_path_factory.mktemp("ends") / "p"
    return Project(root, {f"analyses/{name}.py": text for name, text in texts.items()})


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Wait by the clock no longer than for processor time; nothing else differs."""
    monkeypatch.setattr(allowance, "FAR_TIMES", 1.0)
    monkeypatch.setattr(allowance, "FAR_SECONDS", 0.5)


@pytest.fixture(scope="module")
def asked(project: Project) -> Asked:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(allowance, "FAR_TIMES", 1.0)
        return project.ask(jobs=3)


@pytest.mark.parametrize("name", ENDS)
def test_an_error_with_its_reason(asked: Asked, name: str) -> None:
    end = ENDS[name]
    failure = asked.failure(f"{name}.f")
    assert failure.kind == end.kind, failure
    assert end.said in failure.message
    assert len(failure.message) < 2500
    shown = failure.message + failure.traceback
    shown.encode("utf-8")
    assert "\x1b" not in shown
    assert "\r" not in shown
    assert (asked.not_stored(f"{name}.f") == "") is end.stored


@pytest.mark.parametrize("name", [name for name in GOOD if name != "patches_os"])
def test_the_others_are_answered(asked: Asked, name: str) -> None:
    assert asked.values[f"{name}.f"] == GOOD[name][1]


def test_one_beside_the_killer_is_answered(asked: Asked) -> None:
    assert asked.values["kills_its_parent.g"] == 5.0


def test_what_an_analysis_does_to_os_is_its_own_affair(asked: Asked) -> None:
    """It may fail or not; what counts is that it does not hang and disturbs nobody."""
    assert asked.values["patches_os.f"] in (1.0, "exited", "killed", "raised")


@pytest.mark.usefixtures("impatient")
def test_only_what_is_stored_comes_from_the_store(project: Project, asked: Asked) -> None:
    again = project.ask(jobs=3)
    stored = {f"{name}.f" for name, end in ENDS.items() if end.stored}
    assert stored & again.computed == set()
    not_stored = {f"{name}.f" for name, end in ENDS.items() if not end.stored}
    assert not_stored <= again.computed
    assert {name: again.values[name] for name in stored} == {n: asked.values[n] for n in stored}


@pytest.mark.skipif(not os.path.isdir("/proc/self/task"), reason="looks into /proc")
def test_nothing_is_left_running(project: Project, asked: Asked) -> None:
    assert asked.values  # the run is over
    until = time.monotonic() + 5
    while (left := running(str(project.root))) and time.monotonic() < until:
        time.sleep(0.05)  # what was killed takes a moment to be gone
    assert left == []


def test_the_traceback_is_the_author_s_own(tmp_path: Path) -> None:
    helper = "import json\n\n\ndef read(text):\n    return json.loads(text)\n"
    project = Project(
        tmp_path / "p",
        {
            "analyses/deep/helper.py": helper,
            "analyses/a.py": module(
                "return R(helper.read('{'))", top="from analyses.deep import helper"
            ),
        },
    )
    failure = project.ask().failure("a.f")
    frames = [line for line in failure.traceback.splitlines() if line.startswith('  File "')]
    assert frames[0].startswith('  File "analyses/a.py", line ')
    assert frames[1] == '  File "analyses/deep/helper.py", line 5, in read'
    assert frames[2].startswith('  File ".../json/')  # of this machine, the last two names only
    assert (failure.path, failure.line) == ("analyses/deep/helper.py", 5)
    assert "return json.loads(text)" in failure.traceback
    assert str(tmp_path) not in failure.traceback
    assert "closeout" not in failure.traceback


def test_other_cases_at_a_corner(tmp_path: Path) -> None:
    body = "return Cases({'a': x} if x < 1.2 else {'b': x})"
    project = Project(tmp_path / "p", {"analyses/a.py": module(body, result="Cases")})
    failure = project.ask(box=(("x", 0.5, 1.5),)).failure("a.f")
    assert failure.kind == "bad result"
    assert "y[a], y[b]" in failure.message


IMPORTS = {
    "raises": ("raise ValueError('so')", "raised", "ValueError: so"),
    "exits": ("import sys\nsys.exit(2)", "exited", "sys.exit(2)"),
    "dies": ("import os\nos._exit(2)", "killed", "while its module was imported"),
    "kills_the_host": ("import os\nos.kill(os.getppid(), 9)", None, ""),
    "syntax": ("def f(:", "raised", "SyntaxError"),
    "zero": ("x = '\0'", "raised", ""),
    "encoding": ("", "raised", "SyntaxError"),
    "memory": ("bytearray(1 << 50)", "killed", "out of memory"),
    "hangs": ("while True:\n    pass", "timed out", "1 s of processor time"),
    "sleeps": ("import time\ntime.sleep(1000)", "timed out", "neither in parallel nor alone"),
    "closes": ("import os\nos.closerange(0, 4096)", "killed", "while its module was imported"),
    "stops": ("import os, signal\nos.kill(os.getpid(), signal.SIGSTOP)", "timed out", "1 s"),
    "leaves_a_process": (
        "import os, time\nif os.fork() == 0:\n    os.setsid()\n    time.sleep(1000)\n"
        "time.sleep(1000)", "timed out", "1 s",
    ),
}  # fmt: skip


GRANDPARENT = "int(open('/proc/%d/stat' % os.getppid()).read().split()[3])"


@pytest.fixture
def hasty(monkeypatch: pytest.MonkeyPatch, impatient: None) -> None:
    """Less patience than a user has; nothing else differs."""
    for place in (engine, workers):
        monkeypatch.setattr(place, "IMPORT_LIMIT", 1.0)
    monkeypatch.setattr(workers, "STUCK", 0.5)


@pytest.mark.usefixtures("hasty")
def test_an_import_that_ends_badly_is_an_error_of_its_module(tmp_path: Path) -> None:
    files = {
        f"analyses/{n}.py": module("return R(x)", top=top) for n, (top, _, _) in IMPORTS.items()
    }
    files["analyses/encoding.py"] = "# coding: nonsense\n" + files["analyses/encoding.py"]
    project = Project(tmp_path / "p", {**files, "analyses/good.py": module("return R(x)")})
    asked = project.ask(jobs=4)
    assert asked.values["good.f"] == 1.0
    for found in asked.modules:
        name = found.name.removeprefix("analyses.")
        kind, said = IMPORTS.get(name, (None, None, ""))[1:]
        if kind is None:
            assert asked.values[f"{name}.f"] == 1.0
        else:
            kinds = [(f, failure.kind) for f, failure in found.failures]
            assert kinds == [(None, kind)], (name, found)
            failure = found.failures[0][1]
            assert said in failure.message
    assert not asked.complete
    time.sleep(0.2)
    assert not os.path.isdir("/proc/self/task") or running(str(project.root)) == []


@pytest.mark.usefixtures("hasty")
@pytest.mark.parametrize("whom", ["os.getppid()", GRANDPARENT])
def test_a_stopped_process_around_it_is_found(tmp_path: Path, whom: str) -> None:
    """Stopped, not ended: nobody tells of it, so the tool must not wait for ever."""
    body = f"import os, signal\nos.kill({whom}, signal.SIGSTOP)\nreturn R(x)"
    project = Project(
        tmp_path / "p",
        {
            "analyses/a.py": module(body, mark=QUICK),
            "analyses/b.py": module("return R(x)"),
            "analyses/c.py": module("import time\ntime.sleep(0.3)\nreturn R(x)"),
        },
    )
    asked = project.ask(jobs=1)  # and comes back at all
    assert asked.values["b.f"] == asked.values["c.f"] == 1.0


def test_signatures_that_cannot_be_used(tmp_path: Path) -> None:
    text = module("return R(x)") + "".join(
        f"\n\n{mark}\ndef {name}({arguments}) -> {result}:\n    return R(1.0)\n"
        for name, mark, arguments, result in (
            ("star", "@analysis", "*x: W", "R"),
            ("by_place", "@analysis", "x: W, /", "R"),
            ("no_unit", "@analysis", "x", "R"),
            ("no_result", "@analysis", "x: W", "float"),
            ("unknown", "@analysis", "x: 'Nothing'", "R"),
            ("limit", "@analysis(time_limit=float('inf'))", "x: W", "R"),
            ("negative", "@analysis(time_limit=-1)", "x: W", "R"),
            ("evidence", "@analysis(validated_by=(1,))", "x: W", "R"),
            ("cached", "@analysis\n@functools.lru_cache", "x: W", "R"),
        )
    )
    text += (
        "\n\ng = f\n\n\ndef make():\n    @analysis\n    def twin(x: W) -> R:\n        return R(x)"
    )
    text += "\n    return twin\n\n\none, two = make(), make()\n"
    project = Project(tmp_path / "p", {"analyses/a.py": "import functools\n" + text})
    asked = project.ask()
    assert asked.values == {"a.f": 1.0}
    [found] = asked.modules
    said = {name: failure.message for name, failure in found.failures}
    assert all(failure.kind == "bad signature" for _, failure in found.failures)
    assert set(said) == {
        "star", "by_place", "no_unit", "no_result", "unknown", "limit", "negative", "evidence",
        "cached", "twin",
    }  # fmt: skip
    assert "2 analyses with this name" in said["twin"]


def test_a_run_that_is_killed_leaves_nothing_running(tmp_path: Path) -> None:
    project = Project(
        tmp_path / "p",
        {
            "analyses/a.py": module("import time\ntime.sleep(1000)\nreturn R(x)"),
            "analyses/b.yaml": "parameters:\n  x: {value: 1 W, source: invented}\n",
            "requirements/r.yaml": REQUIREMENT,
        },
    )
    command = [sys.executable, "-m", "closeout", "verify"]
    process = subprocess.Popen(
        command, cwd=project.root, env=environment(), stdout=subprocess.DEVNULL
    )
    marker = str(project.root)
    until = time.monotonic() + 10
    while len(running(marker)) < 4 and time.monotonic() < until:
        time.sleep(0.02)  # the tool, the host, the module, the evaluation
    assert len(running(marker)) >= 4
    process.send_signal(signal.SIGKILL)
    process.wait()
    while running(marker) and time.monotonic() < until:
        time.sleep(0.02)
    assert running(marker) == []


REQUIREMENT = """\
requirements:
  - id: R-1
    title: Invented
    statement: The unit shall give at least 1 W.
    source: Invented
    verification:
      - {method: analysis, level: system, stage: qualification, review: CDR, analysis: f,
         quantity: y, at_least: 1 W, basis: nominal}
"""
