"""Projects made of the examples on the rules' pages.

An example is a file of a project, several files (``# file: PATH``), states that follow each other
in git (``# before``, ``# then``, ``# after``: the last stands in the working tree), or commands of
a shell (``$ ...``) that are run in a project.
"""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

from closeout.load import Loaded, load
from closeout.model.problem import Problem
from closeout.run.options import Options
from closeout.run.pipeline import assess
from closeout.snapshot import open_tree
from closeout.store.database import open_store
from tests.graph.projects import UNITS
from tests.load.memory import Memory

CHARTER = "project: {name: Lantern, reviews: [SRR, PDR, CDR, QR, AR, FRR]}\n"
HOME = "requirements/project.yaml"
FILE = "requirements/example.yaml"
SHELL = "$ "
POWER = """\
requirements:
  - id: PWR-001
    title: Label
    statement: The battery shall carry a label.
    verification: [{method: inspection, stage: acceptance, review: AR}]
"""

__all__ = ["CHARTER", "UNITS", "Loaded", "Memory", "files_of", "load", "problems_of", "states_of"]


def files_of(text: str) -> dict[str, str]:
    """Return the files of one state of an example, with a charter where it has none."""
    parts = re.split(r"^# file: (.+)\n", text, flags=re.MULTILINE)
    files = dict(zip(parts[1::2], parts[2::2], strict=True))
    if parts[0].strip():
        files[FILE] = parts[0]
    if not any(re.search(r"^project:", content, re.MULTILINE) for content in files.values()):
        files[HOME] = CHARTER
    elif HOME not in files and FILE in files:
        # The root of a project is known by the name of this file.
        files[HOME] = files.pop(FILE)
    else:
        files.setdefault(HOME, CHARTER)
    return files


def states_of(text: str) -> list[dict[str, str]]:
    """Return the states of an example, the last of them the present one."""
    parts = re.split(r"^# (?:before|then|after)\n", text, flags=re.MULTILINE)
    return [files_of(part) for part in (parts[1:] if len(parts) > 1 else parts)]


def problems_of(text: str, folder: Path, *, validate: bool = False) -> tuple[Problem, ...]:
    """Return what a run of the tool tells of an example, in a project of its own.

    With ``validate`` the tests of its analyses are run.
    """
    folder.mkdir()
    if text.startswith(SHELL):
        write(folder, {HOME: CHARTER, "requirements/power.yaml": POWER})
        for line in text.splitlines():
            subprocess.run(["sh", "-ec", line.removeprefix(SHELL)], cwd=folder, check=True)
    else:
        *before, now = states_of(text)
        for files in before:
            _commit(folder, files)
        write(folder, now)
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
