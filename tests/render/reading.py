"""Read the formats back with parsers that are not ours."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

from markdown_it import MarkdownIt

# The only HTML in a Markdown document: where a link leads to.
OUR_ANCHOR = re.compile(r'<a id="[A-Za-z0-9_.-]+">|</a>')


def one_line(text: str) -> str:
    return " ".join(text.split())


def without_style(text: str) -> str:
    """Return a page without its style, which has texts for the edges of printed pages."""
    return re.sub(r"<style>.*?</style>", "", text, flags=re.DOTALL)


def markdown_tables(text: str) -> list[list[list[str]]]:
    """Return the tables of a Markdown text: rows of cells, the first row is the head."""
    tables: list[list[list[str]]] = []
    cells: list[str] = []
    for token in MarkdownIt("commonmark", {"html": True}).enable("table").parse(text):
        assert token.type != "html_block", token.content
        for child in token.children or ():
            assert child.type != "html_inline" or OUR_ANCHOR.fullmatch(child.content), child.content
        if token.type == "table_open":
            tables.append([])
        elif token.type == "tr_open":
            cells = []
        elif token.type == "inline" and token.level > 2:
            shown = (child for child in token.children or () if child.type != "html_inline")
            cells.append("".join(child.content for child in shown))
        elif token.type == "tr_close":
            tables[-1].append(cells)
            cells = []
    return tables


def csv_rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def plain_cell(text: str) -> str:
    """Return a cell without the apostrophe that guards it."""
    guarded = len(text) > 1 and text[0] == "'" and text[1] in "=+-@＝＋－＠"
    return text[1:] if guarded else text


VOID = {"meta", "link", "br", "wbr", "img", "hr"}


@dataclass
class Node:
    tag: str
    attributes: dict[str, str | None]
    parts: list[Node | str] = field(default_factory=list)

    @property
    def text(self) -> str:
        return "".join(part if isinstance(part, str) else part.text for part in self.parts)

    def all(self, tag: str, class_: str = "") -> list[Node]:
        """Return the elements of a tag, or of any (``*``), in the order of the page."""
        found = []
        for part in self.parts:
            if isinstance(part, Node):
                classes = (part.attributes.get("class") or "").split()
                if tag in ("*", part.tag) and (not class_ or class_ in classes):
                    found.append(part)
                found += part.all(tag, class_)
        return found


class _Tree(HTMLParser):
    """Builds a tree, and refuses tags that are not closed in order."""

    def __init__(self) -> None:
        super().__init__()
        self.stack = [Node("", {})]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert len(dict(attrs)) == len(attrs), f"attribute given twice: {attrs}"
        node = Node(tag, dict(attrs))
        self.stack[-1].parts.append(node)
        if tag not in VOID:
            self.stack.append(node)

    def handle_endtag(self, tag: str) -> None:
        assert self.stack.pop().tag == tag, f"</{tag}> closes another tag"

    def handle_data(self, data: str) -> None:
        self.stack[-1].parts.append(data)


def html_tree(text: str) -> Node:
    parser = _Tree()
    parser.feed(text)
    parser.close()
    assert len(parser.stack) == 1, "a tag is not closed"
    return parser.stack[0]
