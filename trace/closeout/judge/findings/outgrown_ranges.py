"""Findings about agreed ranges that no longer hold what analyses find."""

from __future__ import annotations

from collections.abc import Iterator

from closeout.graph import Index
from closeout.graph.new_findings import error
from closeout.model.dossier import Dossier
from closeout.model.problem import Finding


def outgrown_ranges(dossier: Dossier, index: Index) -> Iterator[Finding]:
    """Yield an error for each agreed range that does not contain its estimate, at the range."""
    for evaluation in dossier.evaluations:
        for found, wrong in evaluation.estimates:
            parameter = index.parameters.get(found.name)
            if wrong is None or parameter is None or found.value is None:
                continue
            changes = ", ".join(f"{name}={text}" for name, text in dossier.settings)
            yield error(
                "estimate-outside-range",
                parameter.where / "range",
                wrong + (f", with {changes}" if changes else ""),
                f"agree on a range that contains it (both owners), or change what {found.source}"
                " rests on",
            )
