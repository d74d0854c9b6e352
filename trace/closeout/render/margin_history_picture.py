"""The history of a requirement as a picture: the margin as steps over its states."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from closeout.model.dossier import State
from closeout.model.margin_history import Line, MarginHistory
from closeout.render.margin_history import answer, lines_of, margins_of, tags_of, title
from closeout.render.numbers import number, show_margin
from closeout.render.picture import (
    BAD,
    CHARACTER,
    FAINT,
    INK,
    LOW,
    SOFT,
    round_ticks,
    svg_line,
    svg_opening,
    svg_text,
)
from closeout.render.plain import cut, safe

WIDE, LEFT, RIGHT, HIGH, HEAD, BELOW = 900, 90, 110, 300, 50, 64
LEGEND = "red: the limit; dashed: the required margin; cross: not met"
_Place = Callable[[float], float]


def history_svg(history: MarginHistory) -> str:
    """Return the history as an SVG file, a panel for each verification with margins."""
    keys = lines_of(history)
    high = HEAD + HIGH * max(1, len(keys))
    parts = [svg_opening(WIDE, high, f"History of {safe(history.identifier)}")]
    parts.append(f'<rect width="{WIDE}" height="{high}" fill="#ffffff"/>')
    fits = int((WIDE - 24) / CHARACTER)
    parts.append(svg_text(12, 20, cut(answer(history), fits), "start"))
    parts.append(svg_text(12, 40, LEGEND, "start"))
    for place, key in enumerate(keys):
        panel = "".join(_panel(history, key))
        parts.append(f'<g transform="translate(0 {HEAD + HIGH * place})">{panel}</g>')
    opening = '<svg xmlns="http://www.w3.org/2000/svg" '
    text = "".join([*parts, "</svg>\n"]).replace("<svg ", opening, 1)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}'


def _panel(history: MarginHistory, key: Line) -> Iterator[str]:
    moments = history.moments
    required = [one.required[key] for one in moments if key in one.required]
    every = [0.0, *margins_of(history, key), *required]
    pad = 0.08 * (max(every) - min(every)) or 1.0
    low, high = min(every) - pad, max(every) + pad
    step = (WIDE - LEFT - RIGHT) / max(1, len(moments))

    def x(place: float) -> float:
        return LEFT + step * place

    def y(value: float) -> float:
        return 30 + (HIGH - 30 - BELOW) * (high - value) / (high - low)

    units = {e.margin_unit for one in moments if (e := one.lines.get(key)) and e.margin is not None}
    unit = next((one for one in units if one), "")
    limits = [entry.limit_text for one in moments if (entry := one.lines.get(key)) is not None]
    said = f"{title(key)}, limit {safe(limits[-1])}: margin{f' in {unit}' if unit else ''}"
    yield svg_text(12, 18, cut(said, int((WIDE - 24) / CHARACTER)), "start")
    for tick in round_ticks(low, high):
        yield svg_line(LEFT, y(tick), WIDE - RIGHT, y(tick), FAINT)
        yield svg_text(LEFT - 8, y(tick) + 4, number(tick, 4), "end")
    yield svg_line(LEFT, y(0.0), WIDE - RIGHT, y(0.0), BAD)
    yield from _steps(history, key, x, y)
    shown = max(1, round(11 * CHARACTER / step))
    for place, moment in enumerate(moments):
        if place % shown == 0 or place == len(moments) - 1:
            text = (moment.commit or "now")[:8]
            yield svg_text(x(place + 0.5), HIGH - BELOW + 18, text, "middle")
            yield svg_text(x(place + 0.5), HIGH - BELOW + 34, moment.day or "", "middle")
    for place, tag in tags_of(moments):
        yield svg_line(x(place + 1.0), 30, x(place + 1.0), HIGH - BELOW, SOFT)
        yield svg_text(x(place + 1.0) - 4, 42, cut(safe(tag), 16), "end")


def _steps(history: MarginHistory, key: Line, x: _Place, y: _Place) -> Iterator[str]:
    before: float | None = None
    for place, moment in enumerate(history.moments):
        if key in moment.required:
            level = y(moment.required[key])
            yield (
                f'<line x1="{x(place):.1f}" y1="{level:.1f}" x2="{x(place + 1):.1f}"'
                f' y2="{level:.1f}" stroke="{INK}" stroke-dasharray="5 4"/>'
            )
        entry = moment.lines.get(key)
        if entry is None or entry.margin is None:
            before = None
            continue
        level = y(entry.margin)
        if before is not None:
            yield svg_line(x(place), before, x(place), level, LOW)
        yield (
            f'<line x1="{x(place):.1f}" y1="{level:.1f}" x2="{x(place + 1):.1f}" y2="{level:.1f}"'
            f' stroke="{LOW}" stroke-width="3"/>'
        )
        middle = x(place + 0.5)
        if entry.state is State.NOT_MET:
            yield svg_line(middle - 5, level - 5, middle + 5, level + 5, BAD)
            yield svg_line(middle - 5, level + 5, middle + 5, level - 5, BAD)
        if place == len(history.moments) - 1:
            text = show_margin(entry.margin, entry.margin_unit)
            yield svg_text(x(place + 1) + 6, level + 4, text, "start")
        before = level
