"""The cases of an analysis report: those that decide in its body, all of them in an annex."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from closeout.model.dossier import Evaluation, QuantityFound
from closeout.render.numbers import show_extent
from closeout.render.plain import count, safe
from closeout.render.rows import Entry, Line

# So many cases of one quantity a reader takes in at once; more go to the annex.
FEW = 3
# Columns of one table beside its first, as a printed page takes them.
ABREAST = 5


@dataclass(frozen=True, slots=True)
class Abreast:
    """Inputs of some cases, side by side: the cases, and a row for each input."""

    cases: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]


@dataclass(frozen=True, slots=True)
class AllCases:
    """All cases of one verification; ``key`` is what references to its table are made with.

    ``common`` are the inputs that are at the same end in each case, ``inputs`` the others.
    """

    key: str
    requirement: str
    quantity: str
    lines: tuple[Line, ...]
    common: tuple[tuple[str, str], ...]
    inputs: tuple[Abreast, ...]


@dataclass(frozen=True, slots=True)
class Given:
    """A quantity and case that an analysis gives, as texts."""

    name: str
    case: str
    value: str
    low: str
    high: str


def all_cases(judged: Iterable[tuple[Entry, Line]]) -> Iterator[AllCases]:
    """Yield each verification with more than a few cases, which stand beside one another."""
    for (identifier, number), some in groupby(judged, lambda one: (one[0].id, one[1].number)):
        lines = tuple(line for _, line in some)
        if len(lines) > FEW:
            yield AllCases(
                key=f"cases {identifier} {number}",
                requirement=identifier,
                quantity=lines[0].quantity,
                lines=lines,
                common=tuple(_common(lines).items()),
                inputs=tuple(_abreast(lines, _common(lines))),
            )


def in_body(entry: Entry, line: Line, is_studied: bool) -> Line | None:
    """Return a case as the body of a report has it; None of one that only the annex has.

    With more than a few cases, those remain that decide or of which there is a study.
    """
    same = [one for one in entry.lines if one.number == line.number]
    if len(same) <= FEW:
        return line
    folded = next(one for one in entry.folded if one.number == line.number)
    if folded.case == line.case:
        return replace(line, cases=folded.cases)
    return line if is_studied else None


def given(evaluation: Evaluation, deciding: frozenset[tuple[str, str]]) -> list[Given]:
    """Return what an analysis gives for the body of its report.

    Of a quantity with more than a few cases there is one row with the extremes of all, and those
    of the cases that decide (as quantity and case).
    """
    found: list[Given] = []
    for name, some in groupby(evaluation.found, lambda one: one.name):
        cases = list(some)
        if len(cases) <= FEW:
            found += map(each, cases)
            continue
        found.append(_extremes(name, cases))
        found += [each(one) for one in cases if (safe(one.name), safe(one.case or "")) in deciding]
    return found


def has_many(evaluation: Evaluation) -> bool:
    """Return whether a quantity of an evaluation has more than a few cases."""
    return any(len(list(some)) > FEW for _, some in groupby(evaluation.found, lambda one: one.name))


def each(found: QuantityFound) -> Given:
    """Return a quantity and case."""
    value, low, high = show_extent(found.value, found.low, found.high, found.unit)
    if found.absent is not None:
        value = f"absent: {found.absent}"
    return Given(found.name, found.case or "", value, low, high)


def _extremes(name: str, cases: Sequence[QuantityFound]) -> Given:
    ends = [
        end
        for one in cases
        if one.absent is None
        for end in (one.value, one.low, one.high)
        if end is not None
    ]
    absent = sum(one.absent is not None for one in cases)
    without = f", {absent} absent" if absent else ""
    _, low, high = show_extent(
        None, min(ends, default=None), max(ends, default=None), cases[0].unit
    )
    return Given(name, f"{count(len(cases), 'case')}{without}", "", low, high)


def _common(lines: Sequence[Line]) -> dict[str, str]:
    """Return the inputs that are at the same end in each case."""
    first, *others = (dict(line.at) for line in lines)
    return {
        name: text
        for name, text in first.items()
        if all(other.get(name) == text for other in others)
    }


def _abreast(lines: Sequence[Line], common: Mapping[str, str]) -> Iterator[Abreast]:
    names = dict.fromkeys(name for line in lines for name, _ in line.at if name not in common)
    for first in range(0, len(lines), ABREAST) if names else ():
        some = lines[first : first + ABREAST]
        at = [dict(line.at) for line in some]
        yield Abreast(
            tuple(line.case for line in some),
            tuple((name, tuple(one.get(name, "") for one in at)) for name in names),
        )
