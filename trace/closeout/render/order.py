"""The order of what is listed for action: what is due and not in order first, by identifier."""

from __future__ import annotations

import re
from collections.abc import Iterable

from closeout.model.dossier import Compliance, RequirementResult, State

_NUMBER = re.compile("([0-9]+)")
_SHORT = (Compliance.NC, Compliance.PC)
# What is due and decides the exit status comes in these ranks; then the two below.
_DUE = {Compliance.NC: 0, Compliance.PC: 1}
_DUE_AND_OPEN, _ACCEPTED_OR_EARLY, REST = 2, 3, 4


def by_urgency(results: Iterable[RequirementResult]) -> list[RequirementResult]:
    """Return results in the order in which they need action; within a rank by identifier."""
    return sorted(results, key=lambda result: (rank(result), natural(result.id)))


def by_identifier(results: Iterable[RequirementResult]) -> list[RequirementResult]:
    """Return results by identifier."""
    return sorted(results, key=lambda result: natural(result.id))


def rank(result: RequirementResult) -> int:
    """Return how soon a requirement needs action, 0 the soonest.

    Due and NC, due and PC (not covered), due and open or in error; then shortfalls that are covered
    or early; then the rest, with all that is open since it is due later.
    """
    if result.outstanding:
        return _DUE.get(result.compliance, _DUE_AND_OPEN)
    short = result.compliance in _SHORT or any(e.state is State.NOT_MET for e in result.evidence)
    return _ACCEPTED_OR_EARLY if short else REST


def natural(identifier: str) -> tuple[tuple[str | tuple[int, str], ...], str]:
    """Return a key that sorts numbers in identifiers by their value: PWR-2 before PWR-10."""
    parts = _NUMBER.split(identifier)
    # Texts and numbers take turns, so that like is compared with like; no number is too long.
    key = (
        (len(digits := part.lstrip("0")), digits) if place % 2 else part.casefold()
        for place, part in enumerate(parts)
    )
    return tuple(key), identifier
