"""The numbers of a statement beside those of its criteria, read and compared as amounts.

Only statements that do not have their criteria's numbers as they are written come here.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from typing import NamedTuple

from closeout.graph.new_findings import warning
from closeout.measure import UnitError, Units
from closeout.measure.scale import LINEAR, RATIO, Scale
from closeout.model.amount import Amount, shorten
from closeout.model.criterion import WORDS, Condition, Criterion, Limits
from closeout.model.problem import Finding
from closeout.model.records import Basis, BasisKind, Requirement
from closeout.rules.wording.sentence import lowered
from closeout.rules.wording.stated import Direction, Stated, is_plain, numbers

LIMIT, SIDE, CONDITION, PROBABILITY = (
    "limit-differs",
    "limit-direction",
    "condition-differs",
    "probability-differs",
)
# A condition and a number that is a thousand times as large are two things of one dimension.
FARTHEST = 100
_DIRECTIONS = ("at_least", "at_most")
_BESIDE = {"at_least": "at_most", "at_most": "at_least", "within": "equal_to"}
_PLAIN_UNITS = ("", "count", "1")
_MARGINS = ("margin", "reserve", "clearance")
_CURE = "make both agree, and raise the issue"
_CHANCE = re.compile(r"probability|confidence")


class _Wanted(NamedTuple):
    """One of the limits that a criterion has for a quantity, by its key."""

    quantity: str
    key: str
    limits: Limits

    @property
    def amount(self) -> Amount:
        amount: Amount = getattr(self.limits, self.key)
        return amount

    @property
    def other(self) -> Amount | None:
        """The one that stands beside it."""
        key = _BESIDE.get(self.key)
        return None if key is None else getattr(self.limits, key)

    @property
    def side(self) -> Direction | None:
        return Direction(self.key) if self.key in _DIRECTIONS else None

    @property
    def symmetric(self) -> bool:
        """Whether the other limit is the same distance on the other side of zero."""
        amount, other = self.amount, self.other
        return other is not None and other.unit == amount.unit and other.number == -amount.number


class _Given(NamedTuple):
    """A condition of a criterion, with the name of its parameter."""

    name: str
    at: Condition


def compared(requirement: Requirement, text: str, units: Units) -> Iterator[Finding]:
    """Yield where the numbers of a requirement's criteria and its masked statement disagree."""
    limits, givens, bases = _wanted(requirement)
    comparison = _Comparison(requirement, text, units, limits, givens)
    for limit in limits:
        yield from comparison.limit(limit)
    for given in givens:
        yield from comparison.given(given)
    for basis in bases:
        yield from comparison.basis(basis)


def _wanted(requirement: Requirement) -> tuple[list[_Wanted], list[_Given], list[Basis]]:
    """Return what the criteria of a requirement ask for, each once."""
    limits: dict[tuple[str, str, str], _Wanted] = {}
    givens: dict[tuple[str, ...], _Given] = {}
    bases: list[Basis] = []
    for verification in requirement.verification:
        criterion = verification.criterion
        for limit in _limits(criterion):
            limits.setdefault((limit.quantity, limit.key, limit.amount.text), limit)
        for name, value in criterion.given:
            givens.setdefault((name, str(value)), _Given(name, value))
        if verification.basis.kind is BasisKind.PROBABILITY:
            bases.append(verification.basis)
    return list(limits.values()), list(givens.values()), list(dict.fromkeys(bases))


def _limits(criterion: Criterion) -> Iterator[_Wanted]:
    for key in WORDS:
        if getattr(criterion.limits, key) is not None:
            yield _Wanted(criterion.quantity or "", key, criterion.limits)
    if criterion.cases_at_least is not None:
        count = criterion.cases_at_least
        cases = Amount(str(count), Fraction(count), "")
        yield _Wanted("cases", "at_least", Limits(at_least=cases))


