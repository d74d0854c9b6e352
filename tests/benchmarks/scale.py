"""Ten thousand requirements over a thousand analyses: closeout beside its yardsticks, in one run.

``python tests/benchmarks/scale.py`` makes an invented project in a temporary folder, times

    (a) libyaml's C loader alone on the same YAML files,
    (b) pytest that runs the same functions and asserts the same limits, once for each requirement,
    (c) ``closeout verify`` with an empty store,
    (d) the same with nothing changed,
    (e) the same after one changed requirement,
    (f) the same in a git repository, in which its history is read as well,
    (g) ``closeout hook run`` after one more, of which HEAD is known,

in turn, several rounds, and prints the medians as a table. It measures; it asserts nothing.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

LOAD_ALONE = """
import sys, yaml
from pathlib import Path
for path in sorted(Path(sys.argv[1]).rglob("*.yaml")):
    yaml.load(path.read_bytes(), Loader=yaml.CSafeLoader)
"""

PROJECT = """project:
  name: Scale
  note: An invented project for a benchmark.
  reviews: [PDR, CDR]
  next_review: CDR
"""

MODULE_HEAD = '''"""Invented analyses for a benchmark."""

from typing import NamedTuple

from closeout import analysis
from closeout.units import W, W_h, day


class Energy(NamedTuple):
    used: W_h
    left: W_h

'''

FUNCTION = '''
@analysis(validated_by="tests/test_limits.py")
def energy_{n}(stored_{n}: W_h, power_{n}: W, hold: day) -> Energy:
    """Energy left after a hold."""
    used = power_{n} * hold * 24.0
    return Energy(used, stored_{n} - used)

'''

PARAMETERS = """  stored_{n}: {{value: {stored} W h, tolerance: 2 %, source: invented}}
  power_{n}: {{value: {power} mW, tolerance: 5 mW, source: invented}}
"""

REQUIREMENT = """  - id: R-{r:05d}
    title: Energy left in unit {r}
    statement: >-
      Unit {r} shall hold at least {limit} W h of usable energy {hold} d after the end of the last
      charge, at a cell temperature of 5 degC to 20 degC and a discharge of up to 60 W.
    rationale: The active phase needs this energy; the launch may slip for four weeks.
    derived_from: [TOP]
    owner: power
    type: functional
    verification:
      - method: analysis
        level: equipment
        stage: qualification
        review: CDR
        analysis: energy_{n}
        quantity: left
        at_least: {limit} W h
        given: {{hold: 28 d}}
        basis: worst case
        risk: RA 1
