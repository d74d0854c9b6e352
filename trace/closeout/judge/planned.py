"""What is not there yet: without a date, or of a day after the state that is judged."""

from __future__ import annotations

from closeout.model.records import Record

LATER = "later than the state that is judged"


def not_yet(record: Record) -> str:
    """Return why a record without a date in force is no evidence."""
    if record.planned is not None:
        return f"{record.id} is planned: it is of {record.planned}, {LATER}"
    return f"{record.id} is planned, it has no date yet"


def not_judged_yet(record: Record, requirement: str) -> str:
    """Return why a record that judges a requirement anew on a later day is no evidence of it."""
    day = record.day_of(requirement)
    return f"re-opened: {record.id} judges {requirement} anew on {day}, {LATER}"
