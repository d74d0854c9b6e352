"""How much work a call does, by what does not depend on how busy the machine is."""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

# Seconds after which what hangs is given up: far beyond what a busy machine takes.
BACKSTOP = 300.0


def calls(work: Callable[[], object]) -> int:
    """Return how many functions are called while some work is done, those of C included."""
    count = 0

    def note(_frame: object, event: str, _arg: Any) -> None:
        nonlocal count
        count += event in ("call", "c_call")

    before = sys.getprofile()
    sys.setprofile(note)
    try:
        work()
    finally:
        sys.setprofile(before)
    return count


@contextmanager
def processor_time(seconds: float) -> Iterator[None]:
    """End what takes more processor time of this process than that, however long it has to wait.

    For work inside one function of C, as an expression that backtracks, which no count sees.
    """

    def give_up(_signal: int, _frame: object) -> None:
        raise AssertionError(f"more than {seconds} s of processor time")

    before = signal.signal(signal.SIGPROF, give_up)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)
