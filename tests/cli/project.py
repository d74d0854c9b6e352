"""Small invented projects on disk, and the command line run in them as a user runs it.

Everything goes through processes of its own: ``python -m closeout ...`` in the project's folder, or
a fork that does the same without loading the tool anew (``warm.py``).
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from resource import RLIMIT_CPU, setrlimit
from typing import Any

from tests.cli.warm import Warm
from tests.effort import BACKSTOP

Files = Mapping[str, "str | bytes"]

GIT = {
    "GIT_CONFIG_GLOBAL": os.devnull,
    "GIT_CONFIG_NOSYSTEM": "1",
    "GIT_AUTHOR_NAME": "Test",
    "GIT_AUTHOR_EMAIL": "test@example.invalid",
    "GIT_COMMITTER_NAME": "Test",
    "GIT_COMMITTER_EMAIL": "test@example.invalid",
}

CHARTER = """\
project:
  name: Lantern
  note: Invented for a test.
  reviews: [SRR, CDR, AR]
  next_review: CDR
"""

PARAMETERS = """\
parameters:
  voltage: {value: 12 V, tolerance: 0.5 V, source: Invented}
  charge: {value: 5 A h, tolerance: 5 %, source: Invented}
  cell_temperature: {value: 20 degC, condition: true, source: Invented}
"""

# By hand, from the parameters above: voltage 11.5 V to 12.5 V, charge 4.75 A h to 5.25 A h, so the
# energy is 60 W h at the inputs, and from 54.625 W h to 65.625 W h over the tolerances.
ANALYSIS = '''\
"""Energy in a battery."""
from typing import NamedTuple

from closeout import analysis
from closeout.units import A_h, V, W_h


class Energy(NamedTuple):
    energy: W_h


@analysis(validated_by="tests/test_all.py")
def energy(voltage: V, charge: A_h) -> Energy:
    """Energy of a battery: its voltage times its charge."""
    return Energy(voltage * charge)
'''

# Needs cell_temperature, so that nothing of PARAMETERS is unused.
WARMTH = '''\
"""Distance of a cell from frost."""
from typing import NamedTuple

from closeout import analysis
from closeout.units import K, degC


class Warmth(NamedTuple):
    distance: K


@analysis(validated_by="tests/test_all.py")
def warmth(cell_temperature: degC) -> Warmth:
    """Distance of the cell's temperature from the freezing point of water."""
    return Warmth(cell_temperature - 0.0)
