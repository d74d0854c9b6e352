"""What the documents lack as yet, by test and package; a line goes once its test passes."""

from __future__ import annotations

from fnmatch import fnmatchcase

LACKS: dict[str, str] = {}


def lack(test: str) -> str | None:
    """Return why a test is expected to fail, by its name as in test_this[small-800]."""
    name = test.replace("[", " ").removesuffix("]")
    return next((why for known, why in LACKS.items() if fnmatchcase(name, known)), None)
