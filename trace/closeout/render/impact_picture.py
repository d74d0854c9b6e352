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
from closeout.render.layered import Layout, Line, Place, laid_out
from closeout.render.picture import CHARACTER, INK, SOFT, svg_opening, svg_text
from closeout.render.plain import columns, flow, safe

EDGE, HEAD, LINE, PAD, GAP, BETWEEN, PASSING = 16, 36, 16, 6, 72, 10, 9
LEAST = 760
TEXT = 34  # columns of running text in a box; names are never broken
BOLD = 1.1  # how much wider bold letters are
COLOURS = ("#1f5a96", "#8a5a00", "#2f7d32", "#b3418b", "#6a3d9a", "#00767a", "#9c1c1c", "#4d4d4d")
FILLS = {"C": "#e3edf7", "PC": "#f6e3df", "NC": "#f6e3df", "open": "#fbf1d5", "NA": "#eeeeee"}
LEGEND = (
    "each box rests on those to which its lines lead, to the right; thick border: asked for;"
    " broken line: may rest on it"
)


def impact_svg(impact: Impact) -> str:
    """Return what rests on what as a whole SVG file."""
    return _Drawing(impact).text()


def _high(lines: tuple[str, ...]) -> int:
    return LINE * len(lines) + 2 * PAD


def _wide(lines: tuple[str, ...]) -> float:
    return CHARACTER * max(BOLD * columns(lines[0]), *map(columns, lines[1:]))


def _label(node: Node, impact: Impact, facts: Facts) -> tuple[str, ...]:
    """Return the lines of a node, its name whole."""
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
    assess = wrapped(flow(impact.assess.get(node.name, "")), TEXT)
    return (safe(node.name), *title, state, *assess, owner, *source)


