"""A rule: its name, where it comes from, and an example that breaks it and one that keeps it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from closeout.model.problem import Severity

KINDS = ("form", "trace", "unit", "standard", "wording")
ADJUSTABLE = ("standard", "wording")
SHELL = "shell"


class Mark(NamedTuple):
    """A changed word of a block: its line and the columns from start to end, from 0."""

    line: int
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Block:
    """A file of an example, or commands of a shell that are run in a project, a line each.

    ``path`` is empty where the file may have any name. ``marks`` are where it differs from the
    same block of the other example.
    """

    language: str
    path: str
    text: str
    marks: tuple[Mark, ...] = ()


@dataclass(frozen=True, slots=True)
class State:
    """The files of a project at one time; ``when`` is Before, Then or After, empty if alone."""

    when: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Example:
    """A project that breaks or keeps a rule.

    Of several states each but the last is committed; the last is what stands there now.
    """

    states: tuple[State, ...]


@dataclass(frozen=True, slots=True)
class Rule:
    """What ``closeout lint --rule NAME`` tells of a rule.

    ``kind`` is form, trace, unit, standard or wording; only the last two can be switched off or
    raised by the project's policy. ``title`` is what it says, ``source`` the standard and its
    clause, or that there is none.
    """

    name: str
    kind: str
    severity: Severity
    title: str
    why: str
    source: str
    breaks: Example
    keeps: Example

    @property
    def adjustable(self) -> bool:
        """Whether a project's policy may switch it off, or make it an error or a warning."""
        return self.kind in ADJUSTABLE
