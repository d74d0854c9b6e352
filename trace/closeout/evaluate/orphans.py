"""Processes that an analysis started in a session of their own, so that no group holds them.

Linux gives the children of a process that ends to its nearest ancestor that asked for them
(prctl(2), PR_SET_CHILD_SUBREAPER). The tool asks while workers run, and ends what came to it.
"""

from __future__ import annotations

import contextlib
import os
import signal
from functools import cache
from pathlib import Path
from typing import Any

_SET_CHILD_SUBREAPER, _GET_CHILD_SUBREAPER = 36, 37  # <linux/prctl.h>


class Orphans:
    """Takes in orphans from its making until ``end``."""

    def __init__(self) -> None:
        self._before = set(_children())
        self._asked_before = _is_asked()  # by one that ends later
        self._asked = _ask(True)

    def end(self) -> None:
        """End every process that was left to this one meanwhile, and what they leave in turn."""
        while self._asked and (left := [pid for pid in _children() if self._is_orphan(pid)]):
            for pid in left:
                with contextlib.suppress(ProcessLookupError, PermissionError):
                    os.kill(pid, signal.SIGKILL)
                with contextlib.suppress(ChildProcessError):
                    os.waitpid(pid, 0)
        _ask(self._asked_before)

    def _is_orphan(self, pid: int) -> bool:
        """Workers have process groups of their own; what else the tool starts shares the tool's."""
        try:
            return pid not in self._before and os.getpgid(pid) != os.getpgid(0)
        except ProcessLookupError:
            return False


def _children() -> list[int]:
    """Return the children of this process, from /proc; none where there is no such list."""
    found: list[int] = []
    for file in Path("/proc/self/task").glob("*/children"):
        with contextlib.suppress(OSError):
            found += map(int, file.read_text("ascii").split())
    return found


def _ask(wanted: bool) -> bool:
    """Say whether orphans shall come to this process; return whether that could be said."""
    prctl = _prctl()
    return prctl is not None and prctl(_SET_CHILD_SUBREAPER, int(wanted), 0, 0, 0) == 0


def _is_asked() -> bool:
    """Return whether orphans come to this process by now."""
    prctl = _prctl()
    if prctl is None:
        return False
    import ctypes

    asked = ctypes.c_int(0)
    return prctl(_GET_CHILD_SUBREAPER, ctypes.byref(asked), 0, 0, 0) == 0 and bool(asked.value)


@cache
def _prctl() -> Any:
    import ctypes

    try:
        return ctypes.CDLL(None).prctl
    except (OSError, AttributeError):
        return None  # no Linux
