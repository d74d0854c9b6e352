"""A command that is forked from a loaded tool does what ``python -m closeout`` does."""

from __future__ import annotations

from pathlib import Path

import pytest

from closeout.cli import COMMANDS
from tests.cli.project import Project, base, make, repository

STATE = (
    ("verify",),
    ("verify", "--json", "-"),
    ("verify", "--only", "PWR-011"),
    ("explain", "PWR-010"),
    ("lint",),
    ("matrix", "-o", "matrix.md"),
    ("package", "--review", "CDR", "-o", "package"),
    ("sweep", "voltage=11V..13V"),
    ("compare", "HEAD"),
    ("impact", "voltage"),
    ("impact", "voltage"),
    ("hook", "run"),
    ("start", "."),
    ("--version",),
    ("nothing",),
)


def done(project: Project, arguments: tuple[str, ...], *, fresh: bool) -> object:
    run = project.run(*arguments, fresh=fresh)
    return run, project.contents()


@pytest.mark.parametrize("arguments", STATE, ids=" ".join)
def test_it_says_and_writes_the_same(tmp_path: Path, arguments: tuple[str, ...]) -> None:
    mine = repository(tmp_path / "one" / "p")
    other = Project(tmp_path / "two" / "p")
    mine.copy(other.path)
    assert done(mine, arguments, fresh=False) == done(other, arguments, fresh=True)


def test_each_command_is_among_them() -> None:
    assert {arguments[0] for arguments in STATE} >= set(COMMANDS)


def test_nothing_of_one_command_is_left_for_the_next(tmp_path: Path) -> None:
    first, second = make(tmp_path / "a", base()), make(tmp_path / "b", {})
    assert first.run("lint").status == 0
    assert second.run("lint").status == 2
    assert first.run("lint").status == 0
