"""Which commits a merge under way brings together with HEAD."""

from __future__ import annotations

import os
import re
from contextlib import suppress
from pathlib import Path

from closeout.snapshot.errors import SnapshotError
from closeout.snapshot.git import need_repository
from closeout.snapshot.names import shown

_NAME = re.compile(r"[0-9a-f]{40}(?:[0-9a-f]{24})?")
# Git names each commit that it merges so before it calls the hook, and writes MERGE_HEAD later.
_GITHEAD = "GITHEAD_"


def merged_commits(root: Path) -> tuple[str, ...]:
    """Return the commits that become parents beside HEAD; empty where no merge is under way.

    Raises:
        SnapshotError: there is no repository, or git refuses.
    """
    named = [name.removeprefix(_GITHEAD) for name in os.environ if name.startswith(_GITHEAD)]
    git = need_repository(root).git
    place = os.fsdecode(git.ask("rev-parse", "--git-path", "MERGE_HEAD")).removesuffix("\n")
    with suppress(OSError, UnicodeDecodeError):
        named += (git.folder / place).read_text("ascii").split()
    return tuple(dict.fromkeys(name for name in named if _NAME.fullmatch(name)))


def branching_point(root: Path, base: str) -> str:
    """Return the last commit that HEAD has in common with another one.

    Raises:
        SnapshotError: there is no such commit, or none in common that was fetched.
    """
    git = need_repository(root).git
    known = "" if base.startswith("-") or "\0" in base else base
    reply = git.call("rev-parse", "--verify", "--quiet", f"{known}^{{commit}}")
    if not known or reply.status != 0:
        remote, _, branch = base.rpartition("/")
        raise SnapshotError(
            f"'{shown(base)}' is no commit of this repository; it may not have been fetched",
            f"git fetch {shown(remote) or 'origin'} {shown(branch)}, then name the branch with its"
            " remote, as origin/main",
        )
    common = git.call("merge-base", reply.out.decode().strip(), "HEAD")
    if common.status == 0:
        return common.out.decode().split()[0]
    shallow = git.ask("rev-parse", "--is-shallow-repository").decode().strip() == "true"
    raise SnapshotError(
        f"HEAD and '{shown(base)}' have no commit in common"
        + (" among those that were fetched" if shallow else ""),
        "git fetch --unshallow (in a CI job: fetch the whole history)" if shallow
        else "name a branch that this one began on",
    )  # fmt: skip


def usual_base(root: Path) -> str | None:
    """Return the branch that others are made from and merged into, as far as the clone knows it."""
    git = need_repository(root).git
    for name in ("refs/remotes/origin/HEAD", "refs/remotes/origin/main", "refs/heads/main"):
        if git.call("rev-parse", "--verify", "--quiet", name).status == 0:
            return name
    return None