class _Drawing:
    """A picture that is laid out, as text."""

    def __init__(self, impact: Impact) -> None:
        self._impact = impact
        self._facts = Facts(impact)
        boxes = {node: impact.box(node) for layer in impact.layers for node in layer}
        self._rows = _rows(boxes)
        self._lines = {box: self._label(box) for box in self._rows}
        layers = [[node for node in layer if node in self._rows] for layer in impact.layers]
        self._edges = {
            edge: (boxes[edge.user], boxes[edge.used], edge.used)
            for edge in impact.edges
            if boxes[edge.user] != boxes[edge.used]
        }
        self._layout: Layout[Node] = laid_out(layers, self._edges.values(), self._room)
        self._left: list[float] = []
        self._wide: list[float] = []
        x = float(EDGE)
        for layer in layers:
            self._left.append(x)
            self._wide.append(max(_wide(self._lines[node]) for node in layer) + 2 * PAD)
            x += self._wide[-1] + GAP
        self._width = max(x - GAP + EDGE, LEAST)
        self._said = self._heading()
        self._head = HEAD + LINE * len(self._said)
        self._column = {p: n for n, column in enumerate(self._layout.columns) for p in column}
        parts = [node for column in self._layout.columns for place, passing in column
                 if passing is None for node in (place, *self._rows[place])]  # fmt: skip
        self._colour = {node: COLOURS[n % len(COLOURS)] for n, node in enumerate(parts)}

    def _label(self, box: Node) -> tuple[str, ...]:
        """Return the lines of a box; those of an analysis' quantities are the last."""
        own = _label(box, self._impact, self._facts)
        return (*own, *(self._quantity(node) for node in self._rows[box]))

    def _quantity(self, node: Node) -> str:
        name = safe(node.name.rpartition(".")[2])
        return f"- {name}{', asked for' if node in self._impact.roots else ''}"

    def _room(self, place: Place[Node]) -> float:
        return PASSING if place[1] is not None else _high(self._lines[place[0]]) + BETWEEN

    def text(self) -> str:
        """Return the whole file."""
        bottom = max((self._y(p) + self._half(p) for p in self._layout.middle), default=self._head)
        high = round(bottom + EDGE)
        parts = [svg_opening(round(self._width), high, answer(self._impact))]
        parts.append(f'<rect width="{round(self._width)}" height="{high}" fill="#ffffff"/>')
        parts += [*self._header(), *self._drawn_lines(), *self._boxes(), "</svg>\n"]
        file = "".join(parts).replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
        return f'<?xml version="1.0" encoding="UTF-8"?>\n{file}'

    def _heading(self) -> list[tuple[str, bool]]:
        """Return the lines above the boxes, and which of them are bold."""
        dossier, fits = self._impact.dossier, int((self._width - 2 * EDGE) / CHARACTER / BOLD)
        state = f"{safe(dossier.project)}: {words.judged(dossier)}, {words.snapshot(dossier)}"
        state = "; ".join((state, *words.banners(dossier)))
        texts = ((answer(self._impact), True), (state, False), (LEGEND, False))
        return [(line, bold) for text, bold in texts for line in wrapped(text, fits)]

    def _header(self) -> Iterator[str]:
        for number, (text, bold) in enumerate(self._said):
            line = svg_text(EDGE, 24 + LINE * number, text, "start")
            yield f'<g font-weight="bold">{line}</g>' if bold else line

    def _y(self, place: Place[Node]) -> float:
        return self._head + self._layout.middle[place]

    def _half(self, place: Place[Node]) -> float:
        return 0.0 if place[1] is not None else _high(self._lines[place[0]]) / 2

    def _boxes(self) -> Iterator[str]:
        for place, number in self._column.items():
            if place[1] is None:
                yield self._box(place, number)

    def _box(self, place: Place[Node], number: int) -> str:
        node, lines = place[0], self._lines[place[0]]
        left, top = self._left[number], self._y(place) - self._half(place)
        is_root = {node, *self._rows[node]} & {*self._impact.roots}
        stroke = f'stroke="{INK}" stroke-width="3"' if is_root else (
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

    def _drawn_lines(self) -> Iterator[str]:
        starts = self._starts()
        drawn: set[str] = set()
        for edge, line in self._edges.items():
            colour = self._colour[edge.used]
            dashes = "" if edge.certain else ' stroke-dasharray="6 4"'
            for path in self._paths(line, starts[line]):
                text = (
                    f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="1.4"{dashes}/>'
                )
                if text not in drawn:
                    drawn.add(text)
                    yield text
        for edge in {edge.used: edge for edge in self._edges}.values():
            yield self._arrow(self._edges[edge])

    def _starts(self) -> dict[Line[Node], float]:
        """Return where each line leaves its box, one below the other in the order of their ends."""
        by_user: dict[Node, list[tuple[float, Line[Node]]]] = {}
        for line, route in self._layout.routes.items():
            by_user.setdefault(line[0], []).append((self._layout.middle[route[1]], line))
        found = {}
        for user, ends in by_user.items():
            place: Place[Node] = (user, None)
            room = 2 * self._half(place) - 2 * PAD
            for number, (_, line) in enumerate(sorted(ends)):
                share = (number + 1) / (len(ends) + 1)
                found[line] = self._y(place) - room / 2 + share * room
        return found

    def _end(self, line: Line[Node]) -> float:
        """Return where a line ends: at the middle of a box, or at the row of a quantity."""
        _, box, part = line
        place: Place[Node] = (box, None)
        if part == box:
            return self._y(place)
        last = len(self._rows[box]) - self._rows[box].index(part)
        return self._y(place) + self._half(place) - PAD - LINE * (last - 0.5)

    def _paths(self, line: Line[Node], start: float) -> Iterator[str]:
        """Yield the parts of a line: between two columns, and through the columns it passes."""
        first, *rest = self._layout.routes[line]
        number = self._column[first]
        x, y = self._left[number] + self._wide[number], start
        if self._column[rest[0]] == number:  # in a circle
            bend, end = x + GAP / 2, self._end(line)
            yield f"M{x:.1f} {y:.1f}C{bend:.1f} {y:.1f} {bend:.1f} {end:.1f} {x:.1f} {end:.1f}"
            return
        for place in rest:
            end = self._end(line) if place[1] is None else self._y(place)
            left = self._left[self._column[place]]
            bend = (left - x) / 2
            yield (
                f"M{x:.1f} {y:.1f}C{x + bend:.1f} {y:.1f} {left - bend:.1f} {end:.1f}"
                f" {left:.1f} {end:.1f}"
            )
            x, y = left + self._wide[self._column[place]], end
            if place[1] is not None:
                yield f"M{left:.1f} {end:.1f}L{x:.1f} {end:.1f}"

    def _arrow(self, line: Line[Node]) -> str:
        x, y = self._left[self._column[line[1], None]], self._end(line)
        return f'<path d="M{x:.1f} {y:.1f}l-9 -4.5v9z" fill="{self._colour[line[2]]}"/>'


def _rows(boxes: Mapping[Node, Node]) -> dict[Node, tuple[Node, ...]]:
    """Return the quantities that stand in each box."""
    found: dict[Node, tuple[Node, ...]] = dict.fromkeys(boxes.values(), ())
    for node, box in boxes.items():
        if node != box:
            found[box] = (*found[box], node)
    return found
