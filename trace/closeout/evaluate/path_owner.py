"""Whose a path outside the project is: Python's, a distribution's, or nobody's.

What is Python's and the engine's own is in every key. What is installed is known by its
distribution. Anything else is known by itself.
"""

from __future__ import annotations

import os
import sys
from functools import cache
from typing import NamedTuple

PYTHON, INSTALLED, NOBODY = "Python", "installed", "nobody"
# Prefixes in which more than Python and its distributions lives.
_SHARED_PREFIXES = ("/", "/usr", "/usr/local")


class Folders(NamedTuple):
    """Real paths of folders: of Python and the engine; of distributions; of the environment."""

    python: tuple[str, ...]
    sites: tuple[str, ...]
    prefixes: tuple[str, ...]


@cache
def folders() -> Folders:
    """Return the folders that somebody answers for, as this process finds modules."""
    import closeout

    own = {os.path.dirname(os.__file__), os.path.dirname(os.path.realpath(closeout.__file__))}
    own |= {p for p in (sys.base_prefix, sys.base_exec_prefix) if p not in _SHARED_PREFIXES}
    prefixes = {p for p in (sys.prefix, sys.exec_prefix) if p not in _SHARED_PREFIXES}
    sites = []
    for entry in sys.path:
        try:
            names = os.listdir(entry) if entry else []
        except OSError:
            names = []
        if any(name.endswith(".dist-info") for name in names):
            sites.append(entry)
        elif entry.endswith(("lib-dynload", ".zip")):
            own.add(entry)
    return Folders(_real(own), tuple(map(os.path.realpath, sites)), _real(prefixes))


def below(path: str, folder: str) -> bool:
    """Return whether a path is a folder or lies in it."""
    return path == folder or path.startswith(folder.rstrip(os.sep) + os.sep)


class Places:
    """Whose the paths are that an evaluation looks at, beside the project at ``root``."""

    def __init__(self, root: str) -> None:
        self._root = root
        found = folders()
        # One that lies above the project would hide the project itself.
        self._python = [folder for folder in found.python if not below(root, folder)]
        self._sites = [folder for folder in found.sites if not below(root, folder)]
        prefixes = [folder for folder in found.prefixes if not below(root, folder)]
        self._covered = [*self._python, *self._sites, *prefixes]
        self.engine = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))

    def covered(self, path: str) -> bool:
        """Return whether a path is no part of the project, wherever it stands."""
        return any(below(path, folder) for folder in self._covered)

    def inside(self, path: str) -> str | None:
        """Return the project's own name of a path: relative, with /; None outside."""
        if not below(path, self._root) or self.covered(path):
            return None
        return os.path.relpath(path, self._root).replace(os.sep, "/")

    def whose(self, path: str) -> str:
        """Return whose a real path outside the project is."""
        if below(path, self.engine):
            return PYTHON
        if any(below(path, site) for site in self._sites):
            return INSTALLED
        return PYTHON if any(below(path, folder) for folder in self._python) else NOBODY

    def top(self, path: str) -> str:
        """Return what stands in the folder of installed distributions on the way to a path."""
        site = max((s for s in self._sites if below(path, s)), key=len)
        return os.path.join(site, path[len(site) + 1 :].partition(os.sep)[0]).rstrip(os.sep)


def _real(entries: set[str]) -> tuple[str, ...]:
    return tuple(sorted(map(os.path.realpath, entries)))
