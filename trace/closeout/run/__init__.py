"""What runs a project: its steps in their order, what is stored of a run, and what is asked of it.

Above everything that a step is made of, and below the command line, of which it knows nothing.
For programs and notebooks: ``from closeout.run import Project``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from closeout.model.errors import UserError
    from closeout.run.project import Project

__all__ = ["Project", "UserError"]


def __getattr__(name: str) -> object:
    # Loaded when asked for: a command that shows a stored run needs none of it.
    if name == "Project":
        from closeout.run.project import Project

        return Project
    if name == "UserError":
        from closeout.model.errors import UserError

        return UserError
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