"""


def make(folder: Path, requirements: int, analyses: int, files: int, modules: int) -> None:
    """Write the project, and a pytest file that asserts the same."""
    (folder / "requirements").mkdir(parents=True)
    (folder / "analyses").mkdir()
    (folder / "requirements/project.yaml").write_text(PROJECT)
    (folder / "requirements/top.yaml").write_text(
        "requirements:\n  - id: TOP\n    title: Energy\n    statement: Each unit shall last.\n"
        "    source: invented\n"
    )
    (folder / "analyses/common.yaml").write_text(
        "parameters:\n  hold: {value: 28 d, condition: true, source: invented}\n"
    )
    for m in range(modules):
        numbers = range(m, analyses, modules)
        text = MODULE_HEAD + "".join(FUNCTION.format(n=n) for n in numbers)
        (folder / f"analyses/unit_{m:03d}.py").write_text(text)
        rows = "".join(
            PARAMETERS.format(n=n, stored=60 + n % 40, power=20 + n % 7) for n in numbers
        )
        (folder / f"analyses/unit_{m:03d}.yaml").write_text("parameters:\n" + rows)
    for f in range(files):
        rows = "".join(
            REQUIREMENT.format(r=r, n=r % analyses, limit=25 + r % 7, hold=28)
            for r in range(f, requirements, files)
        )
        (folder / f"requirements/part_{f:03d}.yaml").write_text("requirements:\n" + rows)
    (folder / "tests").mkdir()
    (folder / "tests/test_limits.py").write_text(
        PYTEST.format(requirements=requirements, analyses=analyses, modules=modules)
    )


PYTEST = '''"""The same functions and limits, one assertion a requirement, at the worst corner."""

import importlib
from itertools import product

import pytest

MODULES = [importlib.import_module(f"analyses.unit_{{m:03d}}") for m in range({modules})]


@pytest.mark.parametrize("r", range({requirements}))
def test_left(r):
    n = r % {analyses}
    function = getattr(MODULES[n % {modules}], f"energy_{{n}}")
    stored, power = float(60 + n % 40), (20 + n % 7) / 1000.0
    for s, p in product((0.98 * stored, 1.02 * stored), (power - 0.005, power + 0.005)):
        assert function(s, p, 28.0).left >= 25 + r % 7
'''


def timed(command: list[str], folder: Path) -> float:
    """Return the seconds that a command takes; it must end in 0."""
    environment = {
        key: value
        for key, value in os.environ.items()
        if not key.startswith("GIT_") and key != "PYTHONDONTWRITEBYTECODE"
    }
    began = time.perf_counter()
    done = subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True)
    seconds = time.perf_counter() - began
    if done.returncode != 0:
        sys.exit(
            f"{command} ended in {done.returncode}:\n{done.stdout[-2000:]}{done.stderr[-2000:]}"
        )
    return seconds


def empty_store(folder: Path) -> None:
    """Forget everything."""
    shutil.rmtree(folder / ".closeout", ignore_errors=True)


def change_one(folder: Path, round_number: int) -> None:
    """Change the limit of one requirement."""
    path = folder / "requirements/part_000.yaml"
    limit = f"at_least: 20.{round_number + 1} W h"
    path.write_text(re.sub(r"at_least: 2\d(\.\d+)? W h", limit, path.read_text(), count=1))


def commit(folder: Path) -> None:
    """Put the project under git, and let the hook know HEAD."""
    mine = ["-c", "user.name=Benchmark", "-c", "user.email=benchmark@example.invalid"]
    (folder / ".gitignore").write_text(".closeout/\n__pycache__/\n")
    timed(["git", "init", "-q"], folder)
    timed(["git", "add", "-A"], folder)
    timed(["git", *mine, "commit", "-q", "-m", "project"], folder)


def stage_one(folder: Path, round_number: int) -> None:
    """Change the limit of one requirement, and stage that."""
    change_one(folder, round_number)
    timed(["git", "add", "-A"], folder)


def main() -> None:
    """Make, time in turn, print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--requirements", type=int, default=10_000)
    parser.add_argument("--analyses", type=int, default=1_000)
    parser.add_argument("--files", type=int, default=100)
    parser.add_argument("--modules", type=int, default=100)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--keep", type=Path, help="write the project here, time nothing")
    args = parser.parse_args()
    size = (args.requirements, args.analyses, args.files, args.modules)
    if args.keep:
        make(args.keep, *size)
        return
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "project"
        make(folder, *size)
        verify = [sys.executable, "-m", "closeout", "verify"]
        steps: list[tuple[str, Callable[[int], None], list[str]]] = [
            ("(a) libyaml's C loader alone", lambda _: None,
             [sys.executable, "-c", LOAD_ALONE, "requirements"]),
            ("(b) pytest on the same", lambda _: None,
             [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "tests"]),
            ("(c) verify, empty store", lambda _: empty_store(folder), verify),
            ("(d) verify, nothing changed", lambda _: None, verify),
            ("(e) verify, one requirement changed", lambda n: change_one(folder, n), verify),
        ]  # fmt: skip
        seconds: dict[str, list[float]] = {title: [] for title, _, _ in steps}
        for number in range(args.rounds):
            for title, prepare, command in steps:
                prepare(number)
                seconds[title].append(timed(command, folder))
        commit(folder)
        hook = [sys.executable, "-m", "closeout", "hook", "run"]
        timed(hook, folder)
        under_git = {"(f) verify under git, one changed": verify, "(g) hook, one changed": hook}
        for number in range(args.rounds):
            for place, (title, command) in enumerate(under_git.items()):
                stage_one(folder, 10 + 2 * number + place)
                seconds.setdefault(title, []).append(timed(command, folder))
    print(f"{size[0]} requirements in {size[2]} files, {size[1]} analyses in {size[3]} modules;")
    print(f"{os.cpu_count()} processors, Python {sys.version.split()[0]}, {args.rounds} rounds\n")
    print("| step | median s | least s | most s |\n| --- | --- | --- | --- |")
    for title, found in seconds.items():
        print(f"| {title} | {statistics.median(found):.3f} | {min(found):.3f} | {max(found):.3f} |")
    a, b, c, d, e, f, g = (statistics.median(found) for found in seconds.values())
    print(f"\nc/b {c / b:.2f}, d/a {d / a:.2f}, e/a {e / a:.2f}, g/f {g / f:.2f}")


if __name__ == "__main__":
    main()
