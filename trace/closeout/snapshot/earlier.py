"""The last commit of a project before a day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from closeout.snapshot.folder import Snapshot
from closeout.snapshot.git import find_repository


@dataclass(frozen=True, slots=True)
class Line:
    """The commits that a state stands on along their first parents, the newest first.

    Each with its day, the committer's as it is written there. ``whole`` is False where older ones
    were not fetched.
    """

    commits: Sequence[tuple[str, str]] = ()
    whole: bool = True

    def before(self, day: str) -> tuple[str, str] | None:
        """Return the last commit of an earlier day with its day; None where there is none.

        One of the day itself may be from after what happened on it.
        """
        return next(((name, its) for name, its in self.commits if its < day), None)


def line_of(snapshot: Snapshot) -> Line | None:
    """Return the commits that a state stands on, its own first; None outside git.

    Raises:
        SnapshotError: git refuses.
    """
    commit = snapshot.identity.commit
    repository = None if commit is None else find_repository(snapshot.origin)
    if commit is None or repository is None:
        return None
    git = repository.git
    output = git.ask("log", "--first-parent", "--no-show-signature", "--format=%H %cs", commit)
    shallow = git.ask("rev-parse", "--is-shallow-repository").decode().strip()
    lines = [line.partition(" ") for line in output.decode().splitlines()]
    return Line(tuple((name, day) for name, _, day in lines), shallow != "true")
