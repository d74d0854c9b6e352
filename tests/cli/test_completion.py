"""Completion in a shell: click's protocol in a process, and the keys of a user in a real shell."""

from __future__ import annotations

import os
import pty
import select
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from closeout.rules.catalogue import RULES
from tests.cli.project import CHARTER, SYSTEM, Project, base, environment, make
from tests.effort import BACKSTOP

CLOSEOUT = Path(sys.executable).with_name("closeout")
RECORD = """\
records:
  - id: TR-001
    method: test
    title: Left, to burn
    document: LAN-TR-001
articles:
  - {id: LAMP, title: Lamp, model: flight, build: S-1}
"""
FILES = base(
    system=SYSTEM.replace("    source:", "    owner: system\n    source:"),
    **{"requirements/records.yaml": RECORD},
)


@pytest.fixture(scope="module")
def known(tmp_path_factory: pytest.TempPathFactory) -> Project:
    """A project that no test changes; it was never judged."""
    return make(tmp_path_factory.mktemp("known") / "p", FILES)


def asked(project: Project, **variables: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [CLOSEOUT], cwd=project.path, env=environment(**variables), capture_output=True,
        text=True, timeout=BACKSTOP, check=False,
    )  # fmt: skip


def completed(project: Project, line: str) -> list[str]:
    """Return what bash is told could follow a line, of which the last word is typed in part."""
    done = asked(
        project, _CLOSEOUT_COMPLETE="bash_complete", COMP_LINE=line, COMP_WORDBREAKS=" \t\n\"'=:"
    )
    assert done.stderr == ""
    return [text.partition(",")[2] for text in done.stdout.splitlines() if text]


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("closeout explain PWR", ["PWR-010"]),
        ("closeout explain vol", ["voltage"]),
        ("closeout explain w", ["warmth"]),
        ("closeout explain --solve c", ["charge", "cell_temperature"]),
        ("closeout explain --boundary charge,vol", ["charge,voltage"]),
        ("closeout verify --set vol", ["voltage="]),
        ("closeout verify --set 'voltage=12 V' --set ch", ["charge="]),
        ("closeout verify --set voltage=", []),
        ("closeout sweep voltage=1V..2V ch", ["charge="]),
        ("closeout verify --review ", ["SRR", "CDR", "AR"]),
        ("closeout verify --review=C", ["CDR"]),
        ("closeout verify --only SYS", ["SYS-010"]),
        ("closeout verify --only ow", ["owner="]),
        ("closeout verify --only owner=s", ["system"]),
        ("A=1 closeout verify --only state=o", ["open"]),
        ("closeout lint --rule unused-", sorted(n for n in RULES if n.startswith("unused-"))),
    ],
)
def test_names_are_completed(known: Project, line: str, expected: list[str]) -> None:
    found = completed(known, line)
    assert sorted(found) == sorted(expected)


def test_a_shell_completes_files_and_folders_itself(known: Project) -> None:
    for line, kind in (("closeout verify --json ", "file"), ("closeout package -o x", "dir")):
        done = asked(known, _CLOSEOUT_COMPLETE="bash_complete", COMP_LINE=line)
        assert done.stdout.startswith(f"{kind},")


def test_zsh_and_fish_are_told_titles(known: Project) -> None:
    words = {"COMP_WORDS": "closeout explain TR", "COMP_CWORD": "2"}
    done = asked(known, _CLOSEOUT_COMPLETE="zsh_complete", **words)
    assert (done.stdout, done.stderr) == ("plain\nTR-001\nLeft; to burn\n", "")
    words = {"COMP_WORDS": "closeout explain TR", "COMP_CWORD": "TR"}
    done = asked(known, _CLOSEOUT_COMPLETE="fish_complete", **words)
    assert (done.stdout, done.stderr) == ("plain,TR-001\tLeft; to burn\n", "")


def test_nothing_is_run_written_or_imported(tmp_path: Path) -> None:
    trap = "import pathlib\npathlib.Path('/nowhere/at all').read_text()\n"
    project = make(tmp_path, {**FILES, "analyses/trap.py": trap})
    before = sorted(tmp_path.rglob("*"))
    assert completed(project, "closeout explain en") == ["energy"]
    assert sorted(tmp_path.rglob("*")) == before
    assert project.run("verify").status != 3
    store = {path: path.read_bytes() for path in (tmp_path / ".closeout").iterdir()}
    assert completed(project, "closeout explain PWR") == ["PWR-010"]
    assert {path: path.read_bytes() for path in (tmp_path / ".closeout").iterdir()} == store


