"""Earlier states of a project: which files its commits changed, and what stood in them.

Everything is read from git's objects; nothing is checked out.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from closeout.snapshot.errors import SnapshotError
from closeout.snapshot.folder import Snapshot
from closeout.snapshot.git import EXPORT_SECONDS, Git, Repository, find_repository, names_of
from closeout.snapshot.names import JUDGED, is_judged

_FILES = ("100644", "100755")
_HEAD = "\x01"  # begins the line of a commit; no path can be taken for it, since paths follow ":"
# Contents are asked for in portions, so that a long history does not stand in memory whole.
_PORTION = 400


@dataclass(frozen=True, slots=True)
class Commit:
    """A commit's day (the author's, year-month-day) and the YAML files that it changed.

    Paths are from the project's root; a blob of None means that the file was taken away.
    """

    id: str
    day: str
    changes: tuple[tuple[str, str | None], ...]


@dataclass(frozen=True, slots=True)
class Past:
    """The commits that a snapshot follows, which is none of them.

    ``commits`` are those that it is compared with (:attr:`.Snapshot.against`), so a commit is
    compared with what its staged state was; ``base`` is the first of them. ``shallow`` says that
    older commits were not fetched, so that more may be known another day.
    """

    commits: tuple[str, ...]
    shallow: bool
    _repository: Repository

    @property
    def base(self) -> str | None:
        """The commit that the snapshot itself is compared with; None where it is not there."""
        return next(iter(self.commits), None)

    @property
    def prefix(self) -> str:
        """The path from the top of the repository to the project, "" or ending in "/"."""
        return self._repository.prefix

    def line(self) -> tuple[Commit, ...]:
        """Return the commits along the first parents that changed YAML files, oldest first."""
        return self._log(self.commits[:1], "--first-parent", "--reverse")

    def every(self) -> tuple[Commit, ...]:
        """Return all commits that changed YAML files, those of merged branches too."""
        return self._log(self.commits, "--full-history")

    def tree(self, commit: str) -> dict[str, str]:
        """Return the YAML files of a commit, from path to blob."""
        return {path: blob for path, blob in self.blobs(commit).items() if _is_read(path)}

    def blobs(self, commit: str, paths: Iterable[str] = JUDGED) -> dict[str, str]:
        """Return the files of a commit at some paths and in folders there, from path to blob."""
        where = [self.prefix + path for path in paths]
        output = self._git.ask("ls-tree", "-r", "-z", "--full-tree", commit, "--", *where)
        found = {}
        for line in names_of(output):
            about, _, path = line.partition("\t")
            mode, _, blob = about.split(" ")
            if mode in _FILES:
                found[path.removeprefix(self.prefix)] = blob
        return found

    def contents(self, blobs: Iterable[str]) -> Iterator[tuple[str, bytes]]:
        """Yield each blob with its content; one that was not fetched is passed over."""
        wanted = list(blobs)
        for start in range(0, len(wanted), _PORTION):
            yield from _contents(self._git, wanted[start : start + _PORTION])

    def name_of(self, content: bytes, like: str) -> str:
        """Return the name that git gives a content, in the form of another blob's name."""
        state = hashlib.sha1(usedforsecurity=False) if len(like) == 40 else hashlib.sha256()
        state.update(b"blob %d\0" % len(content))
        state.update(content)
        return state.hexdigest()

    @property
    def _git(self) -> Git:
        # A clone that fetches what it lacks only when asked: the judge does not go to the network.
        return self._repository.git.extended(GIT_NO_LAZY_FETCH="1")

    def _log(self, commits: Sequence[str], *options: str) -> tuple[Commit, ...]:
        if not commits:
            return ()
        output = self._git.ask(
            "log",
            *options,
            "--diff-merges=first-parent",
            "--raw",
            "-z",
            "--no-renames",
            "--no-abbrev",
            "--no-color",
            "--no-ext-diff",
            "--ignore-submodules=all",
            "--no-show-signature",
            "--no-notes",
            "--format=%x01%H %ad",
            "--date=short",
            *commits,
            "--",
            *(self.prefix + folder for folder in JUDGED),
            seconds=EXPORT_SECONDS,
        )
        return tuple(_commits(names_of(output), self.prefix))


def past_of(snapshot: Snapshot) -> Past | None:
    """Return the earlier states of the project that a snapshot is of.

    None where there are none or git does not tell them: outside git, before the first commit.
    """
    if snapshot.against is None:
        return None
    try:
        repository = find_repository(snapshot.origin)
        if repository is None:
            return None
        shallow = repository.git.ask("rev-parse", "--is-shallow-repository").decode().strip()
    except SnapshotError:
        return None
    return Past(snapshot.against, shallow == "true", repository)


def _is_read(path: str) -> bool:
    return path.endswith(".yaml") and is_judged(path)


def _commits(fields: Sequence[str], prefix: str) -> Iterator[Commit]:
    """Yield the commits of a log: a field for each commit's head, two for each change."""
    head = ""
    changes: list[tuple[str, str | None]] = []
    rest = iter(fields)
    for field in rest:
        text = field.lstrip("\n")
        if text.startswith(_HEAD):
            if head:
                yield _commit(head, changes)
            head, changes = text.removeprefix(_HEAD), []
        elif text.startswith(":"):
            path = next(rest).removeprefix(prefix)
            _, mode, _, blob, _ = text.split(" ")
            if _is_read(path):
                changes.append((path, blob if mode in _FILES else None))
    if head:
        yield _commit(head, changes)


def _commit(head: str, changes: list[tuple[str, str | None]]) -> Commit:
    name, _, day = head.partition(" ")
    return Commit(name, day, tuple(changes))


def _contents(git: Git, blobs: list[str]) -> Iterator[tuple[str, bytes]]:
    given = "".join(f"{blob}\n" for blob in blobs).encode()
    output = git.ask("cat-file", "--batch", given=given, seconds=EXPORT_SECONDS)
    at = 0
    while at < len(output):
        end = output.index(b"\n", at)
        name, *about = output[at:end].decode().split(" ")
        at = end + 1
        if len(about) == 2 and about[0] == "blob":
            size = int(about[1])
            yield name, output[at : at + size]
            at += size + 1
