"""What git tracks of what was read: a file that it ignores is in no commit, whoever reads it."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from contextlib import suppress
from pathlib import Path, PurePosixPath

from closeout.model.made_by_tools import MADE_BY_TOOLS
from closeout.snapshot.dates import Looked


def untracked_of(root: Path, tracked: frozenset[str], looked: Iterable[Looked]) -> tuple[str, ...]:
    """Return the paths of a working tree that were looked at and that git does not track.

    A file that was read or asked for, a folder that was asked for, and each entry of a folder that
    was listed. What is tracked and differs from its commit, git tells by itself.
    """
    folders = {str(above) for path in tracked for above in PurePosixPath(path).parents}
    known = tracked | folders
    found = {
        path for one in looked for path in _paths(root, *one) if not _is_known(path, known, tracked)
    }
    return tuple(sorted(found))


def is_in(path: str, tracked: frozenset[str] | set[str]) -> bool:
    """Return whether a path or a folder above it is tracked; a submodule is tracked as one path."""
    return path in tracked or any(str(above) in tracked for above in PurePosixPath(path).parents)


def _is_known(path: str, known: frozenset[str], tracked: frozenset[str]) -> bool:
    return path in known or is_in(path, tracked)


def _paths(root: Path, kind: str, path: str, seen: str | None) -> Iterator[str]:
    if seen is None or kind not in ("file", "kind", "folder"):
        return
    if kind != "folder":
        yield path
        return
    with suppress(OSError), os.scandir(root / path) as entries:
        for entry in entries:
            if entry.name not in MADE_BY_TOOLS:
                yield os.path.normpath(f"{path}/{entry.name}")
