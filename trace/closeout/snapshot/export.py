"""Export the staged state or a commit into a temporary folder.

Neither the working tree nor the real index is written, nor read in the working tree's case: the
index is copied, git writes its tree from the copy, and a private index and working tree take the
export. So there is nothing to put back after a kill. Not ``git archive``, which leaves out what
is marked export-ignore; not ``checkout-index`` on the real index, which passes over unmerged paths
and writes files that are only intended to be added as empty ones.
"""

from __future__ import annotations

import os
import shutil
from dataclasses import dataclass
from pathlib import Path

from closeout.model.identity import SnapshotIdentity
from closeout.snapshot.dates import Dated, stamp_of, today
from closeout.snapshot.errors import SnapshotError, refused_by_system
from closeout.snapshot.folder import Snapshot
from closeout.snapshot.git import (
    EXPORT_SECONDS,
    OWN_INDEX,
    Git,
    Repository,
    names_of,
    need_repository,
    refusal,
)
from closeout.snapshot.names import is_judged, list_of, shown
from closeout.snapshot.temporary import TemporaryFolder

_LINK = "120000"
_SUBMODULE = "160000"


@dataclass(frozen=True, slots=True)
class _Content:
    """The paths of a tree below the project, from the top of the repository, by what they are."""

    files: list[str]
    links: list[str]
    submodules: list[str]


def open_index(root: Path) -> Snapshot:
    """Return the staged state of the project at a folder: what a commit would hold.

    The index is the one that GIT_INDEX_FILE names, as git sets it for a hook.

    Raises:
        SnapshotError: no repository, paths that are not merged, or git refuses.
    """
    repository = need_repository(root)
    folder = _new_folder()
    try:
        staged = _copy_of_index(repository, folder.path / "staged")
        tree = _tree_of(staged)
        head = repository.head()
        identity = SnapshotIdentity("index", head, head is None or _differs(repository, head, tree))
        dated = Dated(today(), None if head is None else stamp_of(repository.git, head))
        return _export(repository, folder, tree, identity, dated, staged)
    except BaseException:
        folder.close()
        raise


def open_commit(root: Path, revision: str) -> Snapshot:
    """Return the project at a folder as it stands in a commit.

    Raises:
        SnapshotError: no repository, no such commit, or git refuses.
    """
    repository = need_repository(root)
    commit = commit_of(repository, revision)
    folder = _new_folder()
    try:
        identity = SnapshotIdentity("commit", commit, False)
        dated = Dated(today(), stamp_of(repository.git, commit), judged=True)
        return _export(repository, folder, commit, identity, dated, None)
    except BaseException:
        folder.close()
        raise


def has_head(root: Path) -> bool:
    """Whether the repository of a project has a commit yet.

    Raises:
        SnapshotError: there is no repository, or git refuses.
    """
    return need_repository(root).head() is not None


def _new_folder() -> TemporaryFolder:
    with refused_by_system("no temporary folder can be made", "free disk space, or set TMPDIR"):
        return TemporaryFolder()


def _copy_of_index(repository: Repository, target: Path) -> Git:
    """Return git on a copy of the index: ``git write-tree`` would lock and rewrite the real one."""
    if repository.index.exists():
        with refused_by_system(
            "the index cannot be copied", "check its permissions, and the free space"
        ):
            shutil.copyfile(repository.index, target)
    return repository.git.extended(GIT_INDEX_FILE=target)


def _tree_of(staged: Git) -> str:
    reply = staged.call(*OWN_INDEX, "write-tree")
    if reply.status == 0:
        return reply.out.decode().strip()
    lines = names_of(staged.ask("ls-files", "--unmerged", "-z"))
    unmerged = sorted({line.partition("\t")[2] for line in lines})
    if not unmerged:
        raise refusal(reply, "write-tree")
    raise SnapshotError(
        f"not merged yet: {list_of(unmerged)}", "resolve the conflicts, then git add these paths"
    )


