"""Refusing to write about a project that could not be read at all."""

from __future__ import annotations

import click

from closeout.model.dossier import Dossier
from closeout.model.errors import UserError


def readable(dossier: Dossier) -> Dossier:
    """Return the dossier; of a project without requirements that could be read, tell the problems.

    Raises:
        UserError: nothing of the project could be read.
    """
    if dossier.requirements or not dossier.problems:
        return dossier
    from closeout.render.terminal import problems_text

    click.echo(problems_text(dossier.problems), err=True, nl=False)
    raise UserError("nothing was written: the project cannot be read", "correct the problems above")
