"""Traces: what an answer rested on, and whether that is still so.

A trace is a list of dependencies ``[kind, name, value]``:

- ``file``: a file of the project and its digest (None: it was absent)
- ``folder``: a folder of the project and the digest of its listing
- ``kind``: what stands at a path of the project: ``file``, ``folder``, or None
- ``dist``: an installed distribution by its folder's name (``numpy-2.1.0.dist-info``), and the
  digest of its RECORD
- ``missing``: a top-level name that no import found before the project's own modules
- ``found``: a name that was imported or asked for, and where it is found first
- ``standard``: names found in the standard library, and those of them that are no longer
- ``outside``: any other file or folder by its absolute path, and the digest of its content
- ``place``: what stands at a path outside the project: a folder, a file of a size, or None
- ``link``: a symbolic link outside the project on the way to what was looked at, and its target
- ``tree``: what stands among installed distributions and belongs to none, and its digest
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any, Protocol

from closeout.evaluate import installed
from closeout.store.keys import (
    digest_of_file,
    dist_infos,
    key_of,
    link_of,
    listing_of,
    place_of,
)

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


class TraceChecker:
    """Says of dependencies whether they still hold, each looked at once."""

    def __init__(self, files: Files) -> None:
        self._files = files
        self._now: dict[tuple[str, str], str | None] = {}
        # What a module read is the same for each evaluation that read nothing more.
        self._traced: tuple[dict[str, Any], tuple[Trace, list[str]]] | None = None

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
        if kind == "kind":
            if self._files.digest(name) is not None:
                return "file"
            return None if self._files.listing(name) is None else "folder"
        return _LOOKS[kind](name) if kind in _LOOKS else "unknown kind"

    def trace_of(self, read: dict[str, Any]) -> tuple[Trace, list[str]]:
        """Return the trace of what a worker read, and the files that changed while it read."""
        if self._traced is None or self._traced[0] is not read:
            found = {*self._of_project(read), *self._elsewhere(read), *self._of_names(read)}
            changed = list(read["changed"])
            for kind, path, value in self._of_project(read):
                if self.now(kind, path) != value:
                    changed.append(path)
            trace = tuple(sorted(found, key=lambda d: (d[0], d[1], d[2] or "")))
            self._traced = read, (trace, changed)
        return self._traced[1]

    def _of_project(self, read: dict[str, Any]) -> Iterator[Dependency]:
        for kind, group in (("file", "files"), ("folder", "folders"), ("kind", "kinds")):
            yield from ((kind, path, value) for path, value in read[group])

    def _elsewhere(self, read: dict[str, Any]) -> Iterator[Dependency]:
        for kind, group in (("outside", "outside"), ("link", "links"), ("place", "places")):
            yield from ((kind, path, value) for path, value in read[group])
        for top in read["installed"]:
            owners = installed.owners_of(top)
            yield from (("dist", name, self.now("dist", name)) for name in owners)
            if not owners:
                yield "tree", top, self.now("tree", top)

    def _of_names(self, read: dict[str, Any]) -> Iterator[Dependency]:
        standard = []
        for name in read["names"]:
            place = self.now("found", name)
            if place == installed.PYTHON:
                standard.append(name)
            else:
                yield "found", name, place
        if standard:
            names = ",".join(standard)
            yield "standard", names, self.now("standard", names)
        for name in read["missing"]:
            yield "missing", name, self.now("missing", name)
        for path in read["modules"]:
            yield "outside", path, self.now("outside", path)


def foreign_files(looked: Iterable[Dependency]) -> tuple[tuple[str, str | None], ...]:
    """Return the files outside the project that belong to nobody, with the digests that were seen.

    None for one of which it was only asked whether it is there, and how large.
    """
    found: dict[str, str | None] = {}
    for kind, path, seen in looked:
        if seen is None or (kind == "outside" and os.path.isdir(path)):
            continue
        if kind in ("outside", "tree"):
            found[path] = seen
        elif kind == "place" and seen.startswith("file "):
            found.setdefault(path, None)
    return tuple(sorted(found.items()))


def trace_key(trace: Trace) -> str:
    """Return a key of a trace, to tell one from another."""
    return key_of(trace)


def read_trace(rows: list[list[Any]]) -> Trace:
    """Return a trace from its JSON form."""
    return tuple((kind, name, value) for kind, name, value in rows)


def _dist_digest(name: str) -> str | None:
    for folder in dist_infos().values():
        if os.path.basename(folder) == name:
            return _outside_digest(os.path.join(folder, "RECORD"))
    return None


def _outside_digest(path: str) -> str | None:
    return listing_of(path) if os.path.isdir(path) else digest_of_file(path)


def _no_longer_standard(names: str) -> str | None:
    return (
        ",".join(n for n in names.split(",") if installed.found_at(n) != installed.PYTHON) or None
    )


# How a dependency outside the project is looked at.
_LOOKS: dict[str, Callable[[str], str | None]] = {
    "dist": _dist_digest,
    "found": installed.found_at,
    "standard": _no_longer_standard,
    "missing": installed.could_be_found,
    "outside": _outside_digest,
    "place": place_of,
    "link": link_of,
    "tree": installed.tree_digest,
}
