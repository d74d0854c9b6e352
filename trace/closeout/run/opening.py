"""Opening a project and its store."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from closeout.model.errors import UserError
from closeout.snapshot import (
    Snapshot,
    find_root,
    open_commit,
    open_tree,
    store_folder,
)
from closeout.store.database import Store, open_store


@contextmanager
def opened(root: Path, revision: str | None = None) -> Iterator[tuple[Snapshot, Store]]:
    """Open the project at a folder, its working tree or a commit, and its store.

    Raises:
        UserError: the revision cannot be opened, or git refuses.
    """
    with open_store(store_folder(root)) as store, _snapshot(root, revision) as snapshot:
        yield snapshot, store


def root_of(place: Path) -> Path:
    """Return the root of the project that a folder belongs to.

    Raises:
        UserError: there is none.
    """
    root = find_root(place)
    if root is None:
        raise UserError(
            "no project here: no requirements/project.yaml in this folder or above",
            "go to a project's folder, or make one: closeout start DIR",
        )
    return root


def _snapshot(root: Path, revision: str | None) -> Snapshot:
    return open_tree(root) if revision is None else open_commit(root, revision)
