"""What is wrong, where, and what to do about it.

Whoever finds something wrong makes a *finding*, at a value of a file; with its line and column it
is a *problem*, which is what is printed. There is no other word for it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
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
    """What is wrong, at a place that is still a pointer; see :func:`closeout.load.locate`.

    ``offset`` is the place of a word in the text that the pointer leads to, in characters from 0;
    without it the finding speaks of the whole text. ``item`` is the identifier of what it is about,
    where that does not stand at the place: it was deleted. ``at_key`` where it is not the value
    that is wrong but its key.
    """

    rule: str
    severity: Severity
    where: Pointer
    message: str
    cure: str
    offset: int | None = None
    item: str | None = None
    at_key: bool = False


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong, at a line and column (both from 1) of a file.

    ``path`` is empty while it is stored under the content of its file, which may stand anywhere.
    """

    rule: str
    severity: Severity
    path: str
    line: int
    column: int
    message: str
    cure: str

    def in_file(self, path: str) -> Problem:
        """Return it as a problem of the file at a path."""
        return replace(self, path=path)


def in_order(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """Return the problems once each, sorted by place."""
    unique = dict.fromkeys(problems)
    return tuple(sorted(unique, key=lambda p: (p.path, p.line, p.column, p.rule, p.message)))
