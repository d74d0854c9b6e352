"""A probability that a criterion holds, as samples tell it, and as text."""

from __future__ import annotations

from typing import NamedTuple

# Significant digits of a probability, and of what it lacks to 1.
DIGITS = 6
_MOST_DIGITS = 17


class Chance(NamedTuple):
    """The probability of a criterion: bounds that hold with the confidence, and what is required.

    ``at_least`` is what is proved and judged. ``estimate`` is the share of the samples.
    """

    at_least: float
    at_most: float
    estimate: float
    required: float
    confidence: float
    samples: int

    @property
    def margin(self) -> float:
        """What is proved less what is required."""
        return self.at_least - self.required


def probability_text(value: float, beside: float | None = None) -> str:
    """Return a probability with so many digits that it is on its side of another one, and of 1.

    0.9999999 is not 1: of what is missing to 1, two digits are shown at the least.
    """
    for digits in range(DIGITS, _MOST_DIGITS):
        text = f"{value:.{digits}g}"
        shown = float(text)
        near = abs(shown - value) <= 0.005 * min(value, 1.0 - value)
        if near and (beside is None or _side(shown, beside) == _side(value, beside)):
            return text
    return repr(value)


def _side(value: float, other: float) -> int:
    return (value > other) - (value < other)
