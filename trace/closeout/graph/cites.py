"""Whether a text cites a document."""

from __future__ import annotations

import re
from collections.abc import Callable

from closeout.model.records import Requirement

Cites = Callable[[str | None], bool]


def citing(identifier: str) -> Cites:
    """Return what says whether a text cites a document: its identifier as a word of its own."""
    word = re.compile(rf"(?<![\w.-]){re.escape(identifier)}(?![\w-])")
    return lambda text: text is not None and word.search(text) is not None


def is_source(identifier: str, requirement: Requirement, cites: Cites) -> bool:
    """Return whether a requirement comes from a document."""
    source = requirement.source
    if source is None:
        return False
    return source.document == identifier if source.document else cites(source.text)


def rests_on(identifier: str, requirement: Requirement, cites: Cites) -> bool:
    """Return whether a requirement comes from a document, or its statement speaks of one."""
    return is_source(identifier, requirement, cites) or cites(requirement.statement)
