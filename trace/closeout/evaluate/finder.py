"""Importing the project's own modules: compiled from the very bytes that are noted as read.

There are no .pyc files: one of the same size and time as its source gives old code for new text.
"""

from __future__ import annotations

import importlib.abc
import importlib.machinery
import importlib.util
import os
import sys
import types
from collections.abc import Sequence

from closeout.evaluate.recorder import Recorder

TOP = "analyses"


class ProjectFinder(importlib.abc.MetaPathFinder):
    """Finds ``analyses`` first of all, and other names of the project's root last of all."""

    def __init__(self, root: str, recorder: Recorder, last: bool) -> None:
        self._root = root
        self._recorder = recorder
        self._last = last

    def find_spec(
        self,
        fullname: str,
        path: Sequence[str] | None = None,
        target: types.ModuleType | None = None,
    ) -> importlib.machinery.ModuleSpec | None:
        """Return the spec of a project module, or None; candidates that are absent are noted."""
        top = fullname.partition(".")[0]
        if (top == TOP) is self._last:
            return None
        base = fullname.replace(".", "/")
        for candidate, is_package in ((f"{base}/__init__.py", True), (f"{base}.py", False)):
            with self._recorder.paused():
                content = _read(os.path.join(self._root, candidate))
            self._recorder.module(candidate, content)
            if content is not None:
                loader = ProjectLoader(candidate, content)
                spec = importlib.machinery.ModuleSpec(
                    fullname, loader, origin=candidate, is_package=is_package
                )
                spec.has_location = True
                spec.origin = os.path.join(self._root, candidate)
                if is_package and spec.submodule_search_locations is not None:
                    spec.submodule_search_locations.append(os.path.join(self._root, base))
                return spec
        folder = os.path.join(self._root, base)
        if os.path.isdir(folder) and not os.path.islink(folder):
            spec = importlib.machinery.ModuleSpec(fullname, None, is_package=True)
            spec.submodule_search_locations = [folder]
            return spec
        if self._last and fullname == top:
            self._recorder.missing.add(top)
        return None


class ProjectLoader(importlib.abc.InspectLoader):
    """Runs one module from bytes that were read once."""

    def __init__(self, path: str, content: bytes) -> None:
        self._path = path
        self._content = content

    def get_source(self, fullname: str) -> str:
        """Return the text of the module."""
        return importlib.util.decode_source(self._content)

    def get_code(self, fullname: str) -> types.CodeType:
        """Return the compiled module; its file name is the project's own, relative name."""
        code: types.CodeType = compile(self._content, self._path, "exec", dont_inherit=True)
        return code

    def is_package(self, fullname: str) -> bool:
        """Return whether the module is a package."""
        return self._path.endswith("/__init__.py")


def install(root: str, recorder: Recorder) -> None:
    """Put the project's modules before, and other names of its root behind, everything else."""
    sys.meta_path.insert(0, ProjectFinder(root, recorder, last=False))
    sys.meta_path.append(ProjectFinder(root, recorder, last=True))


def _read(path: str) -> bytes | None:
    if os.path.islink(path) or not os.path.isfile(path):
        return None
    try:
        with open(path, "rb") as file:
            return file.read()
    except OSError:
        return None
