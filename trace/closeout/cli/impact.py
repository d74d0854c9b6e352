"""``closeout impact``."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from closeout.cli.common import (
    colour,
    jobs_option,
    project_root,
    say,
    terminal_width,
    today_option,
    warn,
)
from closeout.cli.encoding import print_utf_8
from closeout.cli.output import check_place, write_file
from closeout.cli.progress import progress_bar
from closeout.model.errors import UserError
from closeout.run.options import Options

if TYPE_CHECKING:  # loaded where it is asked for
    from closeout.model.impact import Impact, Unused

FORMS = ("svg", "json")


@click.command(epilog="Example: closeout impact sleep_current analyses/data/stations.csv -o it.svg")
@click.option("--review", metavar="REVIEW", help="Judge what is due at or before it.")
@click.option("--at", "revision", metavar="REV", help="Judge a commit.")
@today_option
@jobs_option
@click.option(
    "--unused",
    is_flag=True,
    help="List what no requirement rests on: analyses, parameters, records, articles, documents,"
    " files below analyses/. Takes no NAME.",
)
@click.option(
    "-o",
    "--output",
    "outputs",
    metavar="FILE",
    multiple=True,
    help="Write a figure of the graph (.svg), or .json; repeatable.",
)
@click.option("--json", "json_file", metavar="FILE", help="Write JSON; - prints it.")
@click.argument("names", metavar="NAME...", nargs=-1)
def command(
    review: str | None,
    revision: str | None,
    today: str | None,
    jobs: int,
    unused: bool,
    outputs: tuple[str, ...],
    json_file: str | None,
    names: tuple[str, ...],
) -> int:
    """Show what rests on an item or file, what it rests on, and what a change opens again.

    NAME is a requirement, parameter, analysis, quantity (ANALYSIS.QUANTITY), record, article,
    document, a file (one of YAML stands for all items in it), or a range of commits A..B for all
    that changed between them. Analyses run first where it is not known what they read; what a file
    is used by follows from what they opened.

    Status: 0 it was shown and all was written, whatever the verdicts; 2 something that is named
    does not exist, or the project cannot be read.
    """
    _check(unused, names, outputs, json_file)
    root = project_root()
    options = Options(review, jobs=jobs, today=today)
    found = _found(root, names, revision, options)
    for output in outputs:
        write_file(Path(output), _form(found, Path(output)).encode())
    if json_file == "-":
        print_utf_8(_form(found, Path("-.json")))
    else:
        if json_file is not None:
            write_file(Path(json_file), _form(found, Path("-.json")).encode())
        sys.stdout.write(_text(found))
    for output in outputs:
        say(f"wrote {output}")
    warn(found.dossier)
    return 0


def _found(
    root: Path, names: tuple[str, ...], revision: str | None, options: Options
) -> Impact | Unused:
    from closeout.cli.readable import readable
    from closeout.run.impact import impact_of, opened_for, unused_of
    from closeout.run.pipeline import Outcome

    asked = [_in_project(name, root) for name in names]
    with opened_for(root, asked, revision) as (snapshot, store, since), progress_bar() as progress:
        found = (
            impact_of(asked, snapshot, store, options, progress, since)
            if asked
            else unused_of(snapshot, store, options, progress)
        )
    for note in store.notes:
        click.echo(f"note: {note}", err=True)
    if isinstance(found, Outcome):
        readable(found.dossier)
        raise UserError("nothing was written: the project has no requirements", "closeout lint")
    return found


def _in_project(name: str, root: Path) -> str:
    """Return a path as the project has it, where a name is that of a file here; else the name."""
    path = Path(name)
    if not path.is_file() or (root / name).is_file():
        return name
    inside = os.path.relpath(os.path.realpath(path), os.path.realpath(root))
    return name if inside.startswith(os.pardir) else Path(inside).as_posix()


def _check(
    unused: bool, names: tuple[str, ...], outputs: tuple[str, ...], json_file: str | None
) -> None:
    """Refuse at once what cannot be asked or written.

    Raises:
        UserError: there is no name, or one beside ``--unused``; a form is unknown, or a place among
            the sources.
    """
    forms = FORMS[1:] if unused else FORMS
    ending = ", ".join(f".{form}" for form in forms)
    wrong = [
        (f"-o {output}: no such form", f"end the name in {ending}")
        for output in outputs
        if _ending(Path(output)) not in forms
    ]
    if unused and names:
        wrong.append((f"--unused beside {names[0]}", "leave out one of them"))
    if not unused and not names:
        wrong.append(("nothing is named", "name an item or a file, or write --unused"))
    if wrong:
        raise UserError.all_of(wrong)
    for output in (*outputs, json_file):
        if output not in (None, "-"):
            check_place(Path(output))


def _ending(path: Path) -> str:
    return path.suffix.removeprefix(".").lower()


def _text(found: Impact | Unused) -> str:
    from closeout.model.impact import Impact
    from closeout.render.impact import impact_text, unused_text

    if isinstance(found, Impact):
        return impact_text(found, colour=colour(), width=terminal_width())
    return unused_text(found, colour=colour(), width=terminal_width())


def _form(found: Impact | Unused, path: Path) -> str:
    from closeout.model.impact import Impact
    from closeout.render.impact_json import impact_json, unused_json
    from closeout.render.impact_picture import impact_svg

    if not isinstance(found, Impact):
        return unused_json(found)
    return {"svg": impact_svg, "json": impact_json}[_ending(path)](found)
