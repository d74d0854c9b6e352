"""What a terminal gets: colours and a progress bar; anything else gets plain text."""

from __future__ import annotations

import fcntl
import json
import os
import pty
import re
import select
import struct
import subprocess
import sys
import termios
import time
from pathlib import Path

import pytest

from tests.cli.project import Project, base, environment, make, power
from tests.cli.project import requirement as item
from tests.effort import BACKSTOP

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

ESCAPE = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")


def in_terminal(
    project: Project, *arguments: str, columns: int = 100, **variables: str
) -> tuple[int, str]:
    """Run a command with all its streams on a pseudo-terminal; return status and what it wrote."""
    leader, follower = pty.openpty()
    fcntl.ioctl(follower, termios.TIOCSWINSZ, struct.pack("HHHH", 40, columns, 0, 0))
    process = subprocess.Popen(
        [sys.executable, "-m", "closeout", *arguments],
        cwd=project.path,
        env=environment(**{"TERM": "xterm-256color", **variables}),
        stdin=follower,
        stdout=follower,
        stderr=follower,
        close_fds=True,
    )
    os.close(follower)
    told = b""
    until = time.monotonic() + BACKSTOP
    while time.monotonic() < until:
        ready, _, _ = select.select([leader], [], [], 0.2)
        try:
            part = os.read(leader, 65536) if ready else b""
        except OSError:  # Linux: the other end is closed
            break
        told += part
        if not ready and process.poll() is not None:
            break
    os.close(leader)
    return process.wait(timeout=BACKSTOP), told.decode("utf-8").replace("\r\n", "\n")


@pytest.fixture(scope="module")
def short(tmp_path_factory: pytest.TempPathFactory) -> Project:
    files = base(power=power(item(limit="at_least: 197 kJ")))
    return make(tmp_path_factory.mktemp("short") / "p", files)


def test_no_escape_codes_without_a_terminal(short: Project) -> None:
    for arguments in (["verify"], ["lint"], ["explain", "PWR-010"], ["verify", "--bogus"]):
        for variables in ({}, {"TERM": "xterm-256color", "COLORTERM": "truecolor"}):
            run = short.run(*arguments, env=environment(**variables))
            assert "\x1b" not in run.said
            assert "\r" not in run.said


def test_a_terminal_gets_colours_that_add_nothing(short: Project) -> None:
    plain = short.run("verify")
    plain = short.run("verify")
    status, told = in_terminal(short, "verify")
    assert status == plain.status == 1
    assert "\x1b[" in told
    assert ESCAPE.sub("", told) == plain.stdout


def test_no_color_is_obeyed(short: Project) -> None:
    status, told = in_terminal(short, "verify", NO_COLOR="1")
    assert status == 1
    assert "\x1b" not in told
    # Set and empty is not set: https://no-color.org
    assert "\x1b[" in in_terminal(short, "verify", NO_COLOR="")[1]


@pytest.mark.parametrize("kind", ["dumb", "unknown", ""])
def test_a_dumb_terminal_gets_no_escapes(short: Project, kind: str) -> None:
    plain = short.run("verify")
    assert in_terminal(short, "verify", TERM=kind) == (1, plain.stdout)
    for arguments in (["lint"], ["explain", "PWR-010"], ["verify", "--set", "voltage=11 V"]):
        assert "\x1b" not in in_terminal(short, *arguments, TERM=kind)[1]


@pytest.mark.parametrize("columns", [40, 80, 100, 140])
def test_the_width_of_the_terminal_is_kept(short: Project, columns: int) -> None:
    _, told = in_terminal(short, "verify", columns=columns)
    lines = ESCAPE.sub("", told).split("\n")
    for line in lines:
        if not line.strip().startswith(("closeout verify --set", "analyses/", "requirements/")):
            assert len(line) <= columns, line


def test_json_on_a_terminal_is_json_and_nothing_else(short: Project) -> None:
    _, told = in_terminal(short, "verify", "--json", "-")
    assert "\x1b" not in told
    assert told.startswith("{")


SLOW = '''\
import time
from typing import NamedTuple

from closeout import analysis
from closeout.units import A_h, V, W_h


class Energy(NamedTuple):
    NAME: W_h


@analysis
def NAME(voltage: V, charge: A_h) -> Energy:
    """Slow."""
    time.sleep(0.07)
    return Energy(voltage * charge)
'''


def slow_project(path: Path) -> Project:
    files = base()
    items = []
    for number in range(6):
        name = f"slow_{number}"
        files[f"analyses/{name}.py"] = SLOW.replace("NAME", name)
        items.append(
            item(f"PWR-02{number}")
            .replace("analysis: energy", f"analysis: {name}")
            .replace("quantity: energy", f"quantity: {name}")
        )
    files["requirements/slow.yaml"] = power(*items)
    return make(path, files)


