"""The working tree: where a project stands, and what git says of it."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from closeout.model.identity import SnapshotIdentity
from closeout.snapshot.committed import Committed, changes_of
from closeout.snapshot.dates import Dated, stamp_of
from closeout.snapshot.errors import SnapshotError
from closeout.snapshot.folder import Snapshot
from closeout.snapshot.git import Git, git_at, names_of, refusal
from closeout.snapshot.names import READ_AS_TEXT, is_judged, shown
from closeout.snapshot.tracked import is_in

_MARK = "requirements/project.yaml"


@dataclass(frozen=True, slots=True)
class _Watch:
    tracked: frozenset[str]
    unwatched: frozenset[str]


def find_root(start: Path) -> Path | None:
    """Return the nearest folder at or above a place that holds requirements/project.yaml."""
    place = start.resolve()
    for folder in (place, *place.parents):
        mark = folder / _MARK
        # Also where it is a link or a folder: the project is there, and the fault is reported.
        if mark.exists() or mark.is_symlink():
            return folder
    return None


def folder_in_repository(root: Path) -> str:
    """Return the way from the top of the repository to a project, with a slash at its end.

    Empty where that is one place, and outside of git.
    """
    try:
        return _prefix(git_at(root))
    except SnapshotError:
        return ""


def store_folder(root: Path) -> Path:
    """Return the folder in which results are stored: the working tree's, whatever is judged."""
    return root / ".closeout"


def open_files(root: Path) -> Snapshot:
    """Return the files of a folder as they are; git is not asked which state that is."""
    return Snapshot(root.resolve(), SnapshotIdentity("tree", None, None))


def open_tree(root: Path) -> Snapshot:
    """Return the working tree at a folder, as it is.

    Its commit is HEAD's. It is dirty where anything below the folder is staged, changed or
    untracked, and also where git cannot vouch for a file that is judged: one that it ignores or
    is set not to look at. What else is read, ``Snapshot.untracked`` names. Outside git, and
    before the first commit, there is no commit.
    """
    snapshot = open_files(root)
    try:
        git = git_at(snapshot.root)
        found = _status(git)
        if found is None:
            return snapshot
        commit, changes = found
        watch = _watch(git)
        snapshot.tracked = watch.tracked
        foreign = [path for path in snapshot.files() if not is_in(path, watch.tracked)]
        if commit is not None:
            snapshot.dated = _dated(git, snapshot, commit, changes, watch, foreign)
    except SnapshotError as error:
        if _has_git_folder(snapshot.root):
            snapshot.notes = (f"the commit cannot be determined: {error.message}",)
        return snapshot
    odd = [path for path in watch.unwatched if is_judged(path) or (snapshot.root / path).exists()]
    hidden = bool(odd) or any(path.endswith(READ_AS_TEXT) for path in foreign)
    snapshot.identity = SnapshotIdentity("tree", commit, bool(changes) or hidden)
    snapshot.notes = (
        *_each(odd, "is marked so that git ignores its changes"),
        *_each(foreign, "is not tracked by git"),
    )
    return snapshot


def _status(git: Git) -> tuple[str | None, list[str]] | None:
    """Return HEAD's commit and the changes that git sees; None outside of a repository."""
    reply = git.call(
        "status",
        "--porcelain=v2",
        "--branch",
        "-z",
        "--untracked-files=normal",
        "--ignore-submodules=none",
        "--no-renames",
        "--",
        ".",
    )
    if reply.status != 0:
        if "not a git repository" in reply.err:
            return None
        raise refusal(reply, "status")
    commit, changes = None, []
    for line in names_of(reply.out):
        if line.startswith("# branch.oid "):
            name = line.removeprefix("# branch.oid ")
            commit = None if name == "(initial)" else name
        elif not line.startswith("# "):
            changes.append(line)
    return commit, changes


def _watch(git: Git) -> _Watch:
    """Return what git tracks, and at which of it it is set not to look."""
    tracked: set[str] = set()
    unwatched: set[str] = set()
    for line in names_of(git.ask("ls-files", "-v", "-z", "--", ".")):
        tag, path = line[0], line[2:]
        tracked.add(path)
        # Lower case: assume-unchanged. S: skip-worktree, as in a sparse checkout.
        if tag.islower() or tag == "S":
            unwatched.add(path)
    return _Watch(frozenset(tracked), frozenset(unwatched))


def _dated(
    git: Git,
    snapshot: Snapshot,
    commit: str,
    changes: list[str],
    watch: _Watch,
    foreign: list[str],
) -> Dated:
    """Return what the day of a working tree follows from."""
    changed = changes_of(changes, _prefix(git)) if changes else {}
    committed = Committed(snapshot.root, watch.tracked, changed, watch.unwatched)
    judged = committed.judged() and not any(path.endswith(READ_AS_TEXT) for path in foreign)
    return replace(snapshot.dated, stamp=stamp_of(git, commit), judged=judged, holds=committed)


def _prefix(git: Git) -> str:
    """Return the way from the top of the repository, from which a status is given, to here."""
    return os.fsdecode(git.ask("rev-parse", "--show-prefix")).removesuffix("\n")


def _each(paths: Iterable[str], what: str) -> list[str]:
    return [f"{shown(path)} {what}" for path in sorted(paths)]


def _has_git_folder(root: Path) -> bool:
    return any((folder / ".git").exists() for folder in (root, *root.parents))
