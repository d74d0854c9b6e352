"""The state that is judged: the working tree, the staged state or a commit, behind one view.

The only package that runs git. It reads what it is pointed at and writes to temporary folders.
"""

from __future__ import annotations

from closeout.snapshot.ancestors import Commit, Past, past_of
from closeout.snapshot.errors import SnapshotError
from closeout.snapshot.export import has_head, open_commit, open_index
from closeout.snapshot.folder import Snapshot
from closeout.snapshot.hooks import install_hook, remove_hook
from closeout.snapshot.merging import branching_point, merged_commits, usual_base
from closeout.snapshot.mixture import open_mixture
from closeout.snapshot.tree import (
    find_root,
    folder_in_repository,
    open_files,
    open_tree,
    store_folder,
)

__all__ = [
    "Commit",
    "Past",
    "Snapshot",
    "SnapshotError",
    "branching_point",
    "find_root",
    "folder_in_repository",
    "has_head",
    "install_hook",
    "merged_commits",
    "open_commit",
    "open_files",
    "open_index",
    "open_mixture",
    "open_tree",
    "past_of",
    "remove_hook",
    "store_folder",
    "usual_base",
]
