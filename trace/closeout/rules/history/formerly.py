"""Earlier identifiers that git does not bear out."""

from __future__ import annotations

from collections.abc import Iterator

from closeout.graph import Index
from closeout.graph.new_findings import warning
from closeout.model.earlier_names import KINDS, names_before
from closeout.model.history import History
from closeout.model.problem import Finding


def unborne(index: Index, history: History) -> Iterator[Finding]:
    """Yield each ``formerly`` of which the whole history knows nothing, or knows better."""
    places = {
        (section, item.id, old): item.where / "formerly"
        for section, item, old in (names_before(index.project) if history.not_renamed else ())
    }
    for one in history.not_renamed:
        kind, where = KINDS[one.section], places[one.section, one.id, one.formerly]
        if one.day:
            yield warning(
                "formerly-beside",
                where,
                f"{one.id} is formerly {one.formerly}, which existed beside {one.other} on"
                f" {one.day}:"
                " these were two items, so formerly has no effect",
                f"remove formerly; the {kind} {one.formerly} is reported separately",
            )
        elif not history.cut_off:
            yield warning(
                "formerly-unknown",
                where,
                f"{one.id} is formerly {one.formerly}, and no commit has a {kind} of that name",
                "correct the spelling, or remove it; if another repository has it, switch this"
                " rule off with that reason",
            )
