"""What is asked of a quantity: limits as they are written, and the conditions they hold under.

Numbers are exact; what their units mean is no matter of this module (see :mod:`closeout.measure`).
Of one unit, exact, with what is required beside them they are :class:`ExactLimits`; as the doubles
that answers are compared with, :class:`closeout.model.answer.Bounds`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from closeout.model.amount import Amount, Measured

# Stands in the place of a limit that nobody has decided yet.
TBD = "TBD"
# The keys of limits, in words.
WORDS = {"at_least": "at least", "at_most": "at most", "equal_to": "equal to", "within": "within"}
_OF_LIMITS = ("at_least", "at_most", "equal_to")


@dataclass(frozen=True, slots=True)
class Limits:
    """at_least, at_most or both (inclusive), or equal_to with within; else all None.

    ``undecided`` are the keys of those that are still TBD, which are None too.
    """

    at_least: Amount | None = None
    at_most: Amount | None = None
    equal_to: Amount | None = None
    within: Amount | None = None
    undecided: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        return any((self.at_least, self.at_most, self.equal_to, self.undecided))

    def __str__(self) -> str:
        """Return them in words: ``at least 52 W h``, ``equal to 5 V within 0.1 V``."""
        texts = {key: str(amount) for key in WORDS if (amount := getattr(self, key)) is not None}
        return in_words(texts | dict.fromkeys(self.undecided, TBD))

    @property
    def amounts(self) -> tuple[tuple[str, Amount], ...]:
        """The amounts that are limits, each with its key."""
        found = ((key, getattr(self, key)) for key in _OF_LIMITS)
        return tuple((key, amount) for key, amount in found if amount is not None)

    @property
    def unit(self) -> str | None:
        """The unit in which they are written; None where there is no limit."""
        first = self.at_least or self.at_most or self.equal_to
        return None if first is None else first.unit


def in_words(texts: Mapping[str, str]) -> str:
    """Return limits in words, by key: ``at least 52 W h, at most 60 W h``."""
    parts = [f"{WORDS[key]} {texts[key]}" for key in _OF_LIMITS if key in texts]
    return ", ".join(parts) + (f" {WORDS['within']} {texts['within']}" if "within" in texts else "")


@dataclass(frozen=True, slots=True)
class ExactLimits:
    """Limits as exact numbers of one unit, inclusive.

    Margins that are required beside them, and what a model may be off, are put on these.
    ``undecided`` where a further limit is still TBD: what keeps these is not met yet.
    """

    unit: str = ""
    at_least: Fraction | None = None
    at_most: Fraction | None = None
    undecided: bool = False


@dataclass(frozen=True, slots=True)
class Condition:
    """Where a criterion holds or a test was run: at a value, or all over a range.

    ``ends`` are the value, or the two ends as they were written. Of a value as run ``measured``
    has its uncertainty.
    """

    ends: tuple[Amount, ...]
    measured: Measured | None = None

    @property
    def is_range(self) -> bool:
        """Whether it was written as two ends."""
        return len(self.ends) == 2

    def __str__(self) -> str:
        """Return ``20 degC``, ``5 degC to 20 degC`` or ``51.8 W +/- 0.3 W (k = 2)``."""
        if self.measured is not None:
            return self.measured.text
        return " to ".join(end.text for end in self.ends)

    @property
    def place(self) -> str:
        """``at 20 degC``, or ``from 5 degC to 20 degC``."""
        return f"{'from' if self.is_range else 'at'} {self}"


def as_run(measured: Measured) -> Condition:
    """Return the condition of a test that was run at a value."""
    return Condition((measured.value,), measured)


@dataclass(frozen=True, slots=True)
class Criterion:
    """Quantity, limits and the conditions under which they hold.

    ``given`` is in the order of the file; a range is a side of the box that the worst case must
    cover. ``cases_at_least`` is the N of ``cases: at least N``. A ``difference`` of temperatures is
    never compared with a point on a scale.
    """

    quantity: str | None = None
    limits: Limits = Limits()
    given: tuple[tuple[str, Condition], ...] = ()
    cases_at_least: int | None = None
    difference: bool = False