'''

SYSTEM = """\
requirements:
  - id: SYS-010
    title: Light through the night
    statement: The lantern shall give light through the night.
    source: Invented
"""


def requirement(
    identifier: str = "PWR-010",
    limit: str = "at_least: 190 kJ",
    *,
    title: str = "Energy of the battery",
    review: str = "CDR",
    above: str = "SYS-010",
    issue: str = "A",
    more: str = "",
) -> str:
    """Return an item of requirements: one verification by the analysis ``energy``."""
    return f"""\
  - id: {identifier}
    issue: {issue}
    title: {title}
    statement: The battery shall hold the energy that the limit says.
    derived_from: [{above}]
    rationale: Invented
    source: Invented
    verification:
      - method: analysis
        level: system
        stage: qualification
        review: {review}
        analysis: energy
        quantity: energy
        {limit}
        risk: Invented
{more}"""


FROST = """\
  - id: THM-010
    title: No frost
    statement: The cell shall stay above the freezing point of water.
    derived_from: [SYS-010]
    rationale: Invented
    source: Invented
    verification:
      - method: analysis
        level: system
        stage: qualification
        review: CDR
        analysis: warmth
        quantity: distance
        at_least: 2 K
        given: {cell_temperature: [5 degC, 20 degC]}
        risk: Invented
"""


def power(*items: str) -> str:
    """Return a file of requirements."""
    return "requirements:\n" + "".join(items or (requirement(),))


def base(**changed: str | bytes | None) -> dict[str, str | bytes]:
    """Return a project that passes; ``changed`` by short name, None leaves a file out."""
    paths = {
        "charter": "requirements/project.yaml",
        "system": "requirements/system.yaml",
        "power": "requirements/power.yaml",
        "parameters": "analyses/parameters.yaml",
        "analysis": "analyses/energy.py",
        "warmth": "analyses/warmth.py",
        "frost": "requirements/frost.yaml",
    }
    files: dict[str, str | bytes | None] = {
        paths["charter"]: CHARTER,
        paths["system"]: SYSTEM,
        paths["power"]: power(),
        paths["parameters"]: PARAMETERS,
        paths["analysis"]: ANALYSIS,
        paths["warmth"]: WARMTH,
        paths["frost"]: power(FROST),
        "tests/test_all.py": "def test_nothing() -> None: ...\n",
    }
    files |= {paths.get(name, name): content for name, content in changed.items()}
    return {path: content for path, content in files.items() if content is not None}


@dataclass(frozen=True)
class Run:
    """How a command ended, and what it said."""

    status: int
    stdout: str
    stderr: str

    @property
    def json(self) -> Any:
        """Standard output as JSON; the constants NaN and Infinity are refused."""
        return json.loads(self.stdout, parse_constant=_refuse)

    @property
    def said(self) -> str:
        return self.stdout + self.stderr


def _refuse(text: str) -> None:
    raise ValueError(f"{text} is no JSON")


def environment(**more: str | None) -> dict[str, str]:
    """Return the environment of a command: nothing that colours or sizes, a git of its own."""
    dropped = ("NO_COLOR", "FORCE_COLOR", "COLUMNS", "LINES", "CLICOLOR", "CLICOLOR_FORCE")
    kept = {
        name: value
        for name, value in os.environ.items()
        if name not in dropped and not name.startswith("GIT_")
    }
    return {name: v for name, v in {**kept, **GIT, **more}.items() if v is not None}


_kept: list[Warm] = []


def _warm(arguments: Sequence[str], cwd: Path, backstop: float) -> tuple[int, bytes, bytes]:
    now = environment()
    if not _kept or not _kept[0].fits(now):
        let_go()
        _kept.append(Warm(now))
    return _kept[0].run(arguments, cwd, now, backstop)


def let_go() -> None:
    """End the process from which commands are forked."""
    while _kept:
        _kept.pop().end()


class Project:
    """A project in a folder."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def copy(self, path: Path) -> Project:
        """Return a copy in another folder, with its history and its store."""
        shutil.copytree(self.path, path, symlinks=True)
        return Project(path)

    def write(self, files: Files) -> None:
        for name, content in files.items():
            target = self.path / name
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(content.encode() if isinstance(content, str) else content)

    def replace(self, name: str, old: str, new: str) -> None:
        """Replace a text in a file; it must be there."""
        text = (self.path / name).read_text("utf-8")
        assert old in text
        self.write({name: text.replace(old, new)})

    def run(
        self,
        *arguments: str,
        below: str = ".",
        env: dict[str, str] | None = None,
        processor: int | None = None,
        backstop: float = BACKSTOP,
        fresh: bool = False,
    ) -> Run:
        """Run ``closeout`` here; no command may end in a traceback, whatever it was given.

        ``processor`` is how many seconds of processor time it may take, if that is limited;
        after ``backstop`` seconds it is taken to hang. It is ``fresh`` where Python starts for it,
        as it does for an environment or a limit of its own.
        """
        if not fresh and env is None and processor is None:
            status, stdout, stderr = _warm(arguments, self.path / below, backstop)
        else:
            limit = None if processor is None else (processor, processor)
            done = subprocess.run(
                [sys.executable, "-m", "closeout", *arguments],
                cwd=self.path / below,
                env=env or environment(),
                stdin=subprocess.DEVNULL,
                capture_output=True,
                timeout=backstop,
                preexec_fn=None if limit is None else lambda: setrlimit(RLIMIT_CPU, limit),
                check=False,
            )
            status, stdout, stderr = done.returncode, done.stdout, done.stderr
        run = Run(status, stdout.decode("utf-8"), stderr.decode("utf-8"))
        assert "Traceback" not in run.stderr, run.stderr
        assert run.status in (0, 1, 2, 3), run.said
        return run

    def verify(self, *arguments: str, **options: Any) -> Run:
        """Run ``verify`` with JSON on standard output."""
        return self.run("verify", "--json", "-", *arguments, **options)

    def attempt(self, *arguments: str, below: str = ".") -> Run:
        """Run git here, however it ends."""
        done = subprocess.run(
            ["git", *arguments],
            cwd=self.path / below,
            env=environment(),
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=BACKSTOP,
            check=False,
        )
        return Run(done.returncode, done.stdout, done.stderr)

    def git(self, *arguments: str) -> str:
        """Run git here, which must succeed; return what it printed."""
        run = self.attempt(*arguments)
        assert run.status == 0, run.said
        return run.stdout.strip()

    def commit(self, message: str = "change") -> str:
        """Stage and commit everything without a hook; return the commit's name."""
        self.git("add", "--all")
        self.git("commit", "--quiet", "--no-verify", "--message", message)
        return self.git("rev-parse", "HEAD")

    def contents(self) -> dict[str, bytes]:
        """Return every file of the folder with its bytes, but for git's and the store's own."""
        return {
            str(path.relative_to(self.path)): path.read_bytes()
            for path in sorted(self.path.rglob("*"))
            if path.is_file() and not {".git", ".closeout"} & set(path.relative_to(self.path).parts)
        }


def make(path: Path, files: Files | None = None) -> Project:
    """Write a project into a new folder; without files, the one of :func:`base`."""
    path.mkdir(parents=True, exist_ok=True)
    project = Project(path)
    project.write(base() if files is None else files)
    return project


def repository(path: Path, files: Files | None = None, *, committed: bool = True) -> Project:
    """Write a project into a new git repository, with one commit of it."""
    project = make(path, files)
    project.git("init", "--quiet", "--initial-branch=main")
    if committed:
        project.commit("first")
    return project


def by_id(document: Any) -> dict[str, Any]:
    """Return the requirements of a dossier in JSON by identifier."""
    return {entry["id"]: entry for entry in document["requirements"]}