class _Comparison:
    """The numbers of one statement beside those of its criteria."""

    def __init__(
        self,
        requirement: Requirement,
        text: str,
        units: Units,
        limits: list[_Wanted],
        givens: list[_Given],
    ) -> None:
        self._requirement = requirement
        self._lower = lowered(text)
        self._units = units
        self._limits = limits
        self._givens = givens
        self._stated = numbers(text)
        self._reported: set[int] = set()

    def limit(self, limit: _Wanted) -> Iterator[Finding]:
        """Yield where a limit is another number, or lies on the other side."""
        scale = self._scale(limit.amount.unit)
        if scale is None:
            return
        if limit.key == "within":
            yield from self._within(limit)
            return
        equal = [one for one in self._stated if self._equals(one, limit)]
        if equal:
            yield from self._side(limit, equal)
            return
        candidates = [one for one in self._stated if self._may_be(one, limit, scale)]
        if candidates:
            best = min(candidates, key=lambda one: _rank(one, limit))
            self._reported.add(best.start)
            yield self._finding(
                LIMIT, best.start, f"{shorten(best.text)}, but {_criterion_text(limit)}"
            )

    def given(self, given: _Given) -> Iterator[Finding]:
        """Yield where a condition is another number or another range."""
        scale = self._scale(given.at.ends[0].unit)
        if scale is None or scale.dimension == RATIO or given.at.ends[0].unit in _PLAIN_UNITS:
            return
        if all(any(self._is(one, end) for one in self._stated) for end in given.at.ends):
            return
        groups = self._groups(given, scale)
        near = [group for group in groups if self._near(given.name, group)]
        if len(groups) == 1 or near:
            group = (near or groups)[0]
            wrong = [one for one in group if not any(self._is(one, end) for end in given.at.ends)]
            said = " to ".join(shorten(one.text) for one in group)
            message = f"{said}, but the criterion is given {given.name}: {given.at}"
            yield self._finding(CONDITION, wrong[0].start, message)

    def basis(self, basis: Basis) -> Iterator[Finding]:
        """Yield where the probability or the confidence that is asked for is another number."""
        wanted = {"probability": basis.probability, "confidence": basis.confidence}
        for name, number in wanted.items():
            if number is None:
                continue
            stated = [one for one in self._stated if self._chance(one) == name]
            stated = [one for one in stated if not self._accounted(one, None)]
            if stated and all(self._value(one, "") != number for one in stated):
                message = f"{shorten(stated[0].text)}, but the basis has {name}: {float(number):g}"
                yield self._finding(PROBABILITY, stated[0].start, message)

    def _side(self, limit: _Wanted, equal: list[Stated]) -> Iterator[Finding]:
        """Yield where each number that equals a limit is limited on its other side."""
        if limit.side is None or not all(_contradicts(one, limit.side) for one in equal):
            return
        one = equal[0]
        before = one.phrase_at < one.start
        words = f"{one.phrase} {one.text}" if before else f"{one.text} {one.phrase}"
        message = f"{shorten(words)}, but {_criterion_text(limit)}"
        yield self._finding(SIDE, one.phrase_at, message)

    def _within(self, limit: _Wanted) -> Iterator[Finding]:
        """Yield where the tolerance behind the value is another one."""
        value = limit.other
        if value is None:
            return
        for one, width in zip(self._stated, self._stated[1:], strict=False):
            if not (width.tolerance and self._is(one, value)):
                continue
            half, wanted = self._width(width, value), self._width(limit.amount, value)
            if half is not None and wanted is not None and half != wanted:
                message = f"{shorten(width.text)}, but {_criterion_text(limit)}"
                yield self._finding(LIMIT, width.start, message)

    def _width(self, tolerance: Stated | Amount, value: Amount) -> Fraction | None:
        amount = Amount(tolerance.text, tolerance.number, tolerance.unit)
        try:
            return self._units.convert_difference(amount, value.unit, value.number)
        except UnitError:
            return None

    def _may_be(self, one: Stated, limit: _Wanted, scale: Scale) -> bool:
        """Return whether a number of the statement can be meant for a limit that it does not equal.

        A plain number counts only with words of limit on the same side, or before the quantity's
        name: it may number anything.
        """
        unit = limit.amount.unit
        if not self._same_kind(one, scale) or self._accounted(one, limit):
            return False
        bounded = one.direction is not None and is_plain(one.phrase) and one.phrase != "up to"
        same_side = bounded and one.direction is limit.side
        if one.tolerance and not same_side:
            return False
        about_margin = any(word in limit.quantity for word in _MARGINS)
        another = about_margin and not any(word in self._lower for word in _MARGINS)
        if limit.amount.number == 0 or another:
            return same_side and limit.amount.number != 0
        if scale.dimension == RATIO or unit in _PLAIN_UNITS:
            percent = unit == one.unit == "%" and not one.condition
            return same_side or percent or self._counts(limit.quantity, one)
        return same_side or not one.condition or self._called(limit.quantity, one)

    def _groups(self, given: _Given, scale: Scale) -> list[tuple[Stated, ...]]:
        """Return what may be meant for a condition: numbers, and ranges of two."""
        groups: list[tuple[Stated, ...]] = []
        for number, one in enumerate(self._stated):
            pair = (one,) if one.end_of_range == 0 else self._stated[number : number + 2]
            if one.end_of_range == 2 or not all(self._fits(each, given, scale) for each in pair):
                continue
            if all(self._accounted(each, given) for each in pair):
                continue
            if len(pair) == 2 or not self._inside(one, given):
                groups.append(pair)
        return groups

    def _fits(self, one: Stated, given: _Given, scale: Scale) -> bool:
        """Return whether a number is of a condition's kind, and of a likely size."""
        amount = given.at.ends[-1]
        if one.tolerance or one.start in self._reported or not self._same_kind(one, scale):
            return False
        if scale.kind != LINEAR or one.end_of_range:
            return True
        value = abs(self._value(one, amount.unit) or Fraction(0))
        size = abs(amount.number)
        return size <= FARTHEST * value and value <= FARTHEST * size

    def _inside(self, one: Stated, given: _Given) -> bool:
        """Return whether a number lies in a range that is given: the criterion covers it."""
        if not given.at.is_range:
            return False
        low, high = given.at.ends
        value = self._value(one, low.unit)
        try:
            return value is not None and low.number <= value <= self._units.convert(high, low.unit)
        except UnitError:
            return False  # reported where the two ends are compared with the parameter

    def _called(self, quantity: str, one: Stated) -> bool:
        """Return whether the words of a quantity's name lead to a number: "a period of 0.6 s"."""
        before = self._lower[max(0, one.start - 40) : one.start]
        named = quantity.lower().split("_")
        return all(word in before for word in named) and quantity != ""

    def _counts(self, quantity: str, one: Stated) -> bool:
        """Return whether the words of a quantity's name follow a number: "120 passengers"."""
        behind = self._lower[one.end : one.end + 40].split()
        named = quantity.lower().split("_")
        return behind[: len(named)] == named

    def _near(self, name: str, group: tuple[Stated, ...]) -> bool:
        """Return whether a word of a parameter's name stands near a number."""
        around = self._lower[max(0, group[0].start - 50) : group[-1].end + 30]
        return any(word in around for word in name.lower().split("_") if len(word) > 2)

    def _accounted(self, one: Stated, asking: _Wanted | _Given | None) -> bool:
        """Return whether a number of the statement is that of another limit or condition."""
        for limit in self._limits:
            is_own = isinstance(asking, _Wanted) and (
                (limit.quantity, limit.key) == (asking.quantity, asking.key)
            )
            if not is_own and limit.key != "within" and self._equals(one, limit):
                return True
        return any(
            self._is(one, end)
            for given in self._givens
            if not isinstance(asking, _Given) or given.name != asking.name
            for end in given.at.ends
        )

    def _equals(self, one: Stated, limit: _Wanted) -> bool:
        return self._is(one, limit.amount, limit.symmetric)

    def _is(self, one: Stated, amount: Amount, symmetric: bool = False) -> bool:
        """Return whether a number of the statement is an amount, or its counterpart below zero."""
        value = self._value(one, amount.unit)
        if value is None:
            return False
        mirrored = one.mirrored or (symmetric and one.end_of_range == 0)
        return value == amount.number or (mirrored and value == -amount.number)

    def _value(self, one: Stated, unit: str) -> Fraction | None:
        """Return a number of the statement in a unit; None where the two do not compare."""
        source, target = _plain(one.unit), _plain(unit)
        if source == target:
            return one.number
        try:
            return self._units.convert_number(one.number, source, target)
        except UnitError:
            return None

    def _same_kind(self, one: Stated, scale: Scale) -> bool:
        """Return whether a number compares with a scale; 5 K beside degC may be a difference."""
        own = self._scale(one.unit)
        return own is not None and own.kind == scale.kind and own.dimension == scale.dimension

    def _scale(self, unit: str) -> Scale | None:
        try:
            return self._units.scale(_plain(unit))
        except UnitError:
            return None

    def _chance(self, one: Stated) -> str | None:
        """Return whether a number is called a probability or a confidence, by the nearest word."""
        if one.unit not in ("", "%"):
            return None
        behind = _CHANCE.match(self._lower[one.end : one.end + 16].lstrip())
        if behind:
            return behind[0]
        before = _CHANCE.findall(self._lower[max(0, one.start - 40) : one.start])
        return str(before[-1]) if before else None

    def _finding(self, rule: str, offset: int, message: str) -> Finding:
        where = self._requirement.where / "statement"
        text = f"{self._requirement.id}: the statement says {message}"
        return replace(warning(rule, where, text, _CURE), offset=offset)


def _criterion_text(limit: _Wanted) -> str:
    return f"the criterion of {limit.quantity} has {limit.key}: {limit.amount.text}"


def _plain(unit: str) -> str:
    return "" if unit in _PLAIN_UNITS else unit


def _contradicts(one: Stated, side: Direction) -> bool:
    """Return whether words of limit plainly put a number on the other side of a limit."""
    return (
        one.direction is not None
        and one.direction is not side
        and not one.condition
        and is_plain(one.phrase)
    )


def _rank(one: Stated, limit: _Wanted) -> tuple[bool, bool, bool, int]:
    """Return the order in which numbers are likely to be meant for a limit."""
    end = 1 if limit.key == "at_least" else 2
    return (
        one.direction is not limit.side or limit.side is None,
        one.end_of_range not in (0, end),
        one.condition,
        one.start,
    )
