"""``closeout hook``: judge the staged state at each commit and merge."""

from __future__ import annotations

import sys
from contextlib import suppress
from pathlib import Path

import click

from closeout.cli.common import colour, project_root, today_option
from closeout.cli.progress import progress_bar
from closeout.snapshot import (
    SnapshotError,
    find_root,
    install_hook,
    open_index,
    remove_hook,
    store_folder,
)
from closeout.store.database import open_store


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
    record found (a failure needs its nonconformance) are reported and pass, and so does what a
    merged commit had already. The working tree is neither read nor changed. Status: 0 the commit
    may be made; 1 it loses a requirement; 2 it brings errors.
    """
    from closeout.render.staged import staged_text
    from closeout.run.hooked import judged_index

    root = _root()
    with open_store(store_folder(root)) as store, progress_bar() as progress:
        found = judged_index(root, store, today, progress)
    sys.stdout.write(staged_text(found, colour=colour()))
    return found.verdict.exit_status


@command.command(
    epilog="Example: closeout hook check origin/main", short_help="Judge a branch, as in CI."
)
@today_option
@click.argument("base", required=False)
def check(base: str | None, today: str | None) -> int:
    """Judge HEAD against the commit at which it left BASE, by the rules of the hook.

    For a CI job: what BASE has got since then is not looked at. BASE is origin's main branch where
    none is named. Status: 0 the branch may be merged; 1 it loses a requirement; 2 it brings
    errors, or BASE was not fetched.
    """
    from closeout.render.staged import checked_text
    from closeout.run.hooked import judged_branch

    root = project_root()
    with open_store(store_folder(root)) as store, progress_bar() as progress:
        found, start = judged_branch(root, base, store, today, progress)
    sys.stdout.write(checked_text(found, start, colour=colour()))
    return found.verdict.exit_status


def _root() -> Path:
    """Return the project's root; its project.yaml may stand in the index alone."""
    here = Path.cwd()
    if find_root(here) is None:
        with suppress(SnapshotError), open_index(here) as staged:
            if "requirements/project.yaml" in staged.files():
                return here
    return project_root()
