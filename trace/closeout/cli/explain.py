"""``closeout explain``."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from dataclasses import replace

import click

from closeout.cli.common import colour, opened, progress_bar, project_options, width
from closeout.cli.errors import UserError
from closeout.cli.options import Options
from closeout.cli.pipeline import assess
from closeout.cli.readable import readable
from closeout.cli.studies import Wanted
from closeout.graph.checks import nearest
from closeout.model.dossier import Dossier
from closeout.model.formerly import renames
from closeout.model.records import Project


@click.command(epilog="Example: closeout explain PWR-020")
@project_options
@click.option("--latex", is_flag=True, help="Write the formulas of derivations in LaTeX.")
@click.option(
    "--boundary",
    metavar="A,B",
    help="Draw where the verdict turns in the plane of two parameters.",
)
@click.option(
    "--quantile",
    metavar="P,C",
    help="Bound the share P of all values with the confidence C, as 0.95,0.95.",
)
@click.argument("identifier", metavar="ID")
def command(
    review: str | None,
    settings: tuple[str, ...],
    revision: str | None,
    today: str | None,
    jobs: int,
    latex: bool,
    boundary: str | None,
    quantile: str | None,
    identifier: str,
) -> int:
    """Show a requirement, an analysis or a parameter: inputs, sources, results, chain of evidence.

    Of a requirement also what drives each computed number, where it breaks and its derivation.

    Status: 0 it was shown, whatever the verdict; 2 there is no such thing.
    """
    from closeout.render.explain import explain_text, suggestions
    from closeout.render.study import unused_text
    from closeout.render.whatif import whatif_text

    with opened(revision) as (snapshot, store), progress_bar() as progress:
        options = Options(review, settings, (), jobs, today)
        wanted = Wanted({identifier}, _pair(boundary), _shares(quantile))
        outcome = assess(snapshot, store, options, progress, wanted)
        change = ""
        if settings:
            unchanged = assess(snapshot, store, replace(options, settings=()), progress)
            change = "\n" + whatif_text(unchanged.dossier, outcome.dossier, colour=colour())
    _check_known(boundary, outcome.dossier)
    dossier = readable(outcome.dossier)
    text = explain_text(
        dossier, identifier, colour=colour(), width=width(), studies=outcome.studies, latex=latex
    )
    if text is None:
        near = _now(identifier, outcome.project) or suggestions(dossier, identifier)
        cure = f"did you mean {', '.join(near)}?" if near else "closeout verify lists what there is"
        raise UserError((f"there is no requirement, analysis or parameter {identifier}", cure))
    asked = {"--boundary": boundary, "--quantile": quantile, "--latex": latex}
    unused = [] if outcome.studies else [name for name, value in asked.items() if value]
    sys.stdout.write(text + change + unused_text(identifier, unused, width()))
    return 0


def _now(identifier: str, project: Project | None) -> list[str]:
    """Return what an earlier identifier is called by now, as far as the project says it."""
    names = {} if project is None else renames(project)
    return [
        f"{of[identifier]} (formerly {identifier})" for of in names.values() if identifier in of
    ]


def _pair(text: str | None) -> tuple[str, ...] | None:
    if text is None:
        return None
    names = tuple(name.strip() for name in text.split(","))
    if len(names) != 2 or not all(names) or names[0] == names[1]:
        cure = "write two parameters, as sleep_current,hold_duration"
        raise UserError((f"--boundary {text}: that is no pair of parameters", cure))
    return names


def _shares(text: str | None) -> tuple[float, float] | None:
    if text is None:
        return None
    try:
        share, confidence = map(float, text.split(","))
    except ValueError:
        share = confidence = 0.0
    if not (0.0 < share < 1.0 and 0.0 < confidence < 1.0):
        cure = "write two numbers between 0 and 1, as 0.95,0.95"
        raise UserError((f"--quantile {text}: that is no share and confidence", cure))
    return share, confidence


def _check_known(boundary: str | None, dossier: Dossier) -> None:
    known = {parameter.name for parameter in dossier.parameters}
    wrong = [
        (f"--boundary {boundary}: there is no parameter {name}", _cure(name, known))
        for name in _pair(boundary) or ()
        if name not in known
    ]
    if wrong:
        raise UserError(*wrong)


def _cure(name: str, known: Iterable[str]) -> str:
    near = nearest(name, known)
    return f"did you mean {near}?" if near else "name a parameter of the project"
