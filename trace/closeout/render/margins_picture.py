"""Margins as pictures: in groups of one unit, each criterion against its own limit."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from statistics import median

from closeout.model.answer import Assurance
from closeout.model.dossier import Dossier, Evidence, State
from closeout.model.on_file import RequiredText
from closeout.render import rows
from closeout.render.numbers import number
from closeout.render.picture import BAD, CHARACTER, INK, LOW, SOFT, svg_line, svg_opening, svg_text
from closeout.render.plain import cut, safe

LEGEND = (
    "Each line is a criterion, as far from its own limit (the upright line) as its unit says; right"
    " of it is inside. The bar goes from the lowest to the highest value, the mark is the nominal"
    " one: filled, proved; open, searched or linearised; a triangle, sampled; a ring, measured; a"
    " cross, nominal inputs only. The short upright stroke is the margin that the project requires."
    " An arrow leads beyond the edge of the picture. At the right stands the margin of the end that"
    " decides."
)
# Lines of one picture, with the heads of its groups: what a printed page takes.
MOST = 40
WIDE, NAMES, VALUES, ROW, TOP = 820, 330, 150, 18, 6
_REACH = 3.0
Place = Callable[[float], float]
Required = Mapping[tuple[str, int], tuple[RequiredText, ...]]


@dataclass(frozen=True, slots=True)
class Drawn:
    """A criterion: distances from its limit, positive where it is kept; ``required`` one too."""

    name: str
    unit: str
    low: float
    high: float
    nominal: float | None
    required: float | None
    text: str
    mark: str
    met: bool

    @property
    def least(self) -> float:
        """The distance of the end that decides."""
        return min(self.low, self.high)


def margins_svg(dossier: Dossier, required: Required) -> tuple[str, ...]:
    """Return the margins of all criteria that have one, at most forty lines a picture."""
    drawn = sorted(_drawn(dossier, required), key=lambda one: (one.unit, one.least, one.name))
    pages: list[list[tuple[str, float, list[Drawn]]]] = [[]]
    room = MOST
    for unit, some in groupby(drawn, key=lambda one: one.unit):
        left = list(some)
        reach = _reach(left)
        while left:
            if room < 2:
                pages.append([])
                room = MOST
            taken, left = left[: room - 1], left[room - 1 :]
            pages[-1].append((unit, reach, taken))
            room -= len(taken) + 1
    return tuple(_picture(page, f"{n} of {len(pages)}") for n, page in enumerate(pages, 1) if page)


def _drawn(dossier: Dossier, required: Required) -> Iterator[Drawn]:
    for result in dossier.requirements:
        for number_, cases in groupby(result.evidence, lambda one: one.number):
            one = rows.deciding(list(cases))
            if one.margin is not None:
                asked = required.get((result.id, number_), ())
                yield _criterion(result.id, one, asked)


def _criterion(name: str, one: Evidence, asked: Sequence[RequiredText]) -> Drawn:
    assert one.margin is not None
    low, high = _ends(one)
    nominal = None
    if one.value is not None and one.chance is None:
        nominal = _inside(one, one.value)
    wanted = [
        distance
        for margin in asked
        for limit in (margin.at_least, margin.at_most)
        if limit is not None and (distance := _inside(one, limit)) > 0.0
    ]
    return Drawn(
        name=f"{safe(name)} {rows.subject(one)}",
        unit=safe(one.margin_unit or ""),
        low=low,
        high=high,
        nominal=nominal,
        required=max(wanted, default=None),
        text=rows.margin(one),
        mark=_mark(one),
        met=one.state is not State.NOT_MET,
    )


def _ends(one: Evidence) -> tuple[float, float]:
    """Return the distances of both ends from the limit that decides; of a probability its own."""
    assert one.margin is not None
    if one.chance is not None:
        return one.margin, one.margin
    low = one.judged_low if one.judged_low is not None else one.low
    high = one.judged_high if one.judged_high is not None else one.high
    some = [_inside(one, end) for end in (low, high) if end is not None]
    return (min(some), max(some)) if some else (one.margin, one.margin)


def _inside(one: Evidence, value: float) -> float:
    """Return how far a value lies inside the limit that decides; the nearer one of two."""
    end = rows.judged_end(one)
    at_least, at_most = one.at_least, one.at_most
    if at_least is None and at_most is None:
        return one.margin or 0.0
    if at_most is None:
        return value - (at_least or 0.0)
    if at_least is None:
        return at_most - value
    lower_decides = end is not None and end - at_least <= at_most - end
    return value - at_least if lower_decides else at_most - value


def _mark(one: Evidence) -> str:
    if one.chance is not None or one.assurance is Assurance.SAMPLED:
        return "sampled"
    if one.assurance is None:
        return "measured"
    if one.assurance is Assurance.NOMINAL:
        return "nominal"
    return "proved" if one.assurance is Assurance.BOUNDED else "searched"


def _reach(some: Sequence[Drawn]) -> float:
    """Return how far a group is drawn: three times its middle margin, so that near ones show."""
    sizes = [abs(one.least) for one in some if math.isfinite(one.least) and one.least]
    sizes += [one.required for one in some if one.required]
    return _REACH * median(sizes) if sizes else 1.0


def _picture(page: Sequence[tuple[str, float, list[Drawn]]], which: str) -> str:
    lines = sum(len(some) + 1 for _, _, some in page)
    parts = [svg_opening(WIDE, TOP * 2 + ROW * lines, f"Margins against limits, picture {which}")]
    y = TOP + ROW
    for unit, reach, some in page:
        parts += _group(unit, reach, some, y)
        y += ROW * (len(some) + 1)
    return "".join([*parts, "</svg>"])


def _group(unit: str, reach: float, some: Sequence[Drawn], y: float) -> Iterator[str]:
    left, right = NAMES, WIDE - VALUES
    zero = left + 0.2 * (right - left)

    def x(value: float) -> float:
        return zero + value / reach * (right - zero)

    head = f"margin in {unit}, drawn to {number(reach, 2)}" if unit not in ("", "1") else (
        f"margin without a unit, drawn to {number(reach, 2)}"
    )  # fmt: skip
    yield svg_text(NAMES - 8, y, head, "end")
    yield svg_line(zero, y + 4, zero, y + 4 + ROW * len(some), INK)
    for place, one in enumerate(some, 1):
        yield from _line(one, y + ROW * place, x, left, right)


def _line(one: Drawn, y: float, x: Place, left: float, right: float) -> Iterator[str]:
    ink, middle = (LOW if one.met else BAD), y - 4
    yield svg_text(NAMES - 8, y, cut(one.name, int(NAMES / CHARACTER)), "end")
    low, high = (min(max(x(end), left), right) for end in (one.low, one.high))
    yield (
        f'<rect x="{low:.1f}" y="{middle - 3:.1f}" width="{max(high - low, 1.0):.1f}" height="6"'
        f' fill="{ink}"/>'
    )
    if x(one.high) > right:
        yield _arrow(right, middle, 1)
    if x(one.low) < left:
        yield _arrow(left, middle, -1)
    if one.required is not None and x(one.required) <= right:
        yield svg_line(x(one.required), middle - 7, x(one.required), middle + 7, INK)
    at = one.nominal if one.nominal is not None else one.least
    if left <= x(at) <= right:
        yield _shape(one.mark, x(at), middle)
    said = one.text if one.met else f"{one.text}, not met"
    yield svg_text(right + 8, y, said, "start")


def _arrow(at: float, y: float, way: int) -> str:
    points = f"{at:.1f},{y - 5:.1f} {at + 7 * way:.1f},{y:.1f} {at:.1f},{y + 5:.1f}"
    return f'<polygon points="{points}" fill="{SOFT}"/>'


def _shape(mark: str, x: float, y: float) -> str:
    if mark == "nominal":
        return svg_line(x - 4, y - 4, x + 4, y + 4, INK) + svg_line(x - 4, y + 4, x + 4, y - 4, INK)
    if mark == "sampled":
        points = f"{x - 5:.1f},{y + 4:.1f} {x + 5:.1f},{y + 4:.1f} {x:.1f},{y - 5:.1f}"
        return f'<polygon points="{points}" fill="#ffffff" stroke="{INK}" stroke-width="1.5"/>'
    fill = INK if mark == "proved" else "#ffffff"
    wide = 3 if mark == "measured" else 1.5
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4.5" fill="{fill}" stroke="{INK}"'
        f' stroke-width="{wide}"/>'
    )
