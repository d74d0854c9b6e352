"""Places: from the keys and indices that lead to a value to its line and column."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Protocol

Place = tuple[int, int]
Step = str | int


class Mark(Protocol):
    """A place in a text, both numbers from 0."""

    @property
    def line(self) -> int: ...
    @property
    def column(self) -> int: ...


@dataclass(slots=True)
class Node:
    """The places in a mapping or list: of itself, its keys, its values (a Mark for a scalar)."""

    mark: Mark
    keys: dict[str, Mark] = field(default_factory=dict)
    values: dict[str, Node | Mark] | list[Node | Mark] = field(default_factory=list)

    def child(self, step: Step) -> Node | Mark | None:
        """Return what a key or index leads to, or None."""
        if isinstance(self.values, dict):
            return self.values.get(step) if isinstance(step, str) else None
        if isinstance(step, int) and 0 <= step < len(self.values):
            return self.values[step]
        return None


def find(root: Node | Mark, steps: Iterable[Step], *, key: bool = False) -> Place:
    """Return line and column, from 1, of the value that the steps lead to.

    Of a mapping or list under a key, and wherever ``key`` is asked for, it is the place of the key.
    Where the steps lead to nothing, it is the place of the last value that they reach.
    """
    here, label = root, None
    for step in steps:
        below = here.child(step) if isinstance(here, Node) else None
        if below is None or not isinstance(here, Node):
            return _place(label if label is not None and isinstance(here, Node) else _start(here))
        label = here.keys.get(step) if isinstance(step, str) else None
        here = below
    if label is not None and (key or isinstance(here, Node)):
        return _place(label)
    return _place(_start(here))


def _start(here: Node | Mark) -> Mark:
    return here.mark if isinstance(here, Node) else here


def _place(mark: Mark) -> Place:
    return mark.line + 1, mark.column + 1
