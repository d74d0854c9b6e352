"""Problems: what is wrong, where, and what to do about it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """Errors keep the project from being judged; warnings are findings to look at."""

    ERROR = "error"
    WARNING = "warning"


@dataclass(frozen=True, slots=True)
class Pointer:
    """A place in a project: a file, and the keys and indices that lead to a value in it.

    ``Pointer("requirements/power.yaml", ("requirements", 3, "title"))``; without steps, the file.
    """

    path: str
    steps: tuple[str | int, ...] = ()

    def __truediv__(self, step: str | int) -> Pointer:
        return Pointer(self.path, (*self.steps, step))


@dataclass(frozen=True, slots=True)
class Finding:
    """A problem whose place is still a pointer; see :func:`closeout.load.locate`.

    ``offset`` is the place of a word in the text that the pointer leads to, in characters from 0;
    without it the finding speaks of the whole text. ``item`` is the identifier of what it is about,
    where that does not stand at the place: it was deleted.
    """

    rule: str
    severity: Severity
    where: Pointer
    message: str
    cure: str
    offset: int | None = None
    item: str | None = None


@dataclass(frozen=True, slots=True)
class Problem:
    """A problem at a line and column (both from 1) of a file."""

    rule: str
    severity: Severity
    path: str
    line: int
    column: int
    message: str
    cure: str


def in_order(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """Return the problems once each, sorted by place."""
    unique = dict.fromkeys(problems)
    return tuple(sorted(unique, key=lambda p: (p.path, p.line, p.column, p.rule, p.message)))
