"""What a run found, in the formats of other programs: where it stands is looked up in the files."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace

from closeout.exchange.told import Ended, Place, attention
from closeout.load import places
from closeout.load.encoding import decoded
from closeout.model.dossier import Dossier
from closeout.model.identity import SnapshotIdentity
from closeout.model.problem import Pointer, Problem
from closeout.run.inspection import Looked
from closeout.snapshot import Snapshot, folder_in_repository

# The formats, by the options that ask for them.
SARIF, JUNIT = "--sarif", "--junit"
_BREAK = re.compile("\r\n|\r|\n")


def verify_texts(forms: Iterable[str], dossier: Dossier, snapshot: Snapshot) -> dict[str, str]:
    """Return what ``verify`` tells in some of the formats SARIF and JUNIT."""
    ended = _ended("verify", snapshot, dossier.snapshot, dossier.exit_status, dossier.problems)
    texts = {}
    for form in forms:
        if form == SARIF:
            from closeout.exchange.sarif import verify_sarif

            texts[form] = verify_sarif(dossier, ended, _places(dossier, snapshot))
        else:
            from closeout.exchange.junit import verify_junit

            texts[form] = verify_junit(dossier, ended)
    return texts


def lint_texts(
    forms: Iterable[str], looked: Looked, exit_status: int, snapshot: Snapshot, *, code: bool
) -> dict[str, str]:
    """Return what ``lint`` tells in some of the formats; ``code`` says if modules were imported."""
    ended = _ended("lint", snapshot, looked.state, exit_status, looked.problems)
    texts = {}
    for form in forms:
        if form == SARIF:
            from closeout.exchange.sarif import lint_sarif

            texts[form] = lint_sarif(ended)
        else:
            from closeout.exchange.junit import lint_junit
            from closeout.rules.catalogue import OF_CODE

            texts[form] = lint_junit(ended, looked.off, () if code else OF_CODE)
    return texts


def _ended(
    command: str,
    snapshot: Snapshot,
    state: SnapshotIdentity,
    exit_status: int,
    problems: tuple[Problem, ...],
) -> Ended:
    lines = _Lines(snapshot)
    counted = tuple(
        replace(one, column=lines.column(one.path, one.line, one.column)) for one in problems
    )
    return Ended(command, state, exit_status, counted, folder_in_repository(snapshot.origin))


def _places(dossier: Dossier, snapshot: Snapshot) -> dict[Pointer, Place]:
    """Return where that stands which the verdicts are about that need attention."""
    lines = _Lines(snapshot)
    wanted = (result.place_of(evidence) for result, evidence, _ in attention(dossier))
    found = places(snapshot, (pointer for pointer in wanted if pointer is not None))
    return {
        pointer: Place(pointer.path, line, lines.column(pointer.path, line, column))
        for pointer, (line, column) in found.items()
    }


class _Lines:
    """The lines of the files of a snapshot, each file read once."""

    def __init__(self, snapshot: Snapshot) -> None:
        self._snapshot = snapshot
        self._read: dict[str, list[str]] = {}

    def column(self, path: str, line: int, column: int) -> int:
        """Return a column that counts characters as one that counts UTF-16 code units."""
        if column == 1:
            return 1
        lines = self._of(path)
        before = lines[line - 1][: column - 1] if line <= len(lines) else ""
        return column + sum(character > "\uffff" for character in before)

    def _of(self, path: str) -> list[str]:
        if path not in self._read:
            try:
                text, _problems = decoded(self._snapshot.read(path))
            except OSError:  # the problem may be that it is not there
                text = None
            self._read[path] = _BREAK.split(text or "")
        return self._read[path]
