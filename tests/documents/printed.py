"""The pages of a PDF as lines of text, from top to bottom."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pypdf import PdfReader

NUMBERED = re.compile(r"page\s*(\d+)\s*of\s*(\d+)", re.IGNORECASE)
_NEAR = 2.0  # points: what is no farther apart stands on one line


@dataclass(frozen=True)
class Piece:
    """A run of text with its place, in points from the lower left corner."""

    x: float
    y: float
    text: str


@dataclass(frozen=True)
class Leaf:
    """One printed page."""

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
    return Leaf(tuple(pieces))


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
    known = {_unnumbered(bare(heading)): heading for heading in headings if heading}
    own: dict[str, tuple[int, bool]] = {}
    for number, lines in enumerate(_bodies(pages), 1):
        for place, line in enumerate(lines, 1):
            for heading in known:
                if _ends(heading, _unnumbered(bare(line))):
                    own[heading] = (number, place == len(lines))
    return [
        f"page {number} of {len(pages)}: ends with {known[heading]!r}"
        for heading, (number, last) in own.items()
        if last and number < len(pages)
    ]


def _bodies(pages: list[Leaf]) -> list[list[str]]:
    """Return the lines of each page without those that stand on most pages in one place."""
    placed = [[(round(line[0].y), _joined(line)) for line in leaf.lines] for leaf in pages]
    counted = Counter(_as_running(line) for lines in placed for line in set(lines))
    often = {line for line, count in counted.items() if count > max(1, len(pages) / 2)}
    return [[line[1] for line in lines if _as_running(line) not in often] for lines in placed]


def _as_running(line: tuple[int, str]) -> tuple[int, str]:
    """Return a line as it would be on another page, with another number."""
    return line[0], re.sub(r"\d+", "#", line[1])


def _unnumbered(text: str) -> str:
    """Return a heading without its number, which a style may have put there."""
    return re.sub(r"^[\d.]+(?=\D)", "", text)


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
