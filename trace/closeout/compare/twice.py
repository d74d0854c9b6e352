"""Items of one identifier that both sides of a merge brought: each alone was right."""

from __future__ import annotations

from collections.abc import Sequence

from closeout.compare.staged import Verdict
from closeout.model.dossier import Dossier
from closeout.model.earlier_names import KINDS, WORD

RULE = "duplicate-identifier"


def from_both_sides(verdict: Verdict, head: Dossier, merged: Sequence[Dossier]) -> tuple[str, ...]:
    """Return the identifiers that are duplicate only since two commits come together."""
    said = {
        word for one in verdict.errors if one.rule == RULE for word in WORD.findall(one.message)
    }
    if not said or not merged:
        return ()
    ours = _identifiers(head)
    theirs = frozenset[str]().union(*map(_identifiers, merged))
    return tuple(sorted(said & ours & theirs))


def _identifiers(dossier: Dossier) -> frozenset[str]:
    return frozenset(item.id for section in KINDS for item in getattr(dossier, section))