@pytest.mark.slow
def test_long_work_shows_a_bar_that_is_gone_at_the_end(tmp_path: Path) -> None:
    project = slow_project(tmp_path / "p")
    status, told = in_terminal(project, "verify", "--jobs", "1")
    assert status == 0
    assert "running analyses" in told
    assert re.search(r"[0-9]/[0-9]", ESCAPE.sub("", told.partition("Lantern")[0]))
    # Nothing changed: nothing runs, and there is no bar.
    status, told = in_terminal(project, "verify", "--jobs", "1")
    assert status == 0
    assert "running analyses" not in told


@pytest.mark.slow
@pytest.mark.parametrize("variables", [{"TERM": "dumb"}, {"NO_COLOR": "1"}])
def test_long_work_moves_no_cursor_where_there_are_no_escapes(
    tmp_path: Path, variables: dict[str, str]
) -> None:
    project = slow_project(tmp_path / "p")
    status, told = in_terminal(project, "verify", "--jobs", "1", **variables)
    assert status == 0
    assert "\x1b" not in told
    assert "\r" not in told


@pytest.mark.slow
def test_no_bar_without_a_terminal(tmp_path: Path) -> None:
    run = slow_project(tmp_path / "p").run("verify", "--jobs", "1")
    assert run.status == 0
    assert run.stderr == ""


def test_an_interrupt_ends_everything_without_a_traceback(tmp_path: Path) -> None:
    files = base()
    files["analyses/energy.py"] = str(files["analyses/energy.py"]).replace(
        "    return Energy(", "    import time\n    time.sleep(50)\n    return Energy("
    )
    project = make(tmp_path / "p", files)
    process = subprocess.Popen(
        [sys.executable, "-m", "closeout", "verify"],
        cwd=project.path,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    time.sleep(1.5)
    os.killpg(process.pid, 2)
    out, told = process.communicate(timeout=BACKSTOP)
    assert process.returncode == 130
    assert told.strip() == "interrupted"
    assert out == ""


def test_a_reader_that_ends_early_is_no_fault(tmp_path: Path) -> None:
    # Far more than a pipe holds, so that the writer meets the closed end.
    items = [item(f"PWR-{number}") for number in range(1000, 3000)]
    project = make(tmp_path / "p", base(power=power(*items)))
    script = f'"{sys.executable}" -m closeout verify | head -1; echo "${{PIPESTATUS[0]}}"'
    done = subprocess.run(
        ["bash", "-c", script], cwd=project.path, env=environment(), capture_output=True,
        text=True, timeout=BACKSTOP, check=False,
    )  # fmt: skip
    assert done.stderr == ""
    first, status = done.stdout.strip().split("\n")
    assert first.startswith("Lantern")
    # As a shell says of a program that SIGPIPE ended: never 0, which would say that all is met.
    assert status == "141"


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="this system has no /dev/full")
def test_a_full_device_is_told_and_is_no_fault(short: Project) -> None:
    with open("/dev/full", "wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "closeout", "verify"], cwd=short.path, env=environment(),
            stdout=full, stderr=subprocess.PIPE, text=True, timeout=BACKSTOP, check=False,
        )  # fmt: skip
    assert done.returncode == 2
    assert "No space left" in done.stderr
    assert "Traceback" not in done.stderr
    assert "fault" not in done.stderr


@pytest.mark.parametrize(
    ("encoding", "shown"),
    [("ascii", "100 uF, 3 ohm, e, ?"), ("latin-1", "100 \xb5F, 3 ohm, \xe9, ?")],
)
def test_a_character_that_cannot_be_shown_is_replaced(
    tmp_path: Path, encoding: str, shown: str
) -> None:
    files = base()
    files["requirements/odd.yaml"] = (
        "documents:\n  - {id: A, title: t}\n  - {id: '100 \xb5F, 3 Ω, é, 漢', title: t}\n"
    )
    project = make(tmp_path / "p", files)
    done = subprocess.run(
        [sys.executable, "-m", "closeout", "lint"], cwd=project.path, capture_output=True,
        env=environment(PYTHONIOENCODING=encoding, PYTHONUTF8="0"), timeout=BACKSTOP, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert shown in done.stdout.decode(encoding)
    assert done.stderr == b""


def test_json_is_utf_8_whatever_the_terminal_shows(tmp_path: Path) -> None:
    files = base()
    files["requirements/project.yaml"] = str(files["requirements/project.yaml"]).replace(
        "name: ", "name: Ω ", 1
    )
    project = make(tmp_path / "p", files)
    done = subprocess.run(
        [sys.executable, "-m", "closeout", "verify", "--json", "-"], cwd=project.path,
        env=environment(PYTHONIOENCODING="ascii"), capture_output=True, timeout=BACKSTOP,
        check=False,
    )  # fmt: skip
    assert json.loads(done.stdout.decode("utf-8"))["project"].startswith("Ω ")
