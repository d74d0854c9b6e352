"""``closeout sweep``."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.formatting import wrap_text

from closeout.cli.common import (
    colour,
    opened,
    project_options,
    say,
    terminal_width,
    warn,
    width,
)
from closeout.cli.encoding import print_utf_8
from closeout.cli.output import check_place, write_file
from closeout.cli.progress import Progress, progress_bar
from closeout.model.errors import UserError
from closeout.render.plain import work
from closeout.run.options import Options

if TYPE_CHECKING:  # loaded where a sweep is asked for
    from closeout.model.sweep import Sweep
    from closeout.run.sweep import Estimate, Report

FORMS = ("svg", "csv", "json")


@click.command(
    epilog="Example: closeout sweep pressure_threshold=45kPa..58kPa trigger_samples=3..7"
    " -o wake-up.svg"
)
@project_options
@click.option(
    "--only",
    metavar="WHICH",
    multiple=True,
    help="Only these requirements: as verify --only, by identifier, owner=, level= or review=.",
)
@click.option(
    "--points",
    metavar="N",
    help="How many values are tried, both ends among them; 11, or for two parameters 7 of each."
    " For two also N,M.",
)
@click.option(
    "--whole",
    is_flag=True,
    help="Search the worst case at each point also where it cannot be proved, which takes long;"
    " without it such a verification is shown at nominal values.",
)
@click.option(
    "-o",
    "--output",
    "outputs",
    metavar="FILE",
    multiple=True,
    help="Write a figure (.svg), or every margin as .csv or .json; repeatable.",
)
@click.option("--json", "json_file", metavar="FILE", help="Write JSON; - prints it.")
@click.argument("values", metavar="NAME=FROM..TO [NAME=FROM..TO]", nargs=-1, required=True)
def command(
    review: str | None,
    settings: tuple[str, ...],
    revision: str | None,
    today: str | None,
    jobs: int,
    only: tuple[str, ...],
    points: str | None,
    whole: bool,
    outputs: tuple[str, ...],
    json_file: str | None,
    values: tuple[str, ...],
) -> int:
    """Show the margins of every requirement that rests on a parameter, over its values.

    First the window in which all hold among the values tried, and which requirement ends it on
    either side. Each value moves the parameter and keeps its declared spread, as verify --set does;
    it stands in place of a condition that a requirement gives. A whole count takes whole numbers.

    Status: 0 it was shown and all was written, whatever the margins; 2 something that is named
    does not exist, or the project cannot be read.
    """
    from closeout.cli.readable import readable
    from closeout.render.sweep import sweep_text
    from closeout.run.pipeline import Outcome
    from closeout.run.sweep import swept

    _check(outputs, json_file)
    options = Options(review, settings, only, jobs, today, sweep=values, points=points)
    with opened(revision) as (snapshot, store), progress_bar() as progress:
        report = _reporter(progress) if sys.stderr.isatty() else None
        found = swept(snapshot, store, options, progress, report, whole=whole)
    if isinstance(found, Outcome):
        readable(found.dossier)
        raise UserError("nothing was written: the project has no requirements", "closeout lint")
    for output in outputs:
        write_file(Path(output), _form(found, Path(output)).encode())
    if json_file == "-":
        print_utf_8(_form(found, Path("-.json")))
    else:
        if json_file is not None:
            write_file(Path(json_file), _form(found, Path("-.json")).encode())
        sys.stdout.write(sweep_text(found, colour=colour(), width=terminal_width()))
        text = work(found.evaluated, found.stored)
        click.echo(wrap_text(text, width(), subsequent_indent="  "))
    for output in outputs:
        say(f"wrote {output}")
    warn(found.dossier)
    return 0


def _check(outputs: tuple[str, ...], json_file: str | None) -> None:
    """Refuse at once what could not be written.

    Raises:
        UserError: a form is unknown, or a place is among the project's sources.
    """
    ending = ", ".join(f".{form}" for form in FORMS)
    wrong = [
        (f"-o {output}: no such form", f"end the name in {ending}")
        for output in outputs
        if _ending(Path(output)) not in FORMS
    ]
    if wrong:
        raise UserError.all_of(wrong)
    for output in (*outputs, json_file):
        if output not in (None, "-"):
            check_place(Path(output))


def _ending(path: Path) -> str:
    return path.suffix.removeprefix(".").lower()


def _form(found: Sweep, path: Path) -> str:
    """Return a sweep in the form that the ending of a file selects."""
    from closeout.render.sweep_forms import sweep_csv, sweep_json
    from closeout.render.sweep_picture import sweep_svg

    return {"svg": sweep_svg, "csv": sweep_csv, "json": sweep_json}[_ending(path)](found)


def _reporter(progress: Progress) -> Report:
    """Return what says, above the progress, what a sweep will take."""
    from closeout.render.sweep import estimate_text

    def report(estimate: Estimate) -> None:
        progress.close()
        click.echo(estimate_text(estimate.seconds, estimate.evaluations), err=True)

    return report
