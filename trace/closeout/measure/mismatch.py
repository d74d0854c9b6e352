"""The refusal of a unit of the wrong dimension, with the likeliest correction."""

from __future__ import annotations

import re

from closeout.measure.reading import read
from closeout.measure.scale import (
    IN_BAND,
    LEVEL,
    LEVEL_DIFFERENCE,
    LEVEL_OF,
    LINEAR,
    POINT,
    RATIO,
    TEMPERATURE,
    Scale,
    UnitError,
    describe,
    named,
)
from closeout.measure.symbols import GAINS
from closeout.model.amount import shorten

# Pairs that people confuse, by dimension in either order.
_CONFUSED = {
    frozenset({"time current", "length^2 mass time^-2"}): (
        "A h is charge and W h is energy: multiply by the voltage in the analysis"
    ),
    frozenset({"mass", "length time^-2"}): "g is the gram: write g0 for standard gravity",
    frozenset({"time current", TEMPERATURE}): "C is the coulomb: write degC for a temperature",
    frozenset({"time^-1 angle", "time^-1"}): (
        "write rpm or deg/s for a turning rate and Hz for a frequency; a turn is 2 pi rad"
    ),
    frozenset({"angle", RATIO}): "an angle has a unit: write deg or rad",
    frozenset({"count", RATIO}): "write count after a number of things, nothing after a ratio",
}
_RATES = {"time^-1 data", "time^-1 symbol", "time^-1", "time^-1 count"}


def mismatch(
    shown: str, source: str, one: Scale, target: str, other: Scale, difference: bool = False
) -> UnitError:
    """Return the error for a text ``shown`` in the unit ``source`` that is wanted in ``target``.

    With ``difference`` it is wanted as a difference of two values in ``target``.
    """
    place = f" in {shorten(shown or source)}" if (shown or source).strip() else ""
    expected = "a difference" if difference else named(other.dimension)
    if target.strip():
        expected += f" in {shorten(target)}"
    if _is_unit(source) or not _is_unit(target):
        message = f"wrong dimension{place}: {named(one.dimension)} is given, {expected} expected"
    else:
        message = f"unit missing{place}: {expected} expected"
    if difference and other.kind != LINEAR:
        return UnitError(message, f"write the difference in {'K' if other.kind == POINT else 'dB'}")
    return UnitError(message, _cure(source, one, target, other, shown))


def _is_unit(text: str) -> bool:
    return text.strip() not in ("", "1")


# Symbols that are read by the letter, and what is written in their place where that fits.
_BY_THE_LETTER = (
    (re.compile(r"\bC\b"), "K", "C is the coulomb"),
    (re.compile(r"\bmK\b"), "(m K)", "mK is the millikelvin"),
    (re.compile(r"\bS\b"), "symbol", "S is the siemens"),
    (re.compile(r"^\s*S\s*/\s*s\s*$"), "Hz", "S is the siemens"),
    (re.compile(r"\bh\b"), "H", "h is the hour"),
    (re.compile(r"\bF\b"), "K", "F is the farad"),
)


def _by_the_letter(text: str, dimensions: set[str]) -> str | None:
    """Return what was probably meant by a unit that another reading of one symbol would fit."""
    for symbol, instead, reason in _BY_THE_LETTER:
        meant = symbol.sub(instead, text)
        if meant == text:
            continue
        try:
            scale = read(meant)
        except UnitError:
            continue
        if scale.dimension in dimensions:
            return f"{reason}: write {meant}"
    return None


def _cure(source: str, one: Scale, target: str, other: Scale, shown: str) -> str:
    if source.strip() == "N/A":
        return "N/A is newton for each ampere; where a value does not apply, leave the key out"
    meant = _by_the_letter(source, {other.dimension}) or _by_the_letter(target, {one.dimension})
    if meant:
        return meant
    pair = {one.dimension, other.dimension}
    confused = _CONFUSED.get(frozenset(pair))
    if confused:
        return confused
    if pair <= _RATES:
        return "bit, symbol and cycle differ: convert with the rate of the code"
    if LEVEL in (one.kind, other.kind) or LEVEL_DIFFERENCE in pair:
        return _level_cure(one, target, other)
    if not _is_unit(source):
        return f"write {shown.strip() or 'the number'} {target}"
    if not _is_unit(target):
        return "write a plain number, or a ratio in %"
    return f"write it in a unit of {describe(other.dimension)}, as {target}"


def _level_cure(one: Scale, target: str, other: Scale) -> str:
    if one.kind == other.kind == LEVEL:
        if one.dimension.partition(IN_BAND)[0] == other.dimension.partition(IN_BAND)[0]:
            return f"state it in the same reference bandwidth: {target}"
        if {one.dimension, other.dimension} == {GAINS["dBi"], GAINS["dBic"]}:
            return f"the polarisations differ: state the gain in {target}"
        return f"state it to the same reference: {target}"
    if one.kind == other.kind:
        return f"a dB is a logarithm and no factor: write it in {target or 'a plain number'}"
    if LEVEL_DIFFERENCE in (one.dimension, other.dimension):
        return f"dB is a difference of levels, or a ratio: write {target} if that is meant"
    level, linear = (one, other) if one.kind == LEVEL else (other, one)
    if level.dimension.removeprefix(LEVEL_OF) == linear.dimension:
        return f"a level is a logarithm: state both in {target}"
    return f"write it in {target}"
