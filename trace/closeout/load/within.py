"""Places inside a scalar: from a character of its value to that character's line and column.

A value differs from its source in white space (folding, indents) and in the escapes of the two
quoted styles, and in nothing else. So the n-th character of the value that is no white space is the
n-th of the source, with each escape counted as the one character that it stands for.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import islice

from closeout.load.places import Place

_BREAK = re.compile("\r\n|\r|\n")
_CODE_LENGTHS = {"x": 2, "u": 4, "U": 8}
# Escapes that stand for white space: YAML 1.2.2, section 5.7.
_WHITE_ESCAPES = frozenset(" \ttnvfrN_LP")


def within(text: str, start: Place, value: str, offset: int) -> Place:
    """Return line and column, from 1, of ``value[offset]`` in the text of the file.

    ``start`` is where the scalar begins. White space is placed at what follows it; an offset behind
    the end gives the start.
    """
    number = sum(not character.isspace() for character in value[:offset])
    begin = _index(text, start)
    at = next(islice(_characters(text, begin), number, None), begin)
    line, column = start
    last = begin - (column - 1)
    for found in _BREAK.finditer(text, begin, at):
        line, last = line + 1, found.end()
    return line, at - last + 1


def _index(text: str, place: Place) -> int:
    line, column = place
    if line == 1:
        return column - 1
    found = next(islice(_BREAK.finditer(text), line - 2, None), None)
    return (found.end() if found else 0) + column - 1


def _characters(text: str, begin: int) -> Iterator[int]:
    """Yield the places of a scalar's characters that are no white space."""
    style = text[begin : begin + 1]
    if style == "'":
        yield from _single_quoted(text, begin + 1)
        return
    if style == '"':
        yield from _double_quoted(text, begin + 1)
        return
    if style in ("|", ">"):
        header = _BREAK.search(text, begin)
        begin = header.end() if header else len(text)
    for at in range(begin, len(text)):
        if not text[at].isspace():
            yield at


def _single_quoted(text: str, at: int) -> Iterator[int]:
    while at < len(text):
        if text[at] == "'":
            if text[at + 1 : at + 2] != "'":
                return
            yield at
            at += 1
        elif not text[at].isspace():
            yield at
        at += 1


def _double_quoted(text: str, at: int) -> Iterator[int]:
    while at < len(text) and text[at] != '"':
        if text[at] != "\\":
            if not text[at].isspace():
                yield at
            at += 1
            continue
        sign = text[at + 1 : at + 2]
        length = 2 + _CODE_LENGTHS.get(sign, 0)
        if not _is_white_escape(sign, text[at + 2 : at + length]):
            yield at
        at += length


def _is_white_escape(sign: str, code: str) -> bool:
    if sign in _CODE_LENGTHS:
        return chr(int(code, 16)).isspace()
    return sign in _WHITE_ESCAPES or sign.isspace()
