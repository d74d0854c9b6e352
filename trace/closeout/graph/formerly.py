"""Earlier identifiers that cannot be: those that are in use, and those of two items."""

from __future__ import annotations

from collections.abc import Iterator

from closeout.graph.index import Index
from closeout.graph.new_findings import error
from closeout.model.earlier_names import KINDS, identifiers, names_before
from closeout.model.problem import Finding


def earlier_identifiers(index: Index) -> Iterator[Finding]:
    """Yield each ``formerly`` that says what no history can have been."""
    first: dict[tuple[str, str], str] = {}
    there: dict[str, set[str]] = {}
    for section, item, old in names_before(index.project):
        kind, where = KINDS[section], item.where / "formerly"
        if section not in there:
            there[section] = identifiers(index.project, section)
        if old == item.id:
            yield error(
                "formerly-in-use",
                where,
                f"{item.id} is formerly itself",
                "write its former identifier, or remove formerly",
            )
        elif old in there[section] or old in index.left_out:
            yield error(
                "formerly-in-use",
                where,
                f"{item.id} is formerly {old}, and a {kind} {old} exists",
                f"give the {kind} {old} a new identifier: identifiers"
                " are never reused; or remove formerly",
            )
        elif first.setdefault((section, old), item.id) != item.id:
            yield error(
                "formerly-shared",
                where,
                f"{item.id} is formerly {old}, and so is {first[section, old]}",
                f"keep it for the one that continues {old}; the other is new",
            )
