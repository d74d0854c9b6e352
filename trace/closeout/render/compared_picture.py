"""A picture of predicted against measured: a range as a bar, a measured value as a point on it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from closeout.model.compared import Compared, Prediction
from closeout.render.compared import ends_of_scale, named, numbers_of
from closeout.render.picture import BAD, HIGH, INK, LOW, SOFT, svg_line, svg_opening, svg_text

WIDE, EDGE, ROW = 640, 110, 58
LEGEND = (
    "Each row has a scale of its own, from the least to the greatest number beside it. The upper"
    " bar is the range that today's model predicts, with its nominal value as a stroke; the lower"
    " one that of the model before the test. The point is the measured value, the line through it"
    " its expanded uncertainty."
)

_Place = Callable[[float], float]


def compared_svg(some: Iterable[Compared]) -> str | None:
    """Return the comparisons as a picture, a row for each; None where nothing is predicted."""
    drawn = [one for one in some if one.now.low is not None and one.now.high is not None]
    if not drawn:
        return None
    high = ROW * len(drawn) + 8
    parts = [svg_opening(WIDE, high, "Predicted ranges and measured values")]
    for place, one in enumerate(drawn):
        parts += _row(one, ROW * place + 16)
    return "".join([*parts, "</svg>"])


def _row(one: Compared, top: float) -> Iterator[str]:
    found = numbers_of(one)
    least, most = min(found), max(found)
    wide = (most - least) or abs(most) or 1.0

    def x(value: float) -> float:
        # Equal numbers stand in the middle.
        share = (value - least) / wide if most > least else 0.5
        return EDGE + share * (WIDE - 2 * EDGE)

    yield svg_text(EDGE, top, named(one), "start")
    left, right = ends_of_scale(one)
    yield svg_text(EDGE - 12, top + 24, left, "end")
    yield svg_text(WIDE - EDGE + 12, top + 24, right, "start")
    yield svg_line(EDGE, top + 20, WIDE - EDGE, top + 20, SOFT)
    yield from _bar(one.now, x, top + 9, 12, LOW)
    if one.before is not None:
        yield from _bar(one.before, x, top + 23, 8, HIGH)
    half = one.uncertainty or 0.0
    ends = x(one.value - half), x(one.value + half)
    yield svg_line(ends[0], top + 20, ends[1], top + 20, BAD, 2.5)
    yield f'<circle cx="{x(one.value):.1f}" cy="{top + 20:.1f}" r="4.5" fill="{BAD}"/>'


def _bar(said: Prediction, x: _Place, top: float, high: float, colour: str) -> Iterator[str]:
    if said.low is None or said.high is None or said.value is None:
        return
    # A range of no width is still seen.
    wide = max(x(said.high) - x(said.low), 2.0)
    yield (
        f'<rect x="{x(said.low):.1f}" y="{top:.1f}" width="{wide:.1f}" height="{high:.1f}"'
        f' fill="{colour}"/>'
    )
    yield svg_line(x(said.value), top - 2, x(said.value), top + high + 2, INK)
