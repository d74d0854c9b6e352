"""Levels in decibels: what follows ``dB`` names the reference (ITU-R V.574, IEC 60027-3).

    dB                  a difference of levels, or a ratio
    dBW dBm dBuV dBHz   a level to one watt, one milliwatt, ...; as dB(W), dB(mW), ...
    dBW/m2 dBuV/m       the rest of the reference behind the name; as dB(W/m^2), dB(uV/m)
    dB(W/m^2/4kHz)      a level in a stated reference bandwidth; of another bandwidth is another
    dBi dBic dBc        a gain or level to something that is no unit
    dB/K                a name: figure of merit G/T, as dB(1/K); no coefficient of temperature
    dB/km dB/deg        linear: so many dB for each kilometre, each degree

Power quantities are 10 log, root-power quantities 20 log. Where neither is settled for a kind of
quantity (dB(km): both are in use), a level compares only with one to the very same reference.
"""

from __future__ import annotations

import re
from decimal import Context, Decimal
from fractions import Fraction
from functools import lru_cache

from closeout.measure.advice import instead_of
from closeout.measure.expression import Factors, parse
from closeout.measure.linear import coherent
from closeout.measure.scale import (
    IN_BAND,
    LEVEL,
    LEVEL_DIFFERENCE,
    LEVEL_OF,
    LINEAR,
    RATIO,
    Scale,
    UnitError,
)
from closeout.measure.symbols import GAINS, LEVELS, PREFIXES
from closeout.model.amount import shorten

# ITU-R V.574, from memory; what stands after J are terms of link budgets, of which 10 log is taken
# (common practice, no source).
POWER = ("W", "W/m^2", "J", "Hz", "m^2", "K", "1/K", "W/K", "J/K", "bit/s", "symbol/s")
# CCITT B.12 A.1.2 (voltage, current, sound pressure, field); ISO 1683 (acceleration, speed,
# force), from memory.
ROOT_POWER = ("V", "A", "V/m", "A/m", "T", "Pa", "m/s^2", "m/s", "N")

_NAME = re.compile(r"dB[A-Za-z]+")
_PARENTHESES = re.compile(r"dB\s?\((?P<reference>.*)\)(?P<band>\s*/\s*[0-9.]*\s*[kMG]?Hz)?")
# Digits enough that a converted number is the nearest double; of powers of ten it is exact.
_LOGARITHM = Context(prec=60)


def read_level(text: str) -> Scale:
    """Return what a text that begins with ``dB`` means; micro signs are already ``u``.

    Raises:
        UnitError: the reference is no unit, or the text multiplies a level.
    """
    if text == "dB" or re.match(r"dB\s*/", text):
        return _difference(text)
    parentheses = _PARENTHESES.fullmatch(text)
    if parentheses:
        return _level(text, parentheses["reference"] + (parentheses["band"] or ""))
    name = _NAME.match(text)
    rest = text[name.end() :] if name else text[2:]
    if name is None or (rest and not re.match(r"\s*/", rest)):
        raise _multiplied(text)
    if name[0] in GAINS:
        return _gain(text, name[0], rest)
    if name[0] not in LEVELS:
        raise _unnamed(text, name[0], rest)
    return _level(text, LEVELS[name[0]] + rest)


def _difference(text: str) -> Scale:
    """dB, the name dB/K, and so many dB per linear unit."""
    if re.search(r"deg[CF]|\u00b0[CF]|\u2103", text):
        raise UnitError(
            f"{shorten(text)} is a coefficient of temperature, for which there is no unit",
            "state the change in dB over a range of temperature; dB/K is the figure of merit G/T",
        )
    factors = parse(text)
    powers = {factor.text: exponent for factor, exponent in factors.items()}
    if powers == {"dB": 1, "K": -1}:
        return _level(text, "1/K")
    if any((exponent > 0) != (name == "dB") for name, exponent in powers.items()):
        raise _multiplied(text)
    ratio, dimension = coherent(factors)
    return Scale(dimension, ratio, Fraction(0), LINEAR, dimension)


