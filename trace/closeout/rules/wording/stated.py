"""Numbers that a statement gives: with their units, and with the words that make a limit of them.

They are read in digits and in words (twenty-eight days, at least two barriers).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction

from closeout.model.amount import AmountError, read_number
from closeout.rules.wording.sentence import lowered, shalls
from closeout.rules.wording.unit_words import unit_at


class Direction(StrEnum):
    """Which side of a value a limit keeps to."""

    LOWER = "at_least"
    UPPER = "at_most"

    @property
    def opposite(self) -> Direction:
        """The other side."""
        return Direction.UPPER if self is Direction.LOWER else Direction.LOWER


@dataclass(frozen=True, slots=True)
class Stated:
    """A number of a statement: its place, its text, exact value and unit (empty: a plain number).

    ``direction`` is what words of limit beside it make of it (``phrase``, at ``phrase_at``).
    ``condition`` is true where it belongs to a condition ("at a temperature of"), ``tolerance``
    where it is the width of another value, ``mirrored`` where it holds on both sides of zero.
    ``end_of_range`` is 1 for the first end of a range, 2 for the second, 0 outside of one.
    ``times`` is how many of the unit the written one is: a week is seven days.
    """

    start: int
    end: int
    text: str
    number: Fraction
    unit: str
    direction: Direction | None = None
    phrase: str = ""
    phrase_at: int = -1
    condition: bool = False
    tolerance: bool = False
    mirrored: bool = False
    end_of_range: int = 0
    times: int = 1


_SMALL = (
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen"
    " sixteen seventeen eighteen nineteen"
)
_TENS = "twenty thirty forty fifty sixty seventy eighty ninety"
_WORDS = dict(zip(_SMALL.split(), range(20), strict=True)) | dict(
    zip(_TENS.split(), range(20, 100, 10), strict=True)
)
_SCALES = {"hundred": 100, "thousand": 1000, "million": 10**6}
_WORD = "|".join(sorted([*_WORDS, *_SCALES], key=len, reverse=True))
_IN_WORDS = re.compile(rf"(?<![\w-])(?:{_WORD})(?:(?:-| and | )(?:{_WORD}))*(?!\w)")
_IN_DIGITS = re.compile(
    r"(?<![\w.\u00b7/])(?<![A-Za-z]-)(?<![0-9],)(?P<number>[-+\u2212]?"
    r"(?:[0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]+)?"
    r"|[0-9]{1,3}(?:[ \u00a0\u2009\u202f][0-9]{3})+(?![0-9])(?:\.[0-9]+)?"
    r"|(?:0|[1-9][0-9]*),(?:[0-9]{1,2}|[0-9]{4,})|0,[0-9]+"  # a decimal comma
    r"|[0-9]+(?:\.[0-9]+)?(?:[eE][-+]?[0-9]+)?))(?![0-9]|[.,][0-9])"
    r"(?: ?[x\u00d7\u00b7] ?10\^(?P<power>[-\u2212]?[0-9]{1,3})(?![0-9]))?"
)

# 12,500 is twelve thousand five hundred; 2,5 and 0,125 are no thousands.
_DECIMAL_COMMA = re.compile(r"[-+]?(?:0,[0-9]+|[0-9]+,(?:[0-9]{1,2}|[0-9]{4,}))")

_LOWER = (
    "at least|not less than|no less than|not fewer than|no fewer than|not lower than|no lower than"
    "|not smaller than|not below|not under|not shorter than|more than|greater than|higher than"
    "|longer than|not earlier than|no earlier than|at or above|above|over|exceeding|exceed|exceeds"
)
_UPPER = (
    "at most|not more than|no more than|not exceed|not exceeds|not exceeding|not to exceed"
    "|never exceed|up to|up to and including|not above|not greater than|no greater than"
    "|not higher than|no higher than|not longer than|no longer than|not later than|no later than"
    "|less than|fewer than|lower than|smaller than|shorter than|at or below|below|under|within"
)
# What says plainly on which side the limit lies; "above" and "below" may also say where.
_PLAIN = re.compile(
    r"at least|at most|not \.\.\. \w+ than"
    r"|no[t]? (?:less|fewer|lower|more|greater|higher|longer|later|earlier|shorter|smaller) than"
    r"|not exceed\w*|not to exceed|never exceed|up to.*|minimum|maximum"
    r"|(?:less|more|greater|fewer) than|or more|or less|limit"
)
_DIRECTIONS = (
    (Direction.LOWER, re.compile(rf"\b(?P<phrase>{_LOWER}|minimum)(?: of)?(?: a total of)?$")),
    (Direction.UPPER, re.compile(rf"\b(?P<phrase>{_UPPER}|maximum)(?: of)?(?: a total of)?$")),
    (Direction.LOWER, re.compile(r"\b(?:a|the) (?P<phrase>minimum)(?: [a-z-]+){1,4} of$")),
    (Direction.UPPER, re.compile(r"\b(?:a|the) (?P<phrase>maximum)(?: [a-z-]+){1,4} of$")),
    (Direction.UPPER, re.compile(r"\b(?P<phrase>limit)(?:ed|s)? (?:[a-z-]+ ){0,8}to$")),
)
_DIRECTIONS_BEHIND = (
    (Direction.LOWER, re.compile(r" (?:or|and) (?:more|above|higher|greater|longer)\b")),
    (Direction.UPPER, re.compile(r" (?:or|and) (?:less|below|lower|fewer|shorter)\b")),
)
_NEGATED = re.compile(r"\b(?:not|never)(?: [a-z]+){0,2} (?:exceed|exceeding|above|over)$")
# "shall not deflect by more than": the words in between turn the comparison around.
_SHALL_NOT = re.compile(r"\bshall (?:not|never) [^.;]*$")
_TURNED = re.compile(
    r"(?:more|greater|higher|longer|less|fewer|lower|smaller|shorter) than|above|over|below|under"
)
_CONDITION = re.compile(
    r"\b(?:that|which|where|when|while|if|whose|during|after|until|against|under|despite|with|at"
    r"|over|from|before|above|below|withstand|survive|tolerate|endure|accept|resist|sustain|detect)"
    r"\b"
)
_NO_CONDITION = re.compile(
    r"\bat (?:least|most|or above|or below)\b|\bshall (?:each )?be at\b"
    r"|\b(?:above|below|over|under|from)$"
)
# What stands farther away says nothing of a number; it also bounds the time for long statements.
_CLAUSE = 400
_TOLERANCE = re.compile(r"\b(?:tolerances?|uncertainty|deviation)\b[^,.;]{0,40}$")
_JOINS = re.compile(r" ?(?:to|up to|down to|-|\u2013|\u2014|\.\.\.|\u2026) ?")
_JOINS_LATE = re.compile(r" (?:below|under|before) to ")
_BETWEEN = re.compile(r"\bbetween (?:[a-z]+ ){0,2}$")
_PLUS_MINUS = re.compile(r"(?:\+/-|\u00b1|\+-|plus or minus) ?$")


def numbers(text: str) -> tuple[Stated, ...]:
    """Return the numbers of a masked statement, in its order."""
    lower = lowered(text)
    found = sorted([*_digits(text, lower), *_in_words(text, lower)], key=lambda one: one.start)
    found = _inherit(found, lower)
    found = _ranges(found, lower)
    first = next(iter(shalls(lower)), 0)
    return tuple(_placed(one, number, found, lower, first) for number, one in enumerate(found))


def _digits(text: str, lower: str) -> Iterator[Stated]:
    for match in _IN_DIGITS.finditer(text):
        digits = match["number"].replace("\u2212", "-")
        if _DECIMAL_COMMA.fullmatch(digits):
            digits = digits.replace(",", ".")
        digits = re.sub(r"[, \u00a0\u2009\u202f]", "", digits)
        power = "e" + match["power"].replace("\u2212", "-") if match["power"] else ""
        try:
            number = read_number(digits + power if "e" not in digits.lower() else digits)
        except AmountError:
            continue
        unit = unit_at(text, lower, match.end())
        if unit is not None:
            written = text[match.start() : unit.end]
            number *= unit.times
            yield Stated(match.start(), unit.end, written, number, unit.unit, times=unit.times)
        elif not text[match.end() : match.end() + 1].isalpha():
            yield Stated(match.start(), match.end(), match[0], number, "")


def _in_words(text: str, lower: str) -> Iterator[Stated]:
    for match in _IN_WORDS.finditer(lower):
        number = Fraction(_worth(re.findall("[a-z]+", match[0])))
        unit = unit_at(text, lower, match.end())
        end = match.end() if unit is None else unit.end
        times, symbol = (1, "") if unit is None else (unit.times, unit.unit)
        written = text[match.start() : end]
        yield Stated(match.start(), end, written, number * times, symbol, times=times)


def _worth(words: list[str]) -> int:
    """Return the number that words say: two hundred and five."""
    total, part = 0, 0
    for word in words:
        if word in _WORDS:
            part += _WORDS[word]
        elif word == "hundred":
            part = (part or 1) * 100
        elif word in _SCALES:
            total, part = total + (part or 1) * _SCALES[word], 0
    return total + part


def _inherit(found: list[Stated], lower: str) -> list[Stated]:
    """Give the first number of "5 to 20 degC" the unit of the second."""
    result = list(found)
    for number in range(len(found) - 2, -1, -1):
        one, other = result[number], result[number + 1]
        between = lower[one.end : other.start]
        joined = _joined(one, between, lower) or re.fullmatch(r" ?(?:\u00b1|\+/-) ?", between)
        if not one.unit and other.unit and joined:
            behind = other.text[-len(other.unit) :] if other.times == 1 else ""
            result[number] = replace(
                one,
                unit=other.unit,
                number=one.number * other.times,
                times=other.times,
                text=f"{one.text} {behind}" if behind == other.unit else one.text,
            )
    return result


def _joined(one: Stated, between: str, lower: str) -> bool:
    if _JOINS.fullmatch(between) or _JOINS_LATE.fullmatch(between):
        return True
    return (
        between == " and "
        and _BETWEEN.search(lower[max(0, one.start - 40) : one.start]) is not None
    )


def _ranges(found: list[Stated], lower: str) -> list[Stated]:
    result = list(found)
    for number in range(len(found) - 1):
        one, other = result[number], result[number + 1]
        between = lower[one.end : other.start]
        if one.end_of_range != 2 and one.unit and other.unit and _joined(one, between, lower):
            late = _JOINS_LATE.fullmatch(between) is not None
            result[number] = replace(one, end_of_range=1, mirrored=late)
            result[number + 1] = replace(other, end_of_range=2)
    return result


def _placed(one: Stated, number: int, found: list[Stated], lower: str, shall: int) -> Stated:
    """Return a number with what the words around it say of it."""
    direction, phrase, at = _direction(lower, max(shall, one.start - 70), one)
    first = found[number - 1] if one.end_of_range == 2 else one
    begin = max(0, one.start - 20)
    sign = _PLUS_MINUS.search(lower[begin : one.start])
    width = bool(sign and number and found[number - 1].end >= begin + sign.start() - 1)
    return replace(
        one,
        direction=None if one.end_of_range else direction,
        phrase=phrase,
        phrase_at=at,
        condition=_is_condition(lower, first.start, shall, phrase),
        tolerance=width or _TOLERANCE.search(lower[max(0, one.start - 70) : one.start]) is not None,
        mirrored=one.mirrored or (sign is not None and not width),
    )


def _direction(lower: str, begin: int, one: Stated) -> tuple[Direction | None, str, int]:
    """Return the side that words of limit give to a number, those words, and their place."""
    before = lower[begin : one.start].rstrip()
    negated = _NEGATED.search(before)
    if negated:
        return Direction.UPPER, "not exceed", begin + negated.start()
    found = [(match, side) for side, pattern in _DIRECTIONS if (match := pattern.search(before))]
    if found:
        match, side = max(found, key=lambda pair: len(pair[0]["phrase"]))
        phrase, at = match["phrase"], begin + match.start("phrase")
        if _TURNED.fullmatch(phrase) and _SHALL_NOT.search(lower[max(0, at - 160) : at]):
            return side.opposite, f"not ... {phrase}", at
        return side, phrase, at
    for side, pattern in _DIRECTIONS_BEHIND:
        behind = pattern.match(lower, one.end)
        if behind:
            return side, behind[0].strip(), behind.start() + 1
    return None, "", -1


def _is_condition(lower: str, start: int, shall: int, phrase: str) -> bool:
    """Return whether a number stands in a condition, and not in what the sentence asks for."""
    if start < shall:
        return True
    shall = max(shall, start - _CLAUSE)
    comma = max(lower.rfind(mark, shall, start) for mark in (", ", "; ", "("))
    begin = max(shall, comma) if phrase != "up to" else shall
    segment = lower[begin:start].rstrip()
    if phrase and segment.endswith(phrase):
        segment = segment[: -len(phrase)].rstrip()
    return _CONDITION.search(_NO_CONDITION.sub("", segment)) is not None


def is_plain(phrase: str) -> bool:
    """Return whether words of limit say plainly on which side the limit lies."""
    return _PLAIN.match(phrase) is not None
