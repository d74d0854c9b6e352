"""What the rules are told beside the project itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # loaded where git knows of earlier states
    from closeout.model.history import History


@dataclass(frozen=True, slots=True)
class Context:
    """The review that is judged, which files exist, and what git knows of earlier states.

    ``files`` holds those of the files that analyses name as their validation which are there, from
    the project's root. ``history`` is None where there is none: outside git, before a commit.
    """

    review: str | None = None
    files: frozenset[str] = frozenset()
    history: History | None = None
