"""What cannot be known again is not kept, says so, and is computed each time."""

from __future__ import annotations

import sys
import threading
import time
from pathlib import Path

import pytest

from closeout.evaluate import allowance
from tests.evaluate.project import Project, module
from tests.evaluate.test_bad_ends import REQUIREMENT

PROCESS, SOCKET = "it started a process", "it opened a socket"
COMMAND = repr([sys.executable, "-c", "pass"])
NOT_STORED = {
    "subprocess": (module(f"import subprocess\nsubprocess.run({COMMAND})\nreturn R(x)"), PROCESS),
    "system": (module("import os\nos.system('true')\nreturn R(x)"), PROCESS),
    "popen": (module("import os\nos.popen('true').read()\nreturn R(x)"), PROCESS),
    "spawn": (
        module("import os\nos.spawnv(os.P_WAIT, '/bin/sh', ['sh', '-c', 'true'])\nreturn R(x)"),
        PROCESS,
    ),
    "posix_spawn": (
        module("import os\nos.waitpid(os.posix_spawn('/bin/sh', ['sh', '-c', ':'], {}), 0)\n"
               "return R(x)"), PROCESS,
    ),
    "fork": (
        module("import os\nif os.fork() == 0:\n    os._exit(0)\nos.wait()\nreturn R(x)"), PROCESS
    ),
    "pool": (
        module(
            "import multiprocessing\n"
            "p = multiprocessing.get_context('spawn').Process(target=print)\n"
            "p.start()\np.join()\nreturn R(x)"
        ),
        PROCESS,
    ),
    "at_import": (
        module("return R(x)", top=f"import subprocess\nsubprocess.run({COMMAND})"), PROCESS,
    ),
    "socket": (module("import socket\nsocket.socket().close()\nreturn R(x)"), SOCKET),
    "url": (
        module(
            "import urllib.request\ntry:\n    urllib.request.urlopen('http://127.0.0.1:9/')\n"
            "except OSError:\n    pass\nreturn R(x)"
        ),
        SOCKET,
    ),
    "database": (
        module("import sqlite3\nsqlite3.connect(':memory:').close()\nreturn R(x)"),
        "it opened a database",
    ),
    "chance": (module("open('/dev/urandom', 'rb').read(1)\nreturn R(x)"), "it read /dev/urandom"),
    "kernel": (module("open('/proc/uptime').read()\nreturn R(x)"), "it read /proc/uptime"),
    "listing": (module("import os\nos.listdir('/')\nreturn R(x)"), "it listed /"),
    "thread": (
        module("return R(x)", top="import threading, time\n"
               "threading.Thread(target=time.sleep, args=(1000,), daemon=True).start()"),
        "left a thread running",
    ),
    "killed": (module("import os\nos.kill(os.getpid(), 9)"), "it was killed"),
    "timed_out": (
        module("import time\ntime.sleep(1000)", mark="@analysis(time_limit=0.3)"), "it timed out"
    ),
}  # fmt: skip


