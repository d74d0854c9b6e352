"""Every command and every option says what it is for."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from closeout.cli import COMMANDS, group
from tests.cli.project import Project


def commands(
    of: click.Command, path: tuple[str, ...] = ()
) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    yield path, of
    if isinstance(of, click.Group):
        with click.Context(of) as context:
            for name in of.list_commands(context):
                command = of.get_command(context, name)
                assert command is not None
                yield from commands(command, (*path, name))


ALL = dict(commands(group))
LEAVES = [path for path, command in ALL.items() if not isinstance(command, click.Group)]


@pytest.mark.parametrize("path", ALL, ids=" ".join)
def test_help_is_0_and_says_what_it_does(tmp_path: Path, path: tuple[str, ...]) -> None:
    run = Project(tmp_path).run(*path, "--help", fresh=True)
    assert run.status == 0
    assert run.stderr == ""
    assert run.stdout.startswith("Usage: ")
    assert ALL[path].help
    assert Project(tmp_path).run(*path, "-h").stdout == run.stdout
    for line in run.stdout.split("\n"):
        assert len(line) <= 100


@pytest.mark.parametrize("path", LEAVES, ids=" ".join)
def test_help_has_an_example(path: tuple[str, ...]) -> None:
    epilog = ALL[path].epilog or ""
    assert f"closeout {' '.join(path)}" in epilog


@pytest.mark.parametrize("path", ALL, ids=" ".join)
def test_every_option_has_help(path: tuple[str, ...]) -> None:
    for parameter in ALL[path].params:
        if isinstance(parameter, click.Option):
            assert parameter.help, parameter.name


@pytest.mark.parametrize("path", LEAVES, ids=" ".join)
def test_the_short_help_of_a_command_is_not_cut(path: tuple[str, ...], tmp_path: Path) -> None:
    run = Project(tmp_path).run(*path[:-1], "--help")
    (line,) = [text for text in run.stdout.split("\n") if text.startswith(f"  {path[-1]} ")]
    assert not line.endswith("...")


def test_the_list_of_commands_is_that_of_the_modules(tmp_path: Path) -> None:
    run = Project(tmp_path).run("--help")
    for name, text in COMMANDS.items():
        assert name in run.stdout
        assert text in " ".join(run.stdout.split())


def test_examples_are_read_by_the_command_line() -> None:
    for path in LEAVES:
        words = (ALL[path].epilog or "").partition("closeout ")[2].split()
        command, rest = ALL[path], words[len(path) :]
        with command.make_context("closeout", rest) as context:
            assert context.params is not None


def test_version(tmp_path: Path) -> None:
    run = Project(tmp_path).run("--version")
    assert run.status == 0
    assert run.stdout.startswith("closeout ")
