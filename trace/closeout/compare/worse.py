"""What got worse first: the order in which changes are told."""

from __future__ import annotations

from collections.abc import Iterable

from closeout.model.changes import MarginChange, VerdictChange
from closeout.model.dossier import Compliance, Evidence, RequirementResult, State

# From bad to good. Not applicable is neither.
_CODES = (Compliance.NC, Compliance.PC, Compliance.OPEN, Compliance.NA, Compliance.C)
_STATES = (State.NOT_MET, State.ERROR, State.OPEN, State.MET)


def verdict_changes(
    both: Iterable[tuple[RequirementResult, RequirementResult]],
) -> tuple[VerdictChange, ...]:
    """Return the requirements whose code, close-out or cover is another, losses first."""
    found = [VerdictChange(was, now) for was, now in both if _verdict(was) != _verdict(now)]
    return tuple(sorted(found, key=lambda one: (_rank(one.now) - _rank(one.was), _rank(one.now))))


def _verdict(one: RequirementResult) -> tuple[object, ...]:
    return one.compliance, one.closed, one.covered


def _rank(one: RequirementResult) -> float:
    """Return the higher, the better: a cover or a close-out counts less than the code."""
    return _CODES.index(one.compliance) + 0.4 * one.covered + 0.2 * one.closed


def is_worse(one: VerdictChange) -> bool:
    """Return whether a requirement has a worse verdict than it had."""
    return _rank(one.now) < _rank(one.was)


def first_the_worse(margins: Iterable[MarginChange]) -> tuple[MarginChange, ...]:
    """Return margins in the order in which they are told.

    First what is not met any more, then what lost most of its margin, in shares of it: of different
    units nothing else can be compared.
    """
    return tuple(sorted(margins, key=lambda one: (_step(one.was, one.now), _relative(one))))


def _step(was: Evidence, now: Evidence) -> int:
    return _STATES.index(now.state) - _STATES.index(was.state)


def _relative(one: MarginChange) -> float:
    return one.change / (max(abs(one.before), abs(one.after)) or 1.0)
