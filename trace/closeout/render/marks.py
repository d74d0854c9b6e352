"""Marks of a picture: how surely a value is known, by the shape of its dot."""

from __future__ import annotations

from closeout.model.answer import Assurance
from closeout.render.picture import INK, svg_line

MEASURED = "measured"
# In the order of a key: its word, and the word that stands beside its shape.
MARKS = {
    Assurance.BOUNDED.value: "bounded",
    Assurance.SEARCHED.value: "searched",
    Assurance.LINEARISED.value: "linearised",
    Assurance.SAMPLED.value: "sampled",
    Assurance.NOMINAL.value: "nominal inputs only",
    MEASURED: "measured",
}
_WHITE = "#ffffff"


def mark(kind: str, x: float, y: float) -> str:
    """Return the mark of an assurance, or of MEASURED, in the middle of a place.

    A filled dot is bounded, an open one searched, an open diamond linearised, an open triangle
    sampled, a cross nominal, a ring with a dot in it measured.
    """
    if kind == Assurance.NOMINAL.value:
        ends = ((y - 4, y + 4), (y + 4, y - 4))
        return "".join(svg_line(x - 4, a, x + 4, b, INK, 1.8) for a, b in ends)
    if kind == Assurance.SAMPLED.value:
        return _shape(((x - 5, y + 4), (x + 5, y + 4), (x, y - 5)))
    if kind == Assurance.LINEARISED.value:
        return _shape(((x - 5, y), (x, y - 5), (x + 5, y), (x, y + 5)))
    if kind == MEASURED:
        return _dot(x, y, 5.0, _WHITE) + _dot(x, y, 1.4, INK)
    return _dot(x, y, 4.0, INK if kind == Assurance.BOUNDED.value else _WHITE)


def _dot(x: float, y: float, radius: float, fill: str) -> str:
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius}" fill="{fill}" stroke="{INK}"'
        ' stroke-width="1.4"/>'
    )


def _shape(corners: tuple[tuple[float, float], ...]) -> str:
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in corners)
    return f'<polygon points="{points}" fill="{_WHITE}" stroke="{INK}" stroke-width="1.4"/>'
