"""Whether a statement and its criteria give the same numbers, on the same side.

Numbers are compared exactly and as amounts: 52 W h and 187.2 kJ agree. Nothing is said where the
statement gives no number that could be the one of the criterion. Most statements have the numbers
as the criteria write them, which is seen at once; only the others are read closely.
"""

from __future__ import annotations

from collections.abc import Iterator

from closeout.measure import Units
from closeout.measure.symbols import POINTS, SPELLINGS
from closeout.model.criterion import Criterion
from closeout.model.problem import Finding
from closeout.model.records import BasisKind, Requirement

_LOWER = ("at least ", "not less than ", "no less than ")
_UPPER = ("at most ", "not exceed ", "not more than ", "no more than ")
_GO_ON = ("per", "squared", "cubed", "x")


def agreement(requirement: Requirement, text: str, units: Units) -> Iterator[Finding]:
    """Return where the numbers of a requirement's criteria and its masked statement disagree."""
    for verification in requirement.verification:
        probable = verification.basis.kind is BasisKind.PROBABILITY
        if probable or not _says(text, verification.criterion):
            from closeout.rules.wording.comparison import compared

            return compared(requirement, text, units)
    return iter(())


def _says(text: str, criterion: Criterion) -> bool:
    """Return whether a statement has a criterion's numbers in the same words: quick, no more."""
    limits = criterion.limits
    if limits.equal_to is not None or criterion.cases_at_least is not None:
        return False
    if limits.at_least is not None and not _bounded(text, limits.at_least.text, _LOWER):
        return False
    if limits.at_most is not None and not _bounded(text, limits.at_most.text, _UPPER):
        return False
    for _, value in criterion.given:
        for end in value.ends:
            at = text.find(end.text)
            if at < 1 or text[at - 1] != " " or not _ends(text, at + len(end.text)):
                return False
    return True


def _bounded(text: str, written: str, bounds: tuple[str, ...]) -> bool:
    at = text.find(written)
    return at > 0 and text.endswith(bounds, 0, at) and _ends(text, at + len(written))


def _ends(text: str, at: int) -> bool:
    """Return whether an amount surely ends at a place: no unit goes on behind it."""
    behind = text[at : at + 16]
    if not behind or behind[0] in ",;)" or behind in (".", ". "):
        return True
    if behind[0] != " ":
        return False
    word = behind[1:].split(" ", 1)[0].rstrip(",.;)")
    if not word.isalpha() or word.startswith("dB") or word in _GO_ON:
        return False
    return word not in SPELLINGS and word not in POINTS
