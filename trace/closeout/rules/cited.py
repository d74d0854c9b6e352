"""Documents that a statement cites without saying which issue of them."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from functools import lru_cache

# A citation has one of these words, so a statement without them needs no search.
_KEYS = (
    "ecss iso iec ieee en mil nasa gsfc itu ccsds regulations manual handbook standard"
    " specification directive"
)
KEYS = frozenset(_KEYS.split())
# Names of standards, and how the issue stands in them: a letter, a year, a number behind a dash.
_NAMES = (
    r"ECSS-[A-Z](?:-[A-Z]{2})?(?:-\d+)+(?![\d-]*[A-Z])"
    r"|(?:ISO|IEC|IEEE|EN)(?:[/ ](?:ISO|IEC|IEEE|EN|TR|TS|Std))* \d[\d ]*\d(?:-\d{1,2})*(?![\d:-])"
    r"|(?:MIL|NASA|GSFC)-(?:STD|PRF|HDBK|DTL)-\d+(?:-\d+)?(?![\dA-Z-])"
    r"|ITU-R [A-Z]{1,3}\.\d+(?![\d-])"
    r"|CCSDS \d{3}\.\d-[A-Z](?!-\d)"
    r"|(?:[A-Z][\w-]{0,30} ){1,6}(?:Regulations|Manual|Handbook|Standard|Specification|Directive)"
    r"(?! [A-Z])"
)
_ISSUE = (
    r"[^.;]{0,45}?\b(?:issue|edition|revision|version|amendment|rev\b|v\d|[12]\d{3}\b)"
    r"|[ ,(]+(?:rev\.|v\d)"
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
