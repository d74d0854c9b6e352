"""Readers of what criteria are made of: amounts, limits, conditions, bases, spreads, dates."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from fractions import Fraction
from typing import Any, NamedTuple

from closeout.model.amount import (
    Amount,
    AmountError,
    Measured,
    read_amount,
    read_measured,
    read_number,
    shorten,
)
from closeout.model.records import Basis, BasisKind, Criterion, Limits, Side, Spread

Item = Mapping[str, Any]
Steps = tuple[str | int, ...]
# In place of an amount that cannot be read: positive, and of a unit that no other has, so that no
# second trouble comes of it.
_NONE = Amount("", Fraction(1), "\0")
# Only the form: which units there are is known to closeout.measure. An expression is no unit.
_unit_form = re.compile(r"(?:(?:1 ?/ ?)?[^\W\d_]|[%‰°(])[\w %‰°·*/^().²³¹⁻-]*|").fullmatch


class Trouble(NamedTuple):
    """What is wrong with an item beyond its form; steps lead from the item to the value."""

    rule: str
    steps: Steps
    message: str
    cure: str


class Reader:
    """Reads values of one item after another, and keeps what is wrong with them.

    A reading method always returns a value; where there was trouble it is not to be used.
    """

    def __init__(self) -> None:
        self.troubles: list[Trouble] = []

    def wrong(self, rule: str, steps: Steps, message: str, cure: str) -> None:
        """Keep a trouble."""
        self.troubles.append(Trouble(rule, steps, message, cure))

    def amount(self, text: str, steps: Steps) -> Amount:
        """Return the amount that a text stands for."""
        try:
            amount = read_amount(text)
        except AmountError as error:
            self.wrong("bad-amount", steps, error.message, error.cure)
            return _NONE
        if not _unit_form(amount.unit):
            message = f"{shorten(text)} is no number with a unit"
            self.wrong("bad-amount", steps, message, "write one number and its unit, as 52 W h")
            return _NONE
        return amount

    def optional(self, item: Item, key: str, steps: Steps = ()) -> Amount | None:
        """Return the amount under a key, None where there is none."""
        text = item.get(key)
        return None if text is None else self.amount(text, (*steps, key))

    def amounts(self, item: Item, key: str) -> tuple[tuple[str, Amount], ...]:
        """Return the amounts of a mapping under a key, in its order."""
        found: Mapping[str, str] = item.get(key) or {}
        return tuple((name, self.amount(text, (key, name))) for name, text in found.items())

    def measured(self, item: Item) -> tuple[tuple[str, Measured], ...]:
        """Return the measured values of a record, by quantity."""
        values = []
        for name, text in (item.get("measured") or {}).items():
            try:
                values.append((name, read_measured(text)))
            except AmountError as error:
                self.wrong("bad-amount", ("measured", name), error.message, error.cure)
        return tuple(values)

    def date(self, item: Item) -> str | None:
        """Return the date of an item, None where there is none."""
        text: str | None = item.get("date")
        if text is not None:
            try:
                date.fromisoformat(text)
            except ValueError:
                message = f"{shorten(text)} is no day of the calendar"
                self.wrong("bad-date", ("date",), message, "write a real day, as 2026-01-20")
        return text

    def criterion(self, item: Item, steps: Steps) -> Criterion:
        """Return quantity, limits and conditions of a verification."""
        limits = self.limits(item, steps)
        cases = item.get("cases")
        given = item.get("given")
        conditions = self._given(given, (*steps, "given")) if given else ()
        wanted = int(cases.rpartition(" ")[2]) if cases else None
        return Criterion(item.get("quantity"), limits, conditions, wanted)

    def limits(self, item: Item, steps: Steps) -> Limits:
        """Return the limits of an item, after a look at whether they go together."""
        low, high = self.optional(item, "at_least", steps), self.optional(item, "at_most", steps)
        if "equal_to" in item or "within" in item:
            return self._equality(item, steps, low or high)
        if low is None and high is None:
            if "quantity" in item:
                message = f"the quantity {shorten(item['quantity'])} has no limit"
                cure = "add at_least or at_most, or equal_to with within"
                self.wrong("bad-limits", (*steps, "quantity"), message, cure)
            return _NO_LIMITS
        if "quantity" not in item:
            key = "at_least" if low else "at_most"
            message = f"{key} limits no quantity"
            self.wrong("bad-limits", (*steps, key), message, "add the quantity that is limited")
        if low and high and low.unit == high.unit and low.number > high.number:
            message = f"at_least {low} is above at_most {high}: no value is between them"
            self.wrong("bad-limits", (*steps, "at_least"), message, "exchange or mend the limits")
        return Limits(low, high)

    def _equality(self, item: Item, steps: Steps, other: Amount | None) -> Limits:
        equal, within = self.optional(item, "equal_to", steps), self.optional(item, "within", steps)
        if within is None:
            message = "equal_to says not how nearly"
            self.wrong("bad-limits", (*steps, "equal_to"), message, "add within: with a distance")
        elif within.number < 0:
            message = f"within {within} is below zero"
            self.wrong(
                "bad-limits", (*steps, "within"), message, "write a distance of zero or more"
            )
        if equal is None:
            message, cure = "within stands without equal_to", "add equal_to: with a value"
            self.wrong("bad-limits", (*steps, "within"), message, cure)
        if other is not None:
            key = "at_least" if "at_least" in item else "at_most"
            message = f"{key} stands beside equal_to and within"
            cure = "use either equal_to with within, or at_least and at_most"
            self.wrong("bad-limits", (*steps, key), message, cure)
        if "quantity" not in item:
            key = "equal_to" if equal else "within"
            message = f"{key} limits no quantity"
            self.wrong("bad-limits", (*steps, key), message, "add the quantity that is limited")
        return Limits(None, None, equal, within)

    def _given(self, given: Item, steps: Steps) -> tuple[tuple[str, Amount | Side], ...]:
        return tuple(
            (name, self._condition(value, (*steps, name))) for name, value in given.items()
        )

    def _condition(self, value: str | list[str], steps: Steps) -> Amount | Side:
        if isinstance(value, str):
            return self.amount(value, steps)
        return self.side(value, steps)

    def side(self, pair: list[str], steps: Steps) -> Side:
        """Return low and high end of a pair of amounts."""
        low, high = (self.amount(text, (*steps, end)) for end, text in enumerate(pair))
        if low.unit == high.unit and low.number > high.number:
            message = f"the low end {low} is above the high end {high}"
            self.wrong("bad-spread", (*steps, 0), message, "write the lower end first")
        return low, high

    def basis(self, value: str | Item | None, steps: Steps) -> Basis:
        """Return the basis of a verdict, worst case where none is given."""
        if value is None:
            return _WORST_CASE
        if isinstance(value, str):
            return Basis(BasisKind(value))
        shares = (self._share(value[key], (*steps, key)) for key in ("probability", "confidence"))
        return Basis(BasisKind.PROBABILITY, *shares)

    def _share(self, text: str, steps: Steps) -> Fraction:
        try:
            share = read_number(text)
        except AmountError as error:  # 0x1, or more digits than anyone means
            self.wrong("bad-amount", steps, error.message, error.cure)
            return Fraction(1, 2)
        if not 0 < share < 1:
            cure = "write a number above 0 and below 1, as 0.99"
            self.wrong("not-allowed", steps, f"{shorten(text)} is no share", cure)
        return share

    def spread(self, item: Item) -> Spread:
        """Return how far a parameter may lie from its value."""
        given = [key for key in ("tolerance", "range", "sigma") if key in item]
        if len(given) > 1:
            message = f"{' and '.join(given)} are given together"
            self.wrong("bad-spread", (given[1],), message, "keep one of tolerance, range, sigma")
        if not given:
            return _NO_SPREAD
        ends = self.side(item["range"], ("range",)) if "range" in item else None
        sigma = self.optional(item, "sigma")
        if sigma and sigma.number <= 0:
            message = f"sigma {sigma} is not above zero"
            self.wrong("bad-spread", ("sigma",), message, "write a positive standard deviation")
        return Spread(self._tolerance(item.get("tolerance")), ends, sigma)

    def _tolerance(self, value: str | Item | None) -> tuple[tuple[str, Amount], ...]:
        if value is None:
            return ()
        parts: Item = {"": value} if isinstance(value, str) else value
        found = []
        for name, text in parts.items():
            steps: Steps = ("tolerance", name) if name else ("tolerance",)
            part = self.amount(text, steps)
            if part.number < 0:
                message = f"the tolerance {part} is below zero"
                self.wrong("bad-spread", steps, message, "write the distance to either side")
            found.append((name, part))
        return tuple(found)


_NO_LIMITS = Limits()
_NO_SPREAD = Spread()
_WORST_CASE = Basis()
