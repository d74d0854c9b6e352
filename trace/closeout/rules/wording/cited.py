"""Documents that a statement cites without saying which issue of them."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from functools import lru_cache

# A citation has one of these words, so a statement without them needs no search.
_KEYS = (
    "ecss iso iec ieee en mil nasa gsfc itu ccsds regulations manual handbook standard"
    " specification directive npr npd escc astm ipc sae ssp rfc aiaa do din ul"
)
KEYS = frozenset(_KEYS.split())
# Names of standards, and how the issue stands in them: a letter, a year, a number behind a dash.
_NAMES = (
    r"ECSS-[A-Z](?:-[A-Z]{2})?(?:-\d+)+(?![\d-]*[A-Z])"
    r"|(?:ISO|IEC|IEEE|EN)(?:[/ ](?:ISO|IEC|IEEE|EN|TR|TS|Std))* \d[\d ]*\d(?:-\d{1,3})*(?![\d:-])"
    r"|(?:MIL|NASA|GSFC)-(?:STD|PRF|HDBK|DTL)-\d+(?:-\d+)?(?![\dA-Z-])"
    r"|ITU-R [A-Z]{1,3}\.\d+(?![\d-])"
    r"|CCSDS \d{3}\.\d-[A-Z](?!-\d)"
    r"|NP[RD] \d{4}\.\d+(?![\dA-Z])"
    r"|ESCC \d{4,7}(?:/\d{1,3})?(?!\d)"
    r"|ASTM [A-Z]\d{1,4}(?:/[A-Z]\d{1,4})?M?(?![-\d])"
    r"|IPC(?:/[A-Z]+)?-(?:[A-Z]+-)*(?:STD-)?\d{3,4}(?![\dA-Z])"
    r"|SAE (?:AS|AMS|ARP|AIR|J)[- ]?\d+(?![\dA-Z])"
    r"|SSP \d{5}(?![\dA-Z])"
    r"|RFC \d{1,5}(?!\d)"
    r"|AIAA[- ][SRG]-\d{3}(?![\dA-Z-])"
    r"|DO-\d{3}(?![\dA-Z])"
    r"|DIN (?:EN |ISO )*\d[\d ]*\d(?:-\d{1,3})*(?![\d:-])"
    r"|UL \d{2,5}(?!\d)"
    r"|(?:[A-Z][\w-]{0,30} ){1,6}(?:Regulations|Manual|Handbook|Standard|Specification|Directive)"
    r"(?! [A-Z])"
)
_MONTH = "january|february|march|april|may|june|july|august|september|october|november|december"
# A year stands by itself: 1024 Hz and 2000 cycles are none.
_YEAR = r"(?:19|20)\d\d\b(?! ?[a-z%\d])"
_NUMBERED = "issue|edition|revision|version|amendment"
_ORDINAL = (
    r"\d+(?:st|nd|rd|th)|first|second|third|fourth|fifth|sixth|seventh|eighth|ninth|tenth"
    r"|(?:19|20)\d\d"
)
_ISSUE = (
    rf"[^.;]{{0,45}}?\b(?:{_NUMBERED}|rev\.?) (?:no\. )?(?:[a-z]|\d[\w.]*)(?!\w)"
    rf"|[^.;]{{0,45}}?\b(?:{_ORDINAL}) (?:{_NUMBERED})\b"
    rf"|[^.;]{{0,45}}?(?:[,(] ?|\bof |\bdated )(?:\d{{1,2}} )?(?:(?:{_MONTH}) )?{_YEAR}"
    # The issue stands elsewhere: "in the edition that its licence names".
    rf"|[^.;]{{0,45}}?\b(?:{_NUMBERED}) (?:that|which|named|listed|stated|given)\b"
    r"|[ ,(]+(?:rev\.? ?[a-z\d]|v\d)"
)


def incomplete(text: str, complete: Collection[str]) -> Iterator[tuple[int, int]]:
    """Yield where a masked statement names a document without its issue or date.

    ``complete`` are names whose issue the project's register of documents holds.
    """
    for found in _names().finditer(text):
        if found[0] in complete or _issue().match(text, found.end()):
            continue
        yield found.start(), found.end()


@lru_cache(maxsize=1)
def _names() -> re.Pattern[str]:
    return re.compile(rf"(?<![\w-])(?:{_NAMES})")


@lru_cache(maxsize=1)
def _issue() -> re.Pattern[str]:
    return re.compile(_ISSUE, re.IGNORECASE)
