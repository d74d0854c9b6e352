"""Everything that a state of a project holds, beyond the two folders that are judged."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from closeout.snapshot.git import git_at, names_of
from closeout.snapshot.names import is_passed_over

# Made by git, by this tool and by Python: never the content of a state.
_NEVER = frozenset({".git", ".closeout", "__pycache__"})
# Python writes it into each virtual environment (PEP 405).
_ENVIRONMENT = "pyvenv.cfg"


def listed_by_git(root: Path, tracked: frozenset[str]) -> set[str]:
    """Return what git tracks below a folder, and what is there and it does not ignore.

    Raises:
        SnapshotError: git refuses.
    """
    reply = git_at(root).ask("ls-files", "-z", "--others", "--exclude-standard", "--", ".")
    return {*tracked, *names_of(reply)}


def found_below(root: Path, *, exported: bool) -> set[str]:
    """Return the paths of all files below a folder, from there, with "/".

    An exported state holds nothing but its own files. Elsewhere hidden folders (of editors and
    tools) and virtual environments are left out, since nobody says that they belong to it.
    """
    return set(_below(root, "", exported))


def _below(root: Path, folder: str, exported: bool) -> Iterator[str]:
    try:
        entries = list(os.scandir(root / folder))
    except OSError:
        return
    if folder and not exported and any(entry.name == _ENVIRONMENT for entry in entries):
        return
    for entry in entries:
        path = f"{folder}/{entry.name}" if folder else entry.name
        if entry.name in _NEVER:
            continue
        if entry.is_file(follow_symlinks=False):
            yield path
        elif entry.is_dir(follow_symlinks=False) and (exported or not is_passed_over(entry.name)):
            yield from _below(root, path, exported)
