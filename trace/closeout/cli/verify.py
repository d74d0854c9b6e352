"""``closeout verify``."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import replace

import click
from click.formatting import wrap_text

from closeout.cli.common import (
    colour,
    junit_option,
    opened,
    project_options,
    sarif_option,
    terminal_width,
    validate_option,
    width,
)
from closeout.cli.output import check_outputs, write_outputs
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
@sarif_option
@junit_option
def command(
    review: str | None,
    settings: tuple[str, ...],
    revision: str | None,
    today: str | None,
    jobs: int,
    only: tuple[str, ...],
    validate: bool,
    json_file: str | None,
    sarif_file: str | None,
    junit_file: str | None,
) -> int:
    """Judge every requirement, running the analyses of which anything changed.

    Status: 0 everything due is met or covered; 1 a shortfall; 2 could not be judged; 3 a fault of
    the tool.
    """
    files = {"--json": json_file, "--sarif": sarif_file, "--junit": junit_file}
    check_outputs(files)
    options = Options(review, settings, only, jobs, today, validate=validate)
    wanted = Wanted("-" not in files.values(), json_file is not None, colour(), terminal_width())
    # Of a what-if, how much each margin moves is what is asked.
    whole = bool(settings)
    with opened(revision) as (snapshot, store):
        with progress_bar() as progress:
            run = shown(snapshot, store, options, wanted, progress, whole=whole)
            if settings or sarif_file is not None or junit_file is not None:
                run = _with_dossier(run, snapshot, store, options, progress)
            change = _change(snapshot, store, options, run, progress) if settings else ""
        write_outputs(files, _texts(files, run, snapshot))
        if wanted.text:
            sys.stdout.write(run.text + change)
            report = work(run.computed, run.stored)
            click.echo(wrap_text(report, width(), subsequent_indent="  "))
        return run.exit_status


def _with_dossier(
    run: ShownRun, snapshot: Snapshot, store: Store, options: Options, progress: Progress
) -> ShownRun:
    """Return a run with its dossier, which is not looked at where its texts are stored."""
    if run.dossier is not None:
        return run
    from closeout.run.runs import dossier_of

    whole = bool(options.settings)
    return replace(run, dossier=dossier_of(snapshot, store, options, progress, whole=whole))


def _texts(files: Mapping[str, str | None], run: ShownRun, snapshot: Snapshot) -> dict[str, str]:
    """Return what is written for each option that names a file."""
    texts = {} if files["--json"] is None else {"--json": run.json}
    forms = [option for option in ("--sarif", "--junit") if files[option] is not None]
    if forms:
        from closeout.run.exchanged import verify_texts

        assert run.dossier is not None
        texts |= verify_texts(forms, run.dossier, snapshot)
    return texts


def _change(
    snapshot: Snapshot, store: Store, options: Options, run: ShownRun, progress: Progress
) -> str:
    """Return what a what-if changes, as text."""
    from closeout.render.whatif import whatif_text
    from closeout.run.only import without_verdicts
    from closeout.run.runs import dossier_of

    assert run.dossier is not None
    # What falls out of a state by the settings is to be seen beside what it was.
    only = without_verdicts(options.only)
    before = replace(options, settings=(), only=only, validate=False)
    unchanged = dossier_of(snapshot, store, before, progress, whole=True)
    return whatif_text(unchanged, run.dossier, colour=colour())
