"""Which state of a project was judged."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class SnapshotIdentity:
    """What was judged: kind is tree, index or commit; outside git commit and dirty are None.

    ``untracked`` are files of the project that were read and are in no commit: git ignores them.
    ``date`` is the day (year-month-day) at which it was judged: what is dated later is planned. It
    follows from the state and the clock, and so is no part of what tells one state from another.
    """

    kind: str
    commit: str | None
    dirty: bool | None
    untracked: tuple[str, ...] = ()
    date: str | None = field(default=None, compare=False)

    @property
    def under_git(self) -> bool:
        """Whether commits hold the states of the project, or will."""
        return self.commit is not None or self.kind == "index"
