"""Tables, captions, anchors and links of a document, from what the Markdown parser gives to HTML.

Works on the tokens of markdown-it-py in place, before they are rendered.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import pairwise
from typing import TYPE_CHECKING, Literal, NamedTuple

from closeout.render.numbering import CAPTION, END, ID, PAGE, SAME, TEXT, WORDS

if TYPE_CHECKING:
    from markdown_it.token import Token

# Tables of so many columns become a card for each row where a screen is narrow.
_CARDS = 5
# Rows of a table that is kept on one printed page, its caption with it, unless they are high.
_SHORT = 12
# Classes of columns by their marks.
_KINDS = {TEXT: "text", WORDS: "words"}
_ID = re.compile(f"{ID}([^{END}]*){END}")
# Behind an underscore or a point inside a word.
_BREAKS = re.compile(r"(?<=\w[_.])(?=\w)(?<!\d\.)")
# A date or an identifier; one that is not too long stays on one line.
_WHOLE = re.compile(r"(?<![\w-])([A-Z0-9]+(?:-[A-Z0-9]+)+)(?![\w-])")
_LONGEST = 12
_ANY = re.compile(f"{END}[a-z]=[^{END}]*{END}")


class _Head(NamedTuple):
    text: str
    kind: str


def dressed(tokens: list[Token]) -> list[Token]:
    """Return the tokens with captions in their tables, row headers, joined cells and anchors."""
    found: list[Token] = []
    place = 0
    while place < len(tokens):
        token = tokens[place]
        if token.type == "paragraph_open" and tokens[place + 1].content.startswith(CAPTION):
            place = _captioned(tokens, place, found)
        elif token.type == "table_open":
            place = _table(tokens, place, None, found)
        else:
            if token.type == "heading_open":
                _named(token, tokens[place + 1])
            found.append(token)
            place += 1
    return found


def _captioned(tokens: list[Token], place: int, found: list[Token]) -> int:
    """Take a caption: into its table where one follows, else as the caption of a figure."""
    caption, after = tokens[place : place + 3], tokens[place + 3 : place + 4]
    name = _taken(caption[1])
    if after and after[0].type == "table_open":
        return _table(tokens, place + 3, (caption[1], name), found)
    caption[0].attrs.update({"class": "caption", "id": name})
    found += caption
    return place + 3


def _table(
    tokens: list[Token], place: int, caption: tuple[Token, str] | None, found: list[Token]
) -> int:
    end = next(n for n in range(place, len(tokens)) if tokens[n].type == "table_close")
    inside = tokens[place + 1 : end]
    heads = _heads(inside)
    joined = _rows(inside, heads)
    table = tokens[place]
    if len(heads) >= _CARDS:
        _classed(table, "cards")
    rows = sum(token.type == "tr_open" for token in inside)
    if rows <= _SHORT and not any(head.kind for head in heads):
        _classed(table, "short")
    found.append(table)
    if caption is not None:
        text, name = caption
        found += [_element("caption_open", "caption", 1, {"id": name}), text]
        found.append(_element("caption_close", "caption", -1))
    found += joined
    found.append(tokens[end])
    return end + 1


def _heads(inside: list[Token]) -> list[_Head]:
    """Return the heads of the columns as plain text, and mark those that hold running text."""
    heads: list[_Head] = []
    for cell, content in pairwise(inside):
        if cell.type == "th_open":
            cell.attrSet("scope", "col")
            kind = next((name for mark, name in _KINDS.items() if mark in content.content), "")
            _taken(content)
            heads.append(_Head(_plain(content), kind))
            _classed(cell, kind)
    return heads


def _rows(inside: list[Token], heads: list[_Head]) -> list[Token]:
    """Return the tokens of a table with row headers and labels, equal cells joined downward."""
    found: list[Token] = []
    above: dict[int, Token] = {}
    grouped = any(token.type == "inline" and SAME in token.content for token in inside)
    column, row, skipped = 0, None, False
    for place, token in enumerate(inside):
        if token.type == "tr_open":
            column, row = 0, token
        elif token.type == "td_open":
            content = inside[place + 1]
            skipped = SAME in content.content
            if skipped:
                cell = above[column]
                cell.attrSet("rowspan", str(int(cell.attrs.get("rowspan", 1)) + 1))
            else:
                _cell(token, content, row, column, heads[column])
                above[column] = token
                if column == 0 and grouped and row is not None:
                    _new_group(found, row)
            column += 1
        elif token.type == "td_close":
            token.tag = "th" if column == 1 else "td"
        if not (skipped and token.type in ("td_open", "td_close")) and not (
            skipped and token.type == "inline"
        ):
            found.append(token)
        if token.type == "td_close":
            skipped = False
    return found


def _new_group(found: list[Token], row: Token) -> None:
    """Begin a part of the table at a row; the cell that is joined downward stands in it."""
    start = next(n for n in range(len(found) - 1, -1, -1) if found[n] is row)
    before = found[start - 1]
    if before.type == "tbody_open":
        before.attrSet("class", "group")
        return
    opened = _element("tbody_open", "tbody", 1, {"class": "group"})
    found[start:start] = [_element("tbody_close", "tbody", -1), opened]


def _cell(token: Token, content: Token, row: Token | None, column: int, head: _Head) -> None:
    name = _taken(content)
    if name and row is not None:
        row.attrSet("id", name)
    _breakable(content)
    if column == 0:
        token.tag = "th"
        token.attrSet("scope", "row")
    else:
        token.attrSet("data-label", head.text)
    _classed(token, head.kind)
    if "right" in str(token.attrs.get("style", "")):
        _classed(token, "num")


def _breakable(content: Token) -> None:
    """Let a long name be broken behind an underscore or a point, but no date or identifier."""
    shown: list[Token] = []
    for child in content.children or ():
        shown += _broken(child.content) if child.type == "text" else [child]
    content.children = shown


def _broken(text: str) -> Iterator[Token]:
    for place, piece in enumerate(_BREAKS.split(text)):
        if place:
            yield _inline("html_inline", "<wbr>")
        for number, part in enumerate(_WHOLE.split(piece)):
            if number % 2 and len(part) <= _LONGEST:
                yield _inline("html_inline", f'<span class="whole">{part}</span>')
            elif part:
                yield _inline("text", part)


def _inline(kind: str, text: str) -> Token:
    from markdown_it.token import Token

    return Token(kind, "", 0, content=text)


def _named(heading: Token, content: Token) -> None:
    if PAGE in content.content:
        heading.attrSet("class", "page")
    if name := _taken(content):
        heading.attrSet("id", name)


def _taken(content: Token) -> str:
    """Take the marks out of a token's text; return the name that one of them gave."""
    match = _ID.search(content.content)
    content.content = _ANY.sub("", content.content)
    for child in content.children or ():
        if END in child.content:
            child.content = _ANY.sub("", child.content)
    return match[1] if match else ""


def _plain(content: Token) -> str:
    return "".join(child.content for child in content.children or ())


def _classed(token: Token, name: str) -> None:
    if name:
        token.attrJoin("class", name)


def _element(
    kind: str, tag: str, nesting: Literal[-1, 1], attrs: dict[str, str] | None = None
) -> Token:
    from markdown_it.token import Token

    token = Token(kind, tag, nesting, block=True)
    token.attrs.update(attrs or {})
    return token


def links_to_html(tokens: list[Token]) -> Iterator[Token]:
    """Yield the tokens; links to .md files lead to the .html files beside them."""
    for token in tokens:
        for child in token.children or ():
            target = child.attrs.get("href")
            if child.type == "link_open" and isinstance(target, str):
                child.attrSet("href", re.sub(r"\.md(?=#|$)", ".html", target))
        yield token
