"""The README followed word for word: its shell blocks are run, and print what stands below them.

The two commands of "Set up" are run by ``.ci/run``, on a new machine.
"""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

import pytest
from markdown_it import MarkdownIt

from tests.conftest import GIT

README = Path(__file__).parents[2] / "README.md"


@dataclass(frozen=True)
class Block:
    """A block of the README: a shell script (``sh``, or ``sh blocked``), or another text."""

    info: str
    text: str
    line: int


def blocks(heading: str) -> list[Block]:
    """Return the fenced blocks of a section of the README."""
    found, inside, opened = [], False, False
    for token in MarkdownIt().parse(README.read_text("utf-8")):
        if token.type == "heading_open":
            opened = token.tag == "h2"
        elif token.type == "inline" and opened:
            inside, opened = token.content == heading, False
        elif token.type == "fence" and inside:
            assert token.map is not None
            found.append(Block(token.info, token.content, token.map[0] + 1))
    return found


def missing(expected: str, printed: str) -> str | None:
    """Return the first line that was not printed in its turn; ``...`` stands for any lines.

    It is an excerpt: what was printed may begin and end with more. Lines that follow one another
    have to follow one another.
    """
    left = [line.rstrip() for line in printed.splitlines()]
    gap = True
    for line in expected.splitlines():
        if line.strip() == "...":
            gap = True
            continue
        if line.rstrip() not in (left if gap else left[:1]):
            return line
        del left[: left.index(line.rstrip()) + 1]
        gap = False
    return None


class Shell:
    """A shell of a user, who stays in the folder to which a block went."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._note = folder / "where"
        self._note.write_text(str(folder))
        scripts = str(Path(sys.executable).parent)
        names = {**GIT, "HOME": str(folder), "PATH": f"{scripts}{os.pathsep}{os.environ['PATH']}"}
        self._environment = {**os.environ, **names}

    def run(self, script: str) -> tuple[int, str]:
        """Return exit status and output of a block."""
        text = f'cd "$(cat "{self._note}")"\n{script}pwd > "{self._note}"\n'
        run = subprocess.run(
            ["bash", "-euo", "pipefail", "-c", text],
            env=self._environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        )  # fmt: skip
        return run.returncode, run.stdout


@pytest.mark.slow
def test_the_life_of_a_requirement(tmp_path: Path) -> None:
    shell, printed = Shell(tmp_path), ""
    for block in blocks("The life of a requirement"):
        where = f"README.md:{block.line}"
        if block.info.startswith("sh"):
            status, printed = shell.run(block.text)
            assert (status != 0) is ("blocked" in block.info), f"{where}: {printed}"
            assert "--no-verify" not in block.text
        else:
            line = missing(block.text, printed)
            assert line is None, f"{where}: {line!r} is not in\n{printed}"


def test_the_blocks_of_a_project_of_your_own_stand_in_the_starter() -> None:
    starter = files("closeout.cli") / "starter"
    names = ("requirements/power.yaml", "analyses/power.yaml", "analyses/lamp_time.py")
    whole = ["\n".join(starter.joinpath(*name.split("/")).read_text().split()) for name in names]
    shown = [block for block in blocks("A project of your own") if block.info in ("yaml", "python")]
    assert len(shown) == len(names)
    for block, text in zip(shown, whole, strict=True):
        assert "\n".join(block.text.split()) in text, f"README.md:{block.line}"


def test_what_is_printed_is_held_line_by_line() -> None:
    assert missing("a\n...\nc\n", "a\nb\nc\nd\n") is None
    assert missing("b\nc", "a\nb\nc\n") is None
    assert missing("a\nc\n", "a\nb\nc\n") == "c"
    assert missing("x\n", "a\nb\n") == "x"
