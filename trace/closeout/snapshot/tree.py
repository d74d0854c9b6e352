"""The working tree: where a project stands, and what git says of it."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from closeout.model.dossier import SnapshotIdentity
from closeout.snapshot.errors import SnapshotError
from closeout.snapshot.folder import Snapshot
from closeout.snapshot.git import Git, git_at, names_of, refusal
from closeout.snapshot.held import is_in
from closeout.snapshot.names import READ_AS_TEXT, is_judged, shown

_MARK = "requirements/project.yaml"


def find_root(start: Path) -> Path | None:
    """Return the nearest folder at or above a place that holds requirements/project.yaml."""
    place = start.resolve()
    for folder in (place, *place.parents):
        mark = folder / _MARK
        # Also where it is a link or a folder: the project is there, and the fault is told.
        if mark.exists() or mark.is_symlink():
            return folder
    return None


def store_folder(root: Path) -> Path:
    """Return the folder in which results are kept: the working tree's, whatever is judged."""
    return root / ".closeout"


def open_tree(root: Path) -> Snapshot:
    """Return the working tree at a folder, as it is.

    Its commit is HEAD's. It is dirty where anything below the folder is staged, changed or
    untracked, and also where git cannot vouch for a file that is judged: one that it ignores or
    was told not to look at. What else is read, ``Snapshot.not_held`` tells apart. Outside git, and
    before the first commit, there is no commit.
    """
    snapshot = Snapshot(root.resolve(), SnapshotIdentity("tree", None, None))
    try:
        git = git_at(snapshot.root)
        found = _commit_and_changes(git)
        if found is None:
            return snapshot
        commit, changed = found
        hidden, notes = _out_of_sight(git, snapshot)
    except SnapshotError as error:
        if _has_git_folder(snapshot.root):
            snapshot.notes = (f"which commit this is cannot be told: {error.message}",)
        return snapshot
    snapshot.identity = SnapshotIdentity("tree", commit, changed or hidden)
    snapshot.notes = notes
    return snapshot


def _commit_and_changes(git: Git) -> tuple[str | None, bool] | None:
    """Return HEAD's commit and whether git sees any change; None outside of a repository."""
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
    commit, changed = None, False
    for line in names_of(reply.out):
        if line.startswith("# branch.oid "):
            name = line.removeprefix("# branch.oid ")
            commit = None if name == "(initial)" else name
        elif not line.startswith("# "):
            changed = True
    return commit, changed


def _out_of_sight(git: Git, snapshot: Snapshot) -> tuple[bool, tuple[str, ...]]:
    """Return whether a judged file may differ without git saying so, and notes that name them."""
    tracked: set[str] = set()
    unwatched: list[str] = []
    for line in names_of(git.ask("ls-files", "-v", "-z", "--", ".")):
        tag, path = line[0], line[2:]
        tracked.add(path)
        # Lower case: assume-unchanged. S: skip-worktree, as in a sparse checkout.
        if (tag.islower() or tag == "S") and (is_judged(path) or (snapshot.root / path).exists()):
            unwatched.append(path)
    foreign = [path for path in snapshot.files() if not is_in(path, tracked)]
    snapshot.tracked = frozenset(tracked)
    notes = (
        *_each(unwatched, "is marked so that git does not look at it"),
        *_each(foreign, "is in no commit: git does not track it"),
    )
    hidden = bool(unwatched) or any(path.endswith(READ_AS_TEXT) for path in foreign)
    return hidden, notes


def _each(paths: Iterable[str], what: str) -> list[str]:
    return [f"{shown(path)} {what}" for path in sorted(paths)]


def _has_git_folder(root: Path) -> bool:
    return any((folder / ".git").exists() for folder in (root, *root.parents))
