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
from closeout.cli.progress import Progress, progress_bar
from closeout.compare.news import News, news
from closeout.compare.renamed import renamed
from closeout.compare.staged import against_head
from closeout.model.formerly import Names
from closeout.run.errors import UserError
from closeout.run.opening import refusing
from closeout.run.options import Options
from closeout.run.pipeline import Outcome, assess
from closeout.snapshot import (
    Snapshot,
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

    A hook that is there is kept and called first. A merge that only moves a branch forward runs no
    hook of git.
    """
    with refusing():
        click.echo(install_hook(project_root(), sys.executable))
    return 0


@command.command(epilog="Example: closeout hook remove", short_help="Take the hooks out again.")
def remove() -> int:
    """Remove the hooks; one that was there before is put back."""
    with refusing():
        click.echo(remove_hook(project_root()))
    return 0


@command.command(epilog="Example: closeout hook run", short_help="Judge the staged state.")
@today_option
def run(today: str | None) -> int:
    """Judge the staged state against HEAD; this is what the hooks call.

    Blocks on an error that HEAD does not have, and on a requirement that was compliant in HEAD and
    no longer is by a changed input, limit or analysis. A raised issue, a new build and what a
    record found (a failure needs its nonconformance) are told and pass. The working tree is neither
    read nor changed. Status: 0 the commit may be made; 1 it loses a requirement; 2 it brings
    errors.
    """
    from closeout.render.staged import staged_text

    root = _root()
    with open_store(store_folder(root)) as store, refusing(), progress_bar() as progress:
        with open_index(root) as snapshot:
            notes = snapshot.notes
            staged = _judged(snapshot, store, _options(today=today), progress)
        head = _head(root, store, staged) if has_head(root) else None
    before = None if head is None else head.dossier
    names = _renamed(head, staged)
    verdict = against_head(before, staged.dossier, _news(head, staged, names), names)
    sys.stdout.write(staged_text(verdict, staged.dossier, notes, colour=colour()))
    return verdict.exit_status


def _root() -> Path:
    """Return the project's root; its project.yaml may stand in the index alone."""
    here = Path.cwd()
    if find_root(here) is None:
        with suppress(SnapshotError), open_index(here) as staged:
            if "requirements/project.yaml" in staged.files():
                return here
    return project_root()


def _head(root: Path, store: Store, staged: Outcome) -> Outcome:
    """Judge HEAD at the staged state's review and day.

    To move on to the next review loses nothing, and no commit is blamed for a day that has passed.
    """
    today = staged.dossier.snapshot.date
    with open_commit(root, "HEAD") as snapshot:
        try:
            return _judged(snapshot, store, _options(staged.dossier.review, today))
        except UserError:  # HEAD does not have that review
            return _judged(snapshot, store, _options(today=today))


def _judged(
    snapshot: Snapshot, store: Store, options: Options, progress: Progress | None = None
) -> Outcome:
    return assess(snapshot, store, options, progress, verdicts_alone=True)


def _renamed(head: Outcome | None, staged: Outcome) -> Names:
    if head is None or head.project is None or staged.project is None:
        return {}
    return renamed(head.project, staged.project)


def _news(head: Outcome | None, staged: Outcome, names: Names) -> News:
    if head is None or head.project is None or staged.project is None:
        return News()
    return news(head.project, staged.project, names)


def _options(review: str | None = None, today: str | None = None) -> Options:
    return Options(review, jobs=os.cpu_count() or 1, today=today)
