"""The pages of a PDF as lines of text, from top to bottom."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pypdf import PdfReader

NUMBERED = re.compile(r"page\s*(\d+)\s*of\s*(\d+)", re.IGNORECASE)
_NEAR = 2.0  # points: what is no farther apart stands on one line
_MARGIN = 34.0  # points: 12 mm, where running titles and numbers stand


@dataclass(frozen=True)
class Piece:
    """A run of text with its place, in points from the lower left corner."""

    x: float
    y: float
    text: str


@dataclass(frozen=True)
class Leaf:
    """One printed page."""

    height: float
    pieces: tuple[Piece, ...]

    @property
    def text(self) -> str:
        return " ".join(" ".join(_joined(line) for line in self.lines).split())

    @property
    def lines(self) -> list[list[Piece]]:
        """The lines from top to bottom, each from left to right."""
        lines: list[list[Piece]] = []
        for piece in sorted(self.pieces, key=lambda piece: -piece.y):
            if not lines or lines[-1][0].y - piece.y > _NEAR:
                lines.append([])
            lines[-1].append(piece)
        return [sorted(line, key=lambda piece: piece.x) for line in lines]

    @property
    def body(self) -> list[str]:
        """The lines between the margins of the page."""
        inside = (_MARGIN, self.height - _MARGIN)
        kept = [line for line in self.lines if inside[0] <= line[0].y <= inside[1]]
        return [text for text in map(_joined, kept) if not NUMBERED.search(text)]

    def at_the_left(self, words: frozenset[str], near: float = 15.0) -> set[str]:
        """Return which of some words begin a cell of the leftmost column."""
        edge = min((piece.x for piece in self.pieces), default=0.0)
        return {piece.text.split()[0] for piece in self.pieces if piece.x <= edge + near} & words


def _joined(line: list[Piece]) -> str:
    return " ".join(piece.text for piece in line)


def leaves(path: Path) -> list[Leaf]:
    """Return the pages of a PDF."""
    return [_leaf(page) for page in PdfReader(path).pages]


def _leaf(page: Any) -> Leaf:
    pieces: list[Piece] = []

    def note(text: str, cm: list[float], tm: list[float], _font: Any, _size: Any) -> None:
        if words := unicodedata.normalize("NFKC", text).split():  # a PDF has ligatures
            x = tm[4] * cm[0] + tm[5] * cm[2] + cm[4]
            y = tm[4] * cm[1] + tm[5] * cm[3] + cm[5]
            pieces.append(Piece(x, y, " ".join(words)))

    page.extract_text(visitor_text=note)
    return Leaf(float(page.mediabox.height), tuple(pieces))


def bare(text: str) -> str:
    """Return a text without its spaces, which a PDF does not always keep."""
    return "".join(text.split())


def numbering(pages: list[Leaf]) -> list[str]:
    """Return the pages that do not say "page x of n"."""
    wanted = [(str(number), str(len(pages))) for number in range(1, len(pages) + 1)]
    return [
        f"page {' of '.join(own)}: says {said or 'nothing'}"
        for own, leaf in zip(wanted, pages, strict=True)
        if own not in (said := NUMBERED.findall(leaf.text))
    ]


def without(pages: list[Leaf], *texts: str) -> list[str]:
    """Return the pages on which none of some texts stands."""
    wanted = [bare(text) for text in texts]
    return [
        f"page {number} of {len(pages)}: not {' or '.join(map(repr, texts))}"
        for number, leaf in enumerate(pages, 1)
        if not any(text in bare(leaf.text) for text in wanted)
    ]


def left_alone(pages: list[Leaf], headings: list[str]) -> list[str]:
    """Return the headings and captions that are the last line of their page.

    A list of contents repeats headings; the last place of one is its own.
    """
    known = {bare(heading): heading for heading in headings if heading}
    own: dict[str, tuple[int, bool]] = {}
    for number, leaf in enumerate(pages, 1):
        lines = leaf.body
        for place, line in enumerate(lines, 1):
            for heading in known:
                if _ends(heading, bare(line)):
                    own[heading] = (number, place == len(lines))
    return [
        f"page {number} of {len(pages)}: ends with {known[heading]!r}"
        for heading, (number, last) in own.items()
        if last and number < len(pages)
    ]


def _ends(heading: str, line: str) -> bool:
    """Whether a line is a heading, or the last one of a long heading."""
    return heading == line or (len(line) > 15 and heading.endswith(line))


def sparse(pages: list[Leaf], requirements: frozenset[str], least: int) -> list[str]:
    """Return the pages of a table that begin fewer requirements than that, but for its last."""
    counts = [len(leaf.at_the_left(requirements)) for leaf in pages]
    with_any = [number for number, count in enumerate(counts, 1) if count]
    if not with_any:
        return ["no page has a requirement"]
    return [
        f"page {number} of {len(pages)}: {counts[number - 1]} requirements"
        for number in range(with_any[0], with_any[-1])
        if counts[number - 1] < least
    ]
