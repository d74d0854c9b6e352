"""What a process that runs a project's code may take: memory, size of files, processor time."""

from __future__ import annotations

import os
import resource
from contextlib import suppress

# As it is now: an analysis may put anything in its place.
_getrusage = resource.getrusage

GIGABYTE = 1024**3
MEMORY_LIMIT = min(8 * GIGABYTE, os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") * 3 // 4)
FILE_LIMIT = 256 * 1024**2
# What a process may take beyond its limit, where nobody is left to end it.
BEYOND = 10


def limit_space() -> None:
    """Set limits for a module and its evaluations."""
    _limit(resource.RLIMIT_AS, MEMORY_LIMIT)
    _limit(resource.RLIMIT_CORE, 0)
    _limit(resource.RLIMIT_FSIZE, FILE_LIMIT)


def limit_time(seconds: float | None) -> None:
    """End what is done from now on even where nobody is left to do it; else the tool does sooner.

    The limit is one that can be raised again; None lifts it.
    """
    soft = resource.RLIM_INFINITY if seconds is None else int(spent_so_far() + seconds) + BEYOND
    with suppress(ValueError, OSError):  # a lower limit may be in force already
        resource.setrlimit(resource.RLIMIT_CPU, (soft, resource.getrlimit(resource.RLIMIT_CPU)[1]))


def spent_so_far() -> float:
    """Return the processor time in s of this process and of those that it waited for."""
    own, children = map(_getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return own.ru_utime + own.ru_stime + children.ru_utime + children.ru_stime


def _limit(limit: int, value: int) -> None:
    with suppress(ValueError, OSError):  # a lower limit may be in force already
        resource.setrlimit(limit, (value, value))
