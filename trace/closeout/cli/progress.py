"""What is going on, on standard error, where that is a terminal and the work is long."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import click

from closeout.cli.common import takes_escapes

# A run that is over sooner shows nothing.
SHOWN_AFTER = 0.5
# So many seconds lie between two lines that stand in place of it.
LINES_AFTER = 5.0
USUALLY = "running analyses"


class Progress:
    """A line that says what is done, since when, and how much of it where that is counted.

    Called with how many tasks are done, of how many. It vanishes with :meth:`close`, and does
    nothing where ``on`` is False. A terminal that takes no escape sequences (``bar`` is False) gets
    a line of text now and then.
    """

    def __init__(self, on: bool, bar: bool = True) -> None:
        self._on = on and bar
        self._lines = on and not bar
        self._last_line = time.monotonic()
        self._lock = threading.Lock()
        self._timer: threading.Timer | None = None
        self._bar: Any = None
        self._text = USUALLY
        self._count = (0, 0)

    def __call__(self, done: int, total: int) -> None:
        """Take note that so many tasks are done; where all are, nothing is waited for."""
        self._count = (done, total)
        if done < total:
            self._await()
            self._line()
        self._update()

    def step(self, text: str) -> None:
        """Say what is done from now on."""
        self._text, self._count = text, (0, 0)
        self._await()
        self._update()

    def _line(self) -> None:
        done, total = self._count
        if self._lines and time.monotonic() - self._last_line >= LINES_AFTER:
            self._last_line = time.monotonic()
            click.echo(f"{self._text}: {done} of {total}", err=True)

    def close(self) -> None:
        """Take the line away; the next task or step brings it again."""
        with self._lock:
            if self._timer is not None:
                self._timer.cancel()
            if self._bar is not None:
                self._bar.stop()
            self._timer = self._bar = None

    def _await(self) -> None:
        """See to it that the line comes up, unless all is over before."""
        with self._lock:
            if self._on and self._timer is None:
                self._timer = threading.Timer(SHOWN_AFTER, self._start)
                self._timer.daemon = True
                self._timer.start()

    def _start(self) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
        from rich.progress import Progress as Bar

        with self._lock:
            if self._timer is None or self._bar is not None:
                return
            columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
            self._bar = Bar(*columns, console=Console(stderr=True), transient=True)
            self._bar.add_task(self._shown(), total=self._count[1] or None)
            self._bar.start()
        self._update()

    def _update(self) -> None:
        with self._lock:
            if self._bar is not None:
                done, total = self._count
                task = self._bar.task_ids[0]
                self._bar.update(
                    task, description=self._shown(), completed=done, total=total or None
                )

    def _shown(self) -> str:
        done, total = self._count
        return f"{self._text} {done}/{total}" if total > 1 else self._text


@contextmanager
def progress_bar() -> Iterator[Progress]:
    """Give what shows on a terminal how far the work is."""
    progress = Progress(sys.stderr.isatty(), bar=takes_escapes())
    try:
        yield progress
    finally:
        progress.close()
