"""Units as they stand behind a number in a sentence: as symbols, or in words."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

from closeout.measure.symbols import GAINS, LEVELS, POINTS, SPELLINGS, plain

# Symbols that stand in a sentence for something else: an article.
_NO_SYMBOLS = frozenset({"a"})
_PREFIXES = {
    "": "", "nano": "n", "micro": "u", "milli": "m", "centi": "c", "hecto": "h", "kilo": "k",
    "mega": "M", "giga": "G", "tera": "T",
}  # fmt: skip
_PREFIXED = {
    "metre": "m", "meter": "m", "gram": "g", "second": "s", "ampere": "A", "amp": "A", "watt": "W",
    "volt": "V", "joule": "J", "newton": "N", "pascal": "Pa", "hertz": "Hz", "ohm": "ohm",
    "byte": "byte", "octet": "byte", "bit": "bit",
    "litre": "L", "liter": "L", "bar": "bar", "farad": "F",
    "henry": "H", "radian": "rad", "tesla": "T", "symbol": "symbol", "electronvolt": "eV",
}  # fmt: skip
# A week has no symbol, so a unit in words says how many of a symbol it is.
_WHOLE = {
    "minute": ("min", 1), "hour": ("h", 1), "day": ("d", 1), "week": ("d", 7),
    "month": ("month", 1), "year": ("a", 1), "tonne": ("t", 1), "kelvin": ("K", 1),
    "decibel": ("dB", 1), "percent": ("%", 1), "degree": ("deg", 1), "turn": ("turn", 1),
    "revolution": ("turn", 1), "arcminute": ("arcmin", 1), "arcsecond": ("arcsec", 1),
    "sec": ("s", 1), "hr": ("h", 1), "hertz": ("Hz", 1), "min": ("min", 1),
    "atmosphere": ("atm", 1),
}  # fmt: skip
_FACTORS = ("h", "m", "s", "A")  # what may follow watt, ampere, newton and volt in a product

_ATOM = re.compile(
    r"[um\u00b5\u03bc]?g0(?![0-9A-Za-z])|[A-Za-z\u00b5\u03bc\u03a9\u2126\u00b0\u2103]+|%"
)
_TOKEN = re.compile(r"[ \u00a0\u2009\u202f]?([^\s,;:\ufffc]+)")
_BETWEEN = re.compile(r"[0-9/*\u00b7\u22c5^()\u207b\u2070\u00b9\u00b2\u00b3\u2074-\u2079.-]*")
_NAME = re.compile(r"[ -]?([a-z]+)")
_DEGREES = re.compile(r"[ -]?(?:degrees?|deg)[ -](celsius|centigrade|fahrenheit|c|f)\b")
_PER_CENT = re.compile(r" per cent\b")
_PER = re.compile(r" per ([a-z]+)")


class UnitFound(NamedTuple):
    """A unit text, how many of it make the unit that is written, and where that ends."""

    unit: str
    times: int
    end: int


def unit_at(text: str, lower: str, at: int) -> UnitFound | None:
    """Return the unit that stands in a text at a place, behind a number; None where none does."""
    found = _in_words(lower, at) or _symbols(text, at)
    if found is None:
        return None
    per = _PER.match(lower, found.end)
    below = _names().get(per[1]) if per else None
    if per is None or below is None or below[1] != 1:
        return found
    unit = f"{found.unit}/{below[0]}" if " " not in found.unit else f"({found.unit})/{below[0]}"
    return UnitFound(unit, found.times, per.end())


def is_symbol(token: str) -> bool:
    """Return whether a token without spaces is made of unit symbols alone."""
    atoms = _ATOM.findall(token)
    if not atoms or token in _NO_SYMBOLS or _BETWEEN.fullmatch(_ATOM.sub("", token)) is None:
        return False
    return all(_known(atom) for atom in atoms)


def _known(atom: str) -> bool:
    word = plain(atom)
    return word in SPELLINGS or word in POINTS or word in LEVELS or word in GAINS


def _symbols(text: str, at: int) -> UnitFound | None:
    """Read symbols, one token after the other: ``W h``."""
    tokens: list[str] = []
    end = at
    if text[at : at + 1] == "-":  # a 5-V supply
        at += 1
    while len(tokens) < 3:
        found = _TOKEN.match(text, end if tokens else at)
        if found is None:
            break
        token = found[1].rstrip(".")
        if token.endswith(")") and token.count("(") < token.count(")"):
            token = token[:-1].rstrip(".")
        if not is_symbol(token) or (tokens and text[found.start()] not in " \u00a0\u2009\u202f"):
            break
        tokens.append(token)
        end = found.start(1) + len(token)
        if token != found[1]:
            break
    return UnitFound(" ".join(tokens), 1, end) if tokens else None


def _in_words(lower: str, at: int) -> UnitFound | None:
    """Read a name: ``days``, ``watt hours``, ``degrees Celsius``."""
    degrees = _DEGREES.match(lower, at)
    if degrees:
        return UnitFound("degF" if degrees[1][0] == "f" else "degC", 1, degrees.end())
    cent = _PER_CENT.match(lower, at)
    if cent:
        return UnitFound("%", 1, cent.end())
    first = _NAME.match(lower, at)
    known = _names().get(first[1]) if first else None
    if first is None or known is None:
        return None
    unit, times = known
    second = _NAME.match(lower, first.end())
    other = _names().get(second[1]) if second else None
    if second and other and times == other[1] == 1 and unit[-1] in "WANV" and other[0] in _FACTORS:
        return UnitFound(f"{unit} {other[0]}", 1, second.end())
    return UnitFound(unit, times, first.end())


@lru_cache(maxsize=1)
def _names() -> dict[str, tuple[str, int]]:
    names = {
        prefix + name: (sign + symbol, 1)
        for prefix, sign in _PREFIXES.items()
        for name, symbol in _PREFIXED.items()
        if sign + symbol in SPELLINGS
    } | _WHOLE
    return names | {name + "s": unit for name, unit in names.items()}
