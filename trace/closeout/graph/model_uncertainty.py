"""The uncertainty that an analysis declares of its own model: how it moves a value, or a limit."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from closeout.graph.new_findings import error
from closeout.measure import UnitError, Units
from closeout.model.amount import AmountError, read_amount
from closeout.model.criterion import ExactLimits
from closeout.model.problem import Finding, Pointer
from closeout.model.question import AnalysisSpec, Field


@dataclass(frozen=True, slots=True)
class ModelUncertainty:
    """How far a model may be off: a difference in the quantity's unit and a share of the value.

    One of the two is zero; ``text`` is what the author wrote. All is computed exactly.
    """

    text: str
    difference: Fraction
    share: Fraction

    def moved(self, number: float, sign: int) -> Fraction:
        """Return a value moved up (1) or down (-1) by what the model may be off there, exactly.

        It rises with the value, since a share is less than all of it.
        """
        exact = Fraction(number)
        return exact + sign * (self.difference + self.share * abs(exact))

    def tightened(self, limits: ExactLimits) -> ExactLimits:
        """Return limits moved inward, so that a value inside of them meets the limits with it.

        A share is of the value that just meets the limit, hence the division.
        """
        low, high = limits.at_least, limits.at_most
        return replace(
            limits,
            at_least=None if low is None else low + self.difference + self._at(low, upward=True),
            at_most=None if high is None else high - self.difference - self._at(high, upward=False),
        )

    def _at(self, limit: Fraction, *, upward: bool) -> Fraction:
        away_from_zero = (limit > 0) == upward
        return abs(limit) * self.share / (1 - self.share if away_from_zero else 1 + self.share)


def model_uncertainty(
    spec: AnalysisSpec, field: Field, units: Units
) -> ModelUncertainty | Finding | None:
    """Return what an analysis declares of a quantity, what is wrong with that, or None."""
    text = dict(spec.model_uncertainty).get(field.name)
    if text is None:
        return None
    try:
        found = _read(text, field.unit, units)
    except (AmountError, UnitError) as wrong:
        message = f"{spec.name}, model_uncertainty of {field.name}: {wrong.message}"
        return error("model-uncertainty", Pointer(spec.path, (spec.line,)), message, wrong.cure)
    return found


def _read(text: str, unit: str, units: Units) -> ModelUncertainty:
    amount = read_amount(text)
    difference = units.convert_difference(amount, unit, Fraction(0))
    share = units.convert_difference(amount, unit, Fraction(1)) - difference
    if amount.number < 0 or share >= 1:
        raise AmountError(
            f"{text} is no uncertainty", "write a difference above zero, or a share below 100 %"
        )
    return ModelUncertainty(text, difference, share)
