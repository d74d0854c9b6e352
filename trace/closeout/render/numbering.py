"""Headings, tables and figures of a document numbered, and what refers to them resolved.

A template writes marks between two SUB characters, which no value that it prints can hold
(:func:`~closeout.render.plain.safe` shows them as an escape). What is left of them after
:func:`numbered` is for :mod:`closeout.render.dress`, which makes HTML of it, or is taken out by
:func:`unmarked`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

from closeout.render.plain import Markup

END = "\x1a"
ID, ANNEX, TABLE, FIGURE, REF = (f"{END}{letter}=" for letter in "iatfr")
CAPTION = f"{END}c={END}"
# In the head of a column: it is for running text; for a few words; it stays though it is empty.
TEXT, WORDS, KEPT = f"{END}w={END}", f"{END}m={END}", f"{END}k={END}"
# In a heading: it begins a printed page, as an annex does.
PAGE = f"{END}p={END}"
# In a cell: the same as in the cell above, with which it is joined.
SAME = f"{END}s={END}"

_ANY = re.compile(f"{END}[a-z]=[^{END}]*{END}")
_ID = re.compile(f"{ID}([^{END}]*){END}")
_REF = re.compile(f"{REF}([^{END}]*){END}")
_WITHIN = re.compile(r"\]\(#([^)]*)\)")
_CELLS = re.compile(r"(?<!\\)\|")
_FENCE = re.compile(r"`{3,}|\$\$")


def id_mark(name: str) -> Markup:
    """Return the mark of a place that links lead to; it stands in a cell, for its row."""
    return Markup(f"{ID}{name}{END}")


def annex_mark() -> Markup:
    """Return the mark with which the heading of an annex begins."""
    return Markup(f"{ANNEX}{END}")


def table_mark(key: str = "") -> Markup:
    """Return the mark with which the caption of a table begins, in a line of its own before it."""
    return Markup(f"{TABLE}{key}{END}")


def figure_mark(key: str = "") -> Markup:
    """Return the mark with which the caption of a figure begins, in a line of its own below it."""
    return Markup(f"{FIGURE}{key}{END}")


def reference(key: str) -> Markup:
    """Return a reference to a table or figure, which becomes ``Table 3``."""
    return Markup(f"{REF}{key}{END}")


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading with its number, its text as Markdown, and the name of its anchor."""

    level: int
    number: str
    text: str
    anchor: str


def numbered(text: str) -> tuple[str, tuple[Heading, ...]]:
    """Return Markdown with numbers in its headings and captions, and the headings.

    Columns of tables of which every cell is empty are left out.

    Raises:
        KeyError: a reference leads to no table and no figure.
    """
    numbers = _Numbers()
    lines = list(numbers.lines(text.split("\n")))
    shown = "\n".join(_without_empty_columns(lines))
    # A figure or table may be referred to before it comes.
    shown = _REF.sub(lambda match: numbers.named[match[1]], shown)
    return shown, tuple(numbers.headings)


def unmarked(text: str) -> str:
    """Return Markdown with anchors of items, and of what a link in it leads to; no other mark."""
    wanted = frozenset(_WITHIN.findall(text))

    def shown(match: re.Match[str]) -> str:
        own = not match[1].startswith(("section-", "table-", "figure-"))
        return f'<a id="{match[1]}"></a>' if own or match[1] in wanted else ""

    return _ANY.sub("", _ID.sub(shown, text))


class _Numbers:
    def __init__(self) -> None:
        self.headings: list[Heading] = []
        self.named: dict[str, str] = {}
        self._counts = {"Table": 0, "Figure": 0, "section": 0, "annex": 0, "below": 0}
        self._above = ""

    def lines(self, lines: list[str]) -> Iterator[str]:
        """Yield lines, what stands in a fence as it is."""
        fence = ""
        for line in lines:
            mark = _FENCE.match(line)
            if fence or mark:
                # A fence ends with a line of at least as many of its signs, and nothing else.
                if not fence and mark:
                    fence = mark[0]
                elif line.strip() and not line.strip(fence[0]) and line.startswith(fence):
                    fence = ""
                yield line
            else:
                yield self._line(line)

    def _line(self, line: str) -> str:
        if line.startswith("## "):
            return self._heading(2, line[3:])
        if line.startswith("### "):
            return self._heading(3, line[4:])
        for mark, word in ((TABLE, "Table"), (FIGURE, "Figure")):
            if line.startswith(mark):
                return self._caption(word, *line[len(mark) :].split(END, 1))
        return line

    def _heading(self, level: int, text: str) -> str:
        annex = text.startswith(ANNEX)
        name = _ID.search(text)
        page = PAGE if annex or PAGE in text else ""
        text = _ANY.sub("", text)
        if level == 3:
            self._counts["below"] += 1
            number = f"{self._above}.{self._counts['below']}"
        else:
            self._counts["below"] = 0
            self._counts["annex" if annex else "section"] += 1
            count = self._counts["annex" if annex else "section"]
            self._above = _letters(count) if annex else str(count)
            number = f"Annex {self._above}" if annex else self._above
        anchor = (
            name[1]
            if name
            else f"section-{self._above}" + number[len(self._above) :] * (level == 3)
        )
        self.headings.append(Heading(level, number, text, anchor))
        return f"{'#' * level} {id_mark(anchor)}{page}{number} {text}"

    def _caption(self, word: str, key: str, text: str) -> str:
        self._counts[word] += 1
        name = f"{word} {self._counts[word]}"
        anchor = name.lower().replace(" ", "-")
        if key:
            self.named[key] = f"[{name}](#{anchor})"
        return f"{CAPTION}{id_mark(anchor)}{name}: {text}"


def _letters(number: int) -> str:
    """Return A to Z, then AA and so on."""
    text = ""
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(ord("A") + rest) + text
    return text


def _without_empty_columns(lines: list[str]) -> Iterator[str]:
    for is_table, some in groupby(lines, lambda line: line.startswith("|")):
        rows = list(some)
        yield from _narrowed(rows) if is_table and len(rows) > 2 else rows


def _narrowed(rows: list[str]) -> list[str]:
    cells = [_CELLS.split(row)[1:-1] for row in rows]
    if len({len(row) for row in cells}) != 1:
        return rows
    full = [
        KEPT in head or any(_ANY.sub("", cell).strip() or SAME in cell for cell in body)
        for head, _, *body in zip(*cells, strict=True)
    ]
    if all(full):
        return rows
    return [
        "|" + "|".join(cell for cell, stays in zip(row, full, strict=True) if stays) + "|"
        for row in cells
    ]
