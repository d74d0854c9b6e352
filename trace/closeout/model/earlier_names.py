"""What items were called before, so that what is known of the old identifiers is known of them."""

from __future__ import annotations

import re
from collections.abc import Container, Iterator, Mapping

from closeout.model.records import (
    Article,
    LinkedParameter,
    Nonconformance,
    Parameter,
    Project,
    Record,
    Requirement,
    Waiver,
)

Named = Requirement | Parameter | LinkedParameter | Record | Article | Nonconformance | Waiver
# By section of a file: the new identifier of each old one.
Names = Mapping[str, Mapping[str, str]]

# What one item of each section is called in a sentence.
KINDS = {
    "requirements": "requirement",
    "parameters": "parameter",
    "records": "record",
    "articles": "article",
    "nonconformances": "nonconformance",
    "waivers": "waiver",
}


WORD = re.compile(r"[A-Za-z_][A-Za-z0-9_-]*(?:\.[A-Za-z0-9_-]+)*")


def spoken(text: str, names: Mapping[str, str]) -> str:
    """Return what a text says with the new identifier in place of each old one."""
    return WORD.sub(lambda word: names.get(word[0], word[0]), text) if names else text


def names_before(project: Project) -> Iterator[tuple[str, Named, str]]:
    """Yield each earlier identifier that a project names, after its section and its item."""
    for section in KINDS:
        for item in _items(project, section):
            for old in item.formerly:
                yield section, item, old


def _items(project: Project, section: str) -> tuple[Named, ...]:
    found: tuple[Named, ...] = getattr(project, section)
    return (*found, *project.linked) if section == "parameters" else found


def identifiers(project: Project, section: str) -> set[str]:
    """Return the identifiers of a section's items."""
    return {item.id for item in _items(project, section)}


def renames(project: Project, left_out: Container[str] = ()) -> dict[str, dict[str, str]]:
    """Return the renames that a project says, by section from the old to the new identifier.

    One that cannot be is none: an identifier that is there, or was that of two items. ``left_out``
    are identifiers of items that are there with a fault.
    """
    found: dict[str, dict[str, str]] = {}
    doubtful: set[tuple[str, str]] = set()
    for section, item, old in names_before(project):
        names = found.setdefault(section, {})
        if names.setdefault(old, item.id) != item.id or old in left_out:
            doubtful.add((section, old))
    for section, names in found.items():
        there = identifiers(project, section)
        doubtful |= {(section, old) for old in names if old in there}
    certain = {
        section: {old: new for old, new in names.items() if (section, old) not in doubtful}
        for section, names in found.items()
    }
    return {section: names for section, names in certain.items() if names}
