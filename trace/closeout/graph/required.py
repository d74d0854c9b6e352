"""The margin that a project's policy requires of a quantity at a review."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from closeout.graph.bounds import written_ends
from closeout.graph.index import Index
from closeout.measure import UnitError, Units
from closeout.model.amount import Amount
from closeout.model.criterion import ExactLimits, Limits
from closeout.model.records import MarginPolicy


@dataclass(frozen=True, slots=True)
class RequiredMargin:
    """How much a policy requires of a quantity, and the review for which it says so."""

    policy: MarginPolicy
    review: str
    amount: Amount

    def __str__(self) -> str:
        return f"the margin of {self.amount} of the {self.policy.of} that {self.review} requires"

    def on(self, limits: Limits, unit: str, units: Units) -> ExactLimits:
        """Return limits with the margin on them, as exact numbers of a unit.

        A share is read against the limit as it was written. One of the value is a share of the
        magnitude of the value that just has the margin, so that no value need be known.

        Raises:
            UnitError: the margin is no difference in the unit, or a share that no value has left.
        """
        low, high = written_ends(limits, units)
        return ExactLimits(
            unit,
            None if low is None else units.convert(self._moved(low, 1, units), unit),
            None if high is None else units.convert(self._moved(high, -1, units), unit),
            bool(limits.undecided),
        )

    def _moved(self, end: Amount, sign: int, units: Units) -> Amount:
        """Return a limit with the margin on it; ``sign`` is 1 where values lie above it."""
        fixed = units.convert_difference(self.amount, end.unit, Fraction(0))
        share = units.convert_difference(self.amount, end.unit, Fraction(1)) - fixed
        if self.policy.of == "limit":
            wanted = end.number + sign * (fixed + share * abs(end.number))
            return replace(end, number=wanted)
        # Times the sign, a value v has the margin where v >= wanted + share * |v|.
        wanted = sign * end.number + fixed
        if wanted > 0 and share >= 1:
            raise UnitError(f"{self.amount} of the value is all of it", "write less than 100 %")
        wanted /= 1 - share if wanted > 0 else 1 + share
        return replace(end, number=sign * wanted)


def required_margins(
    quantity: str | None, index: Index, review: str | None
) -> Iterator[RequiredMargin]:
    """Yield what each policy requires of a quantity at a review: its own entry, else the next one.

    None for the review is the last one.
    """
    reviews = index.project.charter.reviews
    number = index.review_number(review)
    for policy in index.project.charter.margins:
        if policy.quantity == quantity:
            wanted = dict(policy.required)
            left = reviews[len(reviews) - 1 if number is None else number :]
            name = next((name for name in left if name in wanted), None)
            if name is not None:
                yield RequiredMargin(policy, name, wanted[name])
