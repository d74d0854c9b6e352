"""What a control board agreed as closed."""

from __future__ import annotations

from collections.abc import Iterator

from closeout.graph import Index
from closeout.model.records import Agreement


def agreed_as_closed(requirement: str, index: Index) -> tuple[str, ...]:
    """Return by whom, when and at which review a requirement was agreed as closed."""
    return tuple(_shown(one) for one in _about(requirement, index) if one.planned is None)


def to_be_agreed(requirement: str, index: Index) -> tuple[str, ...]:
    """Return by whom, when and at which review it is planned to be, after the state's date."""
    return tuple(_shown(one) for one in _about(requirement, index) if one.planned is not None)


def _about(requirement: str, index: Index) -> Iterator[Agreement]:
    return (one for one in index.project.agreements if requirement in one.requirements)


def _shown(one: Agreement) -> str:
    day = one.date or one.planned
    parts = [f"at {one.review}", f"by {one.by}" if one.by else "", f"on {day}" if day else ""]
    return " ".join(filter(None, parts)) + (f" ({one.document})" if one.document else "")
