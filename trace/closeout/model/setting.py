"""What a what-if sets a parameter to: a value, and whether its declared spread stays."""

from __future__ import annotations

import re
from dataclasses import dataclass

from closeout.model.amount import EXACTLY, Amount, AmountError, read_amount, shorten
from closeout.model.records import Spread

FORMS = "write one of: 40 N, 40 N +/- 2 N, 38 N to 42 N, 40 N exactly"

_PARTS = re.compile(r"\s*(\+/-|±)\s*|\s+(to|exactly)(?=\s|$)\s*")
_NONE = Spread()


@dataclass(frozen=True, slots=True)
class Setting:
    """``40 N``, ``40 N +/- 2 N``, ``38 N to 42 N`` or ``40 N exactly``, with its text.

    ``value`` is None where two ends are given: then the parameter keeps its own, moved to the
    nearer end where it lies outside. ``spread`` is None where the declared one stays, and empty
    where there is to be none.
    """

    text: str
    value: Amount | None
    spread: Spread | None = None

    @property
    def ends(self) -> tuple[Amount, Amount]:
        """The two ends of one without a value."""
        assert self.spread is not None
        assert self.spread.range is not None
        return self.spread.range


def read_setting(text: str) -> Setting:
    """Return what the text behind ``NAME=`` sets.

    Raises:
        AmountError: a part of it is no amount, or it says more than one spread.
    """
    first, *rest = [part for part in _PARTS.split(text.strip()) if part is not None]
    said = text.strip()
    if not rest:
        return Setting(said, read_amount(first))
    if len(rest) != 2:
        raise AmountError(f"{shorten(said)} has more than one tolerance", FORMS)
    word, last = rest
    if not first:
        raise AmountError(f"{shorten(said)} has no value before {word}", FORMS)
    if word == EXACTLY:
        if last:
            raise AmountError(f"{shorten(said)} continues after {EXACTLY}", FORMS)
        return Setting(said, read_amount(first), _NONE)
    if not last:
        raise AmountError(f"{shorten(said)} ends after {word}", FORMS)
    if word == "to":
        return Setting(said, None, Spread(range=(read_amount(first), read_amount(last))))
    return Setting(said, read_amount(first), Spread(tolerance=(("", _distance(last)),)))


def _distance(text: str) -> Amount:
    found = read_amount(text)
    if found.number < 0:
        raise AmountError(f"the tolerance {shorten(text)} is below zero", "write it above zero")
    return found


def exactly(number: float, unit: str) -> str:
    """Return a double in a unit as a text that sets just that: ``40 N exactly``.

    The shortest decimal that is read as the same double, so that a what-if comes to its very bits.
    """
    shown = repr(number).removesuffix(".0")
    return " ".join(part for part in (shown, "" if unit == "1" else unit, EXACTLY) if part)
