"""Texts of a project made harmless for a terminal, for Markdown and for a spreadsheet.

HTML is escaped by the templates' own autoescape.
"""

from __future__ import annotations

import re
import textwrap
import unicodedata

# Other, unassigned and separators: what is invisible, moves the cursor or turns the writing around.
_HIDDEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
# The columns of running text, at most: longer lines are hard to read.
RUNNING_TEXT = 120
_BLANKS = re.compile(r"[ \t\r\n]+")


def safe(text: str) -> str:
    r"""Return a text with every control, format and bidirectional character shown as an escape.

    An escape character becomes ``\x1b``, a right-to-left override ``\u202e``, a newline ``\n``.
    """
    if text.isprintable():
        return text
    return "".join(_shown(character) for character in text)


def flow(text: str) -> str:
    """Return a text of several lines as one safe line; for statements, reasons and messages."""
    return safe(_BLANKS.sub(" ", text).strip())


def safe_lines(text: str) -> list[str]:
    """Return the lines of a text, each of them safe; for tracebacks and docstrings."""
    return [safe(line) for line in text.replace("\r\n", "\n").expandtabs(4).split("\n")]


def _shown(character: str) -> str:
    if unicodedata.category(character) not in _HIDDEN:
        return character
    return character.encode("unicode_escape").decode("ascii")


def columns(text: str) -> int:
    """Return how many columns of a terminal a safe text takes."""
    if text.isascii():
        return len(text)
    return sum(_columns_of(character) for character in text)


def _columns_of(character: str) -> int:
    if unicodedata.combining(character) or unicodedata.category(character) == "Mn":
        return 0
    return 2 if unicodedata.east_asian_width(character) in "WF" else 1


def cut(text: str, width: int) -> str:
    """Return a safe text cut to so many columns, with ``...`` where something is missing."""
    if columns(text) <= width:
        return text
    if width <= 3:
        return "." * max(width, 0)
    taken, used = [], 0
    for character in text:
        used += _columns_of(character)
        if used > width - 3:
            break
        taken.append(character)
    return "".join(taken).rstrip() + "..."


def pad(text: str, width: int) -> str:
    """Return a safe text filled with spaces to so many columns."""
    return text.ljust(width if text.isascii() else width + len(text) - columns(text))


class Markup(str):
    """Markdown that is meant as such; :func:`markdown` leaves it alone."""

    __slots__ = ()


_MARKS = re.compile(r"[\\`*\[\]<>|~&$@]|(?<![^\W_])_|_(?![^\W_])|:(?=//)|(?<=www)\.", re.IGNORECASE)
_ENTITIES = {"<": "&lt;", ">": "&gt;", "&": "&amp;"}
# What would begin a heading, a list, a rule or the underline of a heading.
_BLOCK_START = re.compile(r"^( ?)(?:([#+=-])(?=$|[ #+=-])|([0-9]+)(?=[.)](?: |$)))")


def markdown(text: object) -> str:
    """Return a text as one line of Markdown in which nothing of it is markup (CommonMark, GFM)."""
    if isinstance(text, Markup):
        return text
    one_line = safe(_BLANKS.sub(" ", str(text)))
    line = _MARKS.sub(lambda m: _ENTITIES.get(m[0], "\\" + m[0]), one_line)
    return _BLOCK_START.sub(_escape_block, line)


def _escape_block(match: re.Match[str]) -> str:
    return f"{match[1]}\\{match[2]}" if match[2] else f"{match[1]}{match[3]}\\"


def fenced(text: str, language: str = "text") -> Markup:
    """Return a text of several lines as a fenced code block of Markdown."""
    lines = safe_lines(textwrap.dedent(text).strip("\n"))
    longest = max((len(run) for line in lines for run in re.findall(r"`+", line)), default=0)
    fence = "`" * max(3, longest + 1)
    return Markup("\n".join([f"{fence}{language}", *lines, fence]))


def cell(text: str) -> str:
    """Return a text for a cell of a spreadsheet: an apostrophe before what would be a formula."""
    shown = flow(text)
    return "'" + shown if shown[:1] in _FORMULA else shown


_FORMULA = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")  # fmt: skip


def count(number: int, noun: str, plural: str | None = None) -> str:
    """Return ``1 analysis`` or ``2 analyses``."""
    return f"{number} {noun if number == 1 else plural or noun + 's'}"


def work(computed: int, stored: int) -> str:
    """Return how many answers a run computed, and how many came from the store."""
    return f"{count(computed, 'evaluation')} run, {stored} reused"
