"""What is asked of a run, and how it reports how far it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True, slots=True)
class Options:
    """What is asked of a run.

    ``settings`` are NAME=AMOUNT, with a spread or without; ``only`` are patterns of identifiers and
    KEY=VALUE, as :mod:`closeout.run.only` reads them.
    ``today`` is the day (year-month-day) at which to judge, None for the state's own. Without
    ``code`` no module of analyses is imported, so that only what needs none is reported. With
    ``validate`` the tests that analyses name are run, where it is not known how they end. Where the
    process that runs serves nothing else (``alone``), what analyses leave behind is ended.
    ``sweep`` are NAME=FROM..TO, as :mod:`closeout.run.read_sweep` reads them, and ``points`` how
    many values are tried.
    """

    review: str | None = None
    settings: tuple[str, ...] = ()
    only: tuple[str, ...] = ()
    jobs: int = 1
    today: str | None = None
    code: bool = True
    validate: bool = False
    alone: bool = True
    sweep: tuple[str, ...] = ()
    points: str | None = None


class Progress(Protocol):
    """Called with how many tasks are done, of how many."""

    def __call__(self, done: int, total: int, /) -> None: ...

    def step(self, text: str) -> None:
        """Take note of what is done from now on."""
