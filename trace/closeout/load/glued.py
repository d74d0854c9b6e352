"""Signs that libyaml takes for YAML's own where the standard says that they are part of a text.

A ``#`` begins a comment only behind white space, and a ``?`` announces a key only before white
space (YAML 1.2.2, 6.6 and 7.4.2). libyaml takes them glued to a quote, a bracket or a sign as well,
so that ``"5 h"#, at_most: 7 h`` silently loses its second limit.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

# Behind these a token of libyaml may end, so that it looks for a comment right there.
_COMMENT = re.compile(r"""#(?<=["'\[\]{},:?|>+\-0-9]#)""")
_HEADER = re.compile(r"[|>][-+0-9]*#")
_BREAK = re.compile(r"[\r\n]")
_KEY = re.compile(r"\?(?<=[\s\[{,]\?)(?=[^\s])")


def glued_signs(text: str) -> Iterator[tuple[str, int]]:
    """Yield each sign that is glued to what stands beside it, ``#`` or ``?``, and where it stands.

    The place is a number of characters from the start. The text is scanned token by token only
    where such a sign stands in it at all.

    Raises:
        yaml.YAMLError: the text is no YAML.
    """
    if not (_COMMENT.search(text) or _KEY.search(text)):
        return
    import yaml
    from yaml._yaml import CParser

    behind = 0
    for token in iter(CParser(text).get_token, None):
        start, end = token.start_mark.index, token.end_mark.index
        yield from (("#", at) for at in _comments(text, behind, start))
        behind = max(behind, end)
        if token.__class__ is yaml.KeyToken and _KEY.match(text, start):
            yield "?", start
        header = _HEADER.match(text, start) if token.__class__ is yaml.ScalarToken else None
        if header and getattr(token, "style", None) in ("|", ">"):
            yield "#", header.end() - 1


def _comments(text: str, start: int, end: int) -> Iterator[int]:
    """Yield where a comment between two tokens begins with no white space before it."""
    at = text.find("#", start, end)
    while at >= 0:
        if at and not text[at - 1].isspace():
            yield at
        line = _BREAK.search(text, at, end)
        at = text.find("#", line.end(), end) if line else -1
