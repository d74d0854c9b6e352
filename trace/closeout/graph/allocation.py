"""A budget against what is allocated of it: limits of derived requirements and of their parent."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from closeout.graph.bounds import written_ends
from closeout.graph.index import Index
from closeout.graph.new_findings import warning
from closeout.measure import UnitError, Units
from closeout.measure.scale import LEVEL, LINEAR
from closeout.model.amount import Amount
from closeout.model.criterion import WORDS, in_words
from closeout.model.problem import Finding
from closeout.model.records import Requirement

_SIDES = ("at_most", "at_least")


def _root_sum_square(parts: Sequence[Fraction]) -> Fraction:
    """Return the root, exact where it is a fraction, else to forty digits."""
    square = sum((part * part for part in parts), Fraction(0))
    fine = 10**40
    root = math.isqrt(square.numerator * square.denominator * fine * fine)
    return Fraction(root, square.denominator * fine)


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


def budgets(requirement: Requirement, index: Index, units: Units) -> tuple[Budget, ...]:
    """Return the budgets of a requirement that allocates one, for each side on which it is limited.

    Empty where it allocates nothing, or has no limit for it.

    Raises:
        UnitError: limits do not compare, or are levels or points on a scale, which do not add up.
    """
    allocation = requirement.allocates
    if allocation is None:
        return ()
    limits = ((side, _limit(requirement, allocation.quantity, side, units)) for side in _SIDES)
    return tuple(
        _budget(requirement, side, limit, index, units)
        for side, limit in limits
        if limit is not None
    )


def _budget(
    requirement: Requirement, side: str, limit: Amount, index: Index, units: Units
) -> Budget:
    allocation = requirement.allocates
    assert allocation is not None
    # A product of shares is one again only as a plain number.
    unit = "" if allocation.rule == "product" else limit.unit
    _can_be_combined(allocation.rule, limit.unit, units)
    whole = units.convert_number(limit.number, limit.unit, unit)
    parts: list[tuple[str, Fraction]] = []
    without: list[str] = []
    for name in index.derived.get(requirement.id, ()):
        child = index.requirements[name]
        if child.not_applicable is not None:
            continue
        share = _limit(child, allocation.shares or allocation.quantity, side, units)
        if share is None:
            without.append(name)
        else:
            parts.append((name, units.convert_number(share.number, share.unit, unit)))
    total = _RULES[allocation.rule]([share for _, share in parts]) if parts else Fraction(0)
    return Budget(
        allocation.quantity, allocation.rule, side, unit, float(whole), float(total),
        float((whole - total) * (1 if side == "at_most" else -1)),
        tuple((name, float(share)) for name, share in parts), tuple(without),
    )  # fmt: skip


def _can_be_combined(rule: str, unit: str, units: Units) -> None:
    """Refuse sums of what is no amount: 20 dBm and 20 dBm are not 40 dBm, nor 20 degC twice 40."""
    scale = units.scale(unit)
    if rule in ("sum", "rss", "product") and scale.kind != LINEAR:
        what = "levels" if scale.kind == LEVEL else "points on a scale"
        raise UnitError(
            f"values in {unit} are {what}, which have no {rule}",
            f"limit the quantity in a unit of amounts{', as W' if scale.kind == LEVEL else ''}, or"
            " allocate by max or min",
        )


def budget_text(requirement: Requirement, index: Index, units: Units) -> str | None:
    """Return the budgets in words: what is allocated of each limit, and what is left."""
    try:
        found = budgets(requirement, index, units)
    except UnitError:
        return None
    return "; ".join(_in_words(one) for one in found) or None


def _in_words(found: Budget) -> str:
    parts = ", ".join(f"{name} {share:.6g}" for name, share in found.parts)
    return (
        f"{found.quantity}: {found.allocated:.6g} {found.unit} of {found.limit:.6g} {found.unit}"
        f" allocated by {found.combined} ({parts}), {found.left:.6g} {found.unit} unallocated"
    )


def _limit(requirement: Requirement, quantity: str, side: str, units: Units) -> Amount | None:
    """Return the limit of a quantity on a side; ``equal_to`` within something has both."""
    for verification in requirement.verification:
        if verification.criterion.quantity == quantity:
            low, high = written_ends(verification.criterion.limits, units)
            end = low if side == "at_least" else high
            if end is not None:
                return end
    return None


def allocations(index: Index, units: Units) -> Iterator[Finding]:
    """Yield budgets that are exceeded, without a limit, or that a derived one has no share of."""
    for requirement in index.requirements.values():
        if requirement.allocates is None:
            continue
        where = requirement.where / "allocates"
        quantity = requirement.allocates.quantity
        try:
            found = budgets(requirement, index, units)
        except UnitError as wrong:
            yield warning("allocation", where, f"{quantity}: {wrong.message}", wrong.cure)
            continue
        if found and not index.derived.get(requirement.id):
            yield warning(
                "allocation", where,
                f"{requirement.id} allocates {quantity}, and has no children",
                "derive the requirements with the shares, or remove allocates",
            )  # fmt: skip
        if not found and not _is_undecided(requirement):
            yield warning(
                "allocation", where,
                f"{requirement.id} allocates {quantity}, and none of its verifications limits it",
                f"add a criterion for {quantity}, or remove allocates",
            )  # fmt: skip
        for one in found:
            yield from _of_budget(one, requirement)


def _is_undecided(requirement: Requirement) -> bool:
    """Return whether the limit of what it allocates is still TBD, which has its own finding."""
    criteria = (verification.criterion for verification in requirement.verification)
    assert requirement.allocates is not None
    quantity = requirement.allocates.quantity
    return any(one.quantity == quantity and one.limits.undecided for one in criteria)


def _of_budget(found: Budget, requirement: Requirement) -> Iterator[Finding]:
    where = requirement.where / "allocates"
    if found.left < 0:
        shares = ", ".join(f"{name} {share:.6g}" for name, share in found.parts)
        limit = in_words({found.side: f"{found.limit:.6g} {found.unit}"})
        yield warning(
            "allocation", where,
            f"the children of {requirement.id} are allocated {found.allocated:.6g}"
            f" {found.unit} of {found.quantity} by {found.combined}, its limit is {limit}"
            f" ({shares})",
            "correct the shares, or agree on another limit",
        )  # fmt: skip
    if found.without:
        yield warning(
            "allocation", where,
            f"{', '.join(found.without)} derived from {requirement.id} has no share of"
            f" {found.quantity} ({WORDS[found.side]})",
            f"limit {found.quantity} there, or derive it from another requirement",
        )  # fmt: skip
