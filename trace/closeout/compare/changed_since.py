"""Which items of a project's files are not as they were, whatever their places in the files."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any

from closeout.model.changes import ADDED, CHANGED, REMOVED
from closeout.model.earlier_names import Names
from closeout.model.problem import Pointer

Items = Mapping[tuple[str, str], Any]


def changed_since(was: Items, now: Items, called: Names) -> Iterator[tuple[str, str, str]]:
    """Yield section, identifier and what became of each item that is not as it was.

    Args:
        was: the items by section and identifier; now: likewise, later.
        called: the identifiers of today by section and old one.
    """
    before = {
        (section, called.get(section, {}).get(name, name)): item
        for (section, name), item in was.items()
    }
    for (section, name), item in now.items():
        if (section, name) not in before:
            yield section, name, ADDED
        elif not same(before[section, name], item):
            yield section, name, CHANGED
    for section, name in before:
        if (section, name) not in now:
            yield section, name, REMOVED


def same(one: Any, other: Any) -> bool:
    """Return whether two records say the same; where they stand in the files does not count."""
    if isinstance(one, Pointer) and isinstance(other, Pointer):
        return True
    if is_dataclass(one) and not isinstance(one, type):
        return type(one) is type(other) and all(
            same(getattr(one, field.name), getattr(other, field.name)) for field in fields(one)
        )
    if isinstance(one, tuple) and isinstance(other, tuple):
        return len(one) == len(other) and all(map(same, one, other))
    return bool(one == other)
