"""The graph of an impact as a picture, SVG: requirements at the left, what they rest on rightwards.

Lines to one node have one colour and run together; neighbours have different ones.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from textwrap import wrap as wrapped
from xml.sax.saxutils import escape

from closeout.model.impact import Impact, Kind, Node
from closeout.render import rows, words
from closeout.render.impact import answer
from closeout.render.impact_nodes import Facts, line_of, margin_of
from closeout.render.layered import Layout, Place, laid_out
from closeout.render.picture import CHARACTER, INK, SOFT, svg_opening, svg_text
from closeout.render.plain import columns, cut, flow, safe

EDGE, HEAD, LINE, PAD, GAP, BETWEEN, PASSING = 16, 92, 16, 6, 96, 10, 9
TEXT = 34  # columns of running text in a box; names are never broken
BOLD = 1.1  # how much wider bold letters are
COLOURS = ("#1f5a96", "#8a5a00", "#2f7d32", "#b3418b", "#6a3d9a", "#00767a", "#9c1c1c", "#4d4d4d")
FILLS = {"C": "#e3edf7", "PC": "#f6e3df", "NC": "#f6e3df", "open": "#fbf1d5", "NA": "#eeeeee"}
LEGEND = (
    "each box rests on those to which its lines lead, to the right; thick border: asked for;"
    " broken line: may rest on it"
)

_Lines = Mapping[Node, tuple[str, ...]]


def impact_svg(impact: Impact) -> str:
    """Return what rests on what as a whole SVG file."""
    facts = Facts(impact)
    lines = {node: _label(node, impact, facts) for layer in impact.layers for node in layer}
    layout = laid_out(
        impact.layers,
        [(one.user, one.used) for one in impact.edges],
        lambda place: PASSING if place[1] is not None else _high(lines[place[0]]) + BETWEEN,
    )
    drawing = _Drawing(impact, facts, lines, layout)
    return drawing.text()


def _high(lines: tuple[str, ...]) -> int:
    return LINE * len(lines) + 2 * PAD


def _wide(lines: tuple[str, ...]) -> float:
    return CHARACTER * max(BOLD * columns(lines[0]), *map(columns, lines[1:]))


def _label(node: Node, impact: Impact, facts: Facts) -> tuple[str, ...]:
    """Return the lines of a box, names whole."""
    kind = f"{node.kind.value}{', asked for' if node in impact.roots else ''}"
    result = facts.requirements.get(node.name) if node.kind is Kind.REQUIREMENT else None
    if result is None:
        return (safe(node.name), kind)
    covered = " covered" if result.covered else ""
    state = f"{result.compliance.value}{covered}, {words.close_out(result)}"
    entry = margin_of(result, impact)
    state += f", margin {rows.margin(entry)}" if entry is not None else ""
    owner = f"{kind}, owner {safe(result.owner)}" if result.owner else kind
    title, source = (wrapped(flow(text), TEXT) for text in (result.title, result.source or ""))
    return (safe(node.name), *title, state, owner, *source)


class _Drawing:
    """A picture that is laid out, as text."""

    def __init__(self, impact: Impact, facts: Facts, lines: _Lines, layout: Layout[Node]) -> None:
        self._impact = impact
        self._facts = facts
        self._lines = lines
        self._layout = layout
        self._left: list[float] = []
        self._wide: list[float] = []
        x = float(EDGE)
        for layer in impact.layers:
            longest = max((_wide(lines[node]) for node in layer), default=0.0)
            self._left.append(x)
            self._wide.append(longest + 2 * PAD)
            x += self._wide[-1] + GAP
        said = (answer(impact), LEGEND)
        self._width = max(x - GAP + EDGE, min(max(map(columns, said)) * CHARACTER, 1000.0) + EDGE)
        self._column = {p: n for n, column in enumerate(layout.columns) for p in column}
        self._colour = {
            place[0]: COLOURS[number % len(COLOURS)]
            for column in layout.columns
            for number, place in enumerate(column)
            if place[1] is None
        }

    def text(self) -> str:
        """Return the whole file."""
        bottom = max((self._y(p) + self._half(p) for p in self._layout.middle), default=HEAD)
        high = round(bottom + EDGE)
        parts = [svg_opening(round(self._width), high, answer(self._impact))]
        parts.append(f'<rect width="{round(self._width)}" height="{high}" fill="#ffffff"/>')
        parts += [*self._head(), *self._edges(), *self._boxes(), "</svg>\n"]
        file = "".join(parts).replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
        return f'<?xml version="1.0" encoding="UTF-8"?>\n{file}'

    def _head(self) -> Iterator[str]:
        dossier = self._impact.dossier
        fits = int((self._width - 2 * EDGE) / CHARACTER)
        state = f"{safe(dossier.project)}: {words.judged(dossier)}, {words.snapshot(dossier)}"
        state = "; ".join((state, *words.banners(dossier)))
        first = svg_text(EDGE, 24, cut(answer(self._impact), fits), "start")
        yield f'<g font-weight="bold">{first}</g>'
        yield svg_text(EDGE, 44, cut(state, fits), "start")
        yield svg_text(EDGE, 64, cut(LEGEND, fits), "start")

    def _y(self, place: Place[Node]) -> float:
        return HEAD + self._layout.middle[place]

    def _half(self, place: Place[Node]) -> float:
        return 0.0 if place[1] is not None else _high(self._lines[place[0]]) / 2

    def _boxes(self) -> Iterator[str]:
        for place, number in self._column.items():
            if place[1] is None:
                yield self._box(place, number)

    def _box(self, place: Place[Node], number: int) -> str:
        node, lines = place[0], self._lines[place[0]]
        left, top = self._left[number], self._y(place) - self._half(place)
        stroke = f'stroke="{INK}" stroke-width="3"' if node in self._impact.roots else (
            f'stroke="{SOFT}"'
        )  # fmt: skip
        fill = FILLS.get(self._facts.code(node), "#ffffff")
        parts = [
            f"<g><title>{escape(line_of(node, self._impact, self._facts))}</title>",
            f'<rect x="{left:.1f}" y="{top:.1f}" width="{self._wide[number]:.1f}"'
            f' height="{_high(lines)}" rx="4" fill="{fill}" {stroke}/>',
        ]
        for row, text in enumerate(lines):
            line = svg_text(left + PAD, top + PAD + LINE * row + 12, text, "start")
            parts.append(f'<g font-weight="bold">{line}</g>' if row == 0 else line)
        return "".join([*parts, "</g>"])

    def _edges(self) -> Iterator[str]:
        starts = self._starts()
        drawn: set[str] = set()
        for one in self._impact.edges:
            colour = self._colour[one.used]
            dashes = "" if one.certain else ' stroke-dasharray="6 4"'
            start = starts[one.user, one.used]
            for path in self._paths((one.user, one.used), start):
                line = (
                    f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="1.4"{dashes}/>'
                )
                if line not in drawn:
                    drawn.add(line)
                    yield line
        for used in dict.fromkeys(one.used for one in self._impact.edges):
            yield self._arrow((used, None))

    def _starts(self) -> dict[tuple[Node, Node], float]:
        """Return where each line leaves its box, one below the other in the order of their ends."""
        by_user: dict[Node, list[tuple[float, Node]]] = {}
        for (user, used), route in self._layout.routes.items():
            by_user.setdefault(user, []).append((self._layout.middle[route[1]], used))
        found = {}
        for user, ends in by_user.items():
            place: Place[Node] = (user, None)
            room = 2 * self._half(place) - 2 * PAD
            for number, (_, used) in enumerate(sorted(ends)):
                share = (number + 1) / (len(ends) + 1)
                found[user, used] = self._y(place) - room / 2 + share * room
        return found

    def _paths(self, edge: tuple[Node, Node], start: float) -> Iterator[str]:
        """Yield the parts of a line: between two columns, and through the columns it passes."""
        first, *rest = self._layout.routes[edge]
        number = self._column[first]
        x, y = self._left[number] + self._wide[number], start
        if self._column[rest[0]] == number:  # in a circle
            bend, end = x + GAP / 2, self._y(rest[0])
            yield f"M{x:.1f} {y:.1f}C{bend:.1f} {y:.1f} {bend:.1f} {end:.1f} {x:.1f} {end:.1f}"
            return
        for place in rest:
            left, end = self._left[self._column[place]], self._y(place)
            bend = (left - x) / 2
            yield (
                f"M{x:.1f} {y:.1f}C{x + bend:.1f} {y:.1f} {left - bend:.1f} {end:.1f}"
                f" {left:.1f} {end:.1f}"
            )
            x, y = left + self._wide[self._column[place]], end
            if place[1] is not None:
                yield f"M{left:.1f} {end:.1f}L{x:.1f} {end:.1f}"

    def _arrow(self, place: Place[Node]) -> str:
        x, y = self._left[self._column[place]], self._y(place)
        return f'<path d="M{x:.1f} {y:.1f}l-9 -4.5v9z" fill="{self._colour[place[0]]}"/>'
