"""``closeout explain``."""

from __future__ import annotations

import sys

import click

from closeout.cli.common import colour, opened, progress_bar, project_options, width
from closeout.cli.errors import UserError
from closeout.cli.options import Options
from closeout.cli.pipeline import assess
from closeout.cli.readable import readable
from closeout.cli.studies import Wanted


@click.command(epilog="Example: closeout explain PWR-020")
@project_options
@click.option("--latex", is_flag=True, help="Add the formulas of derivations as LaTeX.")
@click.argument("identifier", metavar="ID")
def command(
    review: str | None,
    settings: tuple[str, ...],
    revision: str | None,
    jobs: int,
    latex: bool,
    identifier: str,
) -> int:
    """Show a requirement, an analysis or a parameter: inputs, sources, results, chain of evidence.

    Of a requirement also what drives each computed number, where it breaks and its derivation.

    Status: 0 it was shown, whatever the verdict; 2 there is no such thing.
    """
    from closeout.render.explain import explain_text, suggestions

    with opened(revision) as (snapshot, store), progress_bar() as progress:
        options = Options(review, settings, (), jobs)
        wanted = Wanted({identifier}, break_even=True)
        outcome = assess(snapshot, store, options, progress, wanted)
    dossier = readable(outcome.dossier)
    text = explain_text(
        dossier, identifier, colour=colour(), width=width(), studies=outcome.studies, latex=latex
    )
    if text is None:
        near = suggestions(dossier, identifier)
        cure = f"did you mean {', '.join(near)}?" if near else "closeout verify lists what there is"
        raise UserError((f"there is no requirement, analysis or parameter {identifier}", cure))
    sys.stdout.write(text)
    return 0
