"""Earlier identifiers that cannot be: those that are in use, and those of two items."""

from __future__ import annotations

from collections.abc import Iterator

from closeout.graph.findings import error
from closeout.graph.index import Index
from closeout.model.formerly import KINDS, identifiers, names_before
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
                "write what it was called before, or take formerly out",
            )
        elif old in there[section] or old in index.left_out:
            yield error(
                "formerly-in-use",
                where,
                f"{item.id} is formerly {old}, and there is a {kind} {old}",
                f"give the {kind} {old} an identifier that never stood for anything: identifiers"
                " are never reused; or take formerly out",
            )
        elif first.setdefault((section, old), item.id) != item.id:
            yield error(
                "formerly-shared",
                where,
                f"{item.id} is formerly {old}, and so is {first[section, old]}",
                f"leave it to the one that says what {old} said; the other is new",
            )
