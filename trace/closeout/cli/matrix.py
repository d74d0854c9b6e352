"""``closeout matrix``."""

from __future__ import annotations

from pathlib import Path

import click

from closeout.cli.common import opened, project_options, say, warn
from closeout.cli.output import check_place, write_file
from closeout.cli.progress import progress_bar
from closeout.model.errors import UserError
from closeout.run.options import Options
from closeout.run.runs import dossier_of

FORMS = ("md", "html", "csv", "json")


@click.command(epilog="Example: closeout matrix -o compliance.html")
@project_options
@click.option(
    "-o",
    "--output",
    metavar="FILE",
    required=True,
    help="The file to write; its ending selects the form.",
)
def command(
    review: str | None,
    settings: tuple[str, ...],
    revision: str | None,
    today: str | None,
    jobs: int,
    output: str,
) -> int:
    """Write the compliance matrix as .md, .html, .csv or .json.

    Status: 0 the matrix was written, whatever the verdicts; 2 the project cannot be read.
    """
    form = Path(output).suffix.removeprefix(".").lower()
    if form not in FORMS:
        raise UserError(
            f"-o {output}: no such form", f"end the name in {', '.join('.' + f for f in FORMS)}"
        )
    check_place(Path(output))
    from closeout.cli.readable import readable
    from closeout.render.matrix import matrix
    from closeout.render.plain import count

    with opened(revision) as (snapshot, store), progress_bar() as progress:
        options = Options(review, settings, (), jobs, today)
        dossier = dossier_of(snapshot, store, options, progress, whole=True)
    dossier = readable(dossier)
    write_file(Path(output), matrix(dossier, form).encode())
    say(f"wrote {output}: {count(len(dossier.requirements), 'requirement')}")
    warn(dossier)
    return 0
