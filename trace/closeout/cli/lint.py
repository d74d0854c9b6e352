"""``closeout lint``."""

from __future__ import annotations

import json
import sys

import click

from closeout.cli.common import colour, jobs_option, opened, today_option, width
from closeout.cli.errors import UserError
from closeout.cli.options import Options
from closeout.cli.pipeline import inspect
from closeout.model.problem import Severity


@click.command(epilog="Example: closeout lint")
@click.option("--at", "revision", metavar="REV", help="Look at a commit.")
@click.option("--schema", is_flag=True, help="Print the JSON Schema of the files, for editors.")
@click.option(
    "--rule", metavar="NAME", help="Print the page of a rule; 'all' lists every rule by its name."
)
@today_option
@jobs_option
def command(
    revision: str | None, schema: bool, rule: str | None, today: str | None, jobs: int
) -> int:
    """Say everything that can be said without running an analysis.

    Rules of form, trace and unit hold for every project; those of standards and wording can be
    switched off or made errors by policy: in project.yaml, each with its reason.

    Modules below analyses/ are imported to learn what they take and return.
    Status: 0 nothing to tell; 1 warnings; 2 errors.
    """
    if schema:
        from closeout.load import schema as schema_of_files

        click.echo(json.dumps(schema_of_files(), indent=2))
        return 0
    if rule is not None:
        _print_rule(rule)
        return 0
    from closeout.render.terminal import problems_text, wrap
    from closeout.render.words import count, switched_off

    with opened(revision) as (snapshot, store):
        looked = inspect(snapshot, store, Options(jobs=jobs, today=today))
    problems, scale = looked.problems, looked.scale
    sys.stdout.write(problems_text(problems, colour=colour(), width=width()))
    end = "" if problems else "; nothing to tell"
    click.echo(
        f"looked at {count(scale.files, 'file')}: {count(scale.requirements, 'requirement')} with"
        f" {count(scale.verifications, 'verification')}, {count(scale.parameters, 'parameter')},"
        f" {count(scale.analyses, 'analysis', 'analyses')}{end}"
    )
    if looked.off:
        click.echo("\n".join(wrap(switched_off(looked.off), width())))
    if any(problem.severity is Severity.ERROR for problem in problems):
        return 2
    return 1 if problems else 0


def _print_rule(name: str) -> None:
    """Print the page of a rule, or all names; UserError with the nearest name for another."""
    from closeout.render.page_of_rule import page_text, titles_text
    from closeout.rules.catalogue import BY_NAME, RULES
    from closeout.rules.policy import suggestion

    if name == "all":
        sys.stdout.write(titles_text(RULES, width()))
        return
    if name not in BY_NAME:
        raise UserError((f"there is no rule {name}", suggestion(name)))
    sys.stdout.write(page_text(BY_NAME[name], width()))
