"""Margins as pictures: in groups of one unit, each criterion against its own limit."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from statistics import median

from closeout.model.dossier import Dossier
from closeout.render.margin_lines import (
    PROBABILITY,
    MarginLine,
    Required,
    margin_lines,
    without_margin,
)
from closeout.render.marks import MARKS, mark
from closeout.render.numbers import number
from closeout.render.picture import (
    BAD,
    CHARACTER,
    FAINT,
    INK,
    LOW,
    round_ticks,
    svg_line,
    svg_opening,
    svg_text,
)
from closeout.render.plain import count, cut

LEGEND = (
    "Each line is a criterion with its case that decides, the least margin of each unit first. It"
    " lies as far from its own limit, the upright red line, as the axis of its unit says; right of"
    " it is inside. The bar goes from the lowest to the highest value, of a probability over the"
    " range that holds with the required confidence; the part of it that does not keep a limit is"
    " white with a red edge. The mark is the nominal value, or the measured one, and its shape says"
    " how surely the bar is known. A short upright stroke is the margin that the project requires,"
    " a red bracket a second limit. An arrow leads to what lies beyond the edge of the picture,"
    " which shows three times the middle margin of its unit. The number is the margin of the end"
    " that decides."
)
# Lines of one picture, with the heads of its groups: what a printed page takes.
MOST = 40
WIDE, LEFT, RIGHT, ROW, TOP = 860, 14, 314, 15, 6
# Where the limit stands: a fifth of the axis is outside of it.
ZERO = LEFT + 0.2 * (RIGHT - LEFT)
# What an axis can have as its end, so that no arithmetic of its ticks ends nowhere.
_LEAST_REACH, _MOST_REACH = 1e-290, 1e290
_WIDEST_NUMBER = 240
_GAP = 10
_Place = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class _Group:
    """Lines of one unit on one picture, and the distance that its axis ends with."""

    unit: str
    reach: float
    lines: Sequence[MarginLine]

    @property
    def head(self) -> str:
        if self.unit == PROBABILITY:
            return "margin of a probability"
        return "margin without a unit" if self.unit == "1" else f"margin in {self.unit}"

    def x(self, distance: float) -> float:
        """Return where a distance from the limit stands, also beyond the picture."""
        return ZERO + distance / self.reach * (RIGHT - ZERO)


def margins_svg(dossier: Dossier, required: Required) -> tuple[str, ...]:
    """Return the margins of all criteria that have one, at most forty lines a picture.

    ``required`` are the margins that the project's policy requires, by requirement and number of
    the verification. Nothing where no criterion has a margin.
    """
    pages = _pages(margin_lines(dossier, required))
    left = without_margin(dossier)
    return tuple(
        _picture(page, f"{place} of {len(pages)}", left if place == len(pages) else {})
        for place, page in enumerate(pages, 1)
    )


def _pages(lines: Sequence[MarginLine]) -> list[list[_Group]]:
    """Return the groups of each picture; one that goes on over the next has its head there too."""
    pages: list[list[_Group]] = []
    room = 0
    for unit, some in groupby(lines, key=lambda one: one.group):
        left = list(some)
        reach = _reach(left)
        while left:
            if room < 2:
                pages.append([])
                room = MOST
            taken, left = left[: room - 1], left[room - 1 :]
            pages[-1].append(_Group(unit, reach, taken))
            room -= len(taken) + 1
    return pages


def _reach(some: Sequence[MarginLine]) -> float:
    """Return how far a group is drawn: three times its middle margin, so that near ones show.

    Less, where nothing lies as far.
    """
    sizes = [abs(one.margin) for one in some] + [abs(one.required or 0.0) for one in some]
    sizes = [size for size in sizes if size and math.isfinite(size)]
    share = (ZERO - LEFT) / (RIGHT - ZERO)
    ends = [end for one in some for end in (one.low, one.high, one.required or 0.0)]
    furthest = max(end if end > 0.0 else -end / share for end in ends)
    reach = min(3.0 * median(sizes) if sizes else 1.0, 1.05 * furthest or 1.0)
    return min(max(reach, _LEAST_REACH), _MOST_REACH)


def _picture(page: Sequence[_Group], which: str, left_out: Mapping[str, Sequence[str]]) -> str:
    lines = sum(len(group.lines) + 1 for group in page)
    below = TOP + ROW * (lines + 1) + 4
    high = below + (ROW if left_out else 0) + 8
    parts = [svg_opening(WIDE, high, f"Margins against limits, {which}", _told(page, left_out))]
    numbers = _width_of_numbers(page)
    y = TOP + ROW
    for group in page:
        parts += _group(group, y, numbers)
        y += ROW * (len(group.lines) + 1)
    parts += _key(page, below)
    if left_out:
        said = f"Not drawn, no margin: {_counted(left_out)}."
        parts.append(svg_text(LEFT, below + ROW, _fitted(said, WIDE - LEFT), "start"))
    return "".join([*parts, "</svg>"])


def _group(group: _Group, y: float, numbers: float) -> Iterator[str]:
    bottom = y + 4 + ROW * len(group.lines)
    head = svg_text(RIGHT + numbers + 2 * _GAP, y, group.head, "start")
    yield f'<g font-weight="600">{head}</g>'
    for tick in round_ticks(group.reach * (LEFT - ZERO) / (RIGHT - ZERO), group.reach):
        yield svg_line(group.x(tick), y + 4, group.x(tick), bottom, FAINT)
        yield svg_text(group.x(tick), y, number(tick, 3), "middle")
    for place, one in enumerate(group.lines, 1):
        yield from _line(one, group, y + ROW * place, numbers)
    yield svg_line(ZERO, y + 4, ZERO, bottom, BAD, 1.5)
    for place, one in enumerate(group.lines, 1):
        yield _mark(one, group, y + ROW * place - 4)


def _line(one: MarginLine, group: _Group, y: float, numbers: float) -> Iterator[str]:
    """Yield the bar of a criterion, its number and its name; ``y`` is the foot of its texts."""
    middle = y - 4
    kept = one.high if one.other is None else min(one.high, one.other)
    if one.low < 0.0:
        yield _bar(group, one.low, min(one.high, 0.0), middle, BAD)
    if max(one.low, 0.0) <= kept:
        yield _bar(group, max(one.low, 0.0), kept, middle, LOW)
    if one.other is not None:
        if one.high > one.other:
            yield _bar(group, max(one.low, one.other), one.high, middle, BAD)
        yield from _bracket(group.x(one.other), middle)
    if one.required is not None:
        x = group.x(one.required)
        yield svg_line(x, middle - 7, x, middle + 7, INK, 1.5) if LEFT <= x <= RIGHT else ""
    yield svg_text(RIGHT + _GAP + numbers, y, _fitted(one.text, _WIDEST_NUMBER), "end")
    names = RIGHT + numbers + 2 * _GAP
    yield svg_text(names, y, _name(one, WIDE - names), "start")


def _name(one: MarginLine, wide: float) -> str:
    """Return the name of a line; where it is too long, what is said of its state is kept whole."""
    if not one.remark:
        return _fitted(one.name, wide)
    quantity = one.of.partition(" [")[0]
    shorter = (f"{one.id} {quantity}, {one.remark}", f"{one.id}, {one.remark}")
    fits = (name for name in (one.name, *shorter) if CHARACTER * len(name) <= wide)
    return next(fits, _fitted(shorter[-1], wide))


def _bar(group: _Group, low: float, high: float, middle: float, colour: str) -> str:
    """Return a part of a bar; what does not keep a limit is white."""
    left, right = (min(max(group.x(end), LEFT), RIGHT) for end in (low, high))
    fill = "#ffffff" if colour == BAD else colour
    return (
        f'<rect x="{left:.1f}" y="{middle - 3:.1f}" width="{max(right - left, 1.0):.1f}"'
        f' height="6" fill="{fill}" stroke="{colour}"/>'
    )


def _bracket(x: float, middle: float) -> Iterator[str]:
    """Yield the mark of a second limit, where it is in the picture."""
    if x <= RIGHT:
        yield svg_line(x, middle - 6, x, middle + 6, BAD, 1.5)
        for y in (middle - 6, middle + 6):
            yield svg_line(x - 4, y, x, y, BAD)


def _mark(one: MarginLine, group: _Group, middle: float) -> str:
    """Return the mark of a criterion, and an arrow on each side on which it goes on."""
    at = one.margin if one.nominal is None else one.nominal
    inside = min(max(group.x(at), LEFT + 6), RIGHT - 6)
    arrows = ""
    if group.x(max(one.high, at)) > RIGHT:
        arrows += _arrow(RIGHT, middle, 1)
    if group.x(min(one.low, at)) < LEFT:
        arrows += _arrow(LEFT, middle, -1)
    return f"{arrows}{mark(one.mark, inside, middle)}"


def _arrow(at: float, y: float, way: int) -> str:
    points = f"{at:.1f},{y - 5:.1f} {at + 8 * way:.1f},{y:.1f} {at:.1f},{y + 5:.1f}"
    return f'<polygon points="{points}" fill="{INK}"/>'


def _key(page: Sequence[_Group], y: float) -> Iterator[str]:
    """Yield the marks that a picture has, each with its word."""
    lines = [one for group in page for one in group.lines]
    x = float(LEFT)
    used = {one.mark for one in lines}
    for kind, word in MARKS.items():
        if kind in used:
            yield mark(kind, x + 5, y - 4)
            yield svg_text(x + 14, y, word, "start")
            x += 14 + CHARACTER * len(word) + 8
    if any(one.required is not None for one in lines):
        yield svg_line(x + 5, y - 11, x + 5, y + 3, INK, 1.5)
        yield svg_text(x + 14, y, "required margin", "start")


def _width_of_numbers(page: Sequence[_Group]) -> float:
    longest = max(len(one.text) for group in page for one in group.lines)
    return min(CHARACTER * longest, _WIDEST_NUMBER)


def _fitted(text: str, wide: float) -> str:
    return cut(text, int(wide / CHARACTER))


def _told(page: Sequence[_Group], left_out: Mapping[str, Sequence[str]]) -> str:
    """Return what a picture shows: of each unit the least margin, then each line."""
    parts = []
    for group in page:
        criteria = count(len(group.lines), "criterion", "criteria")
        each = ", ".join(
            f"{one.id} {one.of} {one.text}{f' ({one.remark})' if one.remark else ''}"
            for one in group.lines
        )
        parts.append(f"{group.head}, {criteria}, the least first: {each}.")
    parts += [f"No margin ({reason}): {', '.join(some)}." for reason, some in left_out.items()]
    return " ".join(parts)


def _counted(left_out: Mapping[str, Sequence[str]]) -> str:
    return ", ".join(f"{len(some)} ({reason})" for reason, some in left_out.items())
