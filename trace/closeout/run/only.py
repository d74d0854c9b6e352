"""``--only``: which requirements are shown, read against the project."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from fnmatch import fnmatchcase

from closeout.graph import Index
from closeout.graph.new_findings import alike, nearest
from closeout.model.choice import Choice
from closeout.model.dossier import Compliance, State
from closeout.model.errors import Mistake

# What is said of a value that no requirement has; those of verdicts are asked once they are known.
_NONE_HAS = {
    "owner": "no requirement has this owner",
    "level": "no verification is at this level",
    "review": "no verification is due at this review",
    "state": "there is no such state of a verification",
    "code": "there is no such code",
}
_OF_VERDICTS = ("state", "code")


def read_only(texts: Sequence[str], index: Index, wrong: list[Mistake]) -> Choice | None:
    """Return which requirements are asked for, None for all; mistakes are added to ``wrong``."""
    if not texts:
        return None
    before = len(wrong)
    patterns = [text for text in texts if "=" not in text]
    asked = _values([text for text in texts if "=" in text], index, wrong)
    names = _named(patterns, index, wrong) if patterns else set(index.requirements)
    choice = Choice(
        texts=tuple(texts),
        names=frozenset(),
        needed=frozenset(),
        levels=asked["level"],
        reviews=asked["review"],
        states=asked["state"],
        codes=asked["code"],
    )
    found = frozenset(name for name in names if _may_be(name, asked["owner"], choice, index))
    if not found and len(wrong) == before:
        said = " ".join(f"--only {text}" for text in texts)
        wrong.append((f"{said}: no requirement matches", "leave out one of them"))
    return replace(choice, names=found, needed=frozenset(index.below(found)))


def without_verdicts(texts: Iterable[str]) -> tuple[str, ...]:
    """Return what is asked without what only verdicts can tell."""
    return tuple(text for text in texts if text.partition("=")[0] not in _OF_VERDICTS)


def _may_be(name: str, owners: frozenset[str], choice: Choice, index: Index) -> bool:
    """Return whether a requirement is asked for, as far as can be said ahead of its verdict."""
    requirement = index.requirements[name]
    if owners and (requirement.owner or "") not in owners:
        return False
    if not (choice.levels or choice.reviews):
        return True
    return any(choice.plans(one.level, one.review) for one in requirement.verification)


def _named(patterns: Iterable[str], index: Index, wrong: list[Mistake]) -> set[str]:
    """Return the requirements that the patterns name, with all that is derived from them."""
    named: set[str] = set()
    for pattern in patterns:
        found = [name for name in index.requirements if fnmatchcase(name, pattern)]
        if not found:
            near = alike(pattern, index.requirements, index.renamed.get("requirements", {}))
            cure = f"did you mean {near}?" if near else "name a requirement, or a pattern as PWR-*"
            wrong.append((f"--only {pattern}: no requirement has this identifier", cure))
        named.update(found)
    return index.below(named)


def _values(texts: Iterable[str], index: Index, wrong: list[Mistake]) -> dict[str, frozenset[str]]:
    """Return the values that are asked for by key; none of a key where anything will do."""
    known = _known(index)
    asked: dict[str, set[str]] = {key: set() for key in known}
    for text in texts:
        key, _, value = (part.strip() for part in text.partition("="))
        if key not in known:
            cure = _cure(key, known, f"the keys are {', '.join(known)}")
            wrong.append((f"--only {text}: there is no key {key}", cure))
            continue
        there = [one for one in known[key] if one == value or fnmatchcase(one, value)]
        if not there:
            wrong.append((f"--only {text}: {_NONE_HAS[key]}", _cure_of_value(key, value, known)))
        asked[key].update(there)
    return {key: frozenset(values) for key, values in asked.items()}


def _known(index: Index) -> dict[str, list[str]]:
    """Return the values that there are by key; an empty one where something has none."""
    requirements = index.requirements.values()
    planned = [one for requirement in requirements for one in requirement.verification]
    reviews = {one.review or "" for one in planned}
    return {
        "owner": sorted({requirement.owner or "" for requirement in requirements}),
        "level": sorted({one.level or "" for one in planned}),
        "review": sorted(reviews, key=lambda one: (index.review_number(one) or 0, one)),
        "state": [state.value for state in State],
        "code": [code.value for code in Compliance],
    }


def _cure_of_value(key: str, value: str, known: dict[str, list[str]]) -> str:
    """Return what there is, and the other key where the value is one of its."""
    other_keys = [one for one in _OF_VERDICTS if one != key and key in _OF_VERDICTS]
    for other in other_keys:
        if value in known[other]:
            return f"write --only {other}={value}"
    named = [one or f"{key}= for none" for one in known[key]]
    return _cure(value, known[key], f"there are {', '.join(named)}" if named else "there is none")


def _cure(name: str, known: Iterable[str], there: str) -> str:
    near = nearest(name, known)
    return f"did you mean {near}? {there}" if near else there
