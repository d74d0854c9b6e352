"""What is needed to do a verdict's number again by hand: arguments, functions and tables.

Each at the inputs and, where a point of the tolerances decides, there.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from closeout.model.study import Helper, Look, Part, Study
from closeout.render.numbers import number, show
from closeout.render.plain import safe
from closeout.render.trail import doc_parts

# Enough to do the calculation again beside any limit that is shown.
DIGITS = 6
HERE, THERE = "at the inputs", "where it is decided"
# What a function gives, where it is one number without a name.
RESULT = "result"


@dataclass(frozen=True, slots=True)
class Row:
    """A number at both points, as texts; ``there`` is empty where no point decides."""

    name: str
    here: str
    there: str

    @property
    def moves(self) -> bool:
        """Whether it differs between the two points."""
        return bool(self.there) and self.there != self.here


@dataclass(frozen=True, slots=True)
class Called:
    """A call of a function: what it takes, and what it gives."""

    took: tuple[Row, ...]
    gave: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Points:
    """A table that a formula looks up, its points as texts."""

    name: str
    points: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Function:
    """A function on which a derivation rests: where it stands, what it says, its calls.

    ``tables`` are those that it looks up.
    """

    name: str
    place: str
    doc: str
    calls: tuple[Called, ...]
    tables: tuple[Points, ...]


def moved(study: Study) -> list[Row]:
    """Return the arguments that differ where it is decided, in the units of the analysis."""
    rows = (
        Row(safe(one.name), show(one.value, unit, DIGITS), show(one.there, unit, DIGITS))
        for one in study.arguments
        for unit in (safe(one.unit),)
        if one.there is not None and one.there != one.value
    )
    return list(rows)


def _points(look: Look) -> Points:
    return Points(
        safe(look.name),
        tuple((number(x, DIGITS), number(y, DIGITS)) for x, y in look.points),
    )


def functions(study: Study) -> list[Function]:
    """Return the functions of a derivation in the order in which they are needed."""
    there = () if study.worst is None else study.worst.helpers
    names = dict.fromkeys(one.name for one in study.helpers)
    found = []
    for name in names:
        here = [one for one in study.helpers if one.name == name]
        calls = _calls(here, [one for one in there if one.name == name])
        place = f"{safe(here[0].path)}, line {here[0].line}"
        tables = tuple(_points(t) for t in study.tables if t.name == name.rpartition(".")[2])
        found.append(Function(safe(name), place, _doc(here[0]), tuple(calls), tables))
    return found


def _doc(helper: Helper) -> str:
    """Return what a function says of itself; of an analysis only what it is for."""
    if not helper.is_analysis:
        return helper.doc
    return f"{doc_parts(helper.doc)[0]}\n\nAn analysis with a report of its own."


def tables_alone(study: Study) -> list[Points]:
    """Return the tables that none of these functions looks up."""
    own = {one.name.rpartition(".")[2] for one in study.helpers}
    return [_points(one) for one in study.tables if one.name not in own]


def _calls(here: Sequence[Helper], there: Sequence[Helper]) -> Iterator[Called]:
    """Yield each call with the same one at the other point, where the two have the same parts."""
    alike = len(here) == len(there)
    for place, one in enumerate(here):
        other = there[place] if alike else None
        yield Called(
            tuple(_rows(one.took, () if other is None else other.took)),
            tuple(_rows(one.gave, () if other is None else other.gave)),
        )


def _rows(here: Sequence[Part], there: Sequence[Part]) -> Iterator[Row]:
    same = [one.name for one in here] == [one.name for one in there]
    for place, one in enumerate(here):
        other = _shown(there[place]) if same else ""
        yield Row(safe(one.name) or RESULT, _shown(one), other)


def _shown(part: Part) -> str:
    return show(part.value, safe(part.unit), DIGITS)
