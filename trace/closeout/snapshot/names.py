"""Names of files: which are looked at, which are refused, how they are shown."""

from __future__ import annotations

import errno
import os
import unicodedata

# The two folders that a project consists of.
JUDGED = ("requirements", "analyses")
# A path with one of these endings is meant to be read as text.
READ_AS_TEXT = (".yaml", ".py", ".md")

# Control characters, separators of lines and paragraphs, and bytes that are no UTF-8 (lone
# surrogates in Python's reading of file names).
_REFUSED = frozenset({"Cc", "Zl", "Zp", "Cs"})
# They reorder what follows on a screen, so that a path is not what it seems to be: the explicit
# formatting characters of the Unicode bidirectional algorithm (Unicode Annex 9, section 2).
_REORDERING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def is_passed_over(name: str) -> bool:
    """Hidden names (editors' and git's own) and compiled modules are no part of a project."""
    return name.startswith(".") or name == "__pycache__"


def is_judged(path: str) -> bool:
    """Whether a path lies in one of the judged folders and no part of it is passed over."""
    parts = path.split("/")
    return parts[0] in JUDGED and not any(is_passed_over(part) for part in parts)


def is_bad(name: str) -> bool:
    """Whether a name cannot be printed on a line, or is no UTF-8."""
    return any(_is_refused(character) for character in name)


def shown(path: str) -> str:
    r"""Return a path for a message: on one line, as ``analyses/a\x0ab.py`` or ``\xff.yaml``."""
    return "".join(_escaped(c) if _is_refused(c) else c for c in path)


def list_of(paths: list[str]) -> str:
    """Return the paths for a message, all of them, between commas."""
    return ", ".join(shown(path) for path in paths)


def _is_refused(character: str) -> bool:
    return unicodedata.category(character) in _REFUSED or character in _REORDERING


def _escaped(character: str) -> str:
    code = ord(character)
    if 0xDC80 <= code <= 0xDCFF:  # a byte of the name that is no UTF-8, PEP 383
        return f"\\x{code - 0xDC00:02x}"
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"


def plain_parts(path: str) -> list[str]:
    """Return the parts of a relative path that names something below a root, without detours.

    Raises:
        OSError: it is absolute, empty, goes up, or cannot be the name of a file.
    """
    parts = path.split("/")
    if any(part in ("", ".", "..") for part in parts) or "\0" in path:
        raise OSError(errno.EINVAL, "not a plain path from the project's root", shown(path))
    try:
        os.fsencode(path)
    except UnicodeEncodeError:
        raise OSError(errno.EINVAL, "cannot be the name of a file", shown(path)) from None
    return parts
