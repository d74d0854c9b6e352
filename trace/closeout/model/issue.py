"""Issues of requirements and documents: which of two is later, which one follows."""

from __future__ import annotations

import re


def is_raised(was: str, now: str) -> bool:
    """Return whether an issue is a later one: B after A, AA after Z, 10 after 9, 2.1 after 2."""
    return _rank(now) > _rank(was)


def following(issue: str) -> str | None:
    """Return the issue after one: B after A, 2.2 after 2.1; None where that is not certain."""
    found = re.fullmatch(r"(.*?)(\d+|[A-Ya-y])", issue)
    if found is None:
        return None
    head, last = found.groups()
    return head + (str(int(last) + 1) if last.isdigit() else chr(ord(last) + 1))


def _rank(issue: str) -> list[tuple[bool, int, str]]:
    parts = re.findall(r"\d+|[^\W\d_]+", issue.upper())
    return [
        (part.isdigit(), int(part), "") if part.isdigit() else (False, len(part), part)
        for part in parts
    ]
