"""The day of a state: of a commit as its committer wrote it, of what no commit holds today.

A clone gives the same verdicts on any day, since HEAD's own day is asked and no ancestor's: one
that was fetched without them says the same. The committer's day, not the author's: a record that
was added to a commit by an amend is not of a day to come.
"""

from __future__ import annotations

import datetime
import time
from collections.abc import Callable, Collection
from dataclasses import dataclass, field

from closeout.snapshot.git import Git

# (kind, path from the root, what was seen there), as in closeout.evaluate.trace.
Looked = tuple[str, str, "str | None"]
# Says of looks whether the commit answers all of them alike.
Holds = Callable[[Collection[Looked]], bool]


def today() -> str:
    """Return the day of this machine's clock, year-month-day."""
    return datetime.datetime.now().astimezone().date().isoformat()


@dataclass(frozen=True, slots=True)
class Stamp:
    """When a commit was made: the committer's day as written in it, and the instant.

    ``instant`` is in seconds since 1970-01-01 UTC. ``parent`` is the day of a parent that was made
    on a later day, None where there is none, or none is here; ``parents`` are those that are here.
    ``author`` is the author's day, which an amend or a rebase leaves as it was.
    """

    day: str
    instant: int
    parent: str | None = None
    parents: tuple[str, ...] = ()
    author: str = ""


@dataclass(frozen=True, slots=True)
class Dated:
    """What the day of a state follows from: the clock's when it was opened, and its commit's.

    ``judged`` says whether the commit holds all that is judged as it stands here, ``holds`` whether
    it holds what an answer looked at besides. ``now`` is in seconds since 1970-01-01 UTC.
    """

    today: str
    stamp: Stamp | None = None
    judged: bool = False
    holds: Holds | None = None
    now: float = field(default_factory=time.time)

    @property
    def late(self) -> bool:
        """Whether the commit is of a day that has not come yet."""
        # East of here the next day may have begun.
        return self.stamp is not None and (
            self.stamp.day > self.today and self.stamp.instant > self.now
        )

    def day(self, looked: Collection[Looked] = ()) -> str:
        """Return the day of the state, year-month-day.

        Its commit's where that holds everything that is judged and was looked at, else today,
        never before its commit's.

        Args:
            looked: what the answers rested on, as far as it is known.
        """
        if self.stamp is None:
            return self.today
        if self.judged and (self.holds is None or self.holds(looked)):
            return self.stamp.day
        return max(self.today, self.stamp.day)


def stamp_of(git: Git, commit: str) -> Stamp:
    """Return when a commit was made.

    Raises:
        SnapshotError: git refuses.
    """
    output = git.ask(
        "show", "--no-patch", "--no-show-signature", "--no-notes", "--format=%H %ct %cs %as",
        commit, f"{commit}^@", "--",
    )  # fmt: skip
    own, *parents = (line.split(" ") for line in output.decode().splitlines())
    _, instant, day, author = own
    # The day alone may go back from one time zone to another, the instant alone by a slow clock.
    later = [its for _, then, its, _ in parents if its > day and int(then) > int(instant)]
    names = tuple(name for name, *_ in parents)
    return Stamp(day, int(instant), max(later, default=None), names, author)
