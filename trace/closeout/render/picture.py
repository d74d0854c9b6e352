"""Pictures of a study: what drives a quantity as bars, and the boundary of two parameters.

SVG, as an element of HTML, without script, style sheet or anything loaded; the same text for the
same study. The boundary also as lines of characters, for a terminal.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from xml.sax.saxutils import escape

from closeout.model.study import Axis, Boundary, Driver
from closeout.render.numbers import number, show_margin
from closeout.render.plain import safe

# All have a contrast of 3:1 on white at least, as parts of a picture need (WCAG 2.2, 1.4.11).
INK, SOFT, LOW, HIGH, BAD = "#1b1f24", "#8a929b", "#6489bb", "#a97f38", "#9c1c1c"
# Lines that only help the eye.
FAINT = "#e4e6e9"
FONT = 'font-family="system-ui, Noto Sans, DejaVu Sans, sans-serif" font-size="13"'
# Bars that are drawn: the rest is in the table beside them.
MOST_BARS = 12
ROW, NAMES, BARS, VALUES = 24, 210, 360, 130
CHARACTER = 8.0  # width of one, amply
WIDE, HIGH_PICTURE, EDGE = 560, 400, 70
TICKS = 5
COLUMNS, LINES = 61, 21

Points = Sequence[tuple[float, float]]
_Place = Callable[[float], float]


def bars(drivers: Sequence[Driver], unit: str | None) -> str | None:
    """Return the effects of both ends of each tolerance as bars, None where nothing moves."""
    moving = [
        (one.parameter, one.effect_low, one.effect_high)
        for one in drivers
        if one.effect_low is not None and one.effect_high is not None
        and (one.effect_low or one.effect_high)
    ][:MOST_BARS]  # fmt: skip
    if not moving:
        return None
    reach = max(abs(effect) for _, low, high in moving for effect in (low, high))
    names = max(NAMES, max(round(CHARACTER * len(safe(name))) for name, *_ in moving) + 20)
    wide, high = names + BARS + 2 * VALUES, ROW * len(moving) + 30
    middle = names + VALUES + BARS / 2
    parts = [svg_opening(wide, high, "Effect of either end of each tolerance")]
    for row, (name, low, up) in enumerate(moving):
        y = ROW * row + 8
        parts.append(svg_text(names - 10, y + 13, safe(name), "end"))
        for effect, colour in ((low, LOW), (up, HIGH)):
            length = abs(effect) / reach * BARS / 2
            x = middle - length if effect < 0 else middle
            parts.append(
                f'<rect x="{x:.1f}" y="{y}" width="{length:.1f}" height="16" fill="{colour}"/>'
            )
        ends = sorted((low, up))
        for effect, x, anchor in (
            (ends[0], middle - BARS / 2 - 8, "end"),
            (ends[1], middle + BARS / 2 + 8, "start"),
        ):
            parts.append(svg_text(x, y + 13, show_margin(effect, unit), anchor))
    bottom = ROW * len(moving) + 6
    parts.append(svg_line(middle, 4, middle, bottom, INK))
    legend = ((LOW, "at the low end of the tolerance"), (HIGH, "at the high end"))
    for place, (colour, text) in enumerate(legend):
        x = names + VALUES - 60 + 250 * place
        parts.append(f'<rect x="{x}" y="{bottom + 8}" width="12" height="12" fill="{colour}"/>')
        parts.append(svg_text(x + 18, bottom + 19, text, "start"))
    return "".join([*parts, "</svg>"])


@dataclass(frozen=True, slots=True)
class _View:
    """The part of a plane that is drawn, in the units of its axes."""

    left: float
    right: float
    low: float
    high: float

    def across(self, x: float) -> float:
        """Return where a value stands from the left edge, as a share."""
        return (x - self.left) / (self.right - self.left)

    def up(self, y: float) -> float:
        """Return where a value stands from the lower edge, as a share."""
        return (y - self.low) / (self.high - self.low)


def boundary_svg(boundary: Boundary) -> str:
    """Return the boundary as a picture: lines, the tolerances as a box, the present values."""
    view = _view(boundary)

    def x(value: float) -> float:
        return EDGE + view.across(value) * (WIDE - EDGE - 20)

    def y(value: float) -> float:
        return HIGH_PICTURE - EDGE - view.up(value) * (HIGH_PICTURE - EDGE - 20)

    first, second = boundary.first, boundary.second
    parts = [svg_opening(WIDE, HIGH_PICTURE, "Break-even of two parameters")]
    parts.append(
        f'<rect x="{x(view.left):.1f}" y="{y(view.high):.1f}" fill="none" stroke="{SOFT}"'
        f' width="{x(view.right) - x(view.left):.1f}"'
        f' height="{y(view.low) - y(view.high):.1f}"/>'
    )
    for tick in round_ticks(view.left, view.right):
        parts.append(svg_line(x(tick), y(view.low), x(tick), y(view.low) + 5, SOFT))
        parts.append(svg_text(x(tick), y(view.low) + 20, number(tick, 4), "middle"))
    for tick in round_ticks(view.low, view.high):
        parts.append(svg_line(x(view.left) - 5, y(tick), x(view.left), y(tick), SOFT))
        parts.append(svg_text(x(view.left) - 8, y(tick) + 4, number(tick, 4), "end"))
    parts.append(svg_text((EDGE + WIDE - 20) / 2, HIGH_PICTURE - 28, _named(first), "middle"))
    middle = (HIGH_PICTURE - EDGE + 20) / 2
    parts.append(svg_text(14, middle, _named(second), "middle", f"rotate(-90 14 {middle:.1f})"))
    parts.append(
        f'<rect x="{x(first.low):.1f}" y="{y(second.high):.1f}"'
        f' width="{x(first.high) - x(first.low):.1f}"'
        f' height="{y(second.low) - y(second.high):.1f}" fill="{LOW}" fill-opacity="0.25"/>'
    )
    for points in boundary.nominal:
        parts.append(_path(points, x, y, ' stroke-dasharray="5 4"'))
    for points in boundary.worst or ():
        parts.append(_path(points, x, y, ""))
    parts.append(f'<circle cx="{x(first.now):.1f}" cy="{y(second.now):.1f}" r="4" fill="{INK}"/>')
    return "".join([*parts, "</svg>"])


LEGEND_SVG = (
    "The dot is the present pair of values, the box their tolerances. Break-even is the"
    " solid line with the other parameters at worst, the dashed line with them at nominal."
)


NO_BOUNDARY = "no break-even within four tolerances of the two parameters"


def boundary_lines(boundary: Boundary) -> Iterator[str]:
    """Yield the boundary as lines of characters, with its axes below and above."""
    view = _view(boundary)
    grid = [[" "] * COLUMNS for _ in range(LINES)]

    def put(x: float, y: float, mark: str) -> None:
        column, row = round(view.across(x) * (COLUMNS - 1)), round(view.up(y) * (LINES - 1))
        if 0 <= column < COLUMNS and 0 <= row < LINES:
            grid[LINES - 1 - row][column] = mark

    first, second = boundary.first, boundary.second
    corners = [(first.low, second.low), (first.high, second.low), (first.high, second.high),
               (first.low, second.high), (first.low, second.low)]  # fmt: skip
    for mark, lines in ((".", [corners]), ("o", boundary.nominal), ("*", boundary.worst or ())):
        for points in lines:
            for px, py in _between(points):
                put(px, py, mark)
    put(first.now, second.now, "+")
    yield f"{_named(second)}, up to {number(view.high, 4)}"
    yield from ("|" + "".join(row).rstrip() for row in grid)
    yield "+" + "-" * COLUMNS
    yield f"{_named(first)}, {number(view.left, 4)} to {number(view.right, 4)}" + (
        f"; {safe(second.parameter)} from {number(view.low, 4)}"
    )
    worst = "* at worst; " if boundary.worst is not None else ""
    yield f"break-even: o other parameters at nominal; {worst}. tolerances; + present values"


def _between(points: Points) -> Iterator[tuple[float, float]]:
    """Yield points along a line, close enough for characters."""
    steps = 4 * COLUMNS
    for (x0, y0), (x1, y1) in pairwise(points):
        for step in range(steps + 1):
            share = step / steps
            yield x0 + (x1 - x0) * share, y0 + (y1 - y0) * share


def _view(boundary: Boundary) -> _View:
    points = [
        p for lines in (boundary.nominal, boundary.worst or ()) for line in lines for p in line
    ]
    ends = []
    for place, axis in enumerate((boundary.first, boundary.second)):
        values = [axis.low, axis.high, axis.now, *(point[place] for point in points)]
        low, high = min(values), max(values)
        pad = 0.06 * (high - low) or 0.01 * abs(low) or 1.0
        ends += [low - pad, high + pad]
    return _View(*ends)


def round_ticks(low: float, high: float) -> list[float]:
    """Return round values between two ends."""
    rough = (high - low) / TICKS
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * m for m in (1.0, 2.0, 5.0, 10.0) if power * m >= rough)
    first = math.ceil(low / step)
    return [i * step for i in range(first, math.floor(high / step) + 1)]


def _named(axis: Axis) -> str:
    return f"{safe(axis.parameter)} in {safe(axis.unit)}" if axis.unit else safe(axis.parameter)


def _path(points: Points, x: _Place, y: _Place, dashes: str) -> str:
    drawn = " ".join(f"{x(px):.1f},{y(py):.1f}" for px, py in points)
    return f'<polyline points="{drawn}" fill="none" stroke="{BAD}" stroke-width="2"{dashes}/>'


def svg_opening(wide: float, high: float, title: str, told: str = "") -> str:
    """Return the beginning of a picture of so many pixels; ``</svg>`` ends it.

    ``told`` is what the picture shows, for who cannot see it.
    """
    shown = f"<desc>{escape(told)}</desc>" if told else ""
    return (
        f'<svg viewBox="0 0 {wide} {high}" width="{wide}"'
        f' height="{high}" role="img" {FONT} fill="{INK}"><title>{escape(title)}</title>{shown}'
    )


def svg_text(x: float, y: float, text: str, anchor: str, turned: str = "") -> str:
    """Return a safe text that stands at a point; its anchor is start, middle or end."""
    turn = f' transform="{turned}"' if turned else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"{turn}>{escape(text)}</text>'


def svg_line(
    x1: float, y1: float, x2: float, y2: float, colour: str, wide: float = 1.0, dashes: str = ""
) -> str:
    """Return a line between two points; ``dashes`` are lengths drawn and left out, as ``5 3``."""
    more = f' stroke-width="{wide}"' if wide != 1.0 else ""
    more += f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}"{more}/>'
    )
