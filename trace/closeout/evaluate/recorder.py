"""What an analysis really read, seen by an audit hook in its own process.

Seen: every ``open`` of a file, listings of folders, project modules, distributions, names that no
import found, processes and sockets. Not seen: ``os.path.exists`` and other probes, environment
variables (the worker's are fixed), and what a library written in C opens by itself.
"""

from __future__ import annotations

import os
import stat
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from closeout.store.keys import digest_of

_WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
_CHANGES = {"os.remove", "os.rename", "os.mkdir", "os.rmdir", "os.truncate", "os.link",
            "os.symlink", "os.chmod", "os.chown", "os.utime"}  # fmt: skip
_OUTSIDE_HELP = {
    "subprocess.Popen": "it started a process",
    "os.system": "it started a process",
    "os.exec": "it started a process",
    "os.posix_spawn": "it started a process",
    "os.spawn": "it started a process",
    "os.fork": "it started a process",
    "os.forkpty": "it started a process",
    "pty.spawn": "it started a process",
    "socket.__new__": "it opened a socket",
    "socket.connect": "it opened a socket",
    "socket.bind": "it opened a socket",
    "sqlite3.connect": "it opened a database",
}


class Recorder:
    """Files, folders and names that were looked at since the process began."""

    def __init__(self, root: str) -> None:
        self.root = os.path.realpath(root)
        self.active = False
        self.files: dict[str, str | None] = {}
        self.folders: set[str] = set()
        self.outside: dict[str, str | None] = {}
        self.missing: set[str] = set()
        self.not_kept: set[str] = set()
        self._written: set[str] = set()
        self._begun: tuple[int, ...] = ()
        self._baseline = set(sys.modules)
        self._covered = _covered(self.root)
        sys.addaudithook(self._audit)

    def begin(self) -> None:
        """Begin an evaluation: what is seen from now on is more than the module itself read."""
        self._begun = self._counts()

    def has_more(self) -> bool:
        """Return whether anything was seen since the evaluation began."""
        return self._begun != self._counts()

    def _counts(self) -> tuple[int, ...]:
        # Only lengths: to look at each module would copy pages that the fork shares.
        seen = (self.files, self.folders, self.outside, self.missing, self.not_kept)
        return (*map(len, seen), len(sys.modules))

    # seen by the project's own import system

    def module(self, path: str, content: bytes | None) -> None:
        """Note a candidate file of a project module: its very bytes, or that it is absent."""
        self.files.setdefault(path, None if content is None else digest_of(content))

    @contextmanager
    def paused(self) -> Iterator[None]:
        """Do not note what the tool's own code opens meanwhile."""
        before, self.active = self.active, False
        try:
            yield
        finally:
            self.active = before

    # seen by the audit hook

    def _audit(self, event: str, args: tuple[Any, ...]) -> None:
        if not self.active:
            return
        self.active = False
        try:
            if event == "open":
                self._opened(args[0], args[1], args[2])
            elif event in ("os.listdir", "os.scandir"):
                self._listed("." if args[0] is None else args[0])
            elif event in _OUTSIDE_HELP:
                self.not_kept.add(_OUTSIDE_HELP[event])
            elif event in _CHANGES:
                self._changed(args[0])
        finally:
            self.active = True

    def _opened(self, name: Any, mode: Any, flags: Any) -> None:
        if isinstance(name, int):
            return
        path = self._resolve(name)
        if path is None:
            return
        writes = any(c in mode for c in "wxa+") if isinstance(mode, str) else flags & _WRITING
        if writes:
            self._refuse_change(path)
            self._written.add(path)
            return
        if path in self._written:
            return
        inside = self._inside(path)
        if inside is not None:
            self.files.setdefault(inside, _digest(path))
        elif not self._is_covered(path):
            self._opened_outside(path)

    def _opened_outside(self, path: str) -> None:
        try:
            kind = os.stat(path).st_mode
        except OSError:
            self.outside.setdefault(path, None)
            return
        if stat.S_ISREG(kind) and not path.startswith(("/proc/", "/sys/")):
            self.outside.setdefault(path, _digest(path))
        elif path != os.devnull:
            self.not_kept.add(f"it read {path}, which is no file of the project")

    def _listed(self, name: Any) -> None:
        if isinstance(name, int):
            return
        path = self._resolve(name)
        if path is None or self._is_covered(path):
            return
        inside = self._inside(path)
        if inside is None:
            self.not_kept.add(f"it listed {path}, which is no folder of the project")
        else:
            self.folders.add(inside)

    def _changed(self, name: Any) -> None:
        path = None if isinstance(name, int) else self._resolve(name)
        if path is not None:
            self._refuse_change(path)

    def _refuse_change(self, path: str) -> None:
        if self._inside(path) is not None:
            raise PermissionError(
                f"an analysis may not change files of the project ({self._inside(path)}):"
                " what it makes belongs into an @artifact"
            )

    def _resolve(self, name: Any) -> str | None:
        """Return the real path; a link that leads out of the project is refused."""
        try:
            text = os.path.abspath(os.fsdecode(name))
        except (TypeError, ValueError):
            return None
        path = os.path.realpath(text)
        if _below(text, self.root) and not _below(path, self.root) and not self._is_covered(text):
            raise PermissionError(f"{os.path.relpath(text, self.root)} leads out of the project")
        return path

    def _inside(self, path: str) -> str | None:
        """Return the project's own name of a path: relative, with /; None outside."""
        if not _below(path, self.root) or self._is_covered(path):
            return None
        return os.path.relpath(path, self.root).replace(os.sep, "/")

    def _is_covered(self, path: str) -> bool:
        return any(_below(path, folder) for folder in self._covered)

    # told to the tool

    def told(self) -> dict[str, Any]:
        """Return what was seen, as JSON: dependencies that can be checked later."""
        imported: set[str] = set()
        modules = [name for name in sys.modules if name not in self._baseline]
        for name in modules:
            top = name.partition(".")[0]
            file = getattr(sys.modules.get(name), "__file__", None)
            if top in sys.stdlib_module_names or not file or top in ("closeout", "analyses"):
                continue
            path = os.path.realpath(file)
            if self._inside(path) is None:
                imported.add(f"{top}\0{path}")
        return {
            "files": sorted(self.files.items()),
            "folders": sorted(self.folders),
            "outside": sorted(self.outside.items()),
            "missing": sorted(self.missing),
            "modules": sorted(imported),
            "not_kept": sorted(self.not_kept),
        }


def _covered(root: str) -> list[str]:
    """Return folders of which Python, the engine or the distributions answer for the content."""
    import closeout

    entries = {sys.prefix, sys.base_prefix, sys.exec_prefix, os.path.dirname(os.__file__)}
    entries.add(os.path.dirname(os.path.realpath(closeout.__file__)))
    # A search path above the project would hide the project itself.
    entries |= {entry for entry in sys.path if entry and not _below(root, os.path.realpath(entry))}
    return sorted(os.path.realpath(entry) for entry in entries)


def _below(path: str, folder: str) -> bool:
    return path == folder or path.startswith(folder.rstrip(os.sep) + os.sep)


def _digest(path: str) -> str | None:
    try:
        fd = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    except OSError:
        return None
    with open(fd, "rb") as file:
        if not stat.S_ISREG(os.fstat(fd).st_mode):
            return None
        return digest_of(file.read())