@pytest.mark.parametrize(
    "files",
    [
        {},
        {"requirements/project.yaml": "project: [\n"},
        {"requirements/project.yaml": b"\xff\xfe\x00"},
        base(power="requirements: {]\n", charter=CHARTER + "  colour: red\n"),
        base(**{".closeout/store.sqlite3": b"no data base" * 1000}),
    ],
)
def test_where_something_is_wrong_nothing_is_said(
    tmp_path: Path, files: dict[str, str | bytes]
) -> None:
    project = make(tmp_path, files)
    completed(project, "closeout explain X")  # which says nothing on standard error


def test_no_line_is_too_odd(known: Project) -> None:
    for line in ("", "closeout explain \\", "closeout explain --nonsense X"):
        completed(known, line)
    assert completed(known, "closeout explain 'PWR") == ["PWR-010"]
    done = asked(known, _CLOSEOUT_COMPLETE="zsh_complete")  # without the variables of a shell
    assert (done.stdout, done.stderr) == ("", "")


def test_what_can_be_read_is_completed_beside_what_is_wrong(tmp_path: Path) -> None:
    project = make(tmp_path, {**FILES, "requirements/wrong.yaml": "requirements: {]\n"})
    assert completed(project, "closeout explain PWR") == ["PWR-010"]


def test_another_shell_is_told_what_there_is(known: Project) -> None:
    for value in ("tcsh_source", "bash", "1"):
        done = asked(known, _CLOSEOUT_COMPLETE=value)
        assert done.returncode == 2
        assert "bash, zsh, fish" in done.stderr
        assert done.stdout == ""


def test_help_says_how_to_switch_it_on(known: Project) -> None:
    assert "_CLOSEOUT_COMPLETE=bash_source" in known.run("--help").stdout


# --- a real shell -------------------------------------------------------------------------------

# How a shell is begun without the files of its user; what it has to be told first.
SHELLS = {
    "bash": (["bash", "--norc", "--noprofile", "-i"], "bind 'set bell-style none'"),
    "zsh": (["zsh", "-f", "-i"], "autoload -Uz compinit && compinit -u; unsetopt beep"),
}


def typed(project: Project, shell: str, keys: str) -> str:
    """Return the command line that the keys give in a shell, in which completion is switched on.

    The line is not run: "echo " is put at its beginning, and what that prints comes back.
    """
    program, first = SHELLS[shell]
    path = f"{CLOSEOUT.parent}{os.pathsep}{os.environ['PATH']}"
    env = environment(PATH=path, PS1="", TERM="dumb", HOME=str(project.path.parent), ZDOTDIR=None)
    process, terminal = pty.fork()
    if process == 0:
        os.chdir(project.path)
        os.execvpe(program[0], program, env)
    try:
        switched = f'eval "$(_CLOSEOUT_COMPLETE={shell}_source closeout)"'
        _send(terminal, f"{first}; PS1=; {switched}; echo rea''dy\r")
        _until(terminal, "ready")
        # Ctrl-A goes to the beginning of the line.
        _send(terminal, f"{keys}\x01echo beg''in: \x05 :e''nd\r")
        return _until(terminal, ":end").rpartition("begin:")[2].strip()
    finally:
        os.kill(process, 9)
        os.waitpid(process, 0)
        os.close(terminal)


def _send(terminal: int, keys: str) -> None:
    os.write(terminal, keys.encode())


def _until(terminal: int, mark: str) -> str:
    seen, until = b"", time.monotonic() + BACKSTOP
    while time.monotonic() < until:
        if select.select([terminal], [], [], 1.0)[0]:
            seen += os.read(terminal, 4096)
            if mark.encode() in seen:
                return seen.decode("utf-8", "replace").rpartition(mark)[0]
    raise AssertionError(f"{mark} did not come: {seen!r}")


@pytest.mark.parametrize("shell", SHELLS)
@pytest.mark.parametrize(
    ("keys", "line"),
    [
        ("closeout expl\tPWR\t", "closeout explain PWR-010"),
        ("closeout verify --set volt\t12V", "closeout verify --set voltage=12V"),
        ("closeout verify --only own\tsys\t", "closeout verify --only owner=system"),
        ("closeout verify --review C\t--only SY\t", "closeout verify --review CDR --only SYS-010"),
    ],
)
def test_the_keys_of_a_user(known: Project, shell: str, keys: str, line: str) -> None:
    if shutil.which(shell) is None:
        pytest.skip(f"no {shell} here")
    assert typed(known, shell, keys) == line
