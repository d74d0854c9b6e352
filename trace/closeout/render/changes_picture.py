"""Why margins moved, as a picture: from the margin before, part by part, to the margin now."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import accumulate

from closeout.model.changes import Changes, MarginChange
from closeout.render.changes import margin, named
from closeout.render.numbers import show_margin
from closeout.render.picture import (
    BAD,
    CHARACTER,
    HIGH,
    INK,
    LOW,
    SOFT,
    svg_line,
    svg_opening,
    svg_text,
)
from closeout.render.plain import cut

# The margins that are drawn: those that are told first. The rest is in the text.
MOST = 12
NAMES, BARS, VALUES, ROW = 420, 360, 130, 24
WIDE = NAMES + BARS + VALUES
LEGEND = "red: the limit; bars: what each cause adds to the margin, largest first"

_Place = Callable[[float], float]


def changes_svg(changes: Changes) -> str:
    """Return the margins that moved as one picture, what got worse first."""
    drawn = drawn_of(changes)
    pictures = [_waterfall(one) for one in drawn]
    high = 54 + sum(height for height, _ in pictures)
    parts = [svg_opening(WIDE, high, "Why margins moved")]
    parts.append(f'<rect width="{WIDE}" height="{high}" fill="#ffffff"/>')
    left = len(changes.margins) - len(drawn)
    title = "Why margins moved" if drawn else "No margin moved by a known cause"
    parts.append(
        svg_text(12, 20, f"{title}{f'; {left} more in the text' if left else ''}", "start")
    )
    parts.append(svg_text(12, 40, LEGEND, "start"))
    top = 54
    for height, picture in pictures:
        parts.append(f'<g transform="translate(0 {top})">{picture}</g>')
        top += height
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + "".join([*parts, "</svg>\n"]).replace(
        "<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1
    )


def drawn_of(changes: Changes) -> list[MarginChange]:
    """Return the margins that are drawn: those with causes that are told first."""
    return [one for one in changes.margins if one.causes][:MOST]


def waterfall_svg(one: MarginChange) -> str:
    """Return one margin that moved as a picture, part by part."""
    height, picture = _waterfall(one)
    return f"{svg_opening(WIDE, height, margin(one))}{picture}</svg>"


def _waterfall(one: MarginChange) -> tuple[int, str]:
    """Return height and content of a picture of one margin."""
    parts = [cause.part for cause in one.causes]
    steps = list(accumulate(parts, initial=one.before))
    high = ROW * (len(parts) + 3) + 8
    return high, "".join(_rows(one, steps))


def _rows(one: MarginChange, steps: Sequence[float]) -> Iterator[str]:
    unit = one.now.margin_unit
    low, top = min(0.0, one.after, *steps), max(0.0, one.after, *steps)

    def x(value: float) -> float:
        return NAMES + BARS * (value - low) / ((top - low) or 1.0)

    fits = int((NAMES - 20) / CHARACTER)
    yield svg_text(12, 16, cut(margin(one), int((WIDE - 24) / CHARACTER)), "start")
    bottom = ROW * (len(steps) + 2) + 4
    yield svg_line(x(0.0), ROW, x(0.0), bottom, BAD)
    yield from _bar(1, "margin before", (0.0, one.before), INK, show_margin(one.before, unit), x)
    for row, cause in enumerate(one.causes):
        colour = LOW if cause.part > 0 else HIGH
        text = show_margin(cause.part, unit)
        ends = steps[row], steps[row + 1]
        yield from _bar(row + 2, cut(named(cause), fits), ends, colour, text, x)
        yield svg_line(x(ends[0]), ROW * (row + 2), x(ends[0]), ROW * (row + 3), SOFT)
    last = len(steps) + 1
    yield from _bar(last, "margin now", (0.0, one.after), INK, show_margin(one.after, unit), x)


def _bar(
    row: int, name: str, ends: tuple[float, float], colour: str, text: str, x: _Place
) -> Iterator[str]:
    y = ROW * row + 4
    left, right = sorted(map(x, ends))
    yield svg_text(NAMES - 10, y + 13, name, "end")
    yield (
        f'<rect x="{left:.1f}" y="{y}" width="{max(right - left, 1.0):.1f}" height="16"'
        f' fill="{colour}"/>'
    )
    yield svg_text(NAMES + BARS + 10, y + 13, text, "start")
