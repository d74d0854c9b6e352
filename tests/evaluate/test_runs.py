"""``closeout verify`` is never stale, and runs nothing where nothing changed."""

from __future__ import annotations

import json
import os
import py_compile
import shutil
import sqlite3
import subprocess
import sys
import sysconfig
import venv
from pathlib import Path
from typing import Any

import pytest

from tests.evaluate.project import SOURCE, Project, environment, module

# Each starts processes of a second or more.
pytestmark = pytest.mark.slow

ITEM = """\
  - id: R-{name}
    title: Invented
    statement: The unit shall give the power that the limit says.
    source: Invented
    verification:
      - {{method: analysis, level: system, stage: qualification, review: CDR, analysis: {name}.f,
         quantity: y, {limit}}}
"""
PARAMETERS = """\
parameters:
  x: {value: 2 W, tolerance: 0.5 W, condition: declared, source: Invented}
"""


def requirements(**limits: str) -> str:
    return "requirements:\n" + "".join(ITEM.format(name=n, limit=v) for n, v in limits.items())


def two(tmp_path: Path, a: str, **files: str) -> Project:
    return Project(
        tmp_path / "p",
        {
            "analyses/a.py": a,
            "analyses/b.py": module("return R(7 * x)"),
            "analyses/p.yaml": PARAMETERS,
            "requirements/r.yaml": requirements(a="at_least: 1 W", b="at_least: 1 W"),
            **files,
        },
    )


def _low(dossier: dict[str, Any], name: str) -> float:
    [item] = [r for r in dossier["requirements"] if r["id"] == f"R-{name}"]
    low: float = item["verification"][0]["low"]
    return low


def test_values_tolerances_conditions_and_limits(tmp_path: Path) -> None:
    project = two(tmp_path, module("return R(x)"))
    assert project.scale() == (2, 0)
    assert project.scale() == (0, 2)
    project.write({"analyses/p.yaml": PARAMETERS.replace("2 W", "3 W")})
    _, dossier = project.verify()
    assert dossier["scale"]["evaluated"] == 2
    assert _low(dossier, "a") == 2.5
    project.write({"analyses/p.yaml": PARAMETERS.replace("0.5 W", "0.25 W")})
    _, dossier = project.verify()
    assert dossier["scale"]["evaluated"] == 2
    assert _low(dossier, "a") == 1.75
    # Back again: every answer is still known.
    project.write({"analyses/p.yaml": PARAMETERS})
    assert project.scale() == (0, 2)
    # A limit is judged anew, and nothing runs.
    project.write({"requirements/r.yaml": requirements(a="at_least: 1.75 W", b="at_least: 1 W")})
    _, dossier = project.verify()
    assert (dossier["scale"]["evaluated"], dossier["exit_status"]) == (0, 1)
    # A condition is another question to this one alone.
    given = requirements(a="at_least: 1 W, given: {x: 4 W}", b="at_least: 1 W")
    project.write({"requirements/r.yaml": given})
    assert project.scale() == (1, 1)
    # What is asked on the command line is no other state of the project.
    assert project.scale("--set", "x=5 W") == (2, 0)
    assert project.scale() == (0, 2)


def test_a_change_in_layout_runs_nothing(tmp_path: Path) -> None:
    project = two(tmp_path, module("return R(x)"))
    assert project.scale() == (2, 0)
    project.write({"analyses/p.yaml": "# said differently\n" + PARAMETERS.replace("2 W", "2.0 W")})
    assert project.scale() == (0, 2)


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """A folder of installed distributions, invented and made by hand."""
    folder = tmp_path / "site"
    install(folder, "shape", "1.0", "K = 3.0\n")
    install(folder, "other", "1.0", "K = 4.0\n")
    return folder


def install(site: Path, name: str, version: str, text: str) -> None:
    """Write a distribution as an installer does (PyPA, "Recording installed projects")."""
    for old in site.glob(f"{name}-*.dist-info"):
        shutil.rmtree(old)
    info = site / f"{name}-{version}.dist-info"
    info.mkdir(parents=True)
    (site / name).mkdir(exist_ok=True)
    (site / name / "__init__.py").write_text(text)
    metadata = f"Metadata-Version: 2.1\nName: {name}\nVersion: {version}\n"
    (info / "METADATA").write_text(metadata)
    (info / "RECORD").write_text(
        f"{name}/__init__.py,,\n{info.name}/METADATA,,\n{info.name}/RECORD,,\n"
    )


