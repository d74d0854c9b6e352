"""What a commit would change."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from closeout.snapshot.git import Repository, names_of, need_repository


@dataclass(frozen=True, slots=True)
class Change:
    """A staged change: status is A, M, D, R, C, T (type) or U (not merged); see git diff.

    Paths are from the project's root. ``old`` is where a renamed or copied file was.
    """

    status: str
    path: str
    old: str | None = None


def has_head(root: Path) -> bool:
    """Whether the repository of a project has a commit yet.

    Raises:
        SnapshotError: there is no repository, or git refuses.
    """
    return need_repository(root).head() is not None


def changed(root: Path) -> tuple[Change, ...]:
    """Return the staged changes of a project against HEAD, or against nothing where none is.

    A file that is moved into the project is added to it, one that is moved out is deleted.

    Raises:
        SnapshotError: there is no repository, or git refuses.
    """
    repository = need_repository(root)
    against = repository.head() or _empty_tree(repository)
    where = [f"--relative={repository.prefix}"] if repository.prefix else []
    output = repository.git.ask(
        "diff-index",
        "--cached",
        "--ita-invisible-in-index",
        "--ignore-submodules=none",
        "--no-color",
        "--no-ext-diff",
        "--name-status",
        "-M",
        "-z",
        *where,
        against,
        "--",
    )
    return _read(names_of(output))


def _empty_tree(repository: Repository) -> str:
    return repository.git.ask("hash-object", "-t", "tree", "--stdin").decode().strip()


def _read(fields: list[str]) -> tuple[Change, ...]:
    found = []
    rest = iter(fields)
    for status in rest:
        first = next(rest)
        if status[0] in ("R", "C"):
            found.append(Change(status[0], next(rest), first))
        else:
            found.append(Change(status[0], first))
    return tuple(found)
