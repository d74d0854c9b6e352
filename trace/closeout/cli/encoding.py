"""Output to a terminal that cannot show every character: other characters replace it."""

from __future__ import annotations

import codecs
import sys

# What an engineer would write instead; everything else becomes its plain letters, or a "?".
INSTEAD = {
    "\u00b5": "u", "\u03bc": "u", "\u03a9": "ohm", "\u2126": "ohm", "\u00b0": "deg ",
    "\u2103": "degC", "\u00b1": "+/-", "\u00d7": "x", "\u00b7": "*", "\u22c5": "*",
    "\u2264": "<=", "\u2265": ">=", "\u2212": "-", "\u2013": "-", "\u2014": "-",
    "\u2018": "'", "\u2019": "'", "\u201c": '"', "\u201d": '"', "\u2026": "...", "\u221a": "sqrt",
    "\u0394": "Delta ", "\u03c3": "sigma", "\u03c0": "pi", "\u00b2": "^2", "\u00b3": "^3",
}  # fmt: skip
NAME = "closeout.instead"


def _instead(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    failed = error.object[error.start : error.end]
    return "".join(map(_one, failed)), error.end


def _one(character: str) -> str:
    known = INSTEAD.get(character)
    if known is None:
        import unicodedata

        plain = unicodedata.normalize("NFKD", character).encode("ascii", "ignore").decode()
        known = plain if plain.isprintable() and plain else "?"
    return known


def show_what_can_be_shown() -> None:
    """Let standard output and error replace each character that their encoding does not have."""
    codecs.register_error(NAME, _instead)
    for stream in (sys.stdout, sys.stderr):
        # A stream that a caller put in place may take any text.
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors=NAME)


def print_utf_8(text: str) -> None:
    """Print what a program reads: in UTF-8, whatever the terminal shows (RFC 8259, 8.1: JSON)."""
    sys.stdout.flush()
    sys.stdout.buffer.write(text.encode("utf-8"))
    sys.stdout.buffer.flush()
