"""What is installed, as a worker would find it: who owns a name, and where it is found first."""

from __future__ import annotations

import importlib.machinery
import os
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from closeout.evaluate.path_owner import below, folders
from closeout.store.keys import digest_of_file, dist_infos, key_of, search_path

PYTHON = "Python"
# How the file of a module may end (Python's documentation of importlib.machinery).
_SUFFIXES = (".py", ".pyc", *importlib.machinery.EXTENSION_SUFFIXES)


@cache
def owners() -> dict[str, list[str]]:
    """Return the distributions that own a top-level name: name -> real .dist-info folders."""
    found: dict[str, list[str]] = {}
    for folder in dist_infos().values():
        try:
            record = (Path(folder) / "RECORD").read_text("utf-8", "replace")
        except OSError:
            continue
        names = {line.partition(",")[0].partition("/")[0] for line in record.splitlines()}
        for name in names:
            if name != os.path.basename(folder):
                found.setdefault(name, []).append(os.path.realpath(folder))
                top = name.partition(".")[0]  # module.py and extension modules
                if top != name and top.isidentifier() and not name.endswith((".dist-info", ".pth")):
                    found.setdefault(top, []).append(os.path.realpath(folder))
    return found


def owners_of(top: str) -> list[str]:
    """Return the distributions of what stands at a path beside them, by their folders' names."""
    name = os.path.basename(top)
    if name.endswith(".dist-info"):
        return [name]
    some = owners().get(name, ())
    return [os.path.basename(o) for o in some if os.path.dirname(o) == os.path.dirname(top)]


@cache
def found_at(name: str) -> str | None:
    """Return where a top-level module would be found first: what is seen of it, whoever looks.

    ``Python`` in the standard library; the number of the folder of distributions; else its path.
    Packages without a file of their own (PEP 420) count where nothing else is found.
    """
    if name in sys.builtin_module_names or (
        name in sys.stdlib_module_names and name not in _before()
    ):
        return PYTHON
    spaces = []
    for entry in search_path():
        names = _names_in(entry)
        for candidate in (name, *(name + suffix for suffix in _SUFFIXES)):
            if candidate in names:
                path = os.path.join(entry, candidate)
                if candidate != name or os.path.isfile(os.path.join(path, "__init__.py")):
                    return _place(entry, path)
                spaces.append(_place(entry, path))
    return ", ".join(spaces) or None


@cache
def _before() -> frozenset[str]:
    """Return the names that stand before the standard library on the path."""
    standard = os.path.dirname(os.path.realpath(os.__file__))
    found: set[str] = set()
    for entry in search_path():
        if os.path.realpath(entry) == standard:
            break
        found.update(name.partition(".")[0] for name in _names_in(entry))
    return frozenset(found)


def _place(entry: str, path: str) -> str:
    """Return what a path is known by; where an environment stands is no matter."""
    real = os.path.realpath(entry)
    if real in folders().sites:
        return f"{folders().sites.index(real)}"
    return PYTHON if any(below(real, one) for one in folders().python) else os.path.realpath(path)


@cache
def _names_in(entry: str) -> frozenset[str]:
    try:
        return frozenset(os.listdir(entry))
    except OSError:
        return frozenset()


def could_be_found(name: str) -> str | None:
    """Return whether a name could be imported by now, seen as a worker sees it."""
    if importlib.machinery.PathFinder.find_spec(name, search_path()) is not None:
        return "found"
    # Installed for editing it may be found by a hook of its own.
    return "installed" if name.lower().replace("_", "-") in dist_infos() else None


def tree_digest(top: str) -> str | None:
    """Return a digest of a file, or of all that is in a folder but for what Python compiles."""
    if not os.path.isdir(top):
        return digest_of_file(top)
    return key_of(*((os.path.relpath(p, top), digest_of_file(p)) for p in sorted(_files(top))))


def _files(folder: str) -> Iterator[str]:
    for place, inner, names in os.walk(folder):
        inner[:] = [name for name in inner if name != "__pycache__"]
        yield from (os.path.join(place, name) for name in names)
