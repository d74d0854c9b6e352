"""Problems of one file, without its path, so that they can be stored by its content."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import islice
from typing import TypeVar

from closeout.model.problem import Problem, Severity, in_order

T = TypeVar("T")

# A hostile file can have millions of them; no one reads more than this.
MOST_PROBLEMS = 1000


def problem(rule: str, line: int, column: int, message: str, cure: str) -> Problem:
    """Return an error at a line and column of a file whose path is not known yet."""
    return Problem(rule, Severity.ERROR, "", line, column, message, cure)


def limited(problems: Iterable[Problem]) -> list[Problem]:
    """Return problems once each and by place, cut off with a notice where they are too many."""
    ordered = list(in_order(problems))
    if len(ordered) <= MOST_PROBLEMS:
        return ordered
    listed = ordered[:MOST_PROBLEMS]
    notice = f"the file has more than {MOST_PROBLEMS} problems; the rest is not listed"
    cure = "correct those that are listed, then run again"
    return [*listed, problem("too-many-problems", listed[-1].line, listed[-1].column, notice, cure)]


def first(items: Iterable[T], most: int) -> list[T]:
    """Return at most that many of the items, without asking for more."""
    return list(islice(items, most))
