"""What the rules know beside the project itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # loaded where git knows of earlier states
    from closeout.model.history import History


@dataclass(frozen=True, slots=True)
class CommitDay:
    """The day of the commit that a state is of, or rests on.

    ``late`` where that day has not come yet; ``parent`` is the day of a parent that is later.
    """

    day: str
    late: bool = False
    parent: str | None = None


@dataclass(frozen=True, slots=True)
class Context:
    """The review that is judged, which tests exist, and what git knows of earlier states.

    ``tests`` holds what analyses name as their validation and is there, as they name it.
    ``chosen`` are the requested requirements, None for all. ``history`` is None where
    there is none: outside git, before a commit; ``cut_off`` says that not all of it is here.
    ``commit`` is None where there is none.
    """

    review: str | None = None
    tests: frozenset[str] = frozenset()
    history: History | None = None
    cut_off: bool = False
    commit: CommitDay | None = None
    chosen: frozenset[str] | None = None
