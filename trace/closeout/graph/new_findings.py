"""How findings are made: severity, nearest spelling, whether an amount can be read in a unit."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator, Mapping, Sequence

from closeout.measure import UnitError, Units
from closeout.model.amount import Amount, exchanged, shorten
from closeout.model.earlier_names import KINDS, Names
from closeout.model.problem import Finding, Pointer, Severity

# A search over ten thousand names takes 30 ms; who has more typing errors gets no suggestions.
MOST_SEARCHES = 50


def error(rule: str, where: Pointer, message: str, cure: str) -> Finding:
    """Return a finding that keeps the project from being judged."""
    return Finding(rule, Severity.ERROR, where, message, cure)


def warning(rule: str, where: Pointer, message: str, cure: str) -> Finding:
    """Return a finding to look at."""
    return Finding(rule, Severity.WARNING, where, message, cure)


def nearest(name: str, known: Iterable[str]) -> str | None:
    """Return the known name that is nearest in spelling, or None."""
    return next(iter(difflib.get_close_matches(name, list(known), n=1)), None)


def alike(name: str, known: Iterable[str], renamed: Mapping[str, str]) -> str | None:
    """Return which known name an unknown one means: what it is called by now, else the nearest.

    Args:
        renamed: the names of today by old one.
    """
    if name in renamed:
        return f"{renamed[name]} (formerly {name})"
    return nearest(name, known)


class Spelling:
    """Suggests known names of a kind for unknown ones; each is searched for once.

    ``renamed`` are the names of today by section and old one.
    """

    def __init__(self, renamed: Names | None = None) -> None:
        self._renamed = {KINDS[section]: names for section, names in (renamed or {}).items()}
        self._found: dict[tuple[str, str], str | None] = {}

    def cure(self, kind: str, name: str, known: Iterable[str], otherwise: str) -> str:
        """Return ``did you mean X?``, or what to do where no name is near."""
        key = (kind, name)
        if key not in self._found:
            if len(self._found) >= MOST_SEARCHES:
                return otherwise
            self._found[key] = alike(name, known, self._renamed.get(kind, {}))
        near = self._found[key]
        return otherwise if near is None else f"did you mean {near}?"


def comparable(amount: Amount, unit: str, where: Pointer, units: Units) -> Iterator[Finding]:
    """Yield a finding where an amount cannot be read in a unit, or not as a double."""
    try:
        units.nearest(amount, unit)
    except UnitError as wrong:
        yield error("unit", where, f"{shorten(amount.text)}: {wrong.message}", wrong.cure)


def is_difference(amount: Amount, of: Amount, where: Pointer, units: Units) -> Iterator[Finding]:
    """Yield a finding where an amount cannot be the distance from another."""
    try:
        units.tolerance(of, amount, of.unit)
    except UnitError as wrong:
        yield error("unit", where, f"{shorten(amount.text)}: {wrong.message}", wrong.cure)


def in_order(ends: Sequence[Amount], where: Pointer, units: Units) -> Iterator[Finding]:
    """Yield a finding where the first of two amounts is the greater one, whatever their units.

    Where the loader has reported two amounts of one unit, their item does not come here.
    """
    low, high = ends
    try:
        wrong = units.convert(low, high.unit) > high.number
    except UnitError:
        return  # reported where the amounts are compared with their unit
    if wrong:
        yield error("bad-spread", where, *exchanged(low, high))


def is_unit(text: str, units: Units) -> bool:
    """Return whether a text is a unit; where it is none, that is reported at its own place."""
    try:
        units.scale(text)
    except UnitError:
        return False
    return True
