"""Temporary folders of which it is known whether the process that made them still lives."""

from __future__ import annotations

import fcntl
import os
import shutil
import stat
import tempfile
from contextlib import suppress
from pathlib import Path
from weakref import finalize

_PREFIX = "closeout-snapshot-"
_LOCK = "lock"


class TemporaryFolder:
    """A new private folder: removed by ``close``, at exit, or by a later process after a kill.

    Its maker holds a lock on a file in it; the system lets go of the lock when the maker and all
    who share the descriptor have ended, so a lock that can be had marks a folder left behind.
    """

    def __init__(self) -> None:
        _remove_left_behind(Path(tempfile.gettempdir()))
        # Under another name until the lock is taken, or it would look left behind.
        new = Path(tempfile.mkdtemp(prefix=f".new-{_PREFIX}")).resolve()
        self.lock = os.open(new / _LOCK, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        fcntl.flock(self.lock, fcntl.LOCK_EX)
        self.path = new.with_name(new.name.removeprefix(".new-"))
        new.rename(self.path)
        self._finalizer = finalize(self, _remove, self.path, self.lock, os.getpid())

    def close(self) -> None:
        """Remove the folder; may be called again."""
        self._finalizer()


def _remove(path: Path, lock: int, maker: int) -> None:
    # A forked child ends with a copy of this object; the folder is its parent's.
    if os.getpid() == maker:
        shutil.rmtree(path, ignore_errors=True)
        os.close(lock)


def _remove_left_behind(folder: Path) -> None:
    with suppress(OSError), os.scandir(folder) as entries:
        for entry in entries:
            if entry.name.startswith(_PREFIX):
                with suppress(OSError):
                    _remove_if_left_behind(Path(entry.path))


def _remove_if_left_behind(path: Path) -> None:
    status = path.lstat()
    if not stat.S_ISDIR(status.st_mode) or status.st_uid != os.geteuid():
        return
    lock = os.open(path / _LOCK, os.O_RDWR | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        shutil.rmtree(path, ignore_errors=True)
    finally:
        os.close(lock)