@pytest.mark.parametrize("where", ["top", "body"])
def test_the_version_of_a_distribution(tmp_path: Path, site: Path, where: str) -> None:
    text = (
        module("return R(shape.K * x)", top="import shape")
        if where == "top"
        else module("import shape\nreturn R(shape.K * x)")
    )
    project = two(tmp_path, text)
    path = {"PYTHONPATH": str(site)}
    assert project.scale(**path) == (2, 0)
    assert project.scale(**path) == (0, 2)
    install(site, "other", "2.0", "K = 5.0\n")
    assert project.scale(**path) == (0, 2)
    install(site, "shape", "1.1", "K = 6.0\n")
    _, dossier = project.verify(**path)
    assert dossier["scale"]["evaluated"] == 1
    assert _low(dossier, "a") == 9.0


def test_a_distribution_that_was_missing(tmp_path: Path, site: Path) -> None:
    top = "try:\n    import late\n    K = late.K\nexcept ImportError:\n    K = 1.0"
    project = two(tmp_path, module("return R(K * x)", top=top))
    path = {"PYTHONPATH": str(site)}
    assert project.scale(**path) == (2, 0)
    assert project.scale(**path) == (0, 2)
    # The folder from which the tool is started is no place of modules.
    done = subprocess.run(
        [sys.executable, "-m", "closeout", "verify"],
        cwd=project.root / "analyses",
        env=environment(PYTHONPATH=str(site)),
        capture_output=True,
        text=True,
        check=False,
    )
    assert "0 evaluations run" in done.stderr + done.stdout
    install(site, "late", "1.0", "K = 2.0\n")
    _, dossier = project.verify(**path)
    assert dossier["scale"]["evaluated"] == 1
    assert _low(dossier, "a") == 3.0


def test_a_module_that_is_being_worked_on_elsewhere(tmp_path: Path) -> None:
    """On the search path and not installed, as in an editable installation: by its content."""
    work = tmp_path / "work"
    work.mkdir()
    (work / "shape.py").write_text("K = 3.0\n")
    (work / "table.csv").write_text("1\n")
    py_compile.compile(str(work / "shape.py"), doraise=True)
    project = two(tmp_path, module("import shape\nreturn R(shape.K * x)"))
    path = {"PYTHONPATH": str(work)}
    assert project.scale(**path) == (2, 0)
    assert project.scale(**path) == (0, 2)
    stat = (work / "shape.py").stat()
    (work / "shape.py").write_text("K = 4.0\n")
    os.utime(work / "shape.py", ns=(stat.st_atime_ns, stat.st_mtime_ns))
    _, dossier = project.verify(**path)
    assert dossier["scale"]["evaluated"] == 1
    assert _low(dossier, "a") == 6.0


def test_the_engine_itself(tmp_path: Path) -> None:
    source = tmp_path / "trace"
    shutil.copytree(SOURCE / "closeout", source / "closeout")
    project = two(tmp_path, module("return R(x)"))
    assert project.scale(source=source) == (2, 0)
    # The same bytes at another place are the same engine.
    assert project.scale() == (0, 2)
    with (source / "closeout/arithmetic/proof/search.py").open("a") as file:
        file.write("\n")
    assert project.scale(source=source) == (2, 0)
    # What only formats, compares or judges makes no other answer.
    for above in ("render/words.py", "compare/news.py", "judge/limits.py"):
        with (source / "closeout" / above).open("a") as file:
            file.write("\n")
    assert project.scale(source=source) == (0, 2)
    (source / "closeout/new.txt").write_text("")
    assert project.scale(source=source) == (2, 0)
    assert project.scale(source=source) == (0, 2)


def test_a_copy_with_its_environment_is_a_full_hit(tmp_path: Path) -> None:
    """Where the environment stands is no matter, even inside the project."""
    project = two(
        tmp_path,
        module("return R(shape.K * x + len(open('analyses/t.txt').read()))", top="import shape"),
        **{"analyses/t.txt": "12"},
    )
    install(project.root / "env/site", "shape", "1.0", "K = 3.0\n")
    assert project.scale(PYTHONPATH=str(project.root / "env/site")) == (2, 0)
    shutil.copytree(project.root, tmp_path / "q")
    shutil.rmtree(project.root)
    copy = Project(tmp_path / "q", {})
    assert copy.scale(PYTHONPATH=str(copy.root / "env/site")) == (0, 2)


