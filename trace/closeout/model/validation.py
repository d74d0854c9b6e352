"""What is known of the tests that analyses name as their validation."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Tested(StrEnum):
    """What became of a named test: it was run and how it ended, or it is only named.

    ``SKIPPED`` also where a part of it was skipped, or is marked as expected to fail: what was not
    shown to hold validates nothing.
    """

    PASSED = "passed"
    NAMED = "named"
    SKIPPED = "skipped"
    EMPTY = "nothing collected"
    FAILED = "failed"


_GRAVITY = tuple(Tested)


def is_named(test: str, named: str) -> bool:
    """Return whether a test is one that a name means: of the file, class, function, or a case."""
    return test == named or test.startswith((f"{named}::", f"{named}["))


@dataclass(frozen=True, slots=True)
class NamedTest:
    """A test as analyses name it, and what is known of it for the very files that are judged.

    ``message`` says why it did not pass, ``path`` and ``line`` where it failed.
    """

    named: str
    state: Tested = Tested.NAMED
    message: str | None = None
    path: str | None = None
    line: int | None = None


@dataclass(frozen=True, slots=True)
class Validation:
    """The tests that an analysis names, in its order."""

    analysis: str
    tests: tuple[NamedTest, ...]

    @property
    def state(self) -> Tested | None:
        """The gravest of its tests' states; None where it names none."""
        return max((test.state for test in self.tests), key=_GRAVITY.index, default=None)

    @property
    def failed(self) -> tuple[NamedTest, ...]:
        """The tests that were run and failed."""
        return tuple(test for test in self.tests if test.state is Tested.FAILED)
