"""``closeout hook``: judge the staged state at each commit and merge."""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from pathlib import Path

import click

from closeout.cli.common import (
    colour,
    project_root,
    today_option,
)
from closeout.cli.progress import progress_bar
from closeout.compare.news import News, news
from closeout.compare.renamed import renamed
from closeout.compare.staged import against_head
from closeout.model.dossier import Dossier
from closeout.model.errors import UserError
from closeout.run.options import Options
from closeout.run.runs import dossier_of, known_dossier
from closeout.snapshot import (
    SnapshotError,
    find_root,
    has_head,
    install_hook,
    open_commit,
    open_index,
    remove_hook,
    store_folder,
)
from closeout.store.database import Store, open_store


@click.group()
def command() -> None:
    """Judge the staged state at each commit and merge."""


@command.command(epilog="Example: closeout hook install", short_help="Install the hooks.")
def install() -> int:
    """Install the hooks of this repository, for commits and merges.

    A hook that exists stays and is called first. A merge that only moves a branch forward runs
    no hook of git.
    """
    click.echo(install_hook(project_root(), sys.executable))
    return 0


@command.command(epilog="Example: closeout hook remove", short_help="Remove the hooks.")
def remove() -> int:
    """Remove the hooks; one that was there before is put back."""
    click.echo(remove_hook(project_root()))
    return 0


@command.command(epilog="Example: closeout hook run", short_help="Judge the staged state.")
@today_option
def run(today: str | None) -> int:
    """Judge the staged state against HEAD; this is what the hooks call.

    Blocks on an error that HEAD does not have, and on a requirement that was compliant in HEAD and
    no longer is by a changed input, limit or analysis. A raised issue, a new build and what a
    record found (a failure needs its nonconformance) are reported and pass. The working tree is
    neither read nor changed. Status: 0 the commit may be made; 1 it loses a requirement; 2 it
    brings errors.
    """
    from closeout.render.staged import staged_text

    root = _root()
    with open_store(store_folder(root)) as store, progress_bar() as progress:
        with open_index(root) as snapshot:
            notes = snapshot.notes
            staged = dossier_of(snapshot, store, _options(today=today), progress, whole=False)
        head = _head(root, store, staged) if has_head(root) else None
    names = {} if head is None else renamed(head, staged)
    found = News() if head is None else news(head, staged, names)
    verdict = against_head(head, staged, found, names)
    sys.stdout.write(staged_text(verdict, staged, notes, colour=colour()))
    return verdict.exit_status


def _root() -> Path:
    """Return the project's root; its project.yaml may stand in the index alone."""
    here = Path.cwd()
    if find_root(here) is None:
        with suppress(SnapshotError), open_index(here) as staged:
            if "requirements/project.yaml" in staged.files():
                return here
    return project_root()


def _head(root: Path, store: Store, staged: Dossier) -> Dossier:
    """Judge HEAD at the staged state's review and day.

    To move on to the next review loses nothing, and no commit is blamed for a day that has passed.
    """
    today, review = staged.snapshot.date, staged.review
    with open_commit(root, "HEAD") as snapshot:
        known = known_dossier(snapshot, store, _options(today=today), whole=False)
        if known is not None and known.review == review:
            return known
        try:
            return dossier_of(snapshot, store, _options(review, today), whole=False)
        except UserError:  # HEAD does not have that review
            return dossier_of(snapshot, store, _options(today=today), whole=False)


def _options(review: str | None = None, today: str | None = None) -> Options:
    return Options(review, jobs=os.cpu_count() or 1, today=today)
