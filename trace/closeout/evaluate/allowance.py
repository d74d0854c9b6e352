"""What a process may take: processor time, and in the far distance time by the clock.

Processor time alone decides, since how much passes by the clock is a matter of what else runs on
the machine. The clock is there for what waits for ever and uses none.
"""

from __future__ import annotations

import os
from contextlib import suppress
from time import monotonic

# By the clock so many times its processor time, and so many seconds more.
FAR_TIMES, FAR_SECONDS = 10.0, 10.0
# Of two looks at a process at least so much lies between, in s; /proc counts in hundredths.
_APART = 0.02
_TICKS = os.sysconf("SC_CLK_TCK")
_PROCESSORS = os.cpu_count() or 1

PROCESSOR, CLOCK = "processor", "clock"


def far(seconds: float) -> float:
    """Return how long by the clock may be taken what may take so many seconds of processor time."""
    return FAR_TIMES * seconds + FAR_SECONDS


class Allowance:
    """What one thing that a process does may take; what it did before does not count.

    ``late`` says what was used up, PROCESSOR or CLOCK; ``look`` is when to look again, on the
    clock of :func:`time.monotonic`.
    """

    def __init__(self, seconds: float, before: float = 0.0) -> None:
        """Begin now, with the seconds that may be taken and those that the process took before."""
        now = monotonic()
        self._seconds = seconds
        self._before = before
        self._until = now + far(seconds)
        self.look = min(self._until, now + max(_APART, seconds / _PROCESSORS))
        self.late = ""

    def allows(self, spent: float) -> bool:
        """Return whether it stayed within its processor time, when its process took so much."""
        return spent - self._before <= self._seconds

    def check(self, pid: int | None) -> bool:
        """Return whether it is over by now, and say in ``late`` what was used up."""
        now = monotonic()
        if self.late or now < self.look:
            return False
        spent = None if pid is None else spent_by(pid)
        if spent is not None and not self.allows(spent):
            self.late = PROCESSOR
        elif now >= self._until:
            self.late = CLOCK
        # No sooner can the rest be used up, however many processors are taken.
        left = self._seconds - (0.0 if spent is None else spent - self._before)
        self.look = min(self._until, now + max(_APART, left / _PROCESSORS))
        return bool(self.late)


def spent_by(pid: int) -> float | None:
    """Return the processor time in s of a process and of those below it; None: it is not known.

    User and system time, of those that ended and were waited for too (proc(5), /proc/pid/stat).
    """
    total, left = 0, [pid]
    while left:
        one = left.pop()
        with suppress(OSError, ValueError, IndexError):
            fields = _read(f"/proc/{one}/stat").rpartition(b")")[2].split()
            total += sum(map(int, fields[11:15]))
            for thread in os.listdir(f"/proc/{one}/task"):
                left += map(int, _read(f"/proc/{one}/task/{thread}/children").split())
            continue
        if one == pid:
            return None
    return total / _TICKS


def _read(path: str) -> bytes:
    with open(path, "rb") as file:
        return file.read()
