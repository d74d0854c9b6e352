"""How far a run is, for whoever shows it."""

from __future__ import annotations

from typing import Protocol


class Progress(Protocol):
    """Called with how many tasks are done, of how many."""

    def __call__(self, done: int, total: int, /) -> None: ...

    def step(self, text: str) -> None:
        """Take note of what is done from now on."""
