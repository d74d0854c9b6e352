"""Verifications with measured inputs of which more than what a record shows has changed.

What a record shows is news, and blocks no commit. A limit, an input, a function or a table that is
changed beside it is none: it may be what loses the requirement.
"""

from __future__ import annotations

from closeout.model.dossier import Dossier, Evidence
from closeout.model.earlier_names import Names

Number = tuple[str, int]


def altered(was: Dossier, now: Dossier, names: Names) -> frozenset[Number]:
    """Return the verifications with measured inputs of which more than these has changed.

    That is a limit, another input, or what their analyses read.

    Args:
        names: what the later state calls by another identifier, by section from the old one.
    """
    called = names.get("requirements", {})
    before: dict[Number, Evidence] = {}
    for result in was.requirements:
        for entry in result.evidence:
            before.setdefault((called.get(result.id, result.id), entry.number), entry)
    stated = _stated_otherwise(was, now, names)
    taken = {one.analysis: one.names for one in was.evaluations}
    rewritten = _rewritten(was, now)
    return frozenset(
        (result.id, entry.number)
        for result in now.requirements
        for entry in result.evidence
        if entry.measured_by
        if _asked(before.get((result.id, entry.number))) != _asked(entry)
        or stated & taken.get(entry.analysis or "", frozenset())
        or entry.analysis in rewritten
    )


def _rewritten(was: Dossier, now: Dossier) -> frozenset[str]:
    """Return the analyses that read a file which is not the same any more, theirs among them.

    What they read now and did not before is called for by a change of the other files.
    """
    before = _read(was)
    return frozenset(
        name
        for name, paths in _read(now).items()
        if any(
            path.endswith(".py") if path not in paths else was.contents[path] != now.contents[path]
            for path in before.get(name, frozenset())
        )
    )


def _read(dossier: Dossier) -> dict[str, frozenset[str]]:
    """Return the files that each analysis read, of those whose content is known."""
    found: dict[str, frozenset[str]] = {}
    for one in dossier.evaluations:
        paths = frozenset(one.read) & dossier.contents.keys()
        found[one.analysis] = found.get(one.analysis, frozenset()) | paths
    return found


def _asked(entry: Evidence | None) -> tuple[object, ...] | None:
    if entry is None:
        return None
    return entry.analysis, entry.quantity, entry.basis, entry.given, entry.limit_text


def _stated_otherwise(was: Dossier, now: Dossier, names: Names) -> frozenset[str]:
    """Return, by their names of then, the parameters that the project states otherwise now.

    One that a record measures is none of them: its number is what the record shows.
    """
    called = names.get("parameters", {})
    measured = {one.name for run in now.evaluations for one in run.inputs if one.record is not None}
    measured |= {one.name for one in now.parameters if one.awaited is not None}
    said = {
        one.name: (one.text, one.spread, one.condition, one.computed, one.estimate)
        for one in now.parameters
    }
    return frozenset(
        one.name
        for one in was.parameters
        if (name := called.get(one.name, one.name)) not in measured
        and said.get(name) != (one.text, one.spread, one.condition, one.computed, one.estimate)
    )
