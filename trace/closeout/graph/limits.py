"""The limits that all verdicts on one answer are about: what a proof need not go beyond."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Iterable, Iterator, Mapping
from contextlib import suppress

from closeout.graph.asked import Asked
from closeout.graph.bounds import rounded
from closeout.graph.index import Index
from closeout.graph.required import required_margins
from closeout.measure import UnitError, Units
from closeout.model.answer import Limit
from closeout.model.criterion import ExactLimits
from closeout.model.question import WORST_CASE, Question

# So near a limit, as a share of it, nothing is decided where the uncertainty of the model moves
# ends and limits: both are rounded then.
ROOM = 1e-9


def limits_of(
    questions: Container[Question],
    asked: Mapping[tuple[str, int], Asked],
    index: Index,
    units: Units,
    review: str | None,
) -> dict[Question, tuple[Limit, ...]]:
    """Return what is decided about each of some questions of a worst case over a box.

    Where a margin is required of a quantity, or a waiver is about it, the verdict rests on the
    extent itself; the limits with the required margins on them are decided, too.
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
        found[question].add(_limit(quantity, one, one.limits))
        if waived or quantity in with_margin:
            found[question].add(Limit(quantity, None, None, None))
        if quantity in with_margin:
            required = _with_margins(quantity, one, index, units, review)
            found[question] |= {_limit(quantity, one, limits) for limits in required}
    return {question: _in_order(limits) for question, limits in found.items()}


def _with_margins(
    quantity: str, one: Asked, index: Index, units: Units, review: str | None
) -> Iterator[ExactLimits]:
    """Yield limits with each required margin on them; one that does not fit is told elsewhere."""
    field = None if one.spec is None else one.spec.field(quantity)
    for margin in required_margins(quantity, index, review) if field is not None else ():
        assert field is not None
        with suppress(UnitError):
            yield margin.on(one.verification.criterion.limits, field.unit, units)


def _limit(quantity: str, one: Asked, limits: ExactLimits) -> Limit:
    """Return limits for values of the analysis; exact where its model has no uncertainty."""
    bounds, own = rounded(limits), one.of_values(limits)
    numbers = (bounds.at_least, bounds.at_most, own.at_least, own.at_most)
    most = max((abs(number) for number in numbers if number is not None), default=0.0)
    return Limit(
        quantity, own.at_least, own.at_most, 0.0 if one.uncertainty is None else ROOM * most
    )


def _in_order(limits: Iterable[Limit]) -> tuple[Limit, ...]:
    """Return limits in an order that does not depend on where in the project they stand."""
    return tuple(sorted(limits, key=repr))