def _gain(text: str, name: str, rest: str) -> Scale:
    dimension = GAINS[name]
    if rest:
        factors, width = _bandwidth(text, parse("1" + rest, band=True))
        if name != "dBc" or factors or width is None:
            raise UnitError(
                f"{name} in {shorten(text)} cannot be divided", f"write dB{rest}, or {name} alone"
            )
        dimension += f"{IN_BAND}{width} Hz"
    return Scale(dimension, Fraction(1), Fraction(0), LEVEL, LEVEL_DIFFERENCE)


def _level(text: str, reference: str) -> Scale:
    """A level to a reference that is a unit text."""
    if "dB" in reference:
        raise _multiplied(text)
    factors, width = _bandwidth(text, parse(reference, band=True))
    ratio, dimension = coherent(factors)
    if dimension == RATIO:
        raise UnitError(
            f"{shorten(text)} is a level to a plain number", "write dB, or the unit: dB(W)"
        )
    times = _times_log().get(dimension)
    if times is None:
        dimension += f", reference {ratio}"
    offset = Fraction(0) if times is None else times * _log10(ratio)
    band = "" if width is None else f"{IN_BAND}{width} Hz"
    return Scale(f"{LEVEL_OF}{dimension}{band}", Fraction(1), offset, LEVEL, LEVEL_DIFFERENCE)


def _bandwidth(text: str, factors: Factors) -> tuple[Factors, Fraction | None]:
    """Return the factors without the reference bandwidth, and the bandwidth in hertz.

    A hertz in the denominator is a bandwidth of one hertz: dBm/MHz is a level in 1 MHz.
    """
    bands = [f for f, power in factors.items() if f.symbol.text == "Hz" and power < 0]
    numbered = [factor for factor in factors if factor.times != 1]
    if not bands and not numbered:
        return factors, None
    if len(bands) != 1 or factors[bands[0]] != -1 or numbered not in ([], bands):
        raise UnitError(
            f"{shorten(text)} has no clear reference bandwidth",
            "state one, after a slash: dB(W/m^2/4kHz)",
        )
    (band,) = bands
    width = band.times * (PREFIXES[band.prefix][1] if band.prefix else 1)
    if width <= 0:
        raise UnitError(f"the bandwidth in {shorten(text)} is zero", "state it: dB(W/m^2/4kHz)")
    return {factor: power for factor, power in factors.items() if factor is not band}, width


@lru_cache(maxsize=1)
def _times_log() -> dict[str, int]:
    """10 or 20 by dimension."""
    tens = {coherent(parse(unit))[1]: 10 for unit in POWER}
    return tens | {coherent(parse(unit))[1]: 20 for unit in ROOT_POWER}


def _log10(ratio: Fraction) -> Fraction:
    above, below = Decimal(ratio.numerator), Decimal(ratio.denominator)
    return Fraction(_LOGARITHM.log10(above)) - Fraction(_LOGARITHM.log10(below))


def _multiplied(text: str) -> UnitError:
    cure = "a level has no factor; write dB(W/m^2) for a level, dB/km for dB per unit"
    joined = re.fullmatch(r"dB\s*[-*·⋅ ]\s*([A-Za-z]+)", text)
    if joined and f"dB{joined[1]}" in LEVELS:
        of = "mW" if joined[1] == "m" else joined[1]
        cure = f"write dB{joined[1]}, the level to 1 {of}"
    return UnitError(f"{shorten(text)} multiplies a level", cure)


def _unnamed(text: str, name: str, rest: str) -> UnitError:
    reference = name[2:]
    cure = instead_of(name)
    if reference == "A":
        cure = "write dB(A) for the level to 1 A, dBuA for that to 1 uA"
    elif reference == "d":
        cure = "write dBi: 0 dBd is 2.15 dBi"
    elif not cure.startswith("write dB"):
        cure = f"write dB({reference}{rest}) if {reference} is a unit, else dB"
    where = f" in {shorten(text)}" if rest else ""
    return UnitError(f"{shorten(name)}{where} is no level", cure)
