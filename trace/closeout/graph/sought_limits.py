"""The limits that all verdicts on one answer are about: what a proof need not go beyond."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Iterable, Iterator, Mapping
from contextlib import suppress

from closeout.graph.acceptance import acceptance
from closeout.graph.index import Index
from closeout.graph.request import Request
from closeout.graph.required import required_margins
from closeout.measure import UnitError, Units
from closeout.model.answer import Bounds, Sought
from closeout.model.question import WORST_CASE, Question


def limits_of(
    questions: Container[Question],
    requests: Mapping[tuple[str, int], Request],
    index: Index,
    units: Units,
    review: str | None,
) -> dict[Question, tuple[Sought, ...]]:
    """Return what is decided about each of some questions of a worst case over a box.

    Where a margin is required of a quantity, or a waiver is about it, the verdict rests on the
    extent itself; the limits with the required margins on them are decided, too.
    """
    found: dict[Question, set[Sought]] = defaultdict(set)
    with_margin = {policy.quantity for policy in index.project.charter.margins}
    for (name, _), one in requests.items():
        question, quantity = one.question, one.verification.criterion.quantity
        if question is None or quantity is None or question not in questions:
            continue
        if question.kind != WORST_CASE or not question.box:
            continue
        waived = any(waiver.quantity == quantity for waiver in index.waivers.get(name, ()))
        found[question].add(Sought(quantity, one.acceptance.bounds))
        if waived or quantity in with_margin:
            found[question].add(Sought(quantity, None))
        if quantity in with_margin:
            required = _with_margins(quantity, one, index, units, review)
            found[question] |= {Sought(quantity, bounds) for bounds in required}
    return {question: _in_order(limits) for question, limits in found.items()}


def _with_margins(
    quantity: str, one: Request, index: Index, units: Units, review: str | None
) -> Iterator[Bounds]:
    """Yield limits with each required margin on them, without those that cannot be computed."""
    field = None if one.spec is None else one.spec.field(quantity)
    for margin in required_margins(quantity, index, review) if field is not None else ():
        assert field is not None
        with suppress(UnitError):
            limits = margin.on(one.verification.criterion.limits, field.unit, units)
            yield acceptance(limits, one.acceptance.model).bounds


def _in_order(limits: Iterable[Sought]) -> tuple[Sought, ...]:
    """Return limits in an order that does not depend on where in the project they stand."""
    return tuple(sorted(limits, key=repr))
