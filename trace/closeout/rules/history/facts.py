"""The facts of a file as some commit left it: what is compared with later states, no more."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from closeout.load import file_facts as keeping
from closeout.load.checked_items import Sections
from closeout.load.criteria import Reader, listed
from closeout.load.items import READERS
from closeout.load.project import content
from closeout.model.problem import Pointer

Item = Mapping[str, Any]

# The kinds of identifiers that are never reused, by section.
KINDS = {
    "requirements": "requirement",
    "records": "record",
    "nonconformances": "nonconformance",
    "waivers": "waiver",
}
# Items of which nothing is compared with later states but that they are there.
_NAMED = ("parameters", "articles")
_OF_REQUIREMENT = ("id", "title", "statement", "issue", "source")
_OF_VERIFICATION = (
    "method",
    "quantity",
    "at_least",
    "at_most",
    "equal_to",
    "within",
    "cases",
    "given",
    "records",
)


class Facts:
    """The items of one file by section, and the identifiers of those that could not be read.

    ``names`` are the identifiers of further sections, ``formerly`` what items of a section were
    called before, by identifier.
    """

    def __init__(
        self,
        sections: Mapping[str, list[Item]],
        left_out: list[str],
        names: Mapping[str, list[str]],
        formerly: Mapping[str, Mapping[str, Sequence[str]]],
    ) -> None:
        self.sections = sections
        self.left_out = left_out
        self.names = names
        self.formerly = formerly

    def identified(self) -> Iterator[tuple[tuple[str, str], Item]]:
        """Yield kind and identifier of what is never reused, with its item."""
        for section, kind in KINDS.items():
            for item in self.sections.get(section, ()):
                yield (kind, item["id"]), item

    def encoded(self) -> str:
        """Return the facts as text."""
        rest = (self.left_out, self.names, self.formerly)
        return json.dumps([self.sections, *rest], separators=(",", ":"))

    def identifiers(self) -> Iterator[tuple[str, str]]:
        """Yield section and identifier of each item that could be read."""
        for section in KINDS:
            yield from ((section, item["id"]) for item in self.sections.get(section, ()))
        for section, names in self.names.items():
            yield from ((section, name) for name in names)


def facts_of(data: bytes, known: str | None) -> Facts:
    """Return the facts of a file's content; ``known`` is what the loader keeps of it, if it does.

    A file that cannot be read has none.
    """
    facts = keeping.decoded(content(data) if known is None else known)
    sections: dict[str, list[Item]] = {}
    for section in (*KINDS, "documents"):
        items = [item for item in facts.sections.get(section, {}).values() if "id" in item]
        if section == "requirements":
            items = [_of_requirement(item) for item in items]
        if items:
            sections[section] = [_without_past(item) for item in items]
    by_name = {name: items for name, items in _by_name(facts.sections) if items}
    names = {section: list(by_name[section]) for section in _NAMED if section in by_name}
    return Facts(sections, list(facts.left_out), names, dict(_formerly(by_name)))


def _by_name(sections: Sections) -> Iterator[tuple[str, dict[str, Item]]]:
    """Yield the items of each section that has identifiers by these."""
    for section in (*KINDS, *_NAMED):
        items = sections.get(section, {})
        if section == "parameters":
            yield section, {str(step): item for step, item in items.items()}
        else:
            yield section, {item["id"]: item for item in items.values() if "id" in item}


def _formerly(
    by_name: Mapping[str, Mapping[str, Item]],
) -> Iterator[tuple[str, Mapping[str, Sequence[str]]]]:
    for section, items in by_name.items():
        said: Mapping[str, Sequence[str]] = {
            n: listed(item["formerly"]) for n, item in items.items() if "formerly" in item
        }
        if said:
            yield section, said


def _without_past(item: Item) -> Item:
    """Return an item without its earlier names, which are no part of what it says."""
    if "formerly" not in item:
        return item
    return {key: value for key, value in item.items() if key != "formerly"}


def decoded(text: str) -> Facts:
    """Return what :meth:`Facts.encoded` made a text of; ValueError or TypeError for another."""
    sections, left_out, names, formerly = json.loads(text)
    return Facts(dict(sections), list(left_out), dict(names), dict(formerly))


def typed(section: str, item: Item, path: str) -> Any:
    """Return the record of an item; its place is the file, since its lines are of the past."""
    return READERS[section](item, Pointer(path), Reader())


def meaning(kind: str, item: Item) -> str:
    """Return in one line what an identifier stands for."""
    if kind == "requirement":
        return " ".join(item["statement"].split())
    keys = {
        "record": ("method", "title", "document"),
        "nonconformance": ("found_by", "requirements", "cause"),
        "waiver": ("kind", "requirement", "document"),
    }[kind]
    said = (item[key] for key in keys if key in item)
    return "; ".join(" ".join(str(value).split()) for value in said)


def _of_requirement(item: Item) -> Item:
    short = {key: item[key] for key in _OF_REQUIREMENT if key in item}
    verification = [
        {key: part[key] for key in _OF_VERIFICATION if key in part}
        for part in item.get("verification", ())
    ]
    return {**short, "verification": verification} if verification else short
