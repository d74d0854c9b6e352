"""Earlier states of a project under the names of today: what was renamed, and what cannot be."""

from __future__ import annotations

import json
import re
from collections import Counter, defaultdict
from collections.abc import Container, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from closeout.model.earlier_names import WORD, Names, spoken
from closeout.rules.history.facts import Facts, Item

# What of an item names something, and in which section that stands.
_NAMES = {
    "requirements": {"id": "requirements"},
    "records": {
        "id": "records",
        "replaces": "records",
        "judged": "requirements",
        "article": "articles",
        "conditions": "parameters",
    },
    "nonconformances": {
        "id": "nonconformances",
        "found_by": "records",
        "closed_by": "records",
        "retest": "records",
        "requirements": "requirements",
        "article": "articles",
    },
    "waivers": {"id": "waivers", "requirement": "requirements"},
}
_OF_VERIFICATION = {"records": "records", "given": "parameters"}
# What of an item is a text that is compared, and may name others.
_TEXTS = {"requirements": "statement", "records": "differs"}
_DIGIT = re.compile(r"[0-9]")

# Which identifier stood beside which on a day: section, the two, day.
Beside = tuple[str, str, str, str]


@dataclass(frozen=True, slots=True)
class Renaming:
    """The identifiers of today by section and old one; ``quoted`` those that texts speak of."""

    names: Names
    quoted: Mapping[str, str]

    def __bool__(self) -> bool:
        return bool(self.names)

    def key(self) -> str:
        """Return it as text."""
        return json.dumps([self.names, self.quoted], sort_keys=True, separators=(",", ":"))

    def without(self, some: Iterable[Beside]) -> Renaming:
        """Return it without the identifiers that stood beside another."""
        apart = {(section, name) for section, name, _, _ in some}
        remaining = {
            section: {old: new for old, new in of.items() if (section, old) not in apart}
            for section, of in self.names.items()
        }
        left = {old for of in remaining.values() for old in of}
        return Renaming(
            {section: of for section, of in remaining.items() if of},
            {old: new for old, new in self.quoted.items() if old in left},
        )

    def quote(self, text: str) -> str:
        """Return what a text says with the identifiers of today."""
        return spoken(text, self.quoted)


NONE = Renaming({}, {})


def renamed(facts: Facts, renaming: Renaming) -> Facts:
    """Return the facts of a file, with the identifiers of today in it."""
    sections = {
        section: [_item(section, item, renaming) for item in items]
        for section, items in facts.sections.items()
    }
    # Of what could not be read nobody knows the section.
    every = {old: new for of in renaming.names.values() for old, new in of.items()}
    left_out = [*facts.left_out, *(every[name] for name in facts.left_out if name in every)]
    return Facts(sections, left_out, facts.names, facts.formerly)


def _item(section: str, item: Item, renaming: Renaming) -> Item:
    names, quote = renaming.names, renaming.quote
    found = _exchanged(item, _NAMES.get(section, {}), names)
    text = _TEXTS.get(section, "")
    if text in found:
        said = found[text]
        found[text] = quote(said) if isinstance(said, str) else [quote(one) for one in said]
    if "verification" in found:
        found["verification"] = [_verification(part, names) for part in found["verification"]]
    return found


def _verification(part: Item, names: Names) -> Item:
    found = _exchanged(part, _OF_VERIFICATION, names)
    within = found.get("within")
    if isinstance(within, Mapping):  # tolerances by parameter, and that of the quantity itself
        apart = found.get("quantity")
        new = {old: now for old, now in names.get("parameters", {}).items() if old != apart}
        found["within"] = _value(within, new)
    return found


def _exchanged(item: Item, keys: Mapping[str, str], names: Names) -> dict[str, Any]:
    return {
        key: _value(value, names[keys[key]]) if keys.get(key) in names else value
        for key, value in item.items()
    }


def _value(value: Any, new: Mapping[str, str]) -> Any:
    """Return an identifier, a list of them, or what stands by identifier, under the new ones."""
    if isinstance(value, str):
        return new.get(value, value)
    if isinstance(value, Mapping):
        return {new.get(key, key): part for key, part in value.items()}
    return [new.get(one, one) for one in value]


def quoted(names: Names, texts: Iterable[str]) -> dict[str, str]:
    """Return which identifiers are exchanged in the texts of earlier states, too.

    One without a digit may be any word, and a parameter's is seldom cited, so both stay; so does
    one of which the ``texts`` of today still speak.
    """
    found: dict[str, str] = {}
    for section, some in names.items():
        if section != "parameters":
            found |= {old: new for old, new in some.items() if _DIGIT.search(old)}
    spoken_of = {word for text in texts for word in WORD.findall(text)} if found else ()
    return {old: new for old, new in found.items() if old not in spoken_of}


def with_earlier(names: Names, claims: Names, there: Mapping[str, Container[str]]) -> Names:
    """Return renames with those that came before them.

    What an earlier commit said of an old identifier still holds: of C, which became B, where B has
    become A. Of the new identifier itself only the present state speaks.

    Args:
        claims: by section, what each identifier was renamed to as some commit says.
        there: by section, the identifiers that are there, which are nobody's old ones.
    """
    found: dict[str, dict[str, str]] = {}
    for section, some in names.items():
        older = defaultdict(list)
        for old, new in claims.get(section, {}).items():
            older[new].append(old)
        all_of = found[section] = dict(some)
        left = list(some)
        while left:
            name = left.pop()
            for old in older[name]:
                if old not in all_of and old not in there.get(section, ()):
                    all_of[old] = all_of[name]
                    left.append(old)
    return found


def beside(
    states: Iterable[tuple[str, Iterable[Facts], Iterable[Facts]]], names: Names
) -> list[Beside]:
    """Return which old identifiers stood beside another of the same item: these are two items.

    Args:
        states: of each commit, oldest first, the day, what it took away and what it brought.
    """
    groups = {
        (section, name): (section, new)
        for section, some in names.items()
        for old, new in some.items()
        for name in (old, new)
    }
    count: Counter[tuple[str, str]] = Counter()
    found: dict[tuple[str, str], Beside] = {}
    for day, gone, come in states:
        count.subtract(key for facts in gone for key in _of(facts, groups))
        count.update(key for facts in come for key in _of(facts, groups))
        here: dict[tuple[str, str], list[str]] = defaultdict(list)
        for key in groups:
            if count[key] > 0:
                here[groups[key]].append(key[1])
        for (section, new), some in here.items():
            for name in some if len(some) > 1 else ():
                if name != new:
                    other = next(one for one in (new, *some) if one in some and one != name)
                    found.setdefault((section, name), (section, name, other, day))
    return list(found.values())


def _of(facts: Facts, groups: Container[tuple[str, str]]) -> Iterator[tuple[str, str]]:
    return (key for key in facts.identifiers() if key in groups)
