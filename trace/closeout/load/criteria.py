"""Readers of what criteria are made of: limits, conditions, bases, spreads.

What the schemas cannot say is looked at here: whether the values of one item go together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any

from closeout.load.formats import amount, measured
from closeout.model.amount import Amount, Measured, exactly, exchanged, middle, read_number, shorten
from closeout.model.criterion import TBD, Condition, Criterion, Limits
from closeout.model.criterion import as_run as run_at
from closeout.model.problem import Finding, Pointer, Severity
from closeout.model.records import Basis, BasisKind, Leeway, Spread

Item = Mapping[str, Any]
Steps = tuple[str | int, ...]

SPREAD = ("tolerance", "range", "sigma")
_NO_LIMITS = Limits()
_NO_SPREAD = Spread()
_WORST_CASE = Basis()
_AS_REQUIRED = Leeway()
_NOTHING = Amount("0", Fraction(0), "")
_BESIDE = {
    "estimate": "add range: with the low and the high end that were agreed",
    "case": "add from: with the quantity of an analysis, or remove it",
    "cases": "add from: with the quantity of an analysis, or remove it",
}
_OF_LEEWAY = ("within", "harsher", "tested_at")


class Reader:
    """Reads one item after another, and keeps what is wrong with them beyond their form.

    The pointers of its findings lead from the item to the value. A method always returns a value;
    where it found something wrong that is not to be used. All of them
    take values that the schemas allow, and raise UserError for a text that is not of its format.
    """

    def __init__(self) -> None:
        self.findings: list[Finding] = []

    def _wrong(self, rule: str, steps: Steps, message: str, cure: str) -> None:
        where = Pointer("", steps)
        self.findings.append(Finding(rule, Severity.ERROR, where, message, cure))

    def criterion(self, item: Item, steps: Steps) -> Criterion:
        """Return quantity, limits and conditions of a verification."""
        cases = item.get("cases")
        given: Item = item.get("given", {})
        conditions = tuple(
            (name, self._condition(value, (*steps, "given", name))) for name, value in given.items()
        )
        wanted = int(cases.rpartition(" ")[2]) if cases else None
        difference = item.get("difference", "false").lower() == "true"
        limits = self.limits(item, steps)
        return Criterion(item.get("quantity"), limits, conditions, wanted, difference)

    def limits(self, item: Item, steps: Steps) -> Limits:
        """Return the limits of an item, after a look at whether they go together."""
        quantity = item.get("quantity")
        texts = _limit_texts(item, quantity)
        given = list(texts)
        if not given:
            if quantity is not None:
                message = f"the quantity {shorten(quantity)} has no limit"
                cure = "add at_least or at_most, or equal_to with within"
                self._wrong("bad-limits", (*steps, "quantity"), message, cure)
            return _NO_LIMITS
        if quantity is None:
            message = f"{given[0]} limits no quantity"
            cure = "add quantity: with the name of what is limited"
            self._wrong("bad-limits", (*steps, given[0]), message, cure)
        undecided = tuple(key for key, text in texts.items() if text == TBD)
        decided = amounts({key: text for key, text in texts.items() if text != TBD})
        limits = Limits(**dict(decided), undecided=undecided)
        if "equal_to" in texts or "within" in texts:
            self._equality(limits.within, given, steps)
        return limits

    def _equality(self, within: Amount | None, given: Sequence[str], steps: Steps) -> None:
        first = given[0]
        if "within" not in given:
            message = "equal_to needs within"
            self._wrong("bad-limits", (*steps, "equal_to"), message, "add within: with a distance")
        elif within is not None and within.number < 0:
            message, cure = f"within {within} is below zero", "write a distance of zero or more"
            self._wrong("bad-limits", (*steps, "within"), message, cure)
        if "equal_to" not in given:
            message, cure = "within needs equal_to", "add equal_to: with a value"
            self._wrong("bad-limits", (*steps, "within"), message, cure)
        if first in ("at_least", "at_most"):
            message = f"{first} is given together with equal_to or within"
            cure = "use either equal_to with within, or at_least and at_most"
            self._wrong("bad-limits", (*steps, first), message, cure)

    def leeway(self, item: Item, steps: Steps) -> Leeway:
        """Return how a test may differ from its conditions."""
        if not any(key in item for key in _OF_LEEWAY):
            return _AS_REQUIRED
        said, quantity = item.get("within", {}), item.get("quantity")
        within = () if isinstance(said, str) else amounts(said)
        within = tuple((name, amount) for name, amount in within if name != quantity)
        for name, one in within:
            if one.number < 0:
                message, cure = f"within {one} is below zero", "write a distance of zero or more"
                self._wrong("bad-spread", (*steps, "within", name), message, cure)
        points: Item = item.get("tested_at", {})
        at = amounts({name: text for name, text in points.items() if name != "reason"})
        if points and not at:
            message, cure = "tested_at names no condition", "add one, as cell_temperature: 5 degC"
            self._wrong("missing-key", (*steps, "tested_at"), message, cure)
        return Leeway(within, tuple(item.get("harsher", {}).items()), at, points.get("reason"))

    def _condition(self, value: str | list[str], steps: Steps) -> Condition:
        return Condition((amount(value),) if isinstance(value, str) else self._ends(value, steps))

    def _ends(self, pair: list[str], steps: Steps) -> tuple[Amount, Amount]:
        low, high = amount(pair[0]), amount(pair[1])
        if low.unit == high.unit and low.number > high.number:
            self._wrong("bad-spread", (*steps, 0), *exchanged(low, high))
        return low, high

    def value(self, item: Item) -> Amount:
        """Return the value of a parameter; of an agreed range without one, its middle."""
        for key in ("estimate", "case", "cases"):
            if key in item and not ("range" in item and "estimate" in item):
                message, cure = f"'{key}' stands alone", _BESIDE[key]
                self._wrong("missing-key", (key,), message, cure)
        if "value" in item:
            return amount(item["value"])
        if not ("range" in item and "estimate" in item):
            message = "a parameter needs the key 'value'"
            cure = "add 'value:' with an amount, or 'from:' with the quantity of an analysis"
            self._wrong("missing-key", (), message, cure)
            return _NOTHING
        low, high = amount(item["range"][0]), amount(item["range"][1])
        if low.unit != high.unit:
            cure = "write both ends in one unit, or add 'value:'"
            self._wrong("missing-key", ("range",), "the two ends have two units", cure)
        return middle(low, high)

    def spread(self, item: Item) -> Spread:
        """Return how far a parameter may lie from its value."""
        given = [key for key in SPREAD if key in item]
        if not given:
            return _NO_SPREAD
        if len(given) > 1:
            message = f"{' and '.join(given)} are given together"
            self._wrong("bad-spread", (given[1],), message, "keep one of tolerance, range, sigma")
        ends = self._ends(item["range"], ("range",)) if "range" in item else None
        sigma = optional(item, "sigma")
        if sigma and sigma.number <= 0:
            message = f"sigma {sigma} is not above zero"
            self._wrong("bad-spread", ("sigma",), message, "write a positive standard deviation")
        return Spread(self._tolerance(item.get("tolerance", {})), ends, sigma)

    def _tolerance(self, value: str | Item) -> tuple[tuple[str, Amount], ...]:
        parts = amounts({"": value} if isinstance(value, str) else value)
        for name, part in parts:
            if part.number < 0:
                steps: Steps = ("tolerance", name) if name else ("tolerance",)
                message, cure = (
                    f"the tolerance {part} is below zero",
                    "write the distance to either side",
                )
                self._wrong("bad-spread", steps, message, cure)
        return parts


def optional(item: Item, key: str) -> Amount | None:
    """Return the amount under a key, None where there is none."""
    text = item.get(key)
    return None if text is None else amount(text)


def listed(said: str | Sequence[str]) -> tuple[str, ...]:
    """Return what stands under a key that takes one text or several."""
    return (said,) if isinstance(said, str) else tuple(said)


def _limit_texts(item: Item, quantity: str | None) -> dict[str, str]:
    """Return the limits of an item as they are written, in the order of their fields.

    How nearly a quantity is to be equal stands under its name where it is among tolerances.
    """
    texts = {key: item[key] for key in ("at_least", "at_most", "equal_to") if key in item}
    said = item.get("within")
    within = said if said is None or isinstance(said, str) else said.get(quantity)
    return texts if within is None else {**texts, "within": within}


def amounts(texts: Mapping[str, str]) -> tuple[tuple[str, Amount], ...]:
    """Return the amounts of a mapping, in its order."""
    return tuple((name, amount(text)) for name, text in texts.items())


def all_measured(values: Mapping[str, str | Item]) -> tuple[tuple[str, Measured], ...]:
    """Return the measured values of a mapping, in its order."""
    return tuple(
        (name, measured(said) if isinstance(said, str) else _exact(said))
        for name, said in values.items()
    )


def _exact(item: Item) -> Measured:
    return exactly(amount(item["value"]), item["exact"])


def as_run(values: Mapping[str, str | list[str]]) -> tuple[tuple[str, Condition], ...]:
    """Return the conditions of a test as they were, in their order."""
    return tuple(
        (
            name,
            run_at(measured(said))
            if isinstance(said, str)
            else Condition((amount(said[0]), amount(said[1]))),
        )
        for name, said in values.items()
    )


def basis(value: str | Item | None) -> Basis:
    """Return the basis of a verdict, worst case where none is given."""
    if value is None:
        return _WORST_CASE
    if isinstance(value, str):
        return Basis(BasisKind(value))
    shares: tuple[Fraction, Fraction] = (
        read_number(value["probability"]),
        read_number(value["confidence"]),
    )
    return Basis(BasisKind.PROBABILITY, *shares)
