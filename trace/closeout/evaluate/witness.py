"""Traces: what an answer rested on, and whether that is still so.

A trace is a list of dependencies ``[kind, name, value]``:

- ``file``: a file of the project and its digest (None: it was absent)
- ``folder``: a folder of the project and the digest of its listing
- ``kind``: what stands at a path of the project: ``file``, ``folder``, or None
- ``dist``: an installed distribution by its folder's name (``numpy-2.1.0.dist-info``), and the
  digest of its RECORD
- ``missing``: a top-level name that no import found before the project's own modules
- ``outside``: any other file or folder by its absolute path, and the digest of its content
"""

from __future__ import annotations

import importlib.machinery
import os
from functools import cache
from pathlib import Path
from typing import Any, Protocol

from closeout.store.keys import digest_of_file, dist_infos, key_of, listing_of, search_path

Dependency = tuple[str, str, str | None]
Trace = tuple[Dependency, ...]


class Files(Protocol):
    """What a snapshot gives."""

    @property
    def root(self) -> Path:
        """The folder in which the files stand."""

    def files(self) -> tuple[str, ...]:
        """Return the paths of the project's files, sorted."""

    def read(self, path: str) -> bytes:
        """Return a file's content."""

    def digest(self, path: str) -> str | None:
        """Return a file's digest, or None where it is absent or no regular file."""

    def listing(self, path: str) -> str | None:
        """Return the digest of a folder's listing, or None where it is no folder."""


class Witness:
    """Says of dependencies whether they still hold, each looked at once."""

    def __init__(self, files: Files) -> None:
        self._files = files
        self._now: dict[tuple[str, str], str | None] = {}

    def holds(self, trace: Trace) -> bool:
        """Return whether every dependency is as it was."""
        return all(self.now(kind, name) == value for kind, name, value in trace)

    def now(self, kind: str, name: str) -> str | None:
        """Return the present value of a dependency."""
        key = (kind, name)
        if key not in self._now:
            self._now[key] = self._look(kind, name)
        return self._now[key]

    def _look(self, kind: str, name: str) -> str | None:
        if kind == "file":
            return self._files.digest(name)
        if kind == "folder":
            return self._files.listing(name)
        if kind == "dist":
            return _dist_digest(name)
        if kind == "kind":
            if self._files.digest(name) is not None:
                return "file"
            return None if self._files.listing(name) is None else "folder"
        if kind == "missing":
            return _installed(name)
        return _outside_digest(name) if kind == "outside" else "unknown kind"

    def trace_of(self, read: dict[str, Any]) -> tuple[Trace, list[str]]:
        """Return the trace of what a worker read, and the files that changed while it read."""
        found: set[Dependency] = set()
        changed: list[str] = list(read["changed"])
        for kind, group in (("file", "files"), ("folder", "folders"), ("kind", "kinds")):
            for path, value in read[group]:
                found.add((kind, path, value))
                if self.now(kind, path) != value:
                    changed.append(path)
        for path, digest in read["outside"]:
            found.add(("outside", path, digest))
        for name in read["missing"]:
            found.add(("missing", name, self.now("missing", name)))
        for entry in read["modules"]:
            top, _, path = entry.partition("\0")
            owners = _owners().get(top, ())
            folder = next((o for o in owners if path.startswith(os.path.dirname(o) + os.sep)), None)
            if folder is None:
                found.add(("outside", path, self.now("outside", path)))
            for owner in owners if folder else ():
                name = os.path.basename(owner)
                found.add(("dist", name, self.now("dist", name)))
        return tuple(sorted(found, key=lambda d: (d[0], d[1], d[2] or ""))), changed


def trace_key(trace: Trace) -> str:
    """Return a key of a trace, to tell one from another."""
    return key_of(trace)


def read_trace(rows: list[list[Any]]) -> Trace:
    """Return a trace from its JSON form."""
    return tuple((kind, name, value) for kind, name, value in rows)


@cache
def _owners() -> dict[str, list[str]]:
    """Return the distributions that own a top-level name: name -> real .dist-info folders."""
    owners: dict[str, list[str]] = {}
    for folder in dist_infos().values():
        try:
            record = (Path(folder) / "RECORD").read_text("utf-8", "replace")
        except OSError:
            continue
        names = {line.partition(",")[0].partition("/")[0] for line in record.splitlines()}
        for name in names:
            top = name.partition(".")[0]  # module.py and extension modules
            if top.isidentifier() and not name.endswith((".dist-info", ".pth")):
                owners.setdefault(top, []).append(os.path.realpath(folder))
    return owners


def _installed(name: str) -> str | None:
    """Return whether a name could be imported by now, seen as a worker sees it."""
    if importlib.machinery.PathFinder.find_spec(name, search_path()) is not None:
        return "found"
    # Installed for editing it may be found by a hook of its own.
    return "installed" if name.lower().replace("_", "-") in dist_infos() else None


def _dist_digest(name: str) -> str | None:
    for folder in dist_infos().values():
        if os.path.basename(folder) == name:
            return _outside_digest(os.path.join(folder, "RECORD"))
    return None


def _outside_digest(path: str) -> str | None:
    return listing_of(path) if os.path.isdir(path) else digest_of_file(path)
