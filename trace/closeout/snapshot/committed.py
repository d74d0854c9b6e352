"""What of a working tree its commit holds as it stands there."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from closeout.snapshot.folder import MADE_BY_TOOLS
from closeout.snapshot.held import is_in
from closeout.snapshot.names import READ_AS_TEXT, is_judged

# Fields before the path in a line of ``git status --porcelain=v2`` (git-status, "Porcelain Format
# Version 2"), by its first character: an ordinary change, one that is not merged, an untracked one.
_FIELDS = {"1": 8, "u": 10, "?": 1}


@dataclass(frozen=True, slots=True)
class Committed:
    """Says whether a commit answers a look at a path as the working tree does.

    ``changes`` are the paths that git sees changed, with whether something came or went there or
    became of another kind; ``unwatched`` those at which git was told not to look.
    """

    root: Path
    tracked: frozenset[str]
    changes: Mapping[str, bool]
    unwatched: frozenset[str]

    def __call__(self, kind: str, path: str) -> bool:
        """Return whether a file's content, what stands at a path, or a folder's names are held."""
        if kind == "folder":
            return self._names(path)
        if kind == "kind":
            return not any(self.changes.get(one) for one in _with_above(path)) and self._known(path)
        if path in self.unwatched or any(one in self.changes for one in _with_above(path)):
            return False
        return self._known(path)

    def judged(self) -> bool:
        """Return whether every file that is read as text in the judged folders is held.

        What git ignores or does not know there is not looked at here.
        """
        paths = (*self.changes, *self.unwatched)
        return not any(is_judged(path) and path.endswith(READ_AS_TEXT) for path in paths)

    def _known(self, path: str) -> bool:
        """Whether a path is tracked, as part of a submodule too, or nothing stands there."""
        there = is_in(path, self.tracked) or any(one.startswith(f"{path}/") for one in self.tracked)
        return there or not (self.root / path).exists()

    def _names(self, path: str) -> bool:
        start = "" if path in ("", ".") else f"{path}/"
        known = {one.removeprefix(start).partition("/")[0] for one in self._below(start)}
        try:
            names = set(os.listdir(self.root / path)) - MADE_BY_TOOLS
        except OSError:
            names = set()
        gone = (one for one, moved in self.changes.items() if moved and one.startswith(start))
        return names == known and not any("/" not in one.removeprefix(start) for one in gone)

    def _below(self, start: str) -> Iterator[str]:
        return (one for one in self.tracked if one.startswith(start))


def changes_of(lines: Iterable[str], prefix: str) -> dict[str, bool]:
    """Return the changed paths of a status, from the project's root, and what came or went.

    ``prefix`` leads from the top of the repository to the project. A path of "" is all of it.
    """
    found: dict[str, bool] = {}
    for line in lines:
        fields = _FIELDS.get(line[0])
        if fields is None:
            continue
        *about, path = line.split(" ", fields)
        moved = about[0] != "1" or bool(set("ADT") & set(about[1]))
        path = path.rstrip("/")
        inside = "" if prefix.startswith(f"{path}/") else path.removeprefix(prefix)
        found[inside] = moved
    return found


def _with_above(path: str) -> Iterator[str]:
    yield path
    yield from (str(above) for above in PurePosixPath(path).parents if str(above) != ".")
    yield ""
