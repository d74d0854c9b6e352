"""Projects made of the examples on the rules' pages.

Of states that follow each other all but the last are committed, which stands in the working tree;
commands of a shell are run in a project.
"""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

from closeout.load import Loaded, load
from closeout.model.problem import Problem
from closeout.rules.rule import SHELL, Example, State
from closeout.run.options import Options
from closeout.run.pipeline import assess
from closeout.snapshot import open_tree
from closeout.store.database import open_store
from tests.graph.projects import UNITS
from tests.load.memory import Memory

CHARTER = "project: {name: Lantern, reviews: [SRR, PDR, CDR, QR, AR, FRR]}\n"
HOME = "requirements/project.yaml"
FILE = "requirements/example.yaml"
POWER = """\
requirements:
  - id: PWR-001
    title: Label
    statement: The battery shall carry a label.
    verification: [{method: inspection, stage: acceptance, review: AR}]
"""

__all__ = ["CHARTER", "UNITS", "Loaded", "Memory", "commands_of", "files_of", "load", "problems_of"]


def files_of(state: State) -> dict[str, str]:
    """Return the files of one state of an example, with a charter where it has none."""
    files = {block.path or FILE: block.text for block in state.blocks}
    if not any(re.search(r"^project:", content, re.MULTILINE) for content in files.values()):
        files[HOME] = CHARTER
    elif HOME not in files and FILE in files:
        # The root of a project is known by the name of this file.
        files[HOME] = files.pop(FILE)
    else:
        files.setdefault(HOME, CHARTER)
    return files


def commands_of(example: Example) -> list[str]:
    """Return the commands of a shell that an example is, none where it is files."""
    blocks = [block for state in example.states for block in state.blocks]
    return [line for one in blocks if one.language == SHELL for line in one.text.splitlines()]


def problems_of(example: Example, folder: Path, *, validate: bool = False) -> tuple[Problem, ...]:
    """Return what a run of the tool tells of an example, in a project of its own.

    With ``validate`` the tests of its analyses are run.
    """
    folder.mkdir()
    commands = commands_of(example)
    if commands:
        write(folder, {HOME: CHARTER, "requirements/power.yaml": POWER})
        for line in commands:
            subprocess.run(["sh", "-ec", line], cwd=folder, check=True)
    else:
        *before, now = example.states
        for state in before:
            _commit(folder, files_of(state))
        write(folder, files_of(now))
    with open_tree(folder) as snapshot, open_store(None) as store:
        return assess(snapshot, store, Options(jobs=1, validate=validate)).dossier.problems


def write(folder: Path, files: dict[str, str]) -> None:
    for old in [p for p in folder.rglob("*.yaml") if str(p.relative_to(folder)) not in files]:
        old.unlink()
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(content, "utf-8")


def _commit(folder: Path, files: dict[str, str]) -> None:
    write(folder, files)
    if not (folder / ".git").exists():
        _git(folder, "init", "--quiet", "--initial-branch=main")
    _git(folder, "add", "--all")
    _git(folder, "commit", "--quiet", "--no-verify", "--message", "change")


def _git(folder: Path, *arguments: str) -> None:
    subprocess.run(["git", *arguments], cwd=folder, check=True, capture_output=True)
