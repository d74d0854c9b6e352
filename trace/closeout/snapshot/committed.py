"""What of a working tree its commit holds as it stands there."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from closeout.snapshot.dates import Looked
from closeout.snapshot.names import READ_AS_TEXT, is_judged
from closeout.snapshot.tracked import untracked_of

# Fields before the path in a line of ``git status --porcelain=v2`` (git-status, "Porcelain Format
# Version 2"), by its first character: an ordinary change, one that is not merged, an untracked one.
_FIELDS = {"1": 8, "u": 10, "?": 1}


@dataclass(frozen=True, slots=True)
class Committed:
    """Says whether a commit answers looks at a working tree as that does.

    ``changes`` are the paths that git sees changed, with whether something came or went there or
    became of another kind; ``unwatched`` those at which git is set not to look.
    """

    root: Path
    tracked: frozenset[str]
    changes: Mapping[str, bool]
    unwatched: frozenset[str]

    def __call__(self, looked: Collection[Looked]) -> bool:
        """Return whether files' contents, what stands at paths and folders' names are committed."""
        if untracked_of(self.root, self.tracked, looked):
            return False
        return not any(self._is_changed(kind, path) for kind, path, _ in looked)

    def judged(self) -> bool:
        """Return whether every file that is read as text in the judged folders is in the commit.

        What git ignores or does not know there is not looked at here.
        """
        paths = (*self.changes, *self.unwatched)
        return not any(is_judged(path) and path.endswith(READ_AS_TEXT) for path in paths)

    def _is_changed(self, kind: str, path: str) -> bool:
        if kind == "folder":
            inside = PurePosixPath(path)
            return any(
                moved and PurePosixPath(one).parent == inside for one, moved in self.changes.items()
            )
        changes = [one for one in _with_above(path) if one in self.changes]
        if kind == "kind":
            return any(self.changes[one] for one in changes)
        return kind == "file" and (bool(changes) or path in self.unwatched)


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