def _differs(repository: Repository, head: str, tree: str) -> bool:
    where = ["--", repository.prefix] if repository.prefix else []
    reply = repository.git.call("diff-tree", "--quiet", head, tree, *where)
    if reply.status not in (0, 1):
        raise refusal(reply, "diff-tree")
    return reply.status == 1


def commit_of(repository: Repository, revision: str) -> str:
    """Return the full name of a commit.

    Raises:
        SnapshotError: there is no such commit, or git refuses.
    """
    unknown = SnapshotError(
        f"'{shown(revision)}' is no commit of this repository",
        "name a commit, a branch or a tag; in a shallow clone, fetch it first",
    )
    # A leading "-" would be read as an option.
    if not revision or revision.startswith("-") or "\0" in revision:
        raise unknown
    reply = repository.git.call("rev-parse", "--verify", "--quiet", f"{revision}^{{commit}}")
    if reply.status != 0:
        raise unknown
    return reply.out.decode().strip()


def _export(
    repository: Repository,
    folder: TemporaryFolder,
    tree: str,
    identity: SnapshotIdentity,
    dated: Dated,
    staged: Git | None,
) -> Snapshot:
    """Return the snapshot of a tree or commit, exported into the folder."""
    target = folder.path / "tree"
    root = target / repository.prefix
    root.mkdir(parents=True)
    # Its own working tree, because git reads .gitattributes there: filters and line ends follow
    # what is exported, not what lies in the user's working tree.
    own = repository.git.extended(GIT_INDEX_FILE=folder.path / "index", GIT_WORK_TREE=target)
    own = Git(target, own.environment)
    own.ask(*OWN_INDEX, "read-tree", tree)
    content = _content(own, repository.prefix)
    _write_files(own, content.files, folder.lock)
    links = _below(repository.prefix, content.links)
    submodules = _below(repository.prefix, content.submodules)
    return Snapshot(
        root,
        identity,
        notes=(
            *_notes_on_intended(repository.prefix, staged, content),
            *_notes_on_left_out(links, submodules),
        ),
        links=frozenset(links),
        submodules=frozenset(submodules),
        on_close=folder.close,
        origin=repository.top / repository.prefix,
        dated=dated,
    )


def _content(own: Git, prefix: str) -> _Content:
    content = _Content([], [], [])
    kinds = {_LINK: content.links, _SUBMODULE: content.submodules}
    where = ["--", prefix] if prefix else []
    for line in names_of(own.ask("ls-files", "--stage", "-z", *where)):
        about, _, path = line.partition("\t")
        kinds.get(about.partition(" ")[0], content.files).append(path)
    return content


def _write_files(own: Git, paths: list[str], lock: int) -> None:
    """Write the files of the index; links are left out, so none can lead out of the export."""
    given = b"".join(os.fsencode(path) + b"\0" for path in paths)
    reply = own.call(
        *OWN_INDEX,
        "checkout-index",
        "-z",
        "--stdin",
        given=given,
        seconds=EXPORT_SECONDS,
        keep_open=(lock,),
    )
    if reply.status != 0 or "already exists" in reply.err:
        raise SnapshotError(
            f"git could not export the files: {reply.reason}",
            "check the filters in .gitattributes, the free space for temporary files, "
            "and names that differ in case only",
        )


def _notes_on_intended(prefix: str, staged: Git | None, content: _Content) -> list[str]:
    if staged is None:
        return []
    where = ["--", prefix] if prefix else []
    staged_paths = {*content.files, *content.links, *content.submodules}
    names = names_of(staged.ask("ls-files", "-z", *where))
    return [
        f"{shown(path)} is only intended to be added (git add -N) and is not in the staged state"
        for path in _below(prefix, sorted(set(names) - staged_paths))
    ]


def _notes_on_left_out(links: list[str], submodules: list[str]) -> list[str]:
    # A link in a judged folder is a problem, which says more than a note.
    return [
        *(f"{shown(path)} is a symbolic link and is left out" for path in links
          if not is_judged(path)),
        *(f"{shown(path)} is a submodule and its files are left out" for path in submodules),
    ]  # fmt: skip


def _below(prefix: str, paths: list[str]) -> list[str]:
    return [path.removeprefix(prefix) for path in paths]
