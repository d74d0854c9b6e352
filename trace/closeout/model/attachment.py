"""What figures and artifacts made for one evaluation of an analysis.

Named tuples, since workers load it (``evaluate/forking.py``).
"""

from __future__ import annotations

from typing import NamedTuple

from closeout.model.question import Failure


class Made(NamedTuple):
    """What a figure or an artifact made: content by the name of the file."""

    files: tuple[tuple[str, bytes], ...]


class Attachment(NamedTuple):
    """A figure or a set of files for an evaluation (its number in the dossier), or why not."""

    evaluation: int
    kind: str
    name: str
    caption: str
    files: tuple[tuple[str, bytes], ...] = ()
    failure: Failure | None = None
