"""A nonconformance as YAML, ready to be put into a file of the project."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable

from closeout.graph.index import Index
from closeout.model.records import Record

_PLAIN = re.compile(r"[A-Za-z][A-Za-z0-9_.-]*").fullmatch
_NUMBERED = re.compile(r"(.*?)([0-9]+)").fullmatch
FIRST = "NCR-001"


def report_text(record: Record, requirements: Iterable[str], index: Index, before: int = 0) -> str:
    """Return a section of one nonconformance, under the next free identifier, on one line.

    ``before`` are those that are proposed before it.

    It stands in any file as it is; where that has the section already, its item is added there.
    What became of the article is left to be said: an open nonconformance is reported.
    """
    pairs = [("id", next_identifier(index, before)), ("found_by", record.id)]
    parts = [f"{key}: {_text(value)}" for key, value in pairs]
    if record.article:
        article = ", ".join(f"{_text(name)}: {_text(build)}" for name, build in record.article)
        parts.append(f"article: {{{article}}}")
    names = ", ".join(map(_text, requirements))
    parts += [f"requirements: [{names}]"] if names else []
    return f"nonconformances: [{{{', '.join(parts)}}}]"


def next_identifier(index: Index, before: int = 0) -> str:
    """Return an identifier that follows those of the project's nonconformances, and some more."""
    taken = {report.id for report in index.project.nonconformances} | index.left_out
    numbered = [found for name in sorted(taken) if (found := _NUMBERED(name)) is not None]
    head, digits = numbered[-1].groups() if numbered else (FIRST[:-3], "000")
    number = int(digits)
    for _ in range(before + 1):
        number += 1
        while f"{head}{number:0{len(digits)}}" in taken:
            number += 1
    return f"{head}{number:0{len(digits)}}"


def _text(value: str) -> str:
    return value if _PLAIN(value) else json.dumps(value, ensure_ascii=False)
