"""``closeout start``."""

from __future__ import annotations

import shlex
from importlib.resources import files
from pathlib import Path

import click

from closeout.cli.output import check_place, make_folder, write_file
from closeout.model.errors import UserError


@click.command(epilog="Example: closeout start my-payload")
@click.argument("folder", metavar="DIR")
def command(folder: str) -> int:
    """Make a small project that passes, to begin from: two requirements, an analysis, its test.

    Beside them stands the JSON Schema that the first line of each YAML file names, by which an
    editor with a YAML language server completes and checks the keys. After an update of closeout,
    closeout lint --schema > .closeout-schema.json writes it anew.
    """
    target = Path(folder)
    check_place(target)
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise UserError(f"{folder} exists and is not empty", "name a new or empty folder")
    from closeout.load import schema_text

    template = files("closeout.cli") / "starter"
    names = [
        "requirements/project.yaml",
        "requirements/power.yaml",
        "analyses/lamp_time.py",
        "analyses/power.yaml",
        "tests/test_lamp_time.py",
    ]
    written = {name: template.joinpath(*name.split("/")).read_bytes() for name in names}
    # Every YAML file names it in its first line, for an editor.
    written[".closeout-schema.json"] = schema_text().encode()
    for name, content in written.items():
        make_folder((target / name).parent)
        write_file(target / name, content)
        click.echo(f"  {folder}/{name}")
    click.echo(f"now: cd {shlex.quote(folder)} && closeout verify")
    return 0
