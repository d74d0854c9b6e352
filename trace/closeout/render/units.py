"""Every unit that the tool reads: symbols, prefixes, levels, and the names of closeout.units."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from closeout import units
from closeout.measure.symbols import GAINS, LEVELS, PI, POINTS, PREFIXES, SYMBOLS
from closeout.render.plain import columns, pad
from closeout.render.terminal import wrap

Row = tuple[str, ...]

_GRAMMAR = (
    "A unit is made of symbols: 52 W h, 3 dB/K, 12 m/s^2. A space multiplies, a slash"
    " divides; put a product after a slash in parentheses: W/(m^2 K)."
)
_IN_CODE = "Names of closeout.units for annotations; another unit is Annotated[float, Unit(...)]"


def importable() -> dict[str, str]:
    """Return the unit, as text, of each name that authors import from ``closeout.units``."""
    return {
        name: mark.text
        for name, named in vars(units).items()
        for mark in getattr(named, "__metadata__", ())
    }


def units_text(width: int) -> str:
    """Return the list of units, in lines of at most ``width`` columns where words allow it."""
    names = list(importable().items())
    lines = [
        *wrap(_GRAMMAR, width),
        *_part("Symbols, their meaning and their prefixes", _symbols(), width),
        *_part("Points on a scale of temperature; a difference is in K", _points(), width),
        *_part("Prefixes", _prefixes(), width),
        *_part("Levels and their references; others are written dB(W/m^2)", _levels(), width),
        *_part(_IN_CODE, _side_by_side(names, width - 2), width),
    ]
    return "\n".join(lines) + "\n"


def _part(title: str, rows: Sequence[Row], width: int) -> Iterator[str]:
    """Yield a title and its rows; the last column is wrapped."""
    yield from ("", *wrap(title, width))
    wide = [max(map(columns, column)) + 2 for column in zip(*rows, strict=True)]
    start = 2 + sum(wide[:-1])
    for row in rows:
        cells = "".join(pad(cell, at) for cell, at in zip(row[:-1], wide, strict=False))
        first, *rest = wrap(row[-1], max(width - start, 20)) or [""]
        yield f"  {cells}{first}".rstrip()
        yield from (" " * start + line for line in rest)


def _symbols() -> list[Row]:
    return [
        (one.text, one.name.replace("_", " "), _meaning(one.definition), " ".join(one.prefixes))
        for one in SYMBOLS
    ]


def _meaning(definition: str) -> str:
    if definition.startswith("["):
        return f"base unit of {definition.strip('[]')}"
    return definition.replace(PI, "pi").replace("_", " ")


def _points() -> list[Row]:
    return [
        (sign, f"in K: {factor} * ({sign} + {float(offset / factor):.10g})")
        for sign, (factor, offset) in POINTS.items()
    ]


def _prefixes() -> list[Row]:
    return [(sign, name, _power(value)) for sign, (name, value) in PREFIXES.items()]


def _power(value: Fraction) -> str:
    """Return a power of two or of ten as it is written."""
    if value.numerator > 1 and value.numerator.bit_count() == 1:
        return f"2^{value.numerator.bit_length() - 1}"
    zeros = len(str(max(value.numerator, value.denominator))) - 1
    return f"10^{zeros if value > 1 else -zeros}"


def _levels() -> list[Row]:
    named = [(name, f"level to 1 {reference}") for name, reference in LEVELS.items()]
    return [("dB", "a difference of levels, or a ratio"), *named, *GAINS.items()]


def _side_by_side(rows: Sequence[Row], width: int) -> list[Row]:
    """Return names with their units in as many columns as there is room for, read downward."""
    wide = max(columns(name) for name, _ in rows) + 2
    cells = [f"{pad(name, wide)}{unit}" for name, unit in rows]
    number = max(1, width // (max(map(columns, cells)) + 2))
    high = -(-len(cells) // number)
    cells += [""] * (high * number - len(cells))
    return [tuple(cells[line::high]) for line in range(high)]
