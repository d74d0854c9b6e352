"""All rules of standards and wording over a project."""

from __future__ import annotations

from closeout.graph import Index
from closeout.graph.findings import warning
from closeout.measure import Units
from closeout.model.problem import Finding
from closeout.rules.context import Context
from closeout.rules.dated import dated
from closeout.rules.evidence import evidence
from closeout.rules.standards import standards


def check_rules(index: Index, units: Units, context: Context) -> list[Finding]:
    """Return everything that the rules find, whatever the project's policy does with it."""
    found = [*standards(index, context), *evidence(index), *dated(index, context)]
    if context.cut_off:
        found.append(_cut_off(index))
    if context.history is not None:  # outside git none of this has to be loaded
        from closeout.rules.changes import changes

        found.extend(changes(index, context.history, units))
    return list(dict.fromkeys(found))


def _cut_off(index: Index) -> Finding:
    return warning(
        "history-cut-off",
        index.project.charter.where,
        "this clone does not hold the whole of the project's history, so nobody sees here what was"
        " changed or deleted before",
        "fetch all of it, as with git fetch --unshallow, or by a clone without --filter",
    )
