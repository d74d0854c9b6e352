"""What the usual units mean, read once for all.

pint takes a third of a second to be imported: half of the time of a first run over a small project.
:func:`write` makes the table anew from what it says; a test holds the two against each other.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from pathlib import Path

from closeout.measure.scale import Scale

TABLE = Path(__file__).with_name("known.json")


def known(unit: str) -> Scale | None:
    """Return what a unit text means, None where it is none of the usual ones."""
    row = _table().get(unit)
    if row is None:
        return None
    dimension, factor, offset, kind, difference = row
    return Scale(dimension, Fraction(factor), Fraction(offset), kind, difference)


@cache
def _table() -> dict[str, list[str]]:
    found: dict[str, list[str]] = json.loads(TABLE.read_text("utf-8"))
    return found


def usual() -> Iterator[str]:
    """Yield the texts of the table: each symbol with each prefix, and what authors import."""
    from closeout.measure.symbols import GAINS, LEVELS, POINTS, SPELLINGS

    yield from ("", "1", *SPELLINGS, *LEVELS, *GAINS, *POINTS)
    yield from importable().values()


def importable() -> dict[str, str]:
    """Return the unit, as text, of each name that authors import from ``closeout.units``."""
    from closeout import units

    return {
        name: mark.text
        for name, named in vars(units).items()
        for mark in getattr(named, "__metadata__", ())
    }


def written() -> str:
    """Return the table as its file holds it."""
    from closeout.measure.reading import read

    rows = []
    for text in sorted(set(usual())):
        found = read(text)
        row = [
            found.dimension, str(found.factor), str(found.offset), found.kind, found.difference
        ]  # fmt: skip
        rows.append(f"{json.dumps(text)}: {json.dumps(row)}")
    return "{\n" + ",\n".join(rows) + "\n}\n"


def write() -> None:
    """Write the table anew, after a change of what is usual or of what a unit means."""
    TABLE.write_text(written(), "utf-8")
