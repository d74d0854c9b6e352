"""Which issue of the trajectory the files rest on, and when the launch window opens."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import NamedTuple

from analyses.physics.csv_table import read_rows
from analyses.physics.frames import julian_date, sidereal_angle
from closeout.units import rad, s


class TrajectoryIssue(NamedTuple):
    """The one row of the table; times are UTC."""

    trajectory: str
    issue: str
    issued_utc: datetime
    window_opens_utc: datetime
    originator: str
    object_name: str
    object_id: str


def read_issue(path: Path) -> TrajectoryIssue:
    """Return the issue of the trajectory that is in force.

    Raises:
        ValueError: the table holds more than one row, or a time that is none; names the file.
    """
    rows = read_rows(path, TrajectoryIssue._fields)
    if len(rows) != 1:
        raise ValueError(f"{path.name}: one issue is in force, but there are {len(rows)} rows")
    row = rows[0]
    return TrajectoryIssue(
        row["trajectory"],
        row["issue"],
        _time(path, row, "issued_utc"),
        _time(path, row, "window_opens_utc"),
        row["originator"],
        row["object_name"],
        row["object_id"],
    )


def _time(path: Path, row: dict[str, str], column: str) -> datetime:
    try:
        time = datetime.fromisoformat(row[column])
    except ValueError:
        time = None
    if time is None or time.tzinfo is not None:
        wanted = "write UTC as 2027-04-20T09:30:00, without a zone"
        raise ValueError(f"{path.name}: column {column}: {row[column]!r} is no time; {wanted}")
    return time


def utc_text(lift_off: datetime, seconds: s, digits: str = "milliseconds") -> str:
    """Return the UTC some seconds after lift-off, as ISO 8601 in milliseconds or microseconds."""
    unit = 1e-6 if digits == "microseconds" else 1e-3
    time = lift_off + timedelta(seconds=unit * round(seconds / unit))
    return time.isoformat(timespec=digits)


def sidereal_angle_at(time: datetime) -> rad:
    """Return the Greenwich mean sidereal angle in rad at a UTC, which is taken as UT1."""
    date = julian_date(time.year, time.month, time.day, time.hour, time.minute)
    return sidereal_angle(date + (time.second + 1e-6 * time.microsecond) / 86_400.0)
