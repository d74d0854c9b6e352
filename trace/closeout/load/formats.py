"""Formats of texts that a pattern cannot tell: amounts, measured values, dates.

The schemas name them under ``format``; an editor that does not know a format passes over it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from functools import lru_cache

from closeout.load.scalars import is_number, number
from closeout.model.amount import (
    Amount,
    Measured,
    read_amount,
    read_measured,
    read_number,
    shorten,
)
from closeout.model.criterion import TBD
from closeout.model.errors import UserError

# The schemas bound the length too; they report what is longer, once.
LONGEST = 120

# Only the form: which units there are is known to closeout.measure. An expression is no unit.
_unit_form = re.compile(r"(?:(?:1 ?/ ?)?[^\W\d_]|[%‰°(])[\w %‰°·*/^().²³¹⁻-]*|").fullmatch
_day_form = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}").fullmatch


class FormatError(UserError):
    """A text that is not of its format; ``message`` says why, ``cure`` what to write."""


@lru_cache(maxsize=100_000)
def amount(text: str) -> Amount:
    """Return the amount that a text stands for; AmountError or FormatError where it is none."""
    read = read_amount(text)
    _check_unit(read, text)
    return read


def _limit(text: str) -> None:
    if text == TBD:
        return
    if text.upper().startswith(TBD):
        message = f"{shorten(text)} is no limit"
        raise FormatError(
            message, f"write a number and its unit, or {TBD} where it is not decided yet"
        )
    amount(text)


def measured(text: str) -> Measured:
    """Return the measured value that a text stands for; AmountError or FormatError as above."""
    read = read_measured(text)
    _check_unit(read.value, text)
    if read.uncertainty is not None:
        _check_unit(read.uncertainty, text)
    return read


def _check_unit(read: Amount, text: str) -> None:
    if not _unit_form(read.unit):
        message = f"{shorten(text)} is no number with a unit"
        raise FormatError(message, "write one number and its unit, as 52 W h")


def day(text: str) -> str:
    """Return the text of a day of the calendar; FormatError where it is none."""
    cure = "write year, month and day, as 2026-01-20"
    if not _day_form(text):
        raise FormatError(f"{shorten(text)} is no date", cure)
    try:
        date.fromisoformat(text)
    except ValueError as error:
        raise FormatError(f"{shorten(text)} is not in the calendar", cure) from error
    return text


def _share(text: str) -> None:
    # What is no number between 0 and 1 is reported by the bounds.
    if is_number(text) and 0 < number(text) < 1:
        read_number(text)


def _factor(text: str) -> None:
    # What is no number is reported by its type.
    if is_number(text) and not number(text) >= 1:
        raise FormatError(
            f"{shorten(text)} is below 1: less than the standard uncertainty",
            "write a number of 1 or more, as 2",
        )
    if is_number(text):
        read_number(text)


def _unless_refused(read: Callable[[str], object]) -> Callable[[str], object]:
    """Pass over a text that is blank or too long: other keywords of the schema refuse it."""
    return lambda text: read(text) if text.strip() and len(text) <= LONGEST else None


FORMATS: dict[str, Callable[[str], object]] = {
    "amount": _unless_refused(amount),
    "limit": _unless_refused(_limit),
    "measured": _unless_refused(measured),
    "date": _unless_refused(day),
    "share": _unless_refused(_share),
    "factor": _unless_refused(_factor),
}


def is_of_format(name: str, text: str) -> bool:
    """Return whether a text is of a format."""
    try:
        FORMATS[name](text)
    except UserError:
        return False
    return True
