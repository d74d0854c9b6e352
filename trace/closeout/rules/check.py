"""All rules of standards and wording over a project."""

from __future__ import annotations

import platform
import sys
from collections.abc import Iterator, Sequence

from closeout.graph import Index
from closeout.graph.new_findings import warning
from closeout.measure import Units
from closeout.model.problem import Finding
from closeout.rules.context import Context
from closeout.rules.dated import dated
from closeout.rules.implausible import implausible
from closeout.rules.record_findings import evidence
from closeout.rules.standards import standards

# Versions of Python whose instructions are all listed, as a test holds for the one it runs on.
TRIED = ((3, 11), (3, 12), (3, 13), (3, 14))
_FIRST, *_, _LAST = (".".join(map(str, version)) for version in TRIED)


def check_rules(index: Index, units: Units, context: Context) -> list[Finding]:
    """Return everything that the rules find, whatever the project's policy does with it."""
    found = [*standards(index, context), *evidence(index), *dated(index, context)]
    found.extend(implausible(index, units))
    if context.cut_off:
        found.append(_cut_off(index))
    if sys.version_info[:2] not in TRIED:
        from closeout.arithmetic.code import instructions

        found.extend(_unknown_interpreter(index, instructions.unknown()))
    if context.history is not None:  # outside git none of this has to be loaded
        from closeout.rules.history.changes import changes

        found.extend(changes(index, context.history, units))
    return list(dict.fromkeys(found))


def _cut_off(index: Index) -> Finding:
    return warning(
        "history-cut-off",
        index.project.charter.where,
        "a part of the project history is missing in this clone, so earlier changes and"
        " deletions are not seen",
        "fetch it: git fetch --unshallow, or clone without --filter",
    )


def _unknown_interpreter(index: Index, unknown: Sequence[str]) -> Iterator[Finding]:
    """Yield one finding where the interpreter has instructions that no list here knows."""
    project = index.project
    has_analyses = any(one.analysis for each in project.requirements for one in each.verification)
    if unknown and has_analyses:
        more = f" and {len(unknown) - 3} more" if len(unknown) > 3 else ""
        yield warning(
            "unknown-interpreter",
            project.charter.where,
            f"{platform.python_implementation()} {platform.python_version()} has instructions that"
            f" closeout does not know ({', '.join(unknown[:3])}{more}), so an analysis with"
            " one is searched instead of proved",
            f"run closeout with Python {_FIRST} to {_LAST}",
        )
