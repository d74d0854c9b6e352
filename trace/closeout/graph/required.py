"""The margin that a project's policy requires of a quantity at a review."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from closeout.graph.bounds import Bounds
from closeout.graph.index import Index
from closeout.measure import UnitError, Units
from closeout.model.amount import Amount
from closeout.model.records import MarginPolicy


@dataclass(frozen=True, slots=True)
class RequiredMargin:
    """How much a policy requires of a quantity, and the review for which it says so."""

    policy: MarginPolicy
    review: str
    amount: Amount

    def __str__(self) -> str:
        return f"the margin of {self.amount} of the {self.policy.of} that {self.review} requires"

    def tightened(
        self, bounds: Bounds, ends: tuple[float, float], unit: str, units: Units
    ) -> Bounds:
        """Return limits with the margin on them, for what lies between two ends.

        Raises:
            UnitError: the margin is no difference in the unit.
        """
        low, high = ends

        def moved(limit: float, value: float, sign: int) -> float:
            # In decimals, as the author wrote them: 1.1 and 10 % of it are 1.21, not a bit more.
            base = Fraction(repr(limit if self.policy.of == "limit" else value))
            amount = units.convert_difference(self.amount, unit, base)
            return float(Fraction(repr(limit)) + sign * amount)

        return Bounds(
            None if bounds.at_least is None else moved(bounds.at_least, low, 1),
            None if bounds.at_most is None else moved(bounds.at_most, high, -1),
        )

    def for_samples(self, bounds: Bounds, unit: str, units: Units) -> Bounds:
        """Return limits with the margin on them, for values that are not known yet.

        A share of the value is one of the magnitude of the value that just has the margin, hence
        the division.

        Raises:
            UnitError: the margin is no difference in the unit, or a share that no value has left.
        """
        if self.policy.of == "limit":
            return self.tightened(bounds, (0.0, 0.0), unit, units)
        fixed = units.convert_difference(self.amount, unit, Fraction(0))
        share = units.convert_difference(self.amount, unit, Fraction(1)) - fixed
        if share >= 1:
            raise UnitError(f"{self.amount} of the value is all of it", "write less than 100 %")

        def moved(limit: float, sign: int) -> float:
            wanted = sign * Fraction(repr(limit)) + fixed
            return sign * float(wanted / (1 - share if wanted > 0 else 1 + share))

        return Bounds(
            None if bounds.at_least is None else moved(bounds.at_least, 1),
            None if bounds.at_most is None else moved(bounds.at_most, -1),
        )


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
