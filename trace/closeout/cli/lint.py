"""``closeout lint``."""

from __future__ import annotations

import sys

import click

from closeout.cli.common import (
    colour,
    jobs_option,
    junit_option,
    opened,
    sarif_option,
    today_option,
    width,
)
from closeout.cli.output import check_outputs, write_outputs
from closeout.model.errors import UserError
from closeout.model.problem import Severity
from closeout.run.inspection import Looked, inspect
from closeout.run.options import Options


@click.command(epilog="Example: closeout lint")
@click.option("--at", "revision", metavar="REV", help="Check a commit.")
@click.option(
    "--no-code",
    is_flag=True,
    help="Import no module, and list the rules that were not applied.",
)
@click.option("--schema", is_flag=True, help="Print the JSON Schema of the files, for editors.")
@click.option("--keys", is_flag=True, help="Print every key of the files, with an example.")
@click.option("--units", is_flag=True, help="Print every unit, and its name in an analysis.")
@click.option("--rule", metavar="NAME", help="Print the page of a rule; 'all' lists all rules.")
@today_option
@jobs_option
@sarif_option
@junit_option
def command(
    revision: str | None,
    no_code: bool,
    schema: bool,
    keys: bool,
    units: bool,
    rule: str | None,
    today: str | None,
    jobs: int,
    sarif_file: str | None,
    junit_file: str | None,
) -> int:
    """Say everything that can be said without running an analysis.

    Rules of form, trace and unit hold for every project; those of standards and wording can be
    switched off or made errors by policy: in project.yaml, each with its reason.

    Modules below analyses/ are imported to learn what they take and return, unless --no-code.
    Status: 0 no findings; 1 warnings; 2 errors.
    """
    pages = {"--schema": schema, "--keys": keys, "--units": units, "--rule": rule is not None}
    files = {"--sarif": sarif_file, "--junit": junit_file}
    page = next((name for name, is_set in pages.items() if is_set), None)
    if page is not None:
        looking = {"--at": revision is not None, "--no-code": no_code, "--today": bool(today)}
        looking |= {option: file is not None for option, file in files.items()}
        _check_alone([name for name, is_set in {**pages, **looking}.items() if is_set])
        sys.stdout.write(_page(page, rule))
        return 0
    check_outputs(files)
    with opened(revision) as (snapshot, store):
        looked = inspect(snapshot, store, Options(jobs=jobs, today=today, code=not no_code))
        status = _status(looked)
        forms = [option for option, file in files.items() if file is not None]
        if forms:
            from closeout.run.exchanged import lint_texts

            write_outputs(files, lint_texts(forms, looked, status, snapshot, code=not no_code))
    if "-" not in files.values():
        _tell(looked, no_code=no_code)
    return status


def _status(looked: Looked) -> int:
    if any(problem.severity is Severity.ERROR for problem in looked.problems):
        return 2
    return 1 if looked.problems else 0


def _check_alone(options: list[str]) -> None:
    """Refuse what else is asked beside a page: it would be passed over in silence."""
    if len(options) > 1:
        first, *ignored = options
        message = f"{first} prints a page, and {', '.join(ignored)} would be ignored"
        raise UserError(message, "use one option at a time")


def _page(name: str, rule: str | None) -> str:
    """Return what is printed of the tool itself, whatever the project."""
    from closeout import load

    if name == "--schema":
        return load.schema_text()
    if name == "--keys":
        from closeout.render.keys import keys_text

        sections = {section: load.section_schema(section) for section in load.SECTIONS}
        return keys_text(sections, load.schema()["$defs"].values(), width())
    if name == "--units":
        from closeout.render.units import units_text

        return units_text(width())
    return _page_of_rule(rule or "")


def _page_of_rule(name: str) -> str:
    """Return the page of a rule, or all names; UserError with the nearest name for another."""
    from closeout.render.page_of_rule import page_text, titles_text
    from closeout.rules.catalogue import RULES
    from closeout.rules.policy import suggestion

    if name == "all":
        return titles_text(RULES.values(), width())
    if name not in RULES:
        raise UserError(f"there is no rule {name}", suggestion(name))
    return page_text(RULES[name], width())


def _tell(looked: Looked, *, no_code: bool) -> None:
    """Print the problems, how much was looked at, and which rules are off or were not applied."""
    from closeout.render.plain import count
    from closeout.render.terminal import problems_text, wrap
    from closeout.render.words import switched_off, without_code

    scale = looked.scale
    sys.stdout.write(problems_text(looked.problems, colour=colour(), width=width()))
    analyses = "" if no_code else f", {count(scale.analyses, 'analysis', 'analyses')}"
    end = "" if looked.problems else "; no findings"
    click.echo(
        f"checked {count(scale.files, 'file')}: {count(scale.requirements, 'requirement')},"
        f" {count(scale.verifications, 'verification')}, {count(scale.parameters, 'parameter')}"
        f"{analyses}{end}"
    )
    notes = []
    if no_code:
        from closeout.rules.catalogue import OF_CODE, PARTLY_OF_CODE

        notes.append(without_code(OF_CODE, PARTLY_OF_CODE))
    notes += [switched_off(looked.off)] if looked.off else []
    for note in notes:
        click.echo("\n".join(wrap(note, width())))
