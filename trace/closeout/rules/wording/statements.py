"""Rules of wording: what a requirement's statement says, and whether its criteria say the same."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from closeout.graph.new_findings import warning
from closeout.measure import Units
from closeout.model.amount import shorten
from closeout.model.problem import Finding
from closeout.model.records import Requirement
from closeout.rules.wording import cited
from closeout.rules.wording.agreement import agreement
from closeout.rules.wording.sentence import (
    MASK,
    in_place_of_shall,
    lowered,
    masked,
    passives,
    shalls,
)
from closeout.rules.wording.words import KEYS, REFERENCE, hits, words

_KEYS = KEYS | cited.KEYS


def wording(requirements: Iterable[Requirement], named: set[str], units: Units) -> list[Finding]:
    """Return what the rules of wording find, each at its word: warnings, in the given order.

    Quoted terms and code spans are left alone. A finding's offset counts in the statement.
    ``named`` are the documents of a known issue, by identifier and title: citing one is complete.
    """
    found: list[Finding] = []
    for requirement in requirements:
        text = masked(requirement.statement)
        lower = lowered(text)
        found.extend(_sentence(requirement, text, lower))
        found.extend(_words(requirement, text, lower, named))
        found.extend(agreement(requirement, text, units))
    return found


def _sentence(requirement: Requirement, text: str, lower: str) -> Iterator[Finding]:
    places = shalls(lower)
    if len(places) != 1:
        message = f"the statement says 'shall' {len(places)} times" if places else (
            "the statement has no 'shall'"
        )  # fmt: skip
        cure = "write one requirement for each 'shall'" if places else "state who shall do what"
        at = places[1] if places else in_place_of_shall(lower)
        yield _finding("one-shall", requirement, at, message, cure)
    if "shall be " in lower or " be " in lower:
        for start, end in passives(text):
            message = f"{shorten(text[start:end])} does not name the actor"
            cure = "name who or what shall do it, as the subject of the sentence"
            yield _finding("passive", requirement, start, message, cure)


def _words(requirement: Requirement, text: str, lower: str, named: set[str]) -> Iterator[Finding]:
    present = words(lower)
    if _KEYS.isdisjoint(present):
        return
    if not KEYS.isdisjoint(present):
        for hit in hits(lower, present):
            word = text[hit.start : hit.end]
            if word != "IT":  # information technology is no pronoun
                family = hit.family
                message = f"{shorten(word)}: {family.says}"
                yield _finding(family.rule, requirement, hit.start, message, family.cure)
    if not cited.KEYS.isdisjoint(present):
        for start, end in cited.incomplete(text, named):
            message = f"{shorten(text[start:end])} is cited without its issue or date"
            yield _finding(REFERENCE.rule, requirement, start, message, REFERENCE.cure)


def _finding(rule: str, requirement: Requirement, at: int, message: str, cure: str) -> Finding:
    where = requirement.where / "statement"
    text = f"{requirement.id}: {message.replace(MASK, ' ')}"
    return replace(warning(rule, where, text, cure), offset=at)
