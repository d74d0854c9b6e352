"""What came of a question."""

from __future__ import annotations

from dataclasses import dataclass

from closeout.model.answer import Answer
from closeout.model.question import Failure


@dataclass(frozen=True, slots=True)
class Reply:
    """An answer or a failure, whether the store gave it, and why it cannot be stored (if so).

    ``read`` are the project's files that it rests on, None where that is not known.
    """

    result: Answer | Failure
    from_store: bool
    not_stored: tuple[str, ...] = ()
    read: frozenset[str] | None = None