@pytest.mark.slow
def test_it_runs_each_time_and_says_why(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(allowance, "FAR_SECONDS", 0.0)
    files = {f"analyses/{name}.py": text for name, (text, _) in NOT_STORED.items()}
    project = Project(tmp_path / "p", {**files, "analyses/good.py": module("return R(x)")})
    for computed_before in (False, True):
        asked = project.ask(jobs=3)
        assert not asked.complete
        assert ("good.f" in asked.computed) is not computed_before
        for name, (_, why) in NOT_STORED.items():
            assert f"{name}.f" in asked.computed
            assert why in asked.not_stored(f"{name}.f"), name
        assert asked.not_stored("good.f") == ""


def test_a_file_elsewhere_that_is_added_to_is_no_result_s_own(tmp_path: Path) -> None:
    place = tmp_path / "log"
    place.write_text("a")
    body = f"with open({str(place)!r}, 'a+') as f:\n    f.write('a')\n    return R(f.tell())"
    project = Project(tmp_path / "p", {"analyses/a.py": module(body)})
    assert project.ask().values == {"a.f": 2.0}
    again = project.ask()
    assert again.values == {"a.f": 3.0}
    assert f"it changed {place}" in again.not_stored("a.f")


def test_a_file_elsewhere_is_a_dependency(tmp_path: Path) -> None:
    place = tmp_path / "table"
    body = (
        f"try:\n    return R(len(open({str(place)!r}).read()))\n"
        "except FileNotFoundError:\n    return R(0.0)"
    )
    project = Project(tmp_path / "p", {"analyses/a.py": module(body)})
    assert project.ask().values == {"a.f": 0.0}
    assert project.ask().computed == set()
    place.write_text("abc")
    assert project.ask().values == {"a.f": 3.0}
    place.write_text("abcd")
    assert project.ask().values == {"a.f": 4.0}
    assert project.ask().computed == set()


@pytest.mark.slow
def test_the_memory_of_whole_runs_does_not_hide_it(tmp_path: Path) -> None:
    body = "import os\nos.system('true')\nreturn R(2 * x)"
    project = Project(
        tmp_path / "p",
        {
            "analyses/a.py": module(body),
            "analyses/b.yaml": "parameters:\n  x: {value: 1 W, source: invented}\n",
            "requirements/r.yaml": REQUIREMENT,
        },
    )
    for _ in range(3):
        assert project.scale() == (1, 0)
    project.write({"analyses/a.py": module("return R(2 * x)")})
    assert project.scale() == (1, 0)
    assert project.scale() == (0, 1)


WAITING = """\
import time, os
first = READ
open(MARK, 'x').close()
while not os.path.exists(GO):
    time.sleep(0.01)
"""


@pytest.mark.parametrize(
    ("read", "change"),
    [
        ("open('analyses/t.csv').read()", lambda p: p.write({"analyses/t.csv": "other"})),
        ("os.listdir('analyses/d')", lambda p: p.write({"analyses/d/new": ""})),
        ("os.path.exists('analyses/new')", lambda p: p.write({"analyses/new": ""})),
    ],
)
@pytest.mark.parametrize("when", ["in the function", "at import"])
@pytest.mark.parametrize("known", [(), ("analyses/t.csv", "analyses/d", "analyses/new")])
def test_a_change_while_it_is_read_is_reported(
    tmp_path: Path, read: str, change: object, when: str, known: tuple[str, ...]
) -> None:
    """The answer might rest on either state: no verdict, and nothing kept.

    The tool itself may have seen either state too, the old one where it looked before.
    """
    mark, go = tmp_path / "mark", tmp_path / "go"
    names = f"import os\nMARK, GO = {str(mark)!r}, {str(go)!r}\n"
    waiting = WAITING.replace("READ", read)
    # Read once more afterwards: it sees the new state, whatever was noted of the first.
    text = (
        module(f"{waiting}return R(len(str({read})))", top=names)
        if when == "in the function"
        else module("return R(later)", top=f"{names}{waiting}later = len(str({read}))")
    )
    project = Project(
        tmp_path / "p",
        {"analyses/a.py": text, "analyses/t.csv": "12", "analyses/d/old": ""},
    )

    def interfere() -> None:
        while not mark.exists():
            time.sleep(0.005)
        change(project)  # type: ignore[operator]
        go.touch()

    thread = threading.Thread(target=interfere)
    thread.start()
    asked = project.ask(known=known)
    thread.join()
    failures = [failure for _, failure in asked.modules[0].failures]
    failure = asked.failure("a.f") if when == "in the function" else failures[0]
    assert failure.kind == "changed"
    assert "changed while it was read; run again" in failure.message
    assert not asked.complete
    mark.unlink()
    assert isinstance(project.ask().values["a.f"], float)
