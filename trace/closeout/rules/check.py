"""All rules of standards and wording over a project."""

from __future__ import annotations

from closeout.graph import Index
from closeout.measure import Units
from closeout.model.problem import Finding
from closeout.rules.context import Context
from closeout.rules.standards import standards


def check_rules(index: Index, units: Units, context: Context) -> list[Finding]:
    """Return everything that the rules find, whatever the project's policy does with it."""
    found = list(standards(index, context))
    if context.history is not None:  # outside git none of this has to be loaded
        from closeout.rules.changes import changes

        found.extend(changes(index, context.history, units))
    return list(dict.fromkeys(found))
