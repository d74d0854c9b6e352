"""From a unit text to its scale: points, levels and linear units."""

from __future__ import annotations

import re
from fractions import Fraction

from closeout.measure.expression import parse
from closeout.measure.level import read_level
from closeout.measure.linear import coherent
from closeout.measure.scale import LINEAR, POINT, TEMPERATURE, Scale, UnitError
from closeout.measure.symbols import POINTS, plain
from closeout.model.amount import shorten

LONGEST = 80

_GAUGE = re.compile(
    r"(?i)\b(?:([kMh]?Pa|m?bar)(?:g\b|\s*\(\s*g\s*\)|_g\b)|psi\s*(?:g\b|\(\s*g\s*\)))|\bgau?ge\b"
)
_ARC = {
    "'": "arcmin, or m (1 ft is 0.3048 m)", "\u2032": "arcmin", "\u2033": "arcsec",
    '"': "arcsec, or mm (1 in is 25.4 mm)",
}  # fmt: skip
_SUM = re.compile(r"\s\+|\+\s|\s-\s")
_DECIBEL = re.compile(r"(?i)dB(?![a-z]*yte)")


def check_shape(text: str) -> None:
    """Refuse a text that is too long or has control characters, before anything else is done.

    Raises:
        UnitError: it is or has.
    """
    if len(text) > LONGEST:
        raise UnitError(
            f"{shorten(text)} is too long a unit", f"write at most {LONGEST} characters"
        )
    if not text.isprintable():
        raise UnitError(
            f"{shorten(text)} has a character that cannot be printed", "write it on one line"
        )


def read(text: str) -> Scale:
    """Return what a unit text means.

    Raises:
        UnitError: it has no meaning, or more than one.
    """
    check_shape(text)
    text = text.strip()
    _check_traps(text)
    if text in _ARC:
        raise UnitError(f"{shorten(text)} is no unit symbol here", f"write {_ARC[text]}")
    if plain(text) in POINTS:
        factor, offset = POINTS[plain(text)]
        return Scale(TEMPERATURE, factor, offset, POINT, TEMPERATURE)
    folded = text.replace("\u00b5", "u").replace("\u03bc", "u")
    if folded.startswith("dB"):
        return read_level(folded)
    if re.search(r"\bdB", folded):
        raise UnitError(
            f"{shorten(text)} multiplies a level",
            "a level has no factor; write dB/km for dB per unit",
        )
    ratio, dimension = coherent(parse(text))
    return Scale(dimension, ratio, Fraction(0), LINEAR, dimension)


def _check_traps(text: str) -> None:
    gauge = _GAUGE.search(text)
    if gauge:
        unit = gauge[1] or "kPa"
        raise UnitError(
            f"{shorten(text)} is a gauge pressure: its reference is not stated",
            f"state the absolute pressure, in {unit}",
        )
    if _SUM.search(text):
        cure = "write one amount with one unit"
        if _DECIBEL.search(text):
            cure += "; levels do not add: add the powers in W in an analysis"
        raise UnitError(f"{shorten(text)} is a sum, and no unit", cure)
