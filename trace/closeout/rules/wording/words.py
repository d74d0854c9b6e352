"""Words and phrases that leave a requirement open, by family, and how they are found quickly.

Most statements have none of them, so a statement is first split into words, and only where one of a
family's key words stands in it does the family's expression look for the phrase.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

# Who has more of them in one statement writes it anew.
MOST_HITS = 20
_SEPARATORS = str.maketrans(dict.fromkeys(",.;:()[]-/!?\n\t\ufffc'\"`", " "))
_ENDINGS = ("e", "es", "ed", "ing", "ation")


@dataclass(frozen=True)
class Family:
    """A rule's words: an expression for lower-case text, and words without which it cannot match.

    ``says`` is what a finding calls them; ``signs`` are found also where they touch a word.
    """

    rule: str
    says: str
    expression: str
    keys: frozenset[str]
    cure: str
    signs: str = r"(?!)"

    @cached_property
    def pattern(self) -> re.Pattern[str]:
        """The compiled expression; compiled where it is first wanted."""
        return re.compile(rf"(?<![\w-])(?:{self.expression})(?![\w-])|{self.signs}")


@dataclass(frozen=True, slots=True)
class Hit:
    """A word or phrase of a family, and where it stands in the statement."""

    family: Family
    start: int
    end: int


def words(lower: str) -> list[str]:
    """Return the words of a lower-case statement; a phrase with a slash also as it stands."""
    found = lower.translate(_SEPARATORS).split()
    if "and/or" in lower:
        found.append("and/or")
    if "..." in lower or "\u2026" in lower:
        found.append("...")
    return found


def hits(lower: str, present: Iterable[str]) -> list[Hit]:
    """Return what the families find in a lower-case statement, in its order.

    ``present`` are its words. Of two findings that overlap the longer one holds, of two of equal
    length that of the earlier family.
    """
    candidates = [hit for family in _of(present) for hit in _found(family, lower)]
    candidates.sort(key=lambda hit: hit.start - hit.end)
    taken = bytearray(len(lower))
    chosen: list[Hit] = []
    for hit in candidates:
        if not any(taken[hit.start : hit.end]):
            taken[hit.start : hit.end] = b"x" * (hit.end - hit.start)
            chosen.append(hit)
    return sorted(chosen, key=lambda hit: hit.start)[:MOST_HITS]


def _of(present: Iterable[str]) -> Iterator[Family]:
    here = KEYS.intersection(present)
    return (family for family in FAMILIES if not family.keys.isdisjoint(here))


def _found(family: Family, lower: str) -> Iterator[Hit]:
    for match in family.pattern.finditer(lower):
        named = "word" in match.re.groupindex and match["word"] is not None
        group = "word" if named else 0
        yield Hit(family, match.start(group), match.end(group))


def _family(
    rule: str,
    says: str,
    cure: str,
    phrases: str,
    patterns: Iterable[tuple[str, str]] = (),
    *,
    stems: str = "",
    signs: str = r"(?!)",
) -> Family:
    """Return a family of phrases between bars, and of patterns beside words that they need."""
    plain = [line.strip() for line in phrases.split("|") if line.strip()]
    keys = {_key(phrase) for phrase in plain}
    expressions = [re.escape(phrase).replace(r"\ ", "[ -]") for phrase in plain]
    for needed, pattern in patterns:
        keys.update(needed.split())
        expressions.append(pattern)
    for stem in stems.split():
        keys.update(stem + ending for ending in _ENDINGS)
        expressions.append(f"{stem}(?:{'|'.join(_ENDINGS)})")
    expressions.sort(key=len, reverse=True)
    return Family(rule, says, "|".join(expressions), frozenset(keys), cure, signs)


def _key(phrase: str) -> str:
    """Return the word of a phrase that is the least usual: its longest."""
    found: list[str] = re.findall(r"[a-z]+", phrase)
    return max(found, key=len)


# What follows a comparison that says how much: a number, or a number in words.
_NUMBER = (
    r"(?:\d|[-+]\d|one\b|two\b|three\b|four\b|five\b|six\b|seven\b|eight\b|nine\b|ten\b|half\b"
    r"|twice\b)"
)
_ABLE = "possible|practicable|practical|feasible|achievable|attainable|reasonable"

# ECSS-E-ST-10-06C (6 March 2009), 8.3.3a, with the inflections of its words.
BARRED = _family(
    "barred-word",
    "a word that a requirement shall not use",
    "state how much, how many or which, so that a test can decide",
    """goal | goals | shall be included but not limited to | relevant | necessary | appropriate
    | as far as possible | typical | rapid | user friendly | easy | sufficient | enough | suitable
    | satisfactory | adequate | quick | first rate | best possible | small | large
    | state of the art | appropriately | typically | rapidly | easily | sufficiently | suitably
    | satisfactorily | adequately | quickly""",
    [("and/or", "and/or"), ("etc", r"etc\b\.?"), ("great", "great(?![ -]circle)")],
    stems="optimis optimiz minimis minimiz maximis maximiz",
)

# ISO/IEC/IEEE 29148:2011, 5.2.7: a sentence of examples for each family. The families are the
# standard's, the words beside its examples are common practice, no source.
SUPERLATIVE = _family(
    "superlative",
    "a superlative",
    "give the acceptable limit, as a number with its unit",
    """best | optimal | optimally | optimum | ideal | ideally | utmost | foremost | finest
    | simplest | safest | cheapest""",
    [
        (
            "most",
            r"(?<!at )(?<!at the )most(?: (?:efficient|reliable|robust|flexible|economical|modern"
            r"|reasonable|convenient|comfortable|suitable|appropriate|accurate))?",
        ),
        (
            "possible achievable practicable feasible attainable",
            r"(?:highest|lowest|smallest|largest|greatest|fastest|shortest|longest|least|minimum"
            r"|maximum) (?:possible|achievable|practicable|feasible|attainable)",
        ),
    ],
)
SUBJECTIVE = _family(
    "subjective-word",
    "subjective language",
    "state what is measured or counted, and its limit",
    """easy to use | cost effective | reasonable | reasonably | acceptable | acceptably | good
    | poor | quiet | quietly | neat | tidy | simple | intuitive | intuitively | convenient
    | conveniently | attractive
    | robust | reliable | flexible | versatile | modern | elegant | comfortable | pleasant
    | efficient | economical | inexpensive | cheap | high quality | low cost | user oriented""",
    [("fast", r"fast(?![ -](?:fourier|mode|axis|ethernet))")],
)
PRONOUN = _family(
    "vague-pronoun",
    "a vague pronoun",
    "repeat the noun",
    "it | they | them",
    [
        (
            "this these those",
            r"(?:this|these|those)(?=\s*(?:[.,;:)]|$)|\s(?:shall|is|are|was|were|has|have|had|will"
            r"|can|could|may|might|must|does|do)\b)",
        ),
        ("that", r"that(?=\s*(?:[.,;:]|$))|(?:(?<=^)|(?<=[.;:] ))that(?= (?:shall|is|was)\b)"),
    ],
)
ADVERB = _family(
    "ambiguous-adverb",
    "an ambiguous adverb or adjective",
    "state how much, how often or within what time",
    """almost always | almost | significant | significantly | minimal | minimally | approximately
    | roughly | nearly | usually | generally | normally | commonly | often | sometimes | frequently
    | occasionally | regularly | periodically | slowly | promptly | shortly | immediately
    | timely | smoothly | gradually | properly | correctly | accurately | reliably | effectively
    | efficiently | safely | substantial | substantially | considerable | considerably | marginally
    | slightly | negligible | negligibly | excessive | excessively | unduly | moderately | readily
    | relatively | mostly | mainly | largely | partly | very | extremely | several | many | few
    | various | a number of | close to""",
    [
        ("about around some circa", rf"(?:about|around|some|circa)(?= {_NUMBER})"),
        ("some", rf"some(?! {_NUMBER})"),
        ("certain", r"a certain"),
        ("soon", r"soon(?! as)"),
        ("quite rather", r"quite|rather(?! than)"),
    ],
)
OPEN_ENDED = _family(
    "open-ended",
    "an open-ended term",
    "write the complete list",
    """not limited to | as a minimum | such as | for example
    | for instance | e.g. | among others | amongst others | or similar | or equivalent
    | and the like | or the like | and similar | or better""",
    [
        ("support", r"(?:provide|provides|offer|offers|give|gives)(?: [a-z]+)? support"),
        ("minimum", r"at (?:a |the )?minimum(?=[,.;]|$)"),
        ("so", "and so (?:on|forth)"),
        ("...", r"(?!)"),
    ],
    signs=r"\.\.\.|\u2026",
)
COMPARATIVE = _family(
    "comparative",
    "a comparison without a value",
    "give the value that it is compared with, as a number",
    "higher quality | lower quality | improved | enhanced | superior",
    [
        (
            "better worse faster slower cheaper easier simpler safer quieter quicker smoother",
            r"(?:better|worse|faster|slower|cheaper|easier|simpler|safer|quieter|quicker|smoother)"
            rf"(?! than {_NUMBER})(?: than)?",
        ),
        (
            "than",
            r"(?:(?:more|less) [a-z]+|higher|lower|larger|smaller|longer|shorter|heavier|lighter"
            r"|stronger|greater|more|less|fewer|earlier|later) than(?= (?:[a-z]+ ){0,3}(?:previous"
            r"|existing|current|usual|other|others|predecessor|comparable|similar|present|today"
            r"|conventional|earlier|older|competing)\b)",
        ),
        ("more less", r"(?:more|less) (?:efficient|reliable|accurate|robust|precise|sensitive)"
                      r"(?:ly)?"),
    ],
)  # fmt: skip
LOOPHOLE = _family(
    "loophole",
    "a loophole",
    "state under which condition it applies, or remove the exception",
    """as applicable | if applicable | where applicable | when applicable | if available
    | as desired | subject to availability | as much as possible | as little as possible
    | best effort | best efforts | to the extent | at the discretion | at its discretion
    | unless otherwise agreed | unless otherwise stated | unless impractical
    | as needed | if needed | when needed | where needed""",
    [
        (
            _ABLE.replace("|", " "),
            rf"as [a-z]+ as (?:is )?(?:reasonably )?(?:{_ABLE})|(?:if|when|where|whenever|wherever|"
            rf"as|unless|insofar as|to the extent) (?:{_ABLE})",
        ),
        ("necessary appropriate", r"(?:as|if|when|where|whenever) (?:necessary|appropriate)"),
        ("required", r"(?:as|if|when|where) required(?! (?:by|in|for)\b)"),
        ("reasonably", r"as [a-z]+ as reasonably [a-z]+"),
        ("attempt try aim strive endeavour", r"(?:attempt|try|aim|strive|endeavour)s? to"),
    ],
)
NEGATIVE = _family(
    "negative-statement",
    "a negative statement",
    "state what it does instead, so that it can be verified",
    "",
    [
        (
            "not neither nor",
            r"(?<=shall )(?:not|neither)(?! (?:[a-z-]+ ){0,6}?(?:exceed|fall below|(?:less|more"
            r"|[a-z]{2,12}er) than"
            r"|(?:below|above|under|over) [-+]?[0-9]))",
        ),
        (
            "no",
            r"(?<!\w)shall (?:[a-z]+ ){1,2}(?P<word>no)(?! (?:more|less|later|earlier|greater|fewer"
            r"|higher|lower|longer|shorter|larger|smaller)\b)",
        ),
        (
            "no none neither nothing nobody",
            r"(?<![\w,] )(?:no|none|neither|nothing|nobody)(?! (?:more|less|later"
            r"|earlier|greater|fewer|higher|lower|longer|shorter|larger|smaller) than\b)"
            r"(?= [^.;]{0,160}?\bshall\b)",
        ),
        ("unable", r"(?<=shall be )unable"),
    ],
)
# The 2018 edition of the same standard, 5.2.7.
TOTALITY = _family(
    "totality",
    "a term of totality",
    "state which ones, or write 'each'; an unlimited claim cannot be verified",
    "always | never | every | everything | everyone | everywhere | in any case",
    [
        ("all", r"(?<!at )all(?! (?:of )?(?:the |its )?(?:\d|two|three|four|five|six|seven|eight"
                r"|nine|ten)\b)(?! up\b)"),
        ("times", r"at all times"),
    ],
)  # fmt: skip
REFERENCE = _family(
    "incomplete-reference",
    "an incomplete reference",
    "name the document, its issue or date, and the part that applies",
    "the above | as above | see above | see below | mentioned above | elsewhere",
    [
        (
            "edition issue version standard standards practice regulation regulations rules laws"
            " document documents documentation specification specifications norms requirements",
            r"(?:applicable|latest|current|prevailing|valid|common|usual|industry|international"
            r"|national|local|existing|pertinent|various) (?:edition|issue|version|standards?"
            r"|practice|regulations?|rules|laws|documents?|documentation|specifications?|norms"
            r"|requirements)",
        ),
        (
            "standard standards regulation regulations norms specification documentation",
            r"(?:according to|in accordance with|per|following|as in) (?:the )?(?P<word>standards?"
            r"|regulations?|norms|specification|documentation)(?= *(?:[.,;]|$))",
        ),
    ],
)

FAMILIES = (
    BARRED,
    SUPERLATIVE,
    SUBJECTIVE,
    PRONOUN,
    ADVERB,
    OPEN_ENDED,
    COMPARATIVE,
    LOOPHOLE,
    NEGATIVE,
    TOTALITY,
    REFERENCE,
)
KEYS = frozenset().union(*(family.keys for family in FAMILIES))
