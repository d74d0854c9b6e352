"""At which day a state is judged: its own, or the one that was asked for."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date
from typing import TYPE_CHECKING

from closeout.model.errors import UserError
from closeout.run.options import Options
from closeout.snapshot import Snapshot
from closeout.snapshot.dates import Looked

if TYPE_CHECKING:  # a run from the store loads no rules
    from closeout.rules.context import CommitDay


def read_day(text: str) -> str:
    """Return a day as it is compared, year-month-day.

    Raises:
        UserError: it is none.
    """
    try:
        day = date.fromisoformat(text).isoformat()
    except (TypeError, ValueError):
        day = None
    if day != text:  # also 20261130, which Python takes for a day
        raise UserError(f"--today {text}: not a day", "write it as 2026-11-30")
    return text


def day_of(snapshot: Snapshot, options: Options, looked: Collection[Looked] = ()) -> str:
    """Return the day at which a state is judged, year-month-day.

    Args:
        looked: what the answers rested on, as far as it is known.
    """
    return options.today or snapshot.dated.day(looked)


def own_day(snapshot: Snapshot, day: str) -> str:
    """Return the day on which a state became as it is: of a commit the author's, as in a log.

    Args:
        day: at which it is judged; what no commit holds became as it is on that day.
    """
    stamp = snapshot.dated.stamp
    is_commits = snapshot.against is not None and snapshot.identity.dirty is False
    return stamp.author if is_commits and stamp is not None else day


def is_redated(snapshot: Snapshot, options: Options, looked: Collection[Looked]) -> bool:
    """Return whether the day that was asked for is another than that of the state itself."""
    return options.today not in (None, day_of(snapshot, Options(), looked))


def is_late(snapshot: Snapshot, options: Options) -> bool:
    """Return whether the day of the commit has not come yet."""
    stamp = snapshot.dated.stamp
    if stamp is None or options.today is None:
        return snapshot.dated.late
    return stamp.day > options.today


def commit_day(snapshot: Snapshot, options: Options) -> CommitDay | None:
    """Return the day of the commit for the rules, None where there is none."""
    from closeout.rules.context import CommitDay

    stamp = snapshot.dated.stamp
    if stamp is None:
        return None
    return CommitDay(stamp.day, is_late(snapshot, options), stamp.parent)
