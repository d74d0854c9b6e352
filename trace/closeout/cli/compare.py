"""``closeout compare``."""

from __future__ import annotations

import sys
from contextlib import ExitStack
from pathlib import Path

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
from closeout.model.changes import Changes
from closeout.model.errors import UserError
from closeout.run.options import Options
from closeout.snapshot import store_folder
from closeout.store.database import open_store

FORMS = ("md", "svg", "json")


@click.command(epilog="Example: closeout compare v1.2 --review CDR -o changes.md")
@click.option("--review", metavar="REVIEW", help="Judge both states at this review.")
@today_option
@jobs_option
@click.option(
    "--only",
    metavar="WHICH",
    multiple=True,
    help="Only these requirements: as verify --only, by identifier, owner=, level= or review=.",
)
@click.option(
    "--exact",
    is_flag=True,
    help="Split each change of a margin exactly, however long that takes; without it parts are"
    " sampled, with their standard error, where that would take more than a minute.",
)
@click.option(
    "-o",
    "--output",
    "outputs",
    metavar="FILE",
    multiple=True,
    help="Write a page (.md), a figure of the largest changes (.svg) or .json; repeatable.",
)
@click.option("--json", "json_file", metavar="FILE", help="Write JSON; - prints it.")
@click.argument("states", metavar="REV [REV]", nargs=-1, required=True)
def command(
    review: str | None,
    today: str | None,
    jobs: int,
    only: tuple[str, ...],
    exact: bool,
    outputs: tuple[str, ...],
    json_file: str | None,
    states: tuple[str, ...],
) -> int:
    """Show what changed between two states, and why each margin moved.

    A state is a tag or another name of a commit, "index" for what is staged, or "tree" for the
    working tree, which is the second one where none is named. What got worse comes first. Each
    change of a margin is split into the parts of what caused it: values, conditions, limits, data,
    code.

    Status: 0 it was shown and all was written, whatever the verdicts; 2 a state cannot be read.
    """
    from closeout.cli.readable import readable
    from closeout.render.changes import changes_text
    from closeout.run.changes import TREE, compared_states, open_state
    from closeout.run.pipeline import Outcome

    _check(states, outputs, json_file)
    root = project_root()
    names = states if len(states) > 1 else (*states, TREE)
    options = Options(review, (), only, jobs, today)
    with ExitStack() as stack:
        store = stack.enter_context(open_store(store_folder(root)))
        was, now = (stack.enter_context(open_state(root, name)) for name in names)
        progress = stack.enter_context(progress_bar())
        found = compared_states(was, now, store, options, progress, exact=exact)
    if isinstance(found, Outcome):
        readable(found.dossier)
        raise UserError("one of the two states has no requirements", "name another commit")
    for output in outputs:
        write_file(Path(output), _form(found, Path(output)).encode())
    if json_file == "-":
        print_utf_8(_form(found, Path("-.json")))
    else:
        if json_file is not None:
            write_file(Path(json_file), _form(found, Path("-.json")).encode())
        sys.stdout.write(changes_text(found, colour=colour(), width=terminal_width()))
    for output in outputs:
        say(f"wrote {output}")
    for dossier in (found.was, found.now):
        warn(dossier)
    return 0


def _check(states: tuple[str, ...], outputs: tuple[str, ...], json_file: str | None) -> None:
    """Refuse at once what cannot be compared or written.

    Raises:
        UserError: more than two states, a form that is unknown, a place among the sources.
    """
    ending = ", ".join(f".{form}" for form in FORMS)
    wrong = [
        (f"-o {output}: no such form", f"end the name in {ending}")
        for output in outputs
        if Path(output).suffix.removeprefix(".").lower() not in FORMS
    ]
    if len(states) > 2:
        wrong.append((f"{len(states)} states: two are compared", "name the earlier and the later"))
    if wrong:
        raise UserError.all_of(wrong)
    for output in (*outputs, json_file):
        if output not in (None, "-"):
            check_place(Path(output))


def _form(found: Changes, path: Path) -> str:
    from closeout.render.changes_json import changes_json
    from closeout.render.changes_markdown import changes_markdown
    from closeout.render.changes_picture import changes_svg

    forms = {"md": changes_markdown, "svg": changes_svg, "json": changes_json}
    return forms[path.suffix.removeprefix(".").lower()](found)
