"""Faults: problems of one file, without its path, so that they can be kept by its content."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import islice
from typing import NamedTuple, TypeVar

from closeout.model.problem import Problem, Severity

T = TypeVar("T")

# A hostile file can have millions of them; no one reads more than this.
MOST_FAULTS = 1000


class Fault(NamedTuple):
    """What is wrong at a line and column (both from 1) of a file, and what to do about it."""

    rule: str
    line: int
    column: int
    message: str
    cure: str

    def in_file(self, path: str) -> Problem:
        """Return the fault as a problem of the file at that path."""
        return Problem(
            self.rule, Severity.ERROR, path, self.line, self.column, self.message, self.cure
        )


def limited(faults: Sequence[Fault]) -> list[Fault]:
    """Return the faults, once each and by place, cut off with a notice where they are too many."""
    ordered = sorted(set(faults), key=lambda fault: (fault.line, fault.column, *fault))
    if len(ordered) <= MOST_FAULTS:
        return ordered
    kept = ordered[:MOST_FAULTS]
    notice = f"the file has more than {MOST_FAULTS} problems; the others are not listed"
    cure = "mend those that are listed, then look again"
    return [*kept, Fault("too-many-problems", kept[-1].line, kept[-1].column, notice, cure)]


def first(items: Iterable[T], most: int) -> list[T]:
    """Return at most that many of the items, without asking for more."""
    return list(islice(items, most))
