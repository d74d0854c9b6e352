"""What is not there yet: without a date, or of a day after the state that is judged."""

from __future__ import annotations

from closeout.model.records import Record

LATER = "after the date of this state"


def not_yet(record: Record) -> str:
    """Return why a record without a date in force is no evidence."""
    if record.planned is not None:
        return f"{record.id} is planned for {record.planned}, {LATER}"
    return f"{record.id} is planned, not yet performed"


def not_judged_yet(record: Record, requirement: str) -> str:
    """Return why a record that judges a requirement anew on a later day is no evidence of it."""
    day = record.day_of(requirement)
    return f"re-opened: {record.id} judges {requirement} again on {day}, {LATER}"
