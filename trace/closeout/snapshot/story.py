"""The commits that a state stands on along their first parents, with what each of them changed."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from closeout.snapshot.folder import Snapshot
from closeout.snapshot.git import EXPORT_SECONDS, Repository, find_repository

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_HEAD = "\x01"  # begins a commit in the log; no path has it
_TAG = "tag: "


@dataclass(frozen=True, slots=True)
class Change:
    """A commit: its day (the committer's), subject, tags, and the paths that it changed.

    Paths are from the project's root; of a merge those in which it differs from its first parent.
    """

    id: str
    day: str
    subject: str
    tags: tuple[str, ...]
    paths: frozenset[str]


@dataclass(frozen=True, slots=True)
class Story:
    """The commits of a state, the newest first; ``whole`` is False where older ones are missing."""

    changes: tuple[Change, ...] = ()
    whole: bool = True


def story_of(snapshot: Snapshot, since: str | None = None) -> Story | None:
    """Return the commits that a state stands on, its own first; None outside git.

    Args:
        since: a day (year-month-day), or a commit, with which the story begins

    Raises:
        SnapshotError: there is no such commit, or git refuses.
    """
    from closeout.snapshot.export import commit_of

    commit = snapshot.identity.commit
    repository = None if commit is None else find_repository(snapshot.origin)
    if commit is None or repository is None:
        return None
    is_day = since is not None and _DAY.fullmatch(since) is not None
    first = None if since is None or is_day else commit_of(repository, since)
    found: list[Change] = []
    for change in _log(repository, commit):
        if is_day and change.day < (since or ""):
            return Story(tuple(found))
        found.append(change)
        if change.id == first:
            return Story(tuple(found))
    shallow = repository.git.ask("rev-parse", "--is-shallow-repository").decode().strip()
    return Story(tuple(found), shallow != "true")


def _log(repository: Repository, commit: str) -> Iterator[Change]:
    output = repository.git.ask(
        "log", "--first-parent", "--diff-merges=first-parent", "--name-only", "-z", "--no-renames",
        "--no-color", "--no-ext-diff", "--no-show-signature", "--no-notes",
        "--format=%x01%H%x00%cs%x00%D%x00%s", commit, seconds=EXPORT_SECONDS,
    )  # fmt: skip
    for text in output.decode("utf-8", "surrogateescape").split(_HEAD)[1:]:
        name, day, refs, subject, *paths = text.split("\0")
        tags = [one.removeprefix(_TAG) for one in refs.split(", ") if one.startswith(_TAG)]
        below = (path.lstrip("\n") for path in paths)
        prefix = repository.prefix
        yield Change(
            name, day, subject, tuple(tags),
            frozenset(p.removeprefix(prefix) for p in below if p and p.startswith(prefix)),
        )  # fmt: skip
