"""What commands share: finding the project, options, notes."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from closeout.render.plain import RUNNING_TEXT
from closeout.run import opening
from closeout.run.days import read_day
from closeout.snapshot import Snapshot
from closeout.store.database import Store

if TYPE_CHECKING:  # a stored run is shown without a dossier
    from closeout.model.dossier import Dossier

F = TypeVar("F", bound=Callable[..., Any])


def project_options(function: F) -> F:
    """Add the options of every command that judges a project."""
    for option in reversed(
        (
            click.option("--review", metavar="REVIEW", help="Judge what is due at or before it."),
            click.option(
                "--set",
                "settings",
                metavar="NAME=AMOUNT",
                multiple=True,
                help="What if: another value of a parameter, as sleep_current=130uA, keeping its"
                " declared spread; 'x=40 N +/- 2 N', 'x=38 N to 42 N' and 'x=40 N exactly' replace"
                " it. Repeatable; never written anywhere.",
            ),
            click.option("--at", "revision", metavar="REV", help="Judge a commit."),
            today_option,
            jobs_option,
        )
    ):
        function = option(function)
    return function


def _day(_context: click.Context, _option: click.Parameter, text: str | None) -> str | None:
    return None if text is None else read_day(text)


today_option = click.option(
    "--today",
    metavar="DAY",
    callback=_day,
    help="Judge at this day, as 2026-11-30, not at the state's own (its commit's, or today): what"
    " is dated later is planned.",
)

validate_option = click.option(
    "--validate",
    is_flag=True,
    help="Run the tests that the judged analyses name as their validation (with pytest, in a copy"
    " of the project), unless their result is known. An analysis whose test fails closes"
    " nothing.",
)

sarif_option = click.option(
    "--sarif",
    "sarif_file",
    metavar="FILE",
    help="Write what needs attention as SARIF 2.1.0, for a forge or an editor; - prints it.",
)

junit_option = click.option(
    "--junit",
    "junit_file",
    metavar="FILE",
    help="Write test cases as JUnit XML, for continuous integration; - prints it.",
)

jobs_option = click.option(
    "--jobs",
    type=click.IntRange(min=1),
    # One more than processors, since one mostly waits for its module to fork.
    default=(os.cpu_count() or 1) + 1,
    show_default="one more than processors",
    help="How many analyses run at once.",
)


@contextmanager
def opened(revision: str | None = None) -> Iterator[tuple[Snapshot, Store]]:
    """Open the project that the present folder belongs to, and its store; tell its notes.

    Raises:
        UserError: there is no project, or the revision cannot be opened.
    """
    with opening.opened(project_root(), revision) as (snapshot, store):
        try:
            yield snapshot, store
        finally:
            for note in store.notes:
                click.echo(f"note: {note}", err=True)


def project_root() -> Path:
    """Return the root of the project that the present folder belongs to."""
    return opening.root_of(Path.cwd())


def say(text: str) -> None:
    """Tell what was done on standard error, where somebody looks at it."""
    if sys.stderr.isatty():
        click.echo(text, err=True)


def warn(dossier: Dossier) -> None:
    """Tell on standard error, whoever looks at it, that what was written is not complete."""
    from closeout.render.words import incomplete

    if (text := incomplete(dossier)) is not None:
        click.echo(text, err=True)


def terminal_width() -> int:
    """Return the columns of the terminal, or 100 where the output is none."""
    import shutil

    return shutil.get_terminal_size((100, 24)).columns if sys.stdout.isatty() else 100


def width() -> int:
    """Return the columns of running text: those of the terminal, as far as lines are read well."""
    return min(terminal_width(), RUNNING_TEXT)


def colour() -> bool:
    """Return whether the output takes colour."""
    return sys.stdout.isatty() and takes_escapes()


def takes_escapes() -> bool:
    """Return whether a terminal may be sent escape sequences (https://no-color.org)."""
    kind = os.environ.get("TERM", "")
    return kind not in ("", "dumb", "unknown") and not os.environ.get("NO_COLOR")
