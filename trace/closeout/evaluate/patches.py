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

    def trusts(self, path: str) -> bool:
        """Say whether a compiled module may stand for its source."""


def watch_probes(watcher: Watcher) -> None:
    """Let the recorder hear of ``os.stat`` and its like, of which no audit event tells."""
    for name in ("stat", "lstat", "access"):
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


def _put(name: str, function: Callable[..., Any]) -> None:
    """Put a function in the place of one of os, where others ask what it is able to do as well."""
    original = getattr(os, name)
    function.__name__ = function.__qualname__ = name
    for able in (os.supports_dir_fd, os.supports_fd, os.supports_follow_symlinks):
        if original in able:
            able.add(function)
    setattr(os, name, function)


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
