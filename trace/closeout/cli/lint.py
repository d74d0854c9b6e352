"""``closeout lint``."""

from __future__ import annotations

import json
import sys

import click

from closeout.cli.common import colour, jobs_option, opened, width
from closeout.cli.pipeline import inspect
from closeout.model.problem import Severity


@click.command(epilog="Example: closeout lint")
@click.option("--at", "revision", metavar="REV", help="Look at a commit.")
@click.option("--schema", is_flag=True, help="Print the JSON Schema of the files, for editors.")
@jobs_option
def command(revision: str | None, schema: bool, jobs: int) -> int:
    """Say everything that can be said without running an analysis: form, trace, units.

    Modules below analyses/ are imported to learn what they take and return.
    Status: 0 nothing to tell; 1 warnings; 2 errors.
    """
    if schema:
        from closeout.load import schema as schema_of_files

        click.echo(json.dumps(schema_of_files(), indent=2))
        return 0
    from closeout.render.terminal import problems_text
    from closeout.render.words import count

    with opened(revision) as (snapshot, store):
        problems, scale = inspect(snapshot, store, jobs)
    sys.stdout.write(problems_text(problems, colour=colour(), width=width()))
    end = "" if problems else "; nothing to tell"
    click.echo(
        f"looked at {count(scale.files, 'file')}: {count(scale.requirements, 'requirement')} with"
        f" {count(scale.verifications, 'verification')}, {count(scale.parameters, 'parameter')},"
        f" {count(scale.analyses, 'analysis', 'analyses')}{end}"
    )
    if any(problem.severity is Severity.ERROR for problem in problems):
        return 2
    return 1 if problems else 0
