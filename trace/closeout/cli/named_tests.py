"""Tests that analyses name as their validation: a file, or a function of it."""

from __future__ import annotations

import re

from closeout.snapshot import Snapshot


def is_there(named: str, snapshot: Snapshot) -> bool:
    """Return whether a test is there: file.py, file.py::function or file.py::Class::function.

    The file is not run: a name counts that it defines.
    """
    path, *names = named.split("::")
    if snapshot.digest(path) is None:
        return False
    if not names:
        return True
    try:
        text = snapshot.read(path).decode("utf-8", "replace")
    except OSError:
        return False
    return all(_defines(text, name) for name in names)


def looked_at(named: str) -> tuple[str, str]:
    """Return what :func:`is_there` rests on: whether there is a file, or what stands in it."""
    path, *names = named.split("::")
    return ("file" if names else "kind"), path


def _defines(text: str, name: str) -> bool:
    plain = re.escape(name.partition("[")[0])  # without the case of a parametrized test
    return re.search(rf"^\s*(?:async\s+def|def|class)\s+{plain}\b", text, re.MULTILINE) is not None