def test_a_project_inside_its_environment_is_read(tmp_path: Path) -> None:
    """As in a container, where Python's prefix may lie above everything."""
    place = tmp_path / "env"
    venv.create(place, symlinks=True)
    text = module("return R(x + len(open('analyses/t.txt').read()))")
    project = Project(
        place / "src/p",
        {
            "analyses/a.py": text,
            "analyses/t.txt": "12",
            "analyses/p.yaml": PARAMETERS,
            "requirements/r.yaml": requirements(a="at_least: 1 W"),
        },
    )
    command = [str(place / "bin/python"), "-m", "closeout", "verify", "--json", "-"]
    packages = sysconfig.get_path("purelib")

    def run() -> dict[str, Any]:
        done = subprocess.run(
            command, cwd=project.root, env=environment(PYTHONPATH=packages),
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        shown: dict[str, Any] = json.loads(done.stdout)
        return shown

    assert _low(run(), "a") == 3.5
    assert run()["scale"]["evaluated"] == 0
    project.write({"analyses/t.txt": "123"})
    again = run()
    assert again["scale"]["evaluated"] == 1
    assert _low(again, "a") == 4.5


def test_json_is_not_disturbed_by_what_is_printed(tmp_path: Path) -> None:
    noise = (
        "import os, sys\nfor i in range(1000):\n    print('{' * 100)\n"
        "    print('noise', file=sys.stderr)\nos.write(1, b'raw')\nreturn R(x)"
    )
    project = two(tmp_path, module(noise, top="print('at import')"))
    done, dossier = project.verify()
    assert dossier["scale"]["evaluated"] == 2
    assert "noise" not in done.stderr
    assert "raw" not in done.stdout


def test_two_runs_give_the_same(tmp_path: Path) -> None:
    """Also where an analysis depends on the order of a set, or on a hash."""
    body = (
        "s = list({chr(i) * 3 for i in range(97, 123)})\n"
        "return R(x * (1 + ord(s[0][0])) + hash('a') % 7)"
    )
    project = two(tmp_path, module(body))
    shown = []
    for seed in ("1", "2", "random"):
        shutil.rmtree(project.root / ".closeout", ignore_errors=True)
        done, _ = project.verify(PYTHONHASHSEED=seed, TZ="Asia/Tokyo")
        shown.append(done.stdout)
    assert shown[0] == shown[1] == shown[2]


def test_the_memory_of_whole_runs(tmp_path: Path) -> None:
    """Text and JSON, each layout, each option: what is recalled is what a new run would say."""
    project = two(tmp_path, module("return R(len(open('t.txt').read()) * x)"), **{"t.txt": "12"})

    def text(*options: str) -> str:
        done = subprocess.run(
            [sys.executable, "-m", "closeout", "verify", *options],
            cwd=project.root, env=environment(),
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        shown, _, counts = done.stdout.strip().rpartition("\n")
        assert "reused" in counts
        return f"{done.returncode}\n{shown}"

    first = text()
    assert text() == first
    other = text("--set", "x=9 W")
    assert other != first
    assert text("--set", "x=9 W") == other
    project.write({"t.txt": "1"})
    second = text()
    assert second != first
    project.write({"t.txt": "12"})
    assert text() == first
    assert project.verify()[1]["scale"]["from_store"] == 2


def test_a_damaged_memory_of_a_run_is_only_a_miss(tmp_path: Path) -> None:
    project = two(tmp_path, module("return R(x)"))
    _, first = project.verify()
    with sqlite3.connect(project.root / ".closeout/store.sqlite3") as connection:
        for kind, key, value in connection.execute("SELECT kind, key, value FROM kept").fetchall():
            forged = value[:-3] + bytes([value[-3] ^ 1]) + value[-2:]
            connection.execute(
                "UPDATE kept SET value = ? WHERE kind = ? AND key = ?", (forged, kind, key)
            )
    connection.close()
    _, again = project.verify()
    assert again["scale"] == {**first["scale"], "evaluated": 0, "from_store": 2}
    assert again["requirements"] == first["requirements"]
