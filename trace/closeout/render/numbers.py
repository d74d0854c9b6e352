"""Numbers for reading, rounded so that what is shown never contradicts a verdict.

All faces take doubles and round them for the eye only; nothing is decided on their texts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

USUAL_DIGITS = 4
MARGIN_DIGITS = 3
# A number of more digits is none that somebody wrote.
WRITTEN_DIGITS = 8
# Seventeen significant digits tell any two doubles apart (IEEE 754-2019, 5.12.2).
MOST_DIGITS = 17
# From here on a number is written with an exponent.
_LARGE = 1e7


def number(value: float, digits: int = USUAL_DIGITS) -> str:
    """Return a number with about so many significant digits, without trailing zeros.

    All digits before the decimal point are shown below ten million (``12346``, not ``1.235e4``).
    The text is monotone in the value: a larger number never gets a smaller text.
    """
    if not math.isfinite(value):
        return "not a number" if math.isnan(value) else "infinite" if value > 0 else "-infinite"
    text = f"{value:.{digits}g}"
    if "e" in text:
        if 1.0 <= abs(value) < _LARGE:
            return f"{value:.0f}"
        mantissa, _, exponent = text.partition("e")
        return f"{mantissa}e{int(exponent)}"
    return "0" if text == "-0" else text


def as_written(value: float, digits: int = USUAL_DIGITS) -> str:
    """Return a number with all its digits where these are few, as somebody wrote it; else rounded.

    A number that came of a conversion has too many: 190 kJ are 52.77777777777778 W h.
    """
    for wanted in range(digits, WRITTEN_DIGITS + 1):
        text = number(value, wanted)
        if _parsed(text) == value:
            return text
    return number(value, digits)


def with_unit(text: str, unit: str | None) -> str:
    """Return ``63.2 W h``; a ratio (unit 1 or none) stays a bare number."""
    return f"{text} {unit}" if unit and unit != "1" else text


def show(value: float, unit: str | None, digits: int = USUAL_DIGITS) -> str:
    """Return a value with its unit, as ``63.2 W h``; for a value that stands beside no limit."""
    return with_unit(number(value, digits), unit)


def show_beside(
    values: Sequence[float],
    limits: Sequence[float],
    digits: int = USUAL_DIGITS,
    *,
    written: bool = True,
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the texts of values and of limits, without units.

    Digits are added to all of them until each value's text is on the same side of each limit's
    text as the numbers are; equal numbers give equal texts. A limit that somebody wrote with more
    digits is shown with all of them, unless ``written`` is False: then they are no limits of a
    criterion.
    """
    text_of = as_written if written else number
    for wanted in range(digits, MOST_DIGITS + 1):
        shown = tuple(number(value, wanted) for value in values)
        bounds = tuple(text_of(limit, wanted) for limit in limits)
        if all(
            _side(value, limit) == _side_shown(left, right)
            for value, left in zip(values, shown, strict=True)
            for limit, right in zip(limits, bounds, strict=True)
        ):
            break
    return shown, bounds


def show_extent(
    value: float | None, low: float | None, high: float | None, unit: str | None
) -> tuple[str, str, str]:
    """Return a value and its ends with their unit; empty where there is none.

    Digits are added until ends that differ from the value are shown as different.
    """
    known = [x for x in (value, low, high) if x is not None]
    shown = iter(show_beside(known, known, written=False)[0])
    value_text, low_text, high_text = (
        "" if x is None else with_unit(next(shown), unit) for x in (value, low, high)
    )
    return value_text, low_text, high_text


def show_margin(margin: float, unit: str | None) -> str:
    """Return a signed margin with three significant digits, as ``+3.1 W h`` or ``-0.004 dB``.

    Zero is shown for exactly zero only, and the sign is the number's.
    """
    text = number(margin, MARGIN_DIGITS)
    return with_unit(f"+{text}" if margin > 0 else text, unit)


def _side(value: float, limit: float) -> int:
    return (value > limit) - (value < limit)


def _side_shown(value: str, limit: str) -> int:
    if value == limit:
        return 0
    left, right = _parsed(value), _parsed(limit)
    # Different texts may be read as one double; their exact values are compared then.
    if left == right and math.isfinite(left):
        return _side_exact(Fraction(value), Fraction(limit))
    return _side(left, right)


def _side_exact(value: Fraction, limit: Fraction) -> int:
    return (value > limit) - (value < limit)


def _parsed(text: str) -> float:
    return float({"infinite": "inf", "-infinite": "-inf", "not a number": "nan"}.get(text, text))
