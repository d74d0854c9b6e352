"""Amounts: a number with a unit that keeps the text in which it was written.

The number is an exact fraction of its decimal text; what the unit means is no matter of this
module (see :mod:`closeout.measure`).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from closeout.model.errors import UserError

NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
# Longer numbers are no engineering data, and an exponent without bound is a memory bomb.
LONGEST_NUMBER = 60
LARGEST_EXPONENT = 300
# Behind a value that is set, and is to have no spread.
EXACTLY = "exactly"

_AMOUNT = re.compile(rf"({NUMBER})\s*(.*)", re.DOTALL)
_MEASURED = re.compile(
    r"(?P<value>.+?)\s*(?:\+/-|±)\s*(?P<uncertainty>.+?)\s*(?:\(\s*k\s*=\s*(?P<k>[^)]*)\))?\s*",
    re.DOTALL,
)


class AmountError(UserError):
    """A text that is no amount; ``message`` says why, ``cure`` what to write."""


@dataclass(frozen=True, slots=True)
class Amount:
    """``52 W h`` as text, exact number and unit text (empty for a plain number)."""

    text: str
    number: Fraction
    unit: str

    def __str__(self) -> str:
        return self.text

    def __hash__(self) -> int:
        # The text says all; hashing a fraction costs a modular inverse.
        return hash(self.text)


@dataclass(frozen=True, slots=True)
class Measured:
    """``57.1 W h +/- 0.4 W h (k = 2)``: a value, and its uncertainty with the coverage factor.

    ``exact`` is the reason why nothing of the value is uncertain, as of a count.
    """

    text: str
    value: Amount
    uncertainty: Amount | None
    k: Fraction | None
    exact: str | None = None


def read_number(text: str) -> Fraction:
    """Return the exact value of a decimal text; AmountError where it is none or too long."""
    exponent = re.search(r"[eE]([+-]?[0-9]+)$", text)
    if not re.fullmatch(NUMBER, text):
        raise AmountError(
            f"{shorten(text)} is no number", "write a decimal number, as 12.5 or 1e-3"
        )
    if len(text) > LONGEST_NUMBER or (exponent and abs(int(exponent[1])) > LARGEST_EXPONENT):
        raise AmountError(f"{shorten(text)} is too long a number", "write at most 60 characters")
    return Fraction(text)


@lru_cache(maxsize=100_000)
def read_amount(text: str) -> Amount:
    """Return the amount that a text like ``52 W h`` or ``-3.5dB`` stands for.

    Raises:
        AmountError: the text does not begin with a number.
    """
    match = _AMOUNT.fullmatch(text.strip())
    if match is None:
        raise AmountError(
            f"{shorten(text)} does not begin with a number",
            "write a number and its unit, as 52 W h",
        )
    return Amount(text.strip(), read_number(match[1]), " ".join(match[2].split()))


def read_measured(text: str) -> Measured:
    """Return the measured value that a text like ``57.1 W h +/- 0.4 W h (k = 2)`` stands for.

    An expanded uncertainty is k times the standard uncertainty (JCGM 100:2008, 6.2.1). One without
    its k is refused and not guessed: behind +/- some write the one, some the other (7.2.2 there).

    Raises:
        AmountError: a part of it cannot be read, an uncertainty has no coverage factor or one below
            1, or it is zero, of which a reason is wanted (see :func:`exactly`).
    """
    match = _MEASURED.fullmatch(text)
    if match is None:
        return Measured(text.strip(), read_amount(text), None, None)
    if match["k"] is None:
        raise AmountError(
            f"the uncertainty of {shorten(text)} has no coverage factor",
            "write it after the uncertainty, as 57.1 W h +/- 0.4 W h (k = 2)",
        )
    k = read_number(match["k"].strip())
    uncertainty = read_amount(match["uncertainty"])
    if uncertainty.number < 0:
        raise AmountError(
            f"the uncertainty of {shorten(text)} is below zero",
            "write a positive expanded uncertainty and k, as +/- 0.4 W h (k = 2)",
        )
    if k < 1:
        raise AmountError(
            f"the coverage factor of {shorten(text)} is below 1, less than the standard"
            " uncertainty",
            "write the expanded uncertainty with its k, as +/- 0.4 W h (k = 2)",
        )
    if uncertainty.number == 0:
        raise AmountError(
            f"{shorten(text)} has no uncertainty and no reason for that",
            "add the uncertainty, or write {value: 12, exact: the reason}, as for a count",
        )
    return Measured(text.strip(), read_amount(match["value"]), uncertainty, k)


def middle(low: Amount, high: Amount) -> Amount:
    """Return the amount halfway between two of one unit, with a text that says just that."""
    number = (low.number + high.number) / 2
    text = _decimal(number)
    return Amount(f"{text} {low.unit}".strip(), number, low.unit)


def _decimal(number: Fraction) -> str:
    """Return a fraction of two decimals' sum as its decimal text: none of its digits is lost."""
    places = 0
    while (number * 10**places).denominator != 1:
        places += 1
    digits = f"{abs(int(number * 10**places)):0{places + 1}d}"
    sign, whole = "-" if number < 0 else "", digits[: len(digits) - places]
    return sign + whole + ("." + digits[len(digits) - places :] if places else "")


def exactly(value: Amount, reason: str) -> Measured:
    """Return a measured value of which nothing is uncertain, for a reason: it was counted."""
    none = Amount(f"0 {value.unit}".strip(), Fraction(0), value.unit)
    return Measured(value.text, value, none, None, reason)


def shorten(text: str, most: int = 60) -> str:
    """Return a text for a message: quoted, on one line, without control characters, not long."""
    shown = text if len(text) <= most else text[: most - 3] + "..."
    return "'" + "".join(c if c.isprintable() else " " for c in shown) + "'"


def exchanged(low: Amount, high: Amount) -> tuple[str, str]:
    """Return message and cure for two ends of which the first is the greater one."""
    return f"the low end {low} is above the high end {high}", "write the lower end first"
