"""``closeout verify``."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import click

from closeout.cli import runs
from closeout.cli.common import colour, opened, progress_bar, project_options, width
from closeout.cli.encoding import print_utf_8
from closeout.cli.options import Options
from closeout.cli.output import check_place, write_file
from closeout.render.words import work


@click.command(epilog="Example: closeout verify --review CDR --set hold_duration=45d")
@project_options
@click.option(
    "--only",
    metavar="ID",
    multiple=True,
    help="Only this requirement and what is derived from it; also a pattern, as 'PWR-*'.",
)
@click.option("--json", "json_file", metavar="FILE", help="Write the dossier as JSON; - prints it.")
def command(
    review: str | None,
    settings: tuple[str, ...],
    revision: str | None,
    today: str | None,
    jobs: int,
    only: tuple[str, ...],
    json_file: str | None,
) -> int:
    """Judge every requirement, running the analyses of which anything changed.

    Status: 0 everything due is met or covered; 1 a shortfall; 2 could not be judged; 3 a fault of
    the tool.
    """
    if json_file is not None and json_file != "-":
        check_place(Path(json_file))
    options = Options(review, settings, only, jobs, today)
    wanted = runs.Wanted(json_file != "-", json_file is not None, colour(), width())
    with opened(revision) as (snapshot, store):
        compared = bool(settings) and wanted.text
        key = runs.key_of_run(snapshot, options)
        run = None if compared else runs.recall(snapshot, store, key, options, wanted)
        change = ""
        if run is None:
            from closeout.cli.pipeline import assess

            with progress_bar() as progress:
                # Of a what-if, how much each margin moves is what is asked.
                outcome = assess(snapshot, store, options, progress, verdicts_alone=not settings)
                if compared:
                    from closeout.render.whatif import whatif_text

                    unchanged = assess(snapshot, store, replace(options, settings=()), progress)
                    change = whatif_text(unchanged.dossier, outcome.dossier, colour=colour())
            run = runs.keep(store, key, wanted, outcome)
        if json_file is not None and json_file != "-":
            write_file(Path(json_file), run.json.encode())
        if json_file == "-":
            print_utf_8(run.json)
        else:
            sys.stdout.write(run.text + change)
            click.echo(work(run.computed, run.stored))
        return run.exit_status
