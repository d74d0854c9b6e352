"""Predicted against measured as the table of a page, with its picture and its remarks."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from closeout.model.compared import Compared
from closeout.render.compared import LEGEND, Row, remarks, rows_of
from closeout.render.compared_picture import LEGEND as PICTURE
from closeout.render.compared_picture import compared_svg
from closeout.render.plain import safe


@dataclass(frozen=True, slots=True)
class Remarks:
    """What stands beside the rows of one comparison."""

    record: str
    quantity: str
    analysis: str
    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """Rows, remarks, and a picture with its legend; ``picture`` is None where nothing is drawn."""

    rows: tuple[Row, ...]
    remarks: tuple[Remarks, ...]
    picture: str | None
    legend: str = LEGEND
    picture_legend: str = PICTURE


def table_of(some: Iterable[Compared]) -> Table | None:
    """Return the table of comparisons; None of none."""
    compared = tuple(some)
    if not compared:
        return None
    return Table(
        rows=tuple(row for one in compared for row in rows_of(one)),
        remarks=tuple(
            Remarks(safe(one.record), safe(one.quantity), safe(one.analysis), tuple(remarks(one)))
            for one in compared
        ),
        picture=compared_svg(compared),
    )
