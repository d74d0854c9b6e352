"""``closeout package``."""

from __future__ import annotations

import platform
import sys
from collections.abc import Mapping
from importlib.metadata import version
from pathlib import Path

import click

from closeout import __version__
from closeout.cli.common import opened, project_options, validate_option, warn, width
from closeout.cli.output import check_place, make_folder, write_file
from closeout.cli.progress import Progress, progress_bar
from closeout.cli.readable import readable
from closeout.model.changes import Changes
from closeout.model.errors import UserError
from closeout.run.options import Options
from closeout.run.pipeline import Outcome, assess
from closeout.run.studies import Wanted
from closeout.snapshot import Snapshot, open_commit
from closeout.store.database import Store

# Libraries whose version may change a number or a page of a package.
NAMED = (
    "numpy",
    "pyyaml",
    "jsonschema",
    "jinja2",
    "markdown-it-py",
    "matplotlib",
)
MARK = "manifest.json"


@click.command(epilog="Example: closeout package --review CDR -o cdr-data-package")
@project_options
@validate_option
@click.option(
    "--since",
    metavar="REV",
    help="Add what changed since a commit, as that of the last review: verdicts, margins and why.",
)
@click.option("-o", "--output", metavar="DIR", required=True, help="The folder to write.")
def command(
    review: str | None,
    settings: tuple[str, ...],
    revision: str | None,
    today: str | None,
    jobs: int,
    validate: bool,
    since: str | None,
    output: str,
) -> int:
    """Write the documents of a review: matrix, verification control, a report for each analysis.

    The folder must be new, empty, or an earlier package, which is then replaced. What was written
    and what is missing in it is said at the end.
    Status: 0 everything was written, whatever the verdicts; 2 the project cannot be read.
    """
    from closeout.render.package import package
    from closeout.render.written import written_text

    folder = Path(output)
    check_place(folder / MARK)
    earlier = _earlier(folder)
    with opened(revision) as (snapshot, store), progress_bar() as progress:
        options, wanted = (
            Options(review, settings, (), jobs, today, validate=validate),
            Wanted(None, boundary=(), attached=True, marches=False, differentiated=False),
        )
        outcome = assess(snapshot, store, options, progress, wanted)
        dossier = readable(outcome.dossier)
        changes = None if since is None else _changes(since, snapshot, store, options, progress)
        progress.step("writing documents")
        files = package(
            dossier, _versions(), outcome.studies, outcome.attachments, changes, outcome.on_file
        )
        _write(folder, files, earlier)
    sys.stdout.write(written_text(dossier, output, files, width()))
    if not sys.stdout.isatty():
        warn(dossier)
    return 0


def _changes(
    since: str, now: Snapshot, store: Store, options: Options, progress: Progress
) -> Changes:
    """Return what changed since a commit; a what-if is no change of the project.

    Raises:
        UserError: there is no such commit, or it cannot be read.
    """
    from closeout.run.changes import compared_states

    if options.settings:
        raise UserError("--since and --set: a what-if is no state of the project", "leave one out")
    with open_commit(now.origin, since) as was:
        found = compared_states(was, now, store, options, progress)
    if isinstance(found, Outcome):
        raise UserError(f"--since {since}: that commit has no requirements", "name another commit")
    return found


def _versions() -> dict[str, str]:
    versions = {"closeout": __version__, "python": platform.python_version()}
    return versions | {name: version(name) for name in NAMED}


def _write(folder: Path, files: Mapping[str, bytes], earlier: set[str]) -> None:
    """Write the files of a package, and remove those of an earlier one that it has no more."""
    for path, content in files.items():
        check_place(folder / path)
        make_folder((folder / path).parent)
        write_file(folder / path, content)
    for path in sorted(earlier - set(files)):
        (folder / path).unlink(missing_ok=True)


def _earlier(folder: Path) -> set[str]:
    """Return the files of an earlier package in a folder; anything else in it is refused."""
    import json

    if not folder.exists():
        return set()
    try:
        present = any(folder.iterdir())
        listed = json.loads((folder / MARK).read_bytes()) if present else {"files": {}}
        names = set(listed["files"])
        # Other programs have a manifest.json too; ours names the version of closeout.
        listed["versions"]["closeout"] if present else None
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise UserError(
            f"{folder} contains something that is no package of closeout",
            "name a new or empty folder",
        ) from error
    return {name for name in names if not Path(name).is_absolute() and ".." not in Path(name).parts}
