"""A sweep as a picture, SVG: a panel for each margin along one parameter, or a map of two.

Margins of different quantities share no axis; each has a panel with its own, and zero is where the
limit is just met. In the map a border runs midway between a point at which a verification holds and
its neighbour at which it does not: it lies somewhere between these two.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from closeout.model.answer import Assurance
from closeout.model.sweep import BETWEEN, Followed, Sweep, SweepAxis
from closeout.render import words
from closeout.render.numbers import number
from closeout.render.picture import (
    BAD,
    CHARACTER,
    INK,
    LOW,
    SOFT,
    round_ticks,
    svg_line,
    svg_opening,
    svg_text,
)
from closeout.render.plain import count, cut, flow, safe
from closeout.render.sweep_cells import Cell, cells_of, label, named, nominal_only, span, subject
from closeout.render.sweep_map import letters

PANEL_WIDE, PANEL_HIGH, COLUMNS = 460, 190, 2
LEFT, RIGHT, ABOVE, BELOW = 66, 14, 44, 40
HEAD = 86
BESIDE = 0.04  # of the height of a panel, above and below its margins
BOX, EDGE, LINES = 58, 90, 22
APART = 2.5  # pixels between borders that would lie on one another
BORDERS = ("#9c1c1c", "#1f5a96", "#2f7d32", "#8a5a00", "#6a3d9a", "#00767a", "#b3418b", "#4d4d4d")
GOOD_FILL, BAD_FILL = "#e3edf7", "#f6e3df"


def sweep_svg(sweep: Sweep) -> str:
    """Return a sweep as a whole SVG file."""
    return _panels(sweep) if len(sweep.axes) == 1 else _map(sweep)


def _file(parts: Sequence[str]) -> str:
    text = "".join(parts).replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    return f"{text}</svg>\n"


def _title(sweep: Sweep, wide: float, *below: str) -> Iterator[str]:
    dossier = sweep.dossier
    names = " and ".join(safe(axis.parameter) for axis in sweep.axes)
    said = f"{safe(dossier.project)}: margins over {names}"
    fits = int(wide / CHARACTER)
    yield f'<g font-weight="bold">{svg_text(12, 20, cut(said, fits), "start")}</g>'
    state = "; ".join((words.snapshot(dossier), *words.banners(dossier)))
    yield svg_text(12, 38, cut(state, fits), "start")
    for place, text in enumerate(below):
        yield svg_text(12, 56 + 18 * place, cut(text, fits), "start")


# along one parameter


def _panels(sweep: Sweep) -> str:
    cells, columns = cells_of(sweep), min(COLUMNS, len(sweep.followed))
    lines = math.ceil(len(cells) / columns)
    wide, high = max(620, columns * PANEL_WIDE), HEAD + lines * PANEL_HIGH
    windows = " and ".join(
        span(sweep.axes[0], one.first, one.last, "from ") for one in sweep.windows()
    )
    others = "the others hold" if sweep.nowhere else "all hold"
    said = f"blue: {others} {windows}" if windows else "nowhere do all hold"
    parts = [svg_opening(wide, high, f"Margins over {named(sweep.axes[0])}"), _ground(wide, high)]
    said += nominal_only(sweep)
    eye = f"dashed: declared; lines guide the eye, {BETWEEN}"
    parts += _title(sweep, wide, said, eye)
    for place, (followed, row) in enumerate(zip(sweep.followed, cells, strict=True)):
        x, y = place % columns * PANEL_WIDE, HEAD + place // columns * PANEL_HIGH
        parts.append(f'<g transform="translate({x} {y})">{_panel(sweep, followed, row)}</g>')
    return _file(parts)


def _ground(wide: float, high: float) -> str:
    return f'<rect width="{wide}" height="{high}" fill="#ffffff"/>'


def _panel(sweep: Sweep, followed: Followed, row: Sequence[Cell]) -> str:
    axis, frame = sweep.axes[0], _Frame(sweep.axes[0], row)
    parts = [frame.band(one.first, one.last) for one in sweep.windows()]
    unit = next((cell.unit for cell in row if cell.unit), "")
    fits = int((PANEL_WIDE - 20) / CHARACTER)
    head = cut(f"{subject(followed)}: {flow(followed.limit)}", fits)
    parts.append(svg_text(12, 18, head, "start"))
    below = f"margin in {unit}" if unit not in ("", "1") else "margin"
    parts.append(_small(12, 34, f"{below}; {_kinds(row)}"))
    for tick in round_ticks(frame.low, frame.high):
        parts.append(svg_line(LEFT - 4, frame.y(tick), LEFT, frame.y(tick), SOFT))
        parts.append(_small(LEFT - 7, frame.y(tick) + 4, number(tick, 4), "end"))
    for tick in round_ticks(frame.first, frame.last):
        x = frame.x(tick)
        parts.append(svg_line(x, PANEL_HIGH - BELOW, x, PANEL_HIGH - BELOW + 4, SOFT))
        parts.append(_small(x, PANEL_HIGH - BELOW + 16, number(tick, 6), "middle"))
    middle = (LEFT + PANEL_WIDE - RIGHT) / 2
    parts.append(_small(middle, PANEL_HIGH - 8, named(axis), "middle"))
    if axis.now is not None and frame.first <= float(axis.now) <= frame.last:
        x = frame.x(float(axis.now))
        parts.append(_dashed(x, ABOVE, x, PANEL_HIGH - BELOW))
    right = PANEL_WIDE - RIGHT
    parts.append(svg_line(LEFT, frame.y(0.0), right, frame.y(0.0), BAD))
    parts.append(frame.outline())
    return "".join([*parts, *_dots(frame, row)])


def _kinds(row: Sequence[Cell]) -> str:
    sure = {cell.assurance for cell in row if cell.assurance is not None}
    names = ", ".join(one.value for one in Assurance if one in sure)
    return f"{names}; a full dot is bounded" if len(sure) > 1 else names


class _Frame:
    """A panel: values across, margins up, the limit among them."""

    def __init__(self, axis: SweepAxis, row: Sequence[Cell]) -> None:
        self._numbers = [float(tried.number) for tried in axis.tried]
        self.first, self.last = self._numbers[0], self._numbers[-1]
        margins = [0.0, *(cell.margin for cell in row if cell.margin is not None)]
        low, high = min(margins), max(margins)
        pad = BESIDE * 2 * (high - low) or 1.0
        self.low, self.high = low - pad, high + pad

    def x(self, number: float) -> float:
        """Return where a value stands, in pixels from the left edge of the panel."""
        share = (number - self.first) / (self.last - self.first)
        return LEFT + 10 + share * (PANEL_WIDE - RIGHT - LEFT - 20)

    def at(self, place: int) -> float:
        """Return where a value that was tried stands."""
        return self.x(self._numbers[place])

    def y(self, margin: float) -> float:
        """Return where a margin stands, in pixels from the upper edge of the panel."""
        share = (margin - self.low) / (self.high - self.low)
        return PANEL_HIGH - BELOW - share * (PANEL_HIGH - BELOW - ABOVE)

    def band(self, first: int, last: int) -> str:
        """Return the ground of a window; one of a single point is as wide as its dot."""
        left, right = self.at(first) - 5, self.at(last) + 5
        return (
            f'<rect x="{left:.1f}" y="{ABOVE}" width="{right - left:.1f}"'
            f' height="{PANEL_HIGH - BELOW - ABOVE}" fill="{GOOD_FILL}"/>'
        )

    def outline(self) -> str:
        """Return the edge of the panel."""
        return (
            f'<rect x="{LEFT}" y="{ABOVE}" width="{PANEL_WIDE - RIGHT - LEFT}"'
            f' height="{PANEL_HIGH - BELOW - ABOVE}" fill="none" stroke="{SOFT}"/>'
        )


def _dots(frame: _Frame, row: Sequence[Cell]) -> Iterator[str]:
    before: tuple[float, float] | None = None
    drawn: list[str] = []
    for place, cell in enumerate(row):
        x = frame.at(place)
        if cell.margin is None:
            anchor = "end" if place == len(row) - 1 else "middle"
            word = _small(x + 8 * (anchor == "end"), ABOVE + 14, cell.state.value, anchor)
            drawn.append(f'<g fill="{BAD}">{word}</g>')
            before = None
            continue
        y = frame.y(cell.margin)
        if before is not None:
            yield svg_line(*before, x, y, LOW)
        before = (x, y)
        colour = INK if cell.holds else BAD
        fill = colour if cell.assurance is Assurance.BOUNDED else "#ffffff"
        drawn.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="{fill}" stroke="{colour}"'
            ' stroke-width="1.5"/>'
        )
    yield from drawn


def _small(x: float, y: float, text: str, anchor: str = "start") -> str:
    return f'<g font-size="11">{svg_text(x, y, text, anchor)}</g>'


def _dashed(x1: float, y1: float, x2: float, y2: float) -> str:
    drawn = svg_line(x1, y1, x2, y2, SOFT)
    return drawn.replace("/>", ' stroke-dasharray="3 3"/>')


# over two


def _map(sweep: Sweep) -> str:
    across, up = sweep.axes
    marks = letters(sweep)
    legend = [_legend(sweep, place, mark) for place, mark in marks.items()]
    wide = EDGE + BOX * len(across.tried) + 30
    beside = max([round(CHARACTER * 0.95 * len(text)) for text in legend], default=0) + 60
    tall = HEAD + BOX * len(up.tried) + 60
    whole, high = max(wide + beside, 640), max(tall, HEAD + 30 + LINES * len(legend))
    holding_points, number_of = sum(sweep.holding()), len(sweep.points)
    said = f"blue: all hold, at {holding_points} of {number_of} points{nominal_only(sweep)}"
    parts = [svg_opening(whole, high, f"Margins over {named(across)} and {named(up)}")]
    parts += [_ground(whole, high), *_title(sweep, whole, said, _read(sweep, marks))]
    parts += [*_boxes(sweep, marks), *_scales(sweep)]
    for order, (place, text) in enumerate(zip(marks, legend, strict=True)):
        colour = BORDERS[order % len(BORDERS)]
        dash = ' stroke-dasharray="6 3"' if order >= len(BORDERS) else ""
        shift = (order - (len(marks) - 1) / 2) * min(APART, 16 / len(marks))
        path = _border(sweep, place, shift)
        parts.append(f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="2"{dash}/>')
        y = HEAD + 16 + LINES * order
        parts.append(
            f'<path d="M{wide},{y - 4}h24" stroke="{colour}" stroke-width="2"{dash}/>'
            f"{svg_text(wide + 32, y, text, 'start')}"
        )
    return _file(parts)


def _read(sweep: Sweep, marks: dict[int, str]) -> str:
    others = len(sweep.followed) - len(marks)
    more = f"; {count(others, 'other')} at every point" if others and marks else ""
    return f"letters: what does not hold{more}; {BETWEEN}"


def _legend(sweep: Sweep, place: int, mark: str) -> str:
    followed = sweep.followed[place]
    holding_points = sum(found.holds for found in sweep.found[place])
    how = ", nominal" if followed.nominal else ""
    return f"{mark}  {subject(followed)}: {flow(followed.limit)}{how}; holds at {holding_points}"


def _boxes(sweep: Sweep, marks: dict[int, str]) -> Iterator[str]:
    across, up = (len(axis.tried) for axis in sweep.axes)
    for at, (place, row) in enumerate(sweep.points):
        failing = [mark for one, mark in marks.items() if not sweep.found[one][at].holds]
        x, y = EDGE + BOX * place, HEAD + BOX * (up - 1 - row)
        fill = BAD_FILL if failing else GOOD_FILL
        yield f'<rect x="{x}" y="{y}" width="{BOX}" height="{BOX}" fill="{fill}"/>'
        yield f'<circle cx="{x + BOX / 2}" cy="{y + BOX / 2 - 8}" r="2.5" fill="{INK}"/>'
        shown = "".join(failing) if len(failing) <= 5 else f"{len(failing)} fail"
        yield _small(x + BOX / 2, y + BOX / 2 + 12, shown, "middle")
    yield (
        f'<rect x="{EDGE}" y="{HEAD}" width="{BOX * across}" height="{BOX * up}" fill="none"'
        f' stroke="{SOFT}"/>'
    )


def _scales(sweep: Sweep) -> Iterator[str]:
    across, up = sweep.axes
    bottom = HEAD + BOX * len(up.tried)
    for place, tried in enumerate(across.tried):
        x = EDGE + BOX * (place + 0.5)
        yield _small(x, bottom + 18, label(across, tried), "middle")
    for row, tried in enumerate(reversed(up.tried)):
        yield _small(EDGE - 8, HEAD + BOX * (row + 0.5) + 4, label(up, tried), "end")
    yield svg_text(EDGE + BOX * len(across.tried) / 2, bottom + 42, named(across), "middle")
    y = HEAD + BOX * len(up.tried) / 2
    yield svg_text(20, y, named(up), "middle", f"rotate(-90 20 {y:.1f})")


def _border(sweep: Sweep, place: int, shift: float) -> str:
    """Return the edges between boxes in which a verification holds and in which it does not."""
    across, up = (len(axis.tried) for axis in sweep.axes)
    holding_points = [found.holds for found in sweep.found[place]]
    parts = []
    for column in range(across):
        for row in range(up):
            here = holding_points[column * up + row]
            x, y = EDGE + BOX * column, HEAD + BOX * (up - 1 - row)
            if column + 1 < across and here != holding_points[(column + 1) * up + row]:
                parts.append(f"M{x + BOX + shift:.1f},{y + shift:.1f}v{BOX}")
            if row + 1 < up and here != holding_points[column * up + row + 1]:
                parts.append(f"M{x + shift:.1f},{y + shift:.1f}h{BOX}")
    return "".join(parts)
