"""The limits that all verdicts on one answer are about: what a proof need not go beyond."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Iterable, Mapping

from closeout.graph.asked import Asked
from closeout.graph.index import Index
from closeout.model.answer import Limit
from closeout.model.question import WORST_CASE, Question

# So near a limit, as a share of it, nothing is decided: limits and ends are rounded, and moved by
# the uncertainty of the model.
ROOM = 1e-9


def limits_of(
    questions: Container[Question], asked: Mapping[tuple[str, int], Asked], index: Index
) -> dict[Question, tuple[Limit, ...]]:
    """Return what is decided about each of some questions of a worst case over a box.

    Where a margin is required of a quantity, or a waiver is about it, the verdict rests on the
    extent itself.
    """
    found: dict[Question, set[Limit]] = defaultdict(set)
    with_margin = {policy.quantity for policy in index.project.charter.margins}
    for (name, _), one in asked.items():
        question, quantity = one.question, one.verification.criterion.quantity
        if question is None or quantity is None or question not in questions:
            continue
        if question.kind != WORST_CASE or not question.box:
            continue
        waived = any(waiver.quantity == quantity for waiver in index.waivers.get(name, ()))
        exact = waived or quantity in with_margin
        found[question].add(Limit(quantity, None, None, None) if exact else _limit(quantity, one))
    return {question: _in_order(limits) for question, limits in found.items()}


def _limit(quantity: str, one: Asked) -> Limit:
    written, bounds = one.bounds, one.tightened
    numbers = (written.at_least, written.at_most, bounds.at_least, bounds.at_most)
    room = ROOM * max((abs(number) for number in numbers if number is not None), default=0.0)
    return Limit(quantity, bounds.at_least, bounds.at_most, room)


def _in_order(limits: Iterable[Limit]) -> tuple[Limit, ...]:
    """Return limits in an order that does not depend on where in the project they stand."""
    return tuple(sorted(limits, key=repr))
