"""What the rules of wording find, file by file, from the store where a file has not changed."""

from __future__ import annotations

import json
from collections.abc import Iterable

from closeout.graph import Index
from closeout.load.file_facts import Cache
from closeout.measure import Units
from closeout.model.problem import Finding, Pointer, Severity
from closeout.model.records import Requirement
from closeout.snapshot import Snapshot
from closeout.store.keys import key_of


def wording_findings(index: Index, units: Units, snapshot: Snapshot, cache: Cache) -> list[Finding]:
    """Return what the rules of wording find in every requirement, in the project's order.

    What is found in a file depends on nothing but the file, which of its requirements count (of two
    with one identifier the first does) and the documents that may be cited.
    """
    by_path: dict[str, list[Requirement]] = {}
    for requirement in index.requirements.values():
        by_path.setdefault(requirement.where.path, []).append(requirement)
    named = {name for d in index.project.documents if d.issue for name in (d.id, d.title)}
    register = "\0".join(sorted(named))
    found: list[Finding] = []
    for path, some in by_path.items():
        identifiers = "\0".join(requirement.id for requirement in some)
        key = key_of("wording", snapshot.digest(path), register, identifiers)
        text = cache.get(key)
        if text is None:
            from closeout.rules.wording.statements import wording

            text = _encoded(wording(some, named, units))
            cache.put(key, text)
        found += _decoded(text, path)
    return found


def _encoded(found: Iterable[Finding]) -> str:
    rows = [[f.rule, f.where.steps, f.message, f.cure, f.offset] for f in found]
    return json.dumps(rows, separators=(",", ":"))


def _decoded(text: str, path: str) -> list[Finding]:
    return [
        Finding(rule, Severity.WARNING, Pointer(path, tuple(steps)), message, cure, offset)
        for rule, steps, message, cure, offset in json.loads(text)
    ]
