"""A state of a project as a folder that is read and never written."""

from __future__ import annotations

import errno
import hashlib
import os
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from types import TracebackType

from closeout.model.identity import SnapshotIdentity
from closeout.model.made_by_tools import MADE_BY_TOOLS
from closeout.model.problem import Problem, in_order
from closeout.snapshot.confined import opened_file, opened_folder
from closeout.snapshot.dates import Dated, today
from closeout.snapshot.names import READ_AS_TEXT, is_judged, shown
from closeout.snapshot.tracked import untracked_of
from closeout.snapshot.walk import kind_problem, link_problem, walk

_CHUNK = 1 << 18  # bytes


class Snapshot:
    """A state of a project, read-only: a folder, what it is of, and what it leaves out.

    ``root`` is the folder in which the files stand. ``notes`` are sentences about what git knows
    and this state does not hold. What was found once holds for the life of the snapshot.
    """

    def __init__(
        self,
        root: Path,
        identity: SnapshotIdentity,
        *,
        notes: tuple[str, ...] = (),
        links: frozenset[str] = frozenset(),
        submodules: frozenset[str] = frozenset(),
        on_close: Callable[[], None] | None = None,
        origin: Path | None = None,
        dated: Dated | None = None,
    ) -> None:
        """Make a view of a folder.

        Args:
            links: paths that are symbolic links in git, and were not exported for that.
            submodules: paths of submodules in git, not exported either.
            on_close: called by each ``close``.
            origin: the project's own folder, where this state was exported from.
            dated: what its day follows from; today where nothing is given.
        """
        self.root = root
        self.identity = identity
        self.notes = notes
        self.origin = origin or root
        # What git tracks in a working tree, None elsewhere: an exported state holds nothing else.
        self.tracked: frozenset[str] | None = None
        self.dated = dated or Dated(today())
        self._links = links
        self._submodules = submodules
        self._on_close = on_close
        self._walked: tuple[tuple[str, ...], tuple[Problem, ...]] | None = None
        self._digests: dict[str, str | None] = {}
        self._listings: dict[str, str | None] = {}

    def files(self) -> tuple[str, ...]:
        """Return the sorted paths of all regular files in requirements/ and analyses/."""
        return self._walk()[0]

    def problems(self) -> tuple[Problem, ...]:
        """Return what stands in requirements/ and analyses/ and must not: links, odd files."""
        return self._walk()[1]

    def read(self, path: str) -> bytes:
        """Return the content of a file.

        Raises:
            OSError: absent, no regular file, behind a symbolic link, outside the root; or its
                content is no longer what this snapshot has seen (ESTALE).
        """
        self._refuse_link(path)
        with opened_file(self.root, path) as file:
            data = b"".join(_chunks(file))
        # The working tree may be edited while it is judged; a result must not be stored under the
        # digest of another content.
        digest = _new_hash(data).hexdigest()
        if self._digests.setdefault(path, digest) != digest:
            raise OSError(errno.ESTALE, "changed while the project was judged; run again", path)
        return data

    def digest(self, path: str) -> str | None:
        """Return the BLAKE2b-256 digest of a file's content in hexadecimal.

        None where nothing can be read there: absent, no regular file, behind a symbolic link.
        """
        if path not in self._digests:
            self._digests[path] = self._digest(path)
        return self._digests[path]

    def listing(self, path: str) -> str | None:
        """Return a digest of the names in a folder and which of them are folders; None for none.

        The root is "" or ".". Left out are .git, .closeout and __pycache__.
        """
        if path not in self._listings:
            self._listings[path] = self._listing(path)
        return self._listings[path]

    def everything(self) -> tuple[str, ...]:
        """Return the sorted paths of all files of this state, also outside the judged folders.

        Of a working tree under git: what git tracks or does not ignore, and what is judged. Paths
        at which nothing can be read (a deleted file, a link) are not among them.

        Raises:
            SnapshotError: git cannot list them.
        """
        from closeout.snapshot.whole import found_below, listed_by_git

        if self.tracked is not None:
            found = listed_by_git(self.root, self.tracked)
        else:
            found = found_below(self.root, exported=self.identity.kind != "tree")
        return tuple(sorted(path for path in found | set(self.files()) if self.digest(path)))

    def untracked(self, looked: Iterable[tuple[str, str, str | None]]) -> tuple[str, ...]:
        """Return which of the paths that were looked at are in no commit; see :mod:`.tracked`."""
        if self.tracked is None:
            return ()
        return untracked_of(self.root, self.tracked, looked)

    @property
    def against(self) -> tuple[str, ...] | None:
        """The commits that this state follows, and is compared with; None where there is no commit.

        Of a commit its parents, of what differs from its commit that one.
        """
        stamp = self.dated.stamp
        if stamp is None or self.identity.commit is None:
            return None
        return (self.identity.commit,) if self.identity.dirty else stamp.parents

    def close(self) -> None:
        """Remove what was exported; a working tree is left as it is. May be called again."""
        if self._on_close is not None:
            self._on_close()

    def __enter__(self) -> Snapshot:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.close()

    def _walk(self) -> tuple[tuple[str, ...], tuple[Problem, ...]]:
        if self._walked is None:
            files, problems = walk(self.root)
            links = [link_problem(path) for path in self._links if is_judged(path)]
            modules = [
                kind_problem(path, "a submodule")
                for path in self._submodules
                if is_judged(path) and path.endswith(READ_AS_TEXT)
            ]
            self._walked = files, in_order([*problems, *links, *modules])
        return self._walked

    def _digest(self, path: str) -> str | None:
        try:
            self._refuse_link(path)
            digest = _new_hash()
            with opened_file(self.root, path) as file:
                for chunk in _chunks(file):
                    digest.update(chunk)
            return digest.hexdigest()
        except OSError:
            return None

    def _listing(self, path: str) -> str | None:
        try:
            with opened_folder(self.root, path) as folder, os.scandir(folder) as entries:
                names = sorted(
                    # No name holds "/" or NUL, so no two listings run together.
                    os.fsencode(entry.name) + (b"/" if entry.is_dir(follow_symlinks=False) else b"")
                    for entry in entries
                    if entry.name not in MADE_BY_TOOLS
                )
        except OSError:
            return None
        return _new_hash(b"".join(name + b"\0" for name in names)).hexdigest()

    def _refuse_link(self, path: str) -> None:
        if path in self._links:
            raise OSError(errno.ELOOP, "is a symbolic link", shown(path))


def _new_hash(data: bytes = b"") -> hashlib.blake2b:
    return hashlib.blake2b(data, digest_size=32)


def _chunks(file: int) -> Iterator[bytes]:
    while chunk := os.read(file, _CHUNK):
        yield chunk
