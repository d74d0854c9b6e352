"""The base of all errors that a user caused: what is wrong, and what to do about it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Self

# What is wrong, and what to do about it.
Mistake = tuple[str, str]


class UserError(Exception):
    """A mistake of the user; where nothing takes it up, it ends a command with status 2.

    ``message`` says what is wrong, ``cure`` what to do (empty where the message says it); ``more``
    are mistakes that were found beside it.
    """

    def __init__(self, message: str, cure: str = "", *more: Mistake) -> None:
        super().__init__(message, cure, *more)
        self.message = message
        self.cure = cure
        self.more = more

    @classmethod
    def all_of(cls, mistakes: Iterable[Mistake]) -> Self:
        """Return an error of all mistakes that were found, one or more, each with its cure."""
        (message, cure), *more = mistakes
        return cls(message, cure, *more)

    def __str__(self) -> str:
        return self.shown()

    def shown(self) -> str:
        """Return the messages, a line each, the cures indented below."""
        lines = []
        for message, cure in ((self.message, self.cure), *self.more):
            lines.append(message)
            if cure:
                lines.append(f"    {cure}")
        return "\n".join(lines)
