"""Completion of the command line in a shell, by click's own way, with the names of the project.

What an option or argument takes is said by its metavar, so a new command is completed as well. A
name that is completed costs no run of an analysis; where something is wrong nothing is completed,
and nothing is printed between what a user types.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable, Iterable, Iterator
from functools import cache
from pathlib import Path
from typing import NoReturn

import click
from click.shell_completion import (
    BashComplete,
    CompletionItem,
    ZshComplete,
    add_completion_class,
    shell_complete,
    split_arg_string,
)

from closeout.cli import COMPLETION as VARIABLE
from closeout.model.dossier import Compliance, State
from closeout.render.plain import flow
from closeout.run.names import Names, names_at

PROGRAM = "closeout"
SHELLS = ("bash", "zsh", "fish")
# Texts that every shell takes as one word without quotes.
_PLAIN = re.compile(r"[\w.,:=/-]+")
_LONGEST_HELP = 60

# Each text that can be written, with what it is.
Choices = Iterable[tuple[str, str]]


# Asked for where names of the project are wanted.
Known = Callable[[], Names]


def _reviews(names: Known, _typed: str) -> Choices:
    return ((name, "") for name in names().reviews)


def _identifiers(names: Known, _typed: str) -> Choices:
    return names().identifiers.items()


def _parameters(names: Known, _typed: str) -> Choices:
    return names().parameters.items()


def _settings(names: Known, typed: str) -> Choices:
    """Yield what comes before a value, with no title: a shell may then add no space."""
    return () if "=" in typed else ((f"{name}=", "") for name in names().parameters)


def _pairs(names: Known, typed: str) -> Choices:
    """Yield parameters; behind a comma the second one."""
    first, comma, _ = typed.rpartition(",")
    return ((f"{first}{comma}{name}", title) for name, title in names().parameters.items())


def _only(names: Known, typed: str) -> Choices:
    """Yield identifiers and keys; behind a key its values."""
    values = {
        "owner": names().owners,
        "level": names().levels,
        "review": names().reviews,
        "state": tuple(State),
        "code": tuple(Compliance),
    }
    key, equals, _ = typed.partition("=")
    if equals:
        return ((f"{key}={value}", "") for value in values.get(key, ()))
    return (*names().requirements.items(), *((f"{name}=", "") for name in values))


def _rules(_names: Known, _typed: str) -> Choices:
    from closeout.rules.catalogue import RULES

    return ((name, "") for name in ("all", *RULES))


_BY_OPTION: dict[str, Callable[[Known, str], Choices]] = {"--rule": _rules, "--solve": _parameters}
_BY_METAVAR: dict[str, Callable[[Known, str], Choices]] = {
    "REVIEW": _reviews,
    "NAME=AMOUNT": _settings,
    "NAME=FROM..TO [NAME=FROM..TO]": _settings,
    "A,B": _pairs,
    "WHICH": _only,
    "ID": _identifiers,
    "NAME...": _identifiers,
}
_PATHS = {"FILE": "file", "DIR": "dir"}


class _Completed(click.types.StringParamType):
    """A text of which some are known."""

    def __init__(self, choices: Callable[[Known, str], Choices]) -> None:
        self._choices = choices

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem[str]]:
        """Return those of the known texts that begin with what was typed."""
        names = cache(lambda: names_at(Path.cwd()))
        return [
            CompletionItem(text, help=_title(title))
            for text, title in self._choices(names, incomplete)
            if text.startswith(incomplete) and _PLAIN.fullmatch(text)
        ]


class _Path(click.types.StringParamType):
    """The path of a file, or of a folder; the shell knows which there are."""

    def __init__(self, kind: str) -> None:
        self._kind = kind

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem[str]]:
        """Return that the shell completes it."""
        return [CompletionItem(incomplete, type=self._kind)]


def _title(text: str) -> str | None:
    shown = flow(text).replace(",", ";")  # the script of fish ends a title at a comma
    return (shown if len(shown) <= _LONGEST_HELP else f"{shown[:_LONGEST_HELP]}...") or None


def with_names(command: click.Command) -> click.Command:
    """Return a command whose options and arguments know what they take."""
    for one in _parameters_of(command):
        choices = next((_BY_OPTION[name] for name in one.opts if name in _BY_OPTION), None)
        choices = choices or _BY_METAVAR.get(one.metavar or "")
        if choices is not None:
            one.type = _Completed(choices)
        elif one.metavar in _PATHS:
            one.type = _Path(_PATHS[one.metavar])
    return command


def _parameters_of(command: click.Command) -> Iterator[click.Parameter]:
    yield from command.params
    if isinstance(command, click.Group):
        for one in command.commands.values():
            yield from _parameters_of(one)


def complete(group: click.Group) -> NoReturn:
    """Do what the variable asks for, a script or the completion of one line, and end."""
    asked = os.environ[VARIABLE]
    shell, _, what = asked.partition("_")
    if shell not in SHELLS or what not in ("source", "complete"):
        click.echo(f"{VARIABLE}={asked}: write one of {', '.join(SHELLS)} before _source", err=True)
        sys.exit(2)
    if what == "complete":
        os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
    try:
        status = shell_complete(group, {}, PROGRAM, VARIABLE, asked)
        sys.stdout.flush()
    except Exception:  # a user who types is told nothing
        os._exit(1)
    sys.exit(status)


# Bash breaks words at "=" as well, and keeps the part before it: so it is told the whole line, and
# gets back what follows the last break. What ends in "=" is not followed by a space.
_BASH = """\
%(complete_func)s() {
    local line type value
    COMPREPLY=()
    while IFS=, read -r type value; do
        case $type in
            dir) compopt -o dirnames ;;
            file) compopt -o default ;;
            plain) COMPREPLY+=("$value") ;;
        esac
    done < <(COMP_LINE="${COMP_LINE:0:COMP_POINT}" COMP_WORDBREAKS="$COMP_WORDBREAKS" \\
        %(complete_var)s=bash_complete "$1" 2>/dev/null)
    [[ ${COMPREPLY[0]} == *= ]] && compopt -o nospace
    return 0
}

