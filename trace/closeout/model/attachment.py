"""What figures and artifacts made for one evaluation of an analysis."""

from __future__ import annotations

from dataclasses import dataclass

from closeout.model.question import Failure


@dataclass(frozen=True, slots=True)
class Attachment:
    """A figure or a set of files for an evaluation (its number in the dossier), or why not."""

    evaluation: int
    kind: str
    name: str
    caption: str
    files: tuple[tuple[str, bytes], ...] = ()
    failure: Failure | None = None
