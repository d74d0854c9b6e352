"""What is put in the place of functions of the standard library in a worker's own process.

Audit events tell of opened files and listed folders, not of probes and not of the folder that a
relative path starts from; and the import system believes time stamps.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Any, Protocol


class Watcher(Protocol):
    """What hears of it: :class:`closeout.evaluate.recorder.Recorder`."""

    def probed(self, name: Any, folder: int | None) -> None:
        """Take that it was asked what stands at a path."""

    def opened_from(self, folder: int, name: Any, flags: int) -> None:
        """Take a file that is opened from a folder's descriptor."""

    def paused(self) -> AbstractContextManager[None]:
        """Hear nothing meanwhile."""

    def follows(self, name: Any, folder: int | None) -> bool:
        """Take that a link among the entries of a folder is followed; say whether it may be."""

    def trusts(self, path: str) -> bool:
        """Say whether a compiled module may stand for its source."""


def watch_probes(watcher: Watcher) -> None:
    """Let the recorder hear of ``os.stat`` and its like, of which no audit event tells."""
    for name in ("stat", "lstat", "access", "readlink"):
        original = getattr(os, name)

        def probe(path: Any, *args: Any, _original: Any = original, **options: Any) -> Any:
            watcher.probed(path, options.get("dir_fd"))
            return _original(path, *args, **options)

        _put(name, probe)
    open_file = os.open

    def open_from(path: Any, flags: int, mode: int = 0o777, *, dir_fd: int | None = None) -> int:
        if dir_fd is None:
            return open_file(path, flags, mode)
        watcher.opened_from(dir_fd, path, flags)
        with watcher.paused():  # the event would name the path alone
            return open_file(path, flags, mode, dir_fd=dir_fd)

    _put("open", open_from)
    list_folder = os.scandir

    def scandir(path: Any = None) -> _Entries:
        folder = path if isinstance(path, int) else None
        return _Entries(list_folder(path), watcher, folder)

    _put("scandir", scandir)


class _Entries:
    """What ``os.scandir`` gives, with entries that tell when more is asked of them."""

    def __init__(self, entries: Any, watcher: Watcher, folder: int | None) -> None:
        self._entries, self._watcher, self._folder = entries, watcher, folder

    def __iter__(self) -> _Entries:
        return self

    def __next__(self) -> _Entry:
        return _Entry(next(self._entries), self._watcher, self._folder)

    def __enter__(self) -> _Entries:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the folder."""
        self._entries.close()


class _Entry:
    """An entry of a folder, as ``os.DirEntry``: its name and whether it is a folder are known."""

    def __init__(self, entry: Any, watcher: Watcher, folder: int | None) -> None:
        self._entry, self._watcher, self._folder = entry, watcher, folder
        self.name, self.path = entry.name, entry.path

    def __fspath__(self) -> Any:
        return self.path

    def __repr__(self) -> str:
        return repr(self._entry)

    def inode(self) -> int:
        """Return its number in the file system."""
        number: int = self._entry.inode()
        return number

    def is_symlink(self) -> bool:
        """Return whether it is a link."""
        found: bool = self._entry.is_symlink()
        return found

    def is_dir(self, *, follow_symlinks: bool = True) -> bool:
        """Return whether it is a folder."""
        return self._leads(follow_symlinks) and self._entry.is_dir(follow_symlinks=follow_symlinks)

    def is_file(self, *, follow_symlinks: bool = True) -> bool:
        """Return whether it is a file."""
        return self._leads(follow_symlinks) and self._entry.is_file(follow_symlinks=follow_symlinks)

    def stat(self, *, follow_symlinks: bool = True) -> os.stat_result:
        """Return what the system knows of it."""
        self._watcher.probed(self.path, self._folder)
        found: os.stat_result = self._entry.stat(follow_symlinks=follow_symlinks)
        return found

    def _leads(self, follow: bool) -> bool:
        if not follow or not self._entry.is_symlink():
            return True
        return self._watcher.follows(self.path, self._folder)


def _put(name: str, function: Callable[..., Any]) -> None:
    """Put a function in the place of one of os, where others ask what it is able to do as well."""
    original = getattr(os, name)
    function.__name__ = function.__qualname__ = name
    for able in (os.supports_dir_fd, os.supports_fd, os.supports_follow_symlinks):
        if original in able:
            able.add(function)
    setattr(os, name, function)


def hush_finders(watcher: Watcher) -> None:
    """Let nothing hear how the import system lists folders of installed distributions.

    Which modules it finds there is noted by their names; what else is installed is no matter.
    """
    from importlib.machinery import FileFinder

    original: Any = FileFinder._fill_cache  # type: ignore[attr-defined]

    def fill_cache(self: FileFinder) -> None:
        if watcher.trusts(self.path):
            with watcher.paused():
                original(self)
        else:
            original(self)

    FileFinder._fill_cache = fill_cache  # type: ignore[attr-defined]


def distrust_compiled(watcher: Watcher) -> None:
    """Read modules that are being worked on from their source, never from a .pyc.

    One of the same size and time as its source gives old code for new text. Nobody edits what is
    installed, and compiling that anew would take seconds.
    """
    from importlib.machinery import SourceFileLoader

    original = SourceFileLoader.path_stats

    def path_stats(self: SourceFileLoader, path: str) -> Any:
        if watcher.trusts(path):
            return original(self, path)
        raise OSError("no time stamp is trusted here")

    SourceFileLoader.path_stats = path_stats  # type: ignore[method-assign]
