"""The grammar of linear unit texts.

    text     = [ "1" ]  |  [ "1" ] "/" factor { "/" factor }  |  product { "/" factor }
    product  = factor { ( " " | "*" | "·" ) factor }
    factor   = ( symbol | "(" text ")" ) [ exponent ]
    exponent = [ "^" | "**" ] [ "-" ] digits           as m^2, m**2, m2, s^-1, s-1; or m², s⁻¹

``a/b/c`` is a/(b c). A product behind a slash (``W/m^2 K``) is read both ways by people: it is
refused and wants parentheses (SI Brochure, 9th edition, 5.2, from memory).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from fractions import Fraction
from typing import NoReturn

from closeout.measure.advice import instead_of
from closeout.measure.scale import UnitError
from closeout.measure.symbols import POINTS, SPELLINGS, Factor, plain
from closeout.model.amount import shorten

LARGEST_EXPONENT = 9
DEEPEST = 5

Factors = Mapping[Factor, int]

_WORD = re.compile(
    r"[um\u00b5\u03bc]?g0(?![0-9A-Za-z])|[A-Za-z\u00b5\u03bc\u03a9\u2126\u00b0\u2103_]+|%"
)
# degC in two words would be read by the letter: a degree of angle times a coulomb.
_DEGREES = re.compile(r"(?:\bdeg(?:ree)?s?|°)\s*[\s*·⋅.]\s*([CFK])(?![A-Za-z])")
_READ_AS = {"C": "coulomb", "F": "farad", "K": "kelvin"}
_NUMBER = re.compile(r"[0-9]{1,9}(?:\.[0-9]{1,9})?")
_EXPONENT = re.compile(r"(?:\^|\*\*)\s*([+-]?[0-9.]*)|(-?[0-9]+)|(⁻?[⁰¹²³⁴⁵⁶⁷⁸⁹]+)")
_ONE_OVER = re.compile(r"\s*(?P<one>1)?\s*(?:(?P<slash>/\s*)|(?P<end>$|(?=\))))")
_RAISED = str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "-0123456789")
_SEPARATOR = re.compile(r"\s*([/*·⋅)])\s*|(\s+)")


def parse(text: str, band: bool = False) -> Factors:
    """Return the factors of a linear unit text with their exponents; empty for a plain number.

    Args:
        band: allow one bandwidth with a number, as in ``W/m^2/4kHz`` (references of levels).

    Raises:
        UnitError: no such unit, an exponent out of bounds, or an ambiguous quotient.
    """
    _check_words(text)
    reader = _Reader(text, band)
    factors = reader.text_of(0)
    if reader.at < len(text):
        reader.refuse("a parenthesis is closed that was not opened", "remove the )")
    _check_gram(text, factors)
    return {factor: exponent for factor, exponent in factors.items() if exponent}


def _check_words(text: str) -> None:
    spaced = _DEGREES.search(text)
    if spaced:
        scale, alone = spaced[1], spaced[0] == text.strip()
        kelvin = _DEGREES.sub("K", text)
        raise UnitError(
            f"{shorten(spaced[0])} in {shorten(text)} would be a degree of angle times a"
            f" {_READ_AS[scale]}",
            f"write {'deg' + scale if alone and scale != 'K' else kelvin}"
            + (", or K for a difference" if alone and scale != "K" else ""),
        )
    words = dict.fromkeys(_WORD.findall(text))
    points = [word for word in words if plain(word) in POINTS]
    if points:
        kelvin = text
        for word in points:
            kelvin = kelvin.replace(word, "K")
        raise UnitError(
            f"{points[0]} in {shorten(text)} is a point on a scale and must be alone",
            f"write {kelvin}: a difference or a product is in K",
        )
    unknown = [word for word in words if plain(word) not in SPELLINGS][:4]
    if unknown:
        named = " and ".join(shorten(word, 24) for word in unknown)
        where = "" if unknown == [text] else f" in {shorten(text)}"
        raise UnitError(
            f"{named}{where} {'is no unit' if len(unknown) == 1 else 'are no units'}",
            "; ".join(_cure(word, len(unknown) > 1) for word in unknown),
        )


def _cure(word: str, named: bool) -> str:
    cure = instead_of(plain(word))
    return f"for {shorten(word, 24)} {cure}" if named else cure


def _check_gram(text: str, factors: Factors) -> None:
    """A power spectral density of acceleration in g^2/Hz would be read as grams squared."""
    powers = {factor.text: exponent for factor, exponent in factors.items()}
    if powers.get("g") == 2 and any(f.symbol.text == "Hz" for f in factors):
        raise UnitError(
            f"g in {shorten(text)} is the gram", "write g0^2/Hz: g0 is standard gravity"
        )


class _Reader:
    """Reads one text from left to right by recursive descent."""

    def __init__(self, text: str, band: bool) -> None:
        self.text = text
        self.band = band
        self.at = 0

    def refuse(self, message: str, cure: str) -> NoReturn:
        raise UnitError(f"{message} in {shorten(self.text)}", cure)

    def text_of(self, depth: int) -> dict[Factor, int]:
        """Read up to the end or the closing parenthesis."""
        if depth > DEEPEST:
            self.refuse("parentheses are too deep", f"use at most {DEEPEST}, one in another")
        factors: dict[Factor, int] = {}
        begin = self.at
        behind = self._one_over()
        if behind is None:
            return factors
        above, below = "1", self.at
        while True:
            _merge(factors, self._factor(depth), -1 if behind else 1)
            self._bound(factors)
            end = self.at
            separator = self._separator()
            if separator in ("", ")"):
                return factors
            if separator == " " and behind:
                self._ambiguous(above, self.text[below:end], depth)
            if separator == "/" and not behind:
                behind, above, below = True, self.text[begin:end].strip(), self.at

    def _one_over(self) -> bool | None:
        """Read the numerator 1 and its slash, if it is there; None where nothing follows."""
        one = _ONE_OVER.match(self.text, self.at)
        if one is None:
            return False
        if one["end"] is not None and not one["one"] and self.at:
            self.refuse("the parentheses are empty", "remove them")
        self.at = one.end()
        return True if one["slash"] else None

    def _factor(self, depth: int) -> dict[Factor, int]:
        if self.text[self.at : self.at + 1] == "(":
            self.at += 1
            inner = self.text_of(depth + 1)
            if self.text[self.at : self.at + 1] != ")":
                self.refuse("a parenthesis is not closed", "close it with )")
            self.at += 1
        else:
            inner = {self._symbol(): 1}
        exponent = self._exponent()
        return {factor: power * exponent for factor, power in inner.items()}

    def _symbol(self) -> Factor:
        number = _NUMBER.match(self.text, self.at)
        if number:
            return self._bandwidth(number[0], number.end())
        word = _WORD.match(self.text, self.at)
        if word is None:
            self._unexpected()
        self.at = word.end()
        return SPELLINGS[plain(word[0])]

    def _bandwidth(self, number: str, end: int) -> Factor:
        word = _WORD.match(self.text, end + (self.text[end : end + 1] == " "))
        factor = SPELLINGS[plain(word[0])] if word else None
        if not (self.band and word and factor and factor.symbol.text == "Hz"):
            self.refuse(
                f"the number {number} is", "write symbols only: a factor belongs to the number"
            )
        self.at = word.end()
        return Factor(factor.prefix, factor.symbol, Fraction(number))

    def _exponent(self) -> int:
        found = _EXPONENT.match(self.text, self.at)
        if found is None:
            return 1
        if not any(found.groups()):
            self.refuse("an exponent is missing", "write digits after the sign, as m^2")
        self.at = found.end()
        digits = (found[1] or found[2] or found[3] or "").translate(_RAISED)
        if not re.fullmatch(r"[+-]?[1-9]", digits):
            self.refuse(
                f"the exponent {shorten(digits, 12)} is no whole number from -9 to 9, without 0",
                "write a small whole exponent after the symbol, as m^2 or s^-1; g0^2 for g0",
            )
        return int(digits)

    def _separator(self) -> str:
        """Read what stands between factors: a slash, a product (as " "), or the end ("", ")")."""
        found = _SEPARATOR.match(self.text, self.at)
        if found is None:
            if self.at < len(self.text):
                self._unexpected()
            return ""
        if found[1] == ")":
            self.at = found.start(1)
            return ")"
        self.at = found.end()
        return "/" if found[1] == "/" else " "

    def _bound(self, factors: dict[Factor, int]) -> None:
        if any(abs(exponent) > LARGEST_EXPONENT for exponent in factors.values()):
            self.refuse("an exponent passes 9", "correct the unit")

    def _ambiguous(self, above: str, below: str, depth: int) -> NoReturn:
        start = self.at
        self._factor(depth)
        after = self.text[start : self.at]
        more = after if above == "1" else f"{above} {after}"
        inner = re.sub(r"\s*/\s*", " ", below)
        self.refuse(
            "a product follows a slash", f"write {above}/({inner} {after}) or {more}/{below}"
        )

    def _unexpected(self) -> NoReturn:
        sign = self.text[self.at : self.at + 1]
        if sign == "":
            self.refuse("nothing follows the last sign", "remove it")
        if sign == "(":
            self.refuse("a sign is missing before a parenthesis", "write a space, * or / before it")
        if sign in "-.,×" and self.text[self.at + 1 :].strip():
            spaced = re.sub(r"[-.,×](?=\D)", " ", self.text)
            self.refuse(f"{shorten(sign)} is between symbols", f"write {spaced}, with a space")
        self.refuse(
            f"{shorten(sign)} is unexpected",
            "write symbols with space, *, /, exponents and parentheses, as W/(m^2 K)",
        )


def _merge(into: dict[Factor, int], factors: Factors, sign: int) -> None:
    for factor, exponent in factors.items():
        into[factor] = into.get(factor, 0) + sign * exponent
