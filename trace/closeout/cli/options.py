"""What is asked of a run."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Options:
    """What is asked of a run.

    ``settings`` are NAME=AMOUNT, with a spread or without; ``only`` patterns of identifiers.
    ``today`` is the day (year-month-day) at which to judge, None for the state's own.
    """

    review: str | None = None
    settings: tuple[str, ...] = ()
    only: tuple[str, ...] = ()
    jobs: int = 1
    today: str | None = None
