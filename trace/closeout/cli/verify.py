"""``closeout verify``."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import click
from click.formatting import wrap_text

from closeout.cli.common import (
    colour,
    opened,
    project_options,
    terminal_width,
    validate_option,
    width,
)
from closeout.cli.encoding import print_utf_8
from closeout.cli.output import check_place, write_file
from closeout.cli.progress import Progress, progress_bar
from closeout.render.plain import work
from closeout.run.options import Options
from closeout.run.stored_texts import ShownRun, Wanted, shown
from closeout.snapshot import Snapshot
from closeout.store.database import Store

ONLY = (
    "Only these: an identifier or a pattern, as 'PWR-*', with what is derived from it; or"
    " owner=power, level=system, review=CDR, state=open (open, error, met, not met), code=NC (C,"
    " PC, NC, NA, open). Repeatable: identifiers add up, and so do values of one key; different"
    " keys narrow. Level, review and state are those of one verification, due or not. Totals and"
    " exit status are for what is shown."
)


@click.command(epilog="Example: closeout verify --review CDR --set hold_duration=45d")
@project_options
@click.option(
    "--only",
    metavar="WHICH",
    multiple=True,
    help=ONLY,
)
@validate_option
@click.option("--json", "json_file", metavar="FILE", help="Write the dossier as JSON; - prints it.")
def command(
    review: str | None,
    settings: tuple[str, ...],
    revision: str | None,
    today: str | None,
    jobs: int,
    only: tuple[str, ...],
    validate: bool,
    json_file: str | None,
) -> int:
    """Judge every requirement, running the analyses of which anything changed.

    Status: 0 everything due is met or covered; 1 a shortfall; 2 could not be judged; 3 a fault of
    the tool.
    """
    if json_file is not None and json_file != "-":
        check_place(Path(json_file))
    options = Options(review, settings, only, jobs, today, validate=validate)
    wanted = Wanted(json_file != "-", json_file is not None, colour(), terminal_width())
    # Of a what-if, how much each margin moves is what is asked.
    whole = bool(settings)
    with opened(revision) as (snapshot, store):
        with progress_bar() as progress:
            run = shown(snapshot, store, options, wanted, progress, whole=whole)
            change = _change(snapshot, store, options, run, progress) if settings else ""
        if json_file is not None and json_file != "-":
            write_file(Path(json_file), run.json.encode())
        if json_file == "-":
            print_utf_8(run.json)
        else:
            sys.stdout.write(run.text + change)
            report = work(run.computed, run.stored)
            click.echo(wrap_text(report, width(), subsequent_indent="  "))
        return run.exit_status


def _change(
    snapshot: Snapshot, store: Store, options: Options, run: ShownRun, progress: Progress
) -> str:
    """Return what a what-if changes, as text."""
    from closeout.render.whatif import whatif_text
    from closeout.run.only import without_verdicts
    from closeout.run.runs import dossier_of

    now = run.dossier or dossier_of(snapshot, store, options, progress, whole=True)
    # What falls out of a state by the settings is to be seen beside what it was.
    only = without_verdicts(options.only)
    before = replace(options, settings=(), only=only, validate=False)
    unchanged = dossier_of(snapshot, store, before, progress, whole=True)
    return whatif_text(unchanged, now, colour=colour())
