"""Quantities that a record measured under a name that no criterion has."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from closeout.graph.index import Index
from closeout.graph.new_findings import Spelling, error
from closeout.model.problem import Finding
from closeout.model.records import Requirement


def misspelt_quantities(index: Index) -> Iterator[Finding]:
    """Yield each quantity of a record whose name is nearly, not quite, one that is limited.

    A record may well measure what nobody limits, so another name is no error by itself.
    """
    limited = _limited(index)
    everywhere = {name for names in limited.values() for name in names}
    spelling, about = Spelling(), requirements_of_records(index)
    for record in index.records.values():
        measured = {name for name, _ in record.measured}
        unknown = [name for name, _ in record.measured if name not in everywhere]
        wanted = {name for one in about[record.id] for name in limited[one]} - measured
        for name in unknown if wanted else ():
            cure = spelling.cure(record.id, name, sorted(wanted), "")
            if cure:
                yield error(
                    "unknown-quantity",
                    record.where / "measured" / name,
                    f"{record.id} measured {name}, which no criterion limits",
                    cure,
                )


def _limited(index: Index) -> dict[str, set[str]]:
    """Return the quantities that each requirement limits."""
    return {one.id: _quantities(one) for one in index.requirements.values()}


def _quantities(requirement: Requirement) -> set[str]:
    names = (verification.criterion.quantity for verification in requirement.verification)
    return {name for name in names if name is not None}


def requirements_of_records(index: Index) -> dict[str, set[str]]:
    """Return the requirements that name each record, or that it judged."""
    found: defaultdict[str, set[str]] = defaultdict(set)
    for requirement, _, verification in index.project.verifications():
        for name in verification.records:
            found[name].add(requirement.id)
    for record in index.records.values():
        found[record.id] |= {name for name, _ in record.judged if name in index.requirements}
    return found