complete -o nosort -F %(complete_func)s %(prog_name)s
"""


@add_completion_class
class _Bash(BashComplete):
    source_template = _BASH

    def get_completion_args(self) -> tuple[list[str], str]:
        """Return the words before the one that is typed, and that one."""
        line = os.environ["COMP_LINE"]
        words, longer = split_arg_string(line), split_arg_string(f"{line}x")
        if len(longer) > len(words):
            words.append("")
        while "=" in words[0] and len(words) > 1:  # a variable that is set for the command
            del words[0]
        return words[1:-1], words[-1]

    def get_completions(self, args: list[str], incomplete: str) -> list[CompletionItem[str]]:
        """Return what may stand for the part of the word that bash replaces."""
        found = super().get_completions(args, incomplete)
        # Of --review=C only what follows is completed already.
        typed = incomplete.partition("=")[2] if incomplete.startswith("--") else incomplete
        breaks = os.environ.get("COMP_WORDBREAKS", "")
        kept = max((typed.rfind(sign) for sign in "=:" if sign in breaks), default=-1) + 1
        for item in found:
            if item.type == "plain":
                item.value = item.value[kept:]
        return found


# Of what ends in "=" zsh is told not to add a space.
_DIRECTLY = "compadd -U -V unsorted -a completions\n"
_ZSH = ZshComplete.source_template.replace(
    _DIRECTLY,
    "compadd -U -S '' -V unsorted -- ${(M)completions:#*=}\n"
    "        compadd -U -V unsorted -- ${completions:#*=}\n",
)


@add_completion_class
class _Zsh(ZshComplete):
    source_template = _ZSH
