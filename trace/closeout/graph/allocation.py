"""A budget against what is allocated of it: limits of derived requirements and of their parent."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from closeout.graph.findings import warning
from closeout.graph.index import Index
from closeout.measure import UnitError, Units
from closeout.model.amount import Amount
from closeout.model.problem import Finding
from closeout.model.records import Limits, Requirement

_SIDES = ("at_most", "at_least")


def _root_sum_square(parts: Sequence[Fraction]) -> Fraction:
    return Fraction(math.sqrt(math.fsum(float(part) ** 2 for part in parts)))


# Exact where the rule is, so that 0.1 kg and 0.2 kg are 0.3 kg.
_RULES: dict[str, Callable[[Sequence[Fraction]], Fraction]] = {
    "sum": lambda parts: sum(parts, Fraction(0)),
    "rss": _root_sum_square,
    "max": max,
    "min": min,
    "product": lambda parts: math.prod(parts, start=Fraction(1)),
}


@dataclass(frozen=True, slots=True)
class Budget:
    """What a requirement allocates, in the unit of its limit.

    ``left`` is unallocated margin, negative where more is allocated than there is. ``combined`` is
    how shares make up the whole; ``parts`` are the derived requirements with their shares,
    ``without`` those that have no limit for the quantity.
    """

    quantity: str
    combined: str
    side: str
    unit: str
    limit: float
    allocated: float
    left: float
    parts: tuple[tuple[str, float], ...]
    without: tuple[str, ...]


def budget(requirement: Requirement, index: Index, units: Units) -> Budget | None:
    """Return the budget of a requirement that allocates one; None where it has no limit for it.

    Raises:
        UnitError: limits do not compare.
    """
    allocation = requirement.allocates
    if allocation is None:
        return None
    found = _limit(requirement, allocation.quantity)
    if found is None:
        return None
    side, limit = found
    unit = limit.unit
    if allocation.rule == "product":
        unit = ""  # a product of shares is one again only as a plain number
    whole = units.convert(limit, unit)
    parts: list[tuple[str, Fraction]] = []
    without: list[str] = []
    for name in index.derived.get(requirement.id, ()):
        child = index.requirements[name]
        if child.not_applicable is not None:
            continue
        share = _limit(child, allocation.shares or allocation.quantity, side)
        if share is None:
            without.append(name)
        else:
            parts.append((name, units.convert(share[1], unit)))
    total = _RULES[allocation.rule]([share for _, share in parts]) if parts else Fraction(0)
    return Budget(
        allocation.quantity, allocation.rule, side, unit, float(whole), float(total),
        float((whole - total) * (1 if side == "at_most" else -1)),
        tuple((name, float(share)) for name, share in parts), tuple(without),
    )  # fmt: skip


def budget_text(requirement: Requirement, index: Index, units: Units) -> str | None:
    """Return a budget in words: what is allocated of the limit, and what is left."""
    try:
        found = budget(requirement, index, units)
    except UnitError:
        return None
    if found is None:
        return None
    parts = ", ".join(f"{name} {share:.6g}" for name, share in found.parts)
    return (
        f"{found.quantity}: {found.allocated:.6g} {found.unit} of {found.limit:.6g} {found.unit}"
        f" allocated by {found.combined} ({parts}), {found.left:.6g} {found.unit} unallocated"
    )


def _limit(
    requirement: Requirement, quantity: str, wanted: str | None = None
) -> tuple[str, Amount] | None:
    for verification in requirement.verification:
        if verification.criterion.quantity == quantity:
            limits: Limits = verification.criterion.limits
            for side in _SIDES if wanted is None else (wanted,):
                amount: Amount | None = getattr(limits, side)
                if amount is not None:
                    return side, amount
    return None


def allocations(index: Index, units: Units) -> Iterator[Finding]:
    """Yield budgets that are exceeded, without a limit, or that a derived one has no share of."""
    for requirement in index.requirements.values():
        if requirement.allocates is None:
            continue
        where = requirement.where / "allocates"
        quantity = requirement.allocates.quantity
        try:
            found = budget(requirement, index, units)
        except UnitError as wrong:
            yield warning("allocation", where, f"{quantity}: {wrong.message}", wrong.cure)
            continue
        if found is None:
            yield warning(
                "allocation", where,
                f"{requirement.id} allocates {quantity}, and no verification of it limits that",
                f"add a criterion for {quantity}, or remove allocates",
            )  # fmt: skip
            continue
        if found.left < 0:
            shares = ", ".join(f"{name} {share:.6g}" for name, share in found.parts)
            yield warning(
                "allocation", where,
                f"what is derived from {requirement.id} is allocated {found.allocated:.6g}"
                f" {found.unit} of {quantity} by {found.combined}, its limit is {found.limit:.6g}"
                f" {found.unit} ({shares})",
                "lower the shares, or raise the limit with whoever sets it",
            )  # fmt: skip
        if found.without:
            yield warning(
                "allocation", where,
                f"{', '.join(found.without)} derived from {requirement.id} has no share of"
                f" {quantity}",
                f"limit {quantity} there, or derive it from another requirement",
            )  # fmt: skip
