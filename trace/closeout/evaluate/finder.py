"""Importing the project's own modules: compiled from the very bytes that are noted as read.

There are no .pyc files: one of the same size and time as its source gives old code for new text.
"""

from __future__ import annotations

import importlib.machinery
import os
import sys
import types
from collections.abc import Sequence
from typing import Any

from closeout.evaluate.recorder import Recorder
from closeout.store.keys import digest_of

TOP = "analyses"
# Of these the trace says more, or every key.
_OWN = (TOP, "closeout")


class ProjectFinder:  # importlib.abc would load half of the standard library
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
        if not self._last and top not in _OWN:
            self._recorder.named(top)
        if (top == TOP) is self._last:
            return None
        base = fullname.replace(".", "/")
        if fullname != top and os.path.join(self._root, os.path.dirname(base)) not in (path or ()):
            return None  # a part of a package that is not the project's
        if self._last and fullname == top:
            self._recorder.missing.add(top)  # in every place that comes before the project
        for candidate, is_package in ((f"{base}/__init__.py", True), (f"{base}.py", False)):
            with self._recorder.paused():
                content = _read(os.path.join(self._root, candidate))
            self._recorder.module(candidate, None if content is None else digest_of(content))
            if content is not None:
                loader: Any = ProjectLoader(candidate, content)
                spec = importlib.machinery.ModuleSpec(
                    fullname, loader, origin=candidate, is_package=is_package
                )
                spec.has_location = True
                spec.origin = os.path.join(self._root, candidate)
                if is_package and spec.submodule_search_locations is not None:
                    spec.submodule_search_locations.append(os.path.join(self._root, base))
                return spec
        if self._recorder.kind(base) == "folder":
            spec = importlib.machinery.ModuleSpec(fullname, None, is_package=True)
            spec.submodule_search_locations = [os.path.join(self._root, base)]
            return spec
        return None


class ProjectLoader:
    """Runs one module from bytes that were read once."""

    def __init__(self, path: str, content: bytes) -> None:
        self._path = path
        self._content = content

    def create_module(self, spec: importlib.machinery.ModuleSpec) -> None:
        """Leave it to the import system to make the module."""

    def exec_module(self, module: types.ModuleType) -> None:
        """Run the module; its code has the project's own, relative file name."""
        try:
            code = compile(self._content, self._path, "exec", dont_inherit=True)
        except SyntaxError:
            line = conflict_line(self._content)
            if line is None:
                raise
            message = "unresolved merge conflict; keep one version"
            raise SyntaxError(message, (self._path, line, 1, None)) from None
        exec(code, module.__dict__)

    def get_source(self, fullname: str) -> str:
        """Return the text of the module, for tools that look at source."""
        from importlib.util import decode_source

        return decode_source(self._content)


def conflict_line(content: bytes) -> int | None:
    """Return the line on which git left the mark of a conflict, or None."""
    for number, line in enumerate(content.split(b"\n"), 1):
        if line.startswith((b"<<<<<<< ", b">>>>>>> ")):
            return number
    return None


def install(recorder: Recorder) -> None:
    """Put the project's modules before, and other names of its root behind, everything else."""
    root = recorder.root
    first: Any = ProjectFinder(root, recorder, last=False)
    last: Any = ProjectFinder(root, recorder, last=True)
    sys.meta_path[:] = [first, *sys.meta_path, last]


def _read(path: str) -> bytes | None:
    if not os.path.isfile(path) or os.path.realpath(path) != path:
        return None  # absent, no file, or behind a link: as in what git holds
    try:
        with open(path, "rb") as file:
            return file.read()
    except OSError:
        return None
