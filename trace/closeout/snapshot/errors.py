"""The one exception of this package."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from closeout.model.errors import UserError


class SnapshotError(UserError):
    """A state of a project that cannot be had; ``message`` says why, ``cure`` what to do."""


@contextmanager
def refused_by_system(what: str, cure: str) -> Iterator[None]:
    """Tell an error of the operating system as a SnapshotError."""
    try:
        yield
    except OSError as error:
        raise SnapshotError(f"{what}: {error.strerror}", cure) from error
