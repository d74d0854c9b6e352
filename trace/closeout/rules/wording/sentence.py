"""The sentence of a requirement: its one "shall", and who does what the sentence asks for."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import lru_cache

MASK = "\ufffc"
_SENTENCE = 600

_IRREGULAR = (
    "made built held kept put set sent shown taken given done driven drawn chosen written known"
    " seen met fed cut shut left lost found brought laid run worn wound bound borne spun struck"
    " told read paid led hidden frozen broken begun bent burnt cast caught dealt dug split spread"
    " swept thrown torn understood withdrawn woken sought taught thought bought hung"
)
# Words that say where or of which kind something is, and nothing about what somebody does.
_STATES = "located situated rated based united embedded dedicated need exceed proceed indeed"
# What can stand behind "by" without being somebody who acts.
_NO_ACTOR = (
    "means|way|use|hand|default|design|reference|then|when|end|time|analysis|test|inspection|review"
    "|virtue|location|position|arrangement|shape|geometry|choice|selection|construction"
    "|calculation|simulation|similarity|measurement|demonstration|comparison|procedure|process"
    "|method|definition|drawing|document|specification|standard|regulation|application|addition"
    "|removal|installation|beginning|close|completion|entry|onset|date|moment|at|up|more|less|no|not|twice|half|weight|volume|mass|date|start|law|itself|SRR|PDR|CDR|QR|AR|ORR|FRR"
    "|LRR"
)
_ARTICLE = "the|a|an|its|their|each"
# "as defined by the drawing" says where something stands, not who does it.
_AS_DEFINED = re.compile(r"\bas [a-z]+(?:ed|en|wn|ven) (?:in and )?by\b")
_COUNT = "one|two|three|four|five|six|seven|eight|nine|ten"
_UNIT = (
    r"(?:[a-z]*(?:second|minute|hour|day|week|month|year|metre|meter|gram|volt|amp|ampere|watt|hertz"
    r"|degree|decibel|bit|byte|bar|pascal|newton)s?|percent|per|kelvin|times|orders?|steps?)\b"
)


def masked(statement: str) -> str:
    """Return a statement with quoted terms and code spans blotted out, of the same length."""
    text = statement
    if "\n" in text or "\t" in text:
        text = re.sub(r"\s", " ", text)
    if "'" in text or '"' in text or "`" in text or not text.isascii():
        text = _quotes().sub(lambda found: MASK * len(found[0]), text)
    return text


def lowered(text: str) -> str:
    """Return a text in lower case, of the same length."""
    lower = text.lower()
    if len(lower) == len(text):
        return lower
    return "".join(c.lower() if len(c.lower()) == 1 else c for c in text)


def shalls(lower: str) -> list[int]:
    """Return where a lower-case statement says "shall"."""
    if lower.count("shall") == 1 and " shall " in lower:
        return [lower.index(" shall ") + 1]
    return [found.start() for found in re.finditer(r"(?<!\w)shall(?!\w)", lower)]


def in_place_of_shall(lower: str) -> int:
    """Return where the verb form stands that was used instead of "shall", else 0."""
    found = re.search(r"(?<!\w)(?:must|will|should|may|can|has to|have to|is to|are to)\b", lower)
    return found.start() if found else 0


def passives(text: str) -> Iterator[tuple[int, int]]:
    """Yield where "shall be done" stands in a masked statement without "by" somebody."""
    for found in _passive().finditer(text):
        rest = re.split(r"[.;](?:\s|$)", text[found.end() : found.end() + _SENTENCE], maxsplit=1)[0]
        rest = _AS_DEFINED.sub("as", rest)
        if not _actor().search(rest):
            yield found.start("verb"), found.end("verb")


@lru_cache(maxsize=1)
def _quotes() -> re.Pattern[str]:
    # An apostrophe is no quote: it has a letter before it.
    return re.compile(
        r"`[^`]+`|\"[^\"]+\"|(?<!\w)'[^']+'(?!\w)|\u201c[^\u201d]{1,300}\u201d|\u2018[^\u2019]{1,300}\u2019"
        r"|\u00ab[^\u00bb]{1,300}\u00bb"
    )


@lru_cache(maxsize=1)
def _passive() -> re.Pattern[str]:
    states = "|".join(_STATES.split())
    irregular = "|".join(_IRREGULAR.split())
    return re.compile(
        r"\bshall (?:(?:not|also|only|each|both|first|then) )?(?P<verb>be (?:[a-z]+ly )?"
        rf"(?!(?:{states})\b)(?:[a-z]{{2,}}ed|{irregular}))\b(?!-)"
    )


@lru_cache(maxsize=1)
def _actor() -> re.Pattern[str]:
    return re.compile(
        rf"\bby (?:(?:{_ARTICLE}) |(?!(?:{_ARTICLE})\b))(?!(?:[a-z-]+ )?(?:{_NO_ACTOR})\b)"
        rf"(?!(?:{_COUNT})\b)(?![a-z]+ing\b)"
        rf"(?=[A-Za-z\ufffc])|\bby (?:{_COUNT}) (?!{_UNIT})[a-z]"
    )
