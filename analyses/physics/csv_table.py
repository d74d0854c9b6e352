"""Data tables of the analyses: CSV with a header row, and comment lines that begin with #."""

from __future__ import annotations

import csv
from pathlib import Path


def read_rows(path: Path, columns: tuple[str, ...]) -> list[dict[str, str]]:
    """Return the rows of a table as texts by column, in the order of the file.

    Raises:
        ValueError: a column is missing, a row is longer or shorter than the header, or there is
            no row at all; names the file.
    """
    with path.open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(line for line in file if not line.startswith("#"))
        rows = list(reader)
    if missing := [column for column in columns if column not in (reader.fieldnames or ())]:
        raise ValueError(f"{path.name}: no column {', '.join(missing)}")
    if ragged := [i for i, row in enumerate(rows, 1) if None in row or None in row.values()]:
        raise ValueError(f"{path.name}: rows {ragged} do not have one field for each column")
    if not rows:
        raise ValueError(f"{path.name}: the table has no rows")
    return rows


def number(path: Path, row: dict[str, str], column: str) -> float:
    """Return a field as a number; ValueError names file, column and row where it is none."""
    try:
        return float(row[column])
    except ValueError:
        place = f"{path.name}: column {column}, row that begins with {next(iter(row.values()))!r}"
        raise ValueError(f"{place}: {row[column]!r} is no number") from None
