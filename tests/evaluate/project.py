"""Small invented projects on disk, asked through real worker processes."""

from __future__ import annotations

import atexit
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import closeout
from closeout.evaluate.engine import Evaluator, Module
from closeout.model.answer import Answer
from closeout.model.question import Failure, Question
from closeout.model.reply import Reply
from closeout.snapshot import open_tree
from closeout.store.database import open_store
from tests.effort import BACKSTOP


def _frozen() -> Path:
    """Return a copy of the engine: its own files are in every key, and somebody may edit them."""
    folder = Path(tempfile.mkdtemp(prefix="closeout-engine-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    package = Path(closeout.__file__).parent
    shutil.copytree(package, folder / "closeout")
    return folder


SOURCE = _frozen()

CHARTER = """\
project: {name: Invented, note: Invented for a test., reviews: [CDR], next_review: CDR}
"""
HEAD = """\
from collections.abc import Mapping
from typing import Annotated, NamedTuple

from closeout import absent, analysis
from closeout.units import W, Unit


class R(NamedTuple):
    y: W


class Cases(NamedTuple):
    y: Annotated[Mapping[str, float], Unit("W")]


"""


def module(body: str, *, top: str = "", mark: str = "@analysis", result: str = "R") -> str:
    """Return the text of a module with one analysis ``f`` of one argument, the body given."""
    lines = "\n".join(f"    {line}" for line in body.splitlines())
    return f"{HEAD}{top}\n\n{mark}\ndef f(x: W) -> {result}:\n{lines}\n"


@dataclass(frozen=True)
class Asked:
    """What a run answered, by the analysis' name."""

    modules: list[Module]
    replies: Mapping[str, Reply]
    complete: bool

    @property
    def computed(self) -> set[str]:
        return {name for name, reply in self.replies.items() if not reply.from_store}

    @property
    def values(self) -> dict[str, Any]:
        """The value of y, or of its cases, or the kind of the failure."""
        return {name: _value(reply.result) for name, reply in self.replies.items()}

    def failure(self, name: str) -> Failure:
        result = self.replies[name].result
        assert isinstance(result, Failure), result
        return result

    def not_stored(self, name: str) -> str:
        return "; ".join(self.replies[name].not_stored)


def _value(result: Answer | Failure) -> Any:
    if isinstance(result, Failure):
        return result.kind
    cases = {case: extent.absent or extent.value for (_, case), extent in result.extents.items()}
    return cases.get(None, cases)


class Project:
    """A folder with a project in it."""

    def __init__(self, root: Path, files: Mapping[str, str | bytes]) -> None:
        self.root = root
        root.mkdir(parents=True, exist_ok=True)
        self.write({"requirements/project.yaml": CHARTER, **files})

    def write(self, files: Mapping[str, str | bytes]) -> None:
        for path, text in files.items():
            target = self.root / path
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(text.encode() if isinstance(text, str) else text)

    def swap(self, path: str, old: str, new: str) -> None:
        """Change text in a file and leave its size and its times as they were."""
        target = self.root / path
        times = target.stat()
        text = target.read_text()
        assert old in text
        assert len(old) == len(new)
        target.write_text(text.replace(old, new))
        os.utime(target, ns=(times.st_atime_ns, times.st_mtime_ns))

    @contextmanager
    def evaluator(
        self, *, jobs: int = 2, store: Path | None = None, known: tuple[str, ...] = ()
    ) -> Iterator[Evaluator]:
        with (
            open_store(store or self.root / ".closeout") as opened,
            open_tree(self.root) as snapshot,
        ):
            for path in known:
                snapshot.digest(path)
                snapshot.listing(path)
            evaluator = Evaluator(snapshot, opened, jobs)
            try:
                yield evaluator
            finally:
                evaluator.close()

    def ask(
        self,
        *,
        inputs: Mapping[str, float] | None = None,
        box: tuple[tuple[str, float, float], ...] = (),
        jobs: int = 2,
        store: Path | None = None,
        known: tuple[str, ...] = (),
    ) -> Asked:
        """Ask every analysis at x = 1 W, or at other inputs, in a run of its own.

        ``known`` are paths at which the tool has looked before.
        """
        given = inputs or {}
        with self.evaluator(jobs=jobs, store=store, known=known) as evaluator:
            modules = evaluator.modules()
            specs = {spec.name: spec for module in modules for spec in module.specs}
            questions = {
                name: Question(
                    name,
                    tuple((a.name, given.get(a.name, 1.0)) for a in spec.arguments),
                    box,
                )
                for name, spec in specs.items()
            }
            replies = evaluator.answer(questions.values(), specs)
            by_name = {name: replies[question] for name, question in questions.items()}
            return Asked(modules, by_name, evaluator.complete)

    def verify(
        self, *options: str, source: Path = SOURCE, **variables: str
    ) -> tuple[subprocess.CompletedProcess[str], dict[str, Any]]:
        """Run ``closeout verify --json -`` and return the process and what it printed."""
        done = subprocess.run(
            [sys.executable, "-m", "closeout", "verify", "--json", "-", *options],
            cwd=self.root,
            env=environment(source, **variables),
            capture_output=True,
            text=True,
            check=False,
            timeout=BACKSTOP,
        )
        assert done.returncode in (0, 1, 2), done.stderr
        return done, json.loads(done.stdout) if done.stdout else {}

    def scale(self, *options: str, source: Path = SOURCE, **variables: str) -> tuple[int, int]:
        """Return how many answers a run computed, and how many came from the store."""
        _, dossier = self.verify(*options, source=source, **variables)
        return dossier["scale"]["evaluated"], dossier["scale"]["from_store"]


def environment(source: Path = SOURCE, **variables: str) -> dict[str, str]:
    path = os.pathsep.join([str(source), *filter(None, [variables.pop("PYTHONPATH", "")])])
    return {**os.environ, "PYTHONPATH": path, **variables}


def running(marker: str) -> list[int]:
    """Return the processes whose command line or environment speaks of a marker (Linux)."""
    found = []
    for folder in Path("/proc").iterdir():
        if folder.name.isdigit() and int(folder.name) != os.getpid():
            try:
                shown = (folder / "cmdline").read_bytes() + (folder / "environ").read_bytes()
                where = os.readlink(folder / "cwd")
            except OSError:
                continue
            if marker.encode() in shown or where.startswith(marker):
                found.append(int(folder.name))
    return found
