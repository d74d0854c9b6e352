"""From bytes to text: UTF-8 without a mark, without control characters, of bounded size."""

from __future__ import annotations

import re
from collections.abc import Iterator

from closeout.load.file_problems import MOST_PROBLEMS, first, problem
from closeout.model.problem import Problem

LARGEST_FILE = 16 * 1024 * 1024

# All of category Cc but tab, line feed and carriage return; the line and paragraph separators,
# which libyaml takes for line breaks and an editor does not; the controls of the bidirectional
# algorithm (Unicode Standard Annex 9), which make a text look other than it reads; the byte order
# mark and the noncharacters that libyaml refuses.
CONTROL = (
    "\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff\ufffe\uffff"
)
find_control = re.compile(f"[{CONTROL}]").search
_control = re.compile(f"[{CONTROL}]")
_ASCII_CONTROL = bytes(code for code in (*range(0x20), 0x7F) if code not in (0x09, 0x0A, 0x0D))
_BREAK = re.compile("\r\n|\r|\n")
_UTF_16_OR_32 = (b"\xff\xfe", b"\xfe\xff", b"\x00\x00\xfe\xff")
_UTF_8_MARK = b"\xef\xbb\xbf"


def decoded(data: bytes) -> tuple[str | None, list[Problem]]:
    """Return the text of a file and what is wrong with its characters.

    The text is None where it cannot be read at all. A control character is replaced (one for one,
    so that places stay), so that the rest can be looked at.
    """
    if len(data) > LARGEST_FILE:
        return None, [_too_large(len(data))]
    problems = []
    if data.startswith(_UTF_8_MARK):
        data = data[len(_UTF_8_MARK) :]
        problems.append(
            problem("encoding", 1, 1, "the file begins with a byte order mark", _SAVE_AS)
        )
    elif data.startswith(_UTF_16_OR_32) or _looks_wide(data):
        message = "the file is not UTF-8 but, by its first bytes, UTF-16 or UTF-32"
        return None, [problem("encoding", 1, 1, message, _SAVE_AS)]
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line, column = place(data[: error.start].decode("utf-8"))
        message = f"the file is not UTF-8: byte 0x{data[error.start]:02x} at {error.start}"
        return None, [*problems, problem("encoding", line, column, message, _SAVE_AS)]
    if _may_hold_control(data):
        problems += _control_problems(text)
        text = _control.sub("\ufffd", text)
    return text, problems


_SAVE_AS = "save the file as UTF-8 without a byte order mark"


def _looks_wide(data: bytes) -> bool:
    # An ASCII character in UTF-16 or UTF-32 has a zero byte beside it.
    return len(data) > 1 and (data[0] == 0) != (data[1] == 0)


def _may_hold_control(data: bytes) -> bool:
    # Deleting them from the bytes is ten times as fast as a search by character class.
    return not data.isascii() or len(data.translate(None, _ASCII_CONTROL)) != len(data)


def _control_problems(text: str) -> list[Problem]:
    def problems() -> Iterator[Problem]:
        line, start, seen = 1, 0, 0
        for match in _control.finditer(text):
            for found in _BREAK.finditer(text, seen, match.start()):
                line, start = line + 1, found.end()
            seen = match.start()
            yield control_problem(match[0], line, match.start() - start + 1)

    return first(problems(), MOST_PROBLEMS + 1)


def control_problem(character: str, line: int, column: int) -> Problem:
    """Return the problem of a control character at a place."""
    name = f"U+{ord(character):04X}"
    message = f"control character {name}"
    return problem("control-character", line, column, message, "remove it, or write it in words")


def place(before: str) -> tuple[int, int]:
    """Return line and column, both from 1, of what follows a text."""
    breaks = list(_BREAK.finditer(before))
    return len(breaks) + 1, len(before) - (breaks[-1].end() if breaks else 0) + 1


def _too_large(size: int) -> Problem:
    message = f"the file has {size} bytes, more than {LARGEST_FILE}"
    return problem("too-large", 1, 1, message, "split it into several files")
