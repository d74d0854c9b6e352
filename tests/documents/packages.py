"""Packages of documents: made once by the command, and looked at once in a browser.

What is made is shared by the processes of a test run: the first one makes it, the others wait.
"""

from __future__ import annotations

import fcntl
import json
import os
import pickle
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.cli.project import Project, environment
from tests.documents.chromium import opened
from tests.documents.printed import Leaf, leaves
from tests.documents.survey import Seen, surveyed
from tests.effort import BACKSTOP

ROOT = Path(__file__).parents[2]
SMALL = Path(__file__).with_name("project")
# A day between the small project's reviews, so that its commit and its dates are always the same.
DAY = "2026-09-01T12:00:00+00:00"


@dataclass(frozen=True)
class Package:
    """The project, its documents of a review in a folder, and the prints of those in HTML."""

    project: Path
    folder: Path
    prints: Path

    @property
    def files(self) -> dict[str, bytes]:
        return contents(self.folder)

    @property
    def requirements(self) -> frozenset[str]:
        """The identifiers of all requirements."""
        dossier = json.loads((self.folder / "dossier.json").read_bytes())
        return frozenset(entry["id"] for entry in dossier["requirements"])

    def seen(self) -> dict[str, Seen]:
        """Return what the browser saw of each HTML document; look at them, if nobody has yet."""
        made_once(self.prints, self._look)
        seen: dict[str, Seen] = pickle.loads((self.prints / "seen").read_bytes())
        return seen

    def printed(self) -> dict[str, list[Leaf]]:
        """Return the printed pages of each HTML document."""
        made_once(self.prints, self._look)
        printed: dict[str, list[Leaf]] = pickle.loads((self.prints / "printed").read_bytes())
        return printed

    def _look(self, prints: Path) -> None:
        prints.mkdir()
        with opened() as context:
            seen = surveyed(context, self.folder, prints)
        printed = {name: leaves(prints / f"{name}.pdf") for name in seen}
        (prints / "seen").write_bytes(pickle.dumps(seen))
        (prints / "printed").write_bytes(pickle.dumps(printed))


def contents(folder: Path) -> dict[str, bytes]:
    """Return the files below a folder."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def shared(factory: pytest.TempPathFactory) -> Path:
    """Return the folder that all processes of this test run have in common."""
    own = factory.getbasetemp()
    return own.parent if "PYTEST_XDIST_WORKER" in os.environ else own


def made_once(place: Path, make: Callable[[Path], None]) -> Path:
    """Return a file or folder that does not change any more; make it, if nobody has yet."""
    with open(place.with_name(f"{place.name}.lock"), "w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        done = place.with_name(f"{place.name}.done")
        if not done.exists():
            shutil.rmtree(place, ignore_errors=True)
            make(place)
            done.touch()
    return place


def committed(place: Path) -> None:
    """Write the small project into a new repository, whose commit is the same each time."""
    shutil.copytree(SMALL, place, ignore=shutil.ignore_patterns("__pycache__", ".closeout"))
    project = Project(place)
    project.git("init", "--quiet", "--initial-branch=main")
    project.git("add", "--all")
    subprocess.run(
        ["git", "commit", "--quiet", "--message", "The buoy"],
        cwd=place,
        env=environment(GIT_AUTHOR_DATE=DAY, GIT_COMMITTER_DATE=DAY),
        check=True,
    )


def written(project: Project, place: Path) -> None:
    """Write the package of the critical design review of a project."""
    run = project.run("package", "--review", "CDR", "-o", str(place), backstop=3 * BACKSTOP)
    assert run.status == 0, run.said


def small(factory: pytest.TempPathFactory) -> Package:
    """Return the package of the small project."""
    base = shared(factory)
    project = Project(made_once(base / "buoy", committed))
    folder = made_once(base / "documents", lambda place: written(project, place))
    return Package(project.path, folder, base / "prints")


def mission(factory: pytest.TempPathFactory) -> Package:
    """Return the package of the mission that stands in this repository."""
    base = shared(factory)
    folder = made_once(base / "mission", lambda place: written(Project(ROOT), place))
    return Package(ROOT, folder, base / "mission-prints")
