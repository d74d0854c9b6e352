"""Criteria of correlation that no measured quantity can meet."""

from __future__ import annotations

from collections.abc import Iterator

from closeout.graph.index import Index
from closeout.graph.new_findings import Spelling, error, is_difference, is_unit
from closeout.measure import Units
from closeout.model.amount import Amount
from closeout.model.problem import Finding
from closeout.model.question import Field


def correlations(index: Index, units: Units) -> Iterator[Finding]:
    """Yield each criterion of a quantity that no analysis gives, or that is no difference of it."""
    charter = index.project.charter
    fields: dict[str, Field] = {}
    for field in (field for spec in index.specs for field in spec.fields):
        fields.setdefault(field.name, field)
    spelling = Spelling(index.renamed)
    for number, criterion in enumerate(charter.correlation):
        where = charter.where / "correlation" / number
        known = fields.get(criterion.quantity)
        if known is not None:
            zero = Amount("", criterion.within.number * 0, known.unit)
            if is_unit(known.unit, units):
                yield from is_difference(criterion.within, zero, where / "within", units)
        elif index.code and index.complete:
            yield error(
                "unknown-quantity",
                where / "quantity",
                f"no analysis gives {criterion.quantity}",
                spelling.cure("quantity", criterion.quantity, fields, "name one that it gives"),
            )
