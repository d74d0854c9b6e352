"""Open what stands below a root, and never anything else.

Each folder on the way is opened by itself, relative to the one before and without following links,
so that a link cannot lead out, not even one that is put there meanwhile.
"""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from closeout.snapshot.names import plain_parts, shown

_FOLDER = os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC
# O_NONBLOCK: opening a named pipe would wait for a writer.
_FILE = os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_NOCTTY | os.O_CLOEXEC


@contextmanager
def opened_file(root: Path, path: str) -> Iterator[int]:
    """Give a descriptor of the regular file at a path from the root.

    Raises:
        OSError: absent, unreadable, no regular file, behind a symbolic link, or outside.
    """
    parts = plain_parts(path)
    with _named(path), _opened(root, parts[:-1]) as folder:
        file = os.open(parts[-1], _FILE, dir_fd=folder)
    try:
        if not stat.S_ISREG(os.fstat(file).st_mode):
            raise OSError(errno.EINVAL, "is no regular file", shown(path))
        yield file
    finally:
        os.close(file)


@contextmanager
def opened_folder(root: Path, path: str) -> Iterator[int]:
    """Give a descriptor of the folder at a path from the root; the root itself is "" or ".".

    Raises:
        OSError: absent, unreadable, no folder, behind a symbolic link, or outside.
    """
    parts = [] if path in ("", ".") else plain_parts(path)
    with _named(path), _opened(root, parts) as folder:
        yield folder


@contextmanager
def _opened(root: Path, parts: list[str]) -> Iterator[int]:
    folder = os.open(root, _FOLDER)
    try:
        for part in parts:
            inner = os.open(part, _FOLDER | os.O_NOFOLLOW, dir_fd=folder)
            os.close(folder)
            folder = inner
        yield folder
    finally:
        with suppress(OSError):
            os.close(folder)


@contextmanager
def _named(path: str) -> Iterator[None]:
    """Let an error name the whole path, where the system's names the last step only."""
    try:
        yield
    except OSError as error:
        raise OSError(error.errno, error.strerror, shown(path)) from None
