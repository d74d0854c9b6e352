"""Whose code it is that runs, and how a place in it is named."""

from __future__ import annotations

import os
from collections.abc import Mapping
from enum import Enum
from types import CodeType
from typing import Any

import closeout

# The folder of closeout itself; code of it, and of the standard library, is no author's.
ENGINE = os.path.dirname(os.path.abspath(closeout.__file__)) + os.sep
_LIBRARY = (
    os.path.dirname(os.path.abspath(os.__file__)) + os.sep, "<frozen ", "<__array_function__",
    ENGINE,
)  # fmt: skip


class Origin(Enum):
    """Whose code it is."""

    ENGINE = 1
    LIBRARY = 2
    PROJECT = 3


def origin(code: CodeType, names: Mapping[str, Any]) -> Origin:
    """Return whose code it is: of this tool, of Python or a distribution, or of the project.

    What the code's file says has to agree with the module that it lives in. Of no file are
    the methods of named tuples and dataclasses, which their module makes; they do nothing with a
    range that it does not refuse. Whatever else was made from a text is the project's.
    """
    file = code.co_filename
    if file == "<string>":
        made = str(names.get("__name__", "")).startswith("namedtuple_")
        made = made or code.co_qualname.startswith("__create_fn__.<locals>.__")
        return Origin.LIBRARY if made else Origin.PROJECT
    home = str(names.get("__file__", file))
    if file.startswith(ENGINE) and home.startswith(ENGINE):
        return Origin.ENGINE
    return Origin.LIBRARY if is_librarys(file) and is_librarys(home) else Origin.PROJECT


def is_librarys(file: str) -> bool:
    """Return whether a file is of Python, of a distribution or of this tool."""
    return file.startswith(_LIBRARY) or "site-packages" in file or "dist-packages" in file


def place(code: CodeType, line: int) -> str:
    """Return file and line; inside a worker the files of a project have names from its root."""
    name = code.co_filename
    return f"{os.path.basename(name) if os.path.isabs(name) else name}:{line}"
