"""Hostile projects: refused in seconds, nothing executed, nothing read outside of the project."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.project import Project, Run, base, environment, make, power
from tests.cli.project import requirement as item
from tests.effort import BACKSTOP

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

SECONDS = 15  # of processor time; a few in truth
SECRET = "a-line-that-no-project-holds"


def refused(project: Project, *, rule: str | None = None) -> Run:
    """Run verify and lint: both refuse in time, name a place, and show nothing that acts."""
    lint, verify = (project.run(command, processor=SECONDS) for command in ("lint", "verify"))
    for run in (lint, verify):
        assert run.status == 2, run.said
        assert run.stderr == ""
        assert SECRET not in run.said
        assert all(c.isprintable() or c == "\n" for c in run.said)
        if rule is not None:
            assert f"[{rule}]" in run.stdout
        assert "action" in run.stdout
    return lint


ALIAS_BOMB = "a: &a [x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"{chr(98 + i)}: &{chr(98 + i)} [{', '.join(['*' + chr(97 + i)] * 9)}]\n" for i in range(12)
)
FILES = {
    "tag": ('requirements: !!python/object/apply:os.system ["touch MARK"]\n', "yaml-tag"),
    "tag of a name": ("requirements: !!python/name:os.system ''\n", "yaml-tag"),
    "own tag": ("requirements: !include /etc/passwd\n", "yaml-tag"),
    "alias bomb": (ALIAS_BOMB, "yaml-alias"),
    "merge key": ("requirements:\n  - {<<: {id: A}, title: B, statement: C}\n", "yaml-merge-key"),
    "deep flow": ("requirements: " + "[" * 20_000 + "]" * 20_000, "too-deep"),
    "deep mapping": ("requirements: " + "{a: " * 20_000 + "}" * 20_000, "too-deep"),
    "deep block": ("".join(" " * i + "a:\n" for i in range(2_000)), "too-deep"),
    "binary": (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 100, "encoding"),
    "NUL": (b"requirements: []\n\0\n", "control-character"),
    "UTF-16": ("requirements: []\n".encode("utf-16"), "encoding"),
    "UTF-16 without mark": ("requirements: []\n".encode("utf-16-le"), "encoding"),
    "Latin-1": ("# caf\xe9\nrequirements: []\n".encode("latin-1"), "encoding"),
    "two documents": ("requirements: []\n---\nrequirements: []\n", "yaml-documents"),
    "directive": ("%YAML 1.1\n---\nrequirements: []\n", "yaml-directive"),
    "duplicate keys": ("requirements: []\nrequirements: []\n", "yaml-duplicate-key"),
    "no mapping": ("- a\n- b\n", "wrong-type"),
    "100,000 unknown keys": ("".join(f"k{i}: 1\n" for i in range(100_000)), "unknown-key"),
    "50 MB": (b"# " + b"x" * 50_000_000 + b"\n", "too-large"),
}


@pytest.mark.slow  # as files alone they are read in each run, in tests/load
@pytest.mark.parametrize("name", FILES)
def test_a_hostile_file_is_refused(project: Project, tmp_path: Path, name: str) -> None:
    content, rule = FILES[name]
    mark = tmp_path / "mark"
    if isinstance(content, str):
        content = content.replace("MARK", str(mark))
    project.write({"requirements/x.yaml": content})
    refused(project, rule=rule)
    assert not mark.exists()


@pytest.mark.slow
def test_100_000_unused_parameters_are_told_in_seconds(project: Project) -> None:
    lines = "".join(f"  p{i}: {{value: 1 V}}\n" for i in range(100_000))
    project.write({"analyses/x.yaml": "parameters:\n" + lines})
    assert project.run("lint", processor=2 * SECONDS).status == 1


LIMITS = [
    "2 * 95 kJ",
    "__import__('os').system('touch MARK')",
    "190 kJ; import os",
    "1e999 kJ",
    "1e-999 kJ",
    "nan kJ",
    "inf kJ",
    ".inf",
    "9" * 5000 + " kJ",
    "190 kJ**99999999",
    "190 k" + "J*J" * 5000,
    "${HOME} kJ",
    "{{ 7 * 7 }} kJ",
    "190\u202ekJ",
    "１９０ kJ",
]


def test_a_limit_is_a_number_and_a_unit_and_nothing_else(project: Project, tmp_path: Path) -> None:
    mark = tmp_path / "mark"
    texts = [limit.replace("MARK", str(mark)).replace("'", "''") for limit in LIMITS]
    files = {
        f"requirements/power-{number}.yaml": power(item(f"P-{number}", limit=f"at_least: '{text}'"))
        for number, text in enumerate(texts)
    }
    project.write(files)
    run = refused(project)
    for path in files:
        assert f"{path}:1" in run.stdout
    assert not mark.exists()


def test_control_sequences_in_texts_are_refused(project: Project) -> None:
    project.write({"requirements/power.yaml": power(item(title='"Energy \\x1b[2J\\u202e"'))})
    refused(project, rule="control-character")


def test_control_sequences_from_an_analysis_do_not_reach_the_terminal(project: Project) -> None:
    text = "raise ValueError('\\x1b[2J\\u202e bad \\x07')"
    project.replace("analyses/energy.py", "return Energy(voltage * charge)", text)
    for run in (project.run("verify"), project.run("explain", "PWR-010")):
        assert "bad" in run.stdout
        assert all(c.isprintable() or c == "\n" for c in run.said)
    for name in ("m.md", "m.html", "m.csv", "m.json"):
        project.run("matrix", "-o", name)
        shown = (project.path / name).read_text("utf-8")
        assert not {"\x1b", "\u202e", "\x07"} & set(shown), name


@pytest.mark.parametrize(
    "name", [b"a\x1b[31m.yaml", b"b\nb.yaml", b"c\xff.yaml", "d\u202e.yaml".encode()]
)
def test_control_sequences_in_a_name_are_refused(project: Project, name: bytes) -> None:
    path = os.fsencode(project.path / "requirements") + b"/" + name
    with open(path, "wb") as file:
        file.write(b"requirements: []\n")
    refused(project, rule="bad-name")


# -- what is no regular file of the project


def link_yaml(project: Project, outside: Path) -> None:
    outside.write_text(f"requirements: [{SECRET}]\n")
    (project.path / "requirements/x.yaml").symlink_to(outside)


def link_code(project: Project, outside: Path) -> None:
    outside.write_text(f"raise ValueError('{SECRET}')  # analysis\n")
    (project.path / "analyses/x.py").symlink_to(outside)


def link_data(project: Project, outside: Path) -> None:
    outside.write_text(SECRET)
    (project.path / "analyses/data").mkdir()
    (project.path / "analyses/data/x.csv").symlink_to(outside)


def link_folder(project: Project, outside: Path) -> None:
    outside.mkdir()
    (outside / "x.yaml").write_text(f"requirements: [{SECRET}]\n")
    (project.path / "requirements/more").symlink_to(outside)


def link_requirements(project: Project, outside: Path) -> None:
    (project.path / "requirements").rename(outside)
    (project.path / "requirements").symlink_to(outside)


def link_charter(project: Project, outside: Path) -> None:
    (project.path / "requirements/project.yaml").rename(outside)
    (project.path / "requirements/project.yaml").symlink_to(outside)


def link_nowhere(project: Project, outside: Path) -> None:
    (project.path / "requirements/x.yaml").symlink_to(outside)


def link_circle(project: Project, outside: Path) -> None:
    (project.path / "requirements/x.yaml").symlink_to("x.yaml")
    (project.path / "requirements/deep").symlink_to(".")


@pytest.mark.parametrize(
    "make_link",
    [
        link_yaml, link_code, link_data, link_folder, link_requirements, link_charter,
        link_nowhere, link_circle,
    ],
)  # fmt: skip
def test_a_symbolic_link_is_refused(
    project: Project, tmp_path: Path, make_link: Callable[[Project, Path], None]
) -> None:
    make_link(project, tmp_path / "outside")
    refused(project, rule="symbolic-link")


@pytest.mark.parametrize("name", ["requirements/x.yaml", "analyses/x.py", "requirements/x.md"])
def test_a_named_pipe_or_a_folder_in_place_of_a_file_is_refused(
    project: Project, name: str
) -> None:
    os.mkfifo(project.path / name)
    refused(project, rule="no-regular-file")
    (project.path / name).unlink()
    (project.path / name).mkdir()
    refused(project, rule="no-regular-file")


def test_a_named_pipe_in_place_of_the_charter_is_refused(project: Project) -> None:
    (project.path / "requirements/project.yaml").unlink()
    os.mkfifo(project.path / "requirements/project.yaml")
    refused(project, rule="no-regular-file")


@pytest.mark.skipif(os.geteuid() == 0, reason="root reads every file, whatever its rights")
def test_an_unreadable_file_is_refused(project: Project) -> None:
    (project.path / "requirements/power.yaml").chmod(0)
    refused(project)


def test_analyses_that_are_missing_are_told(project: Project) -> None:
    for path in (project.path / "analyses").iterdir():
        path.unlink()
    (project.path / "analyses").rmdir()
    refused(project, rule="unknown-analysis")


# -- names that are paths


@pytest.mark.slow
@pytest.mark.parametrize("identifier", ["../../x", "/etc/x", "..", "a\\b", "-rf"])
def test_an_identifier_with_parts_of_a_path_writes_nothing_outside(
    tmp_path: Path, identifier: str
) -> None:
    files = base(power=power(item(f"'{identifier}'"), item("PWR-011")))
    project = make(tmp_path / "deep" / "er" / "p", files)
    refused(project, rule="bad-identifier")
    before = {path for path in tmp_path.rglob("*") if ".closeout" not in path.parts}
    out = project.path / "out"
    project.run("package", "-o", str(out))
    project.run("explain", identifier if identifier[0] != "-" else f"./{identifier}")
    now = {path for path in tmp_path.rglob("*") if ".closeout" not in path.parts}
    assert {path for path in now - before if out not in (path, *path.parents)} == set()


def test_records_that_name_files_outside_read_nothing(project: Project, tmp_path: Path) -> None:
    (tmp_path / "outside.csv").write_text(SECRET)
    record = """\
records:
  - {id: TR-001, method: test, title: Bench, document: D, date: 2026-01-02, outcome: met,
     data: DATA}
"""
    for data in ("../outside.csv", str(tmp_path / "outside.csv"), "/dev/zero", "/etc/passwd"):
        project.write({"requirements/records.yaml": record.replace("DATA", data)})
        run = project.run("verify", processor=SECONDS)
        assert run.status in (0, 2)
        assert SECRET not in run.said


def test_a_module_of_the_project_does_not_stand_in_for_the_tools_own(project: Project) -> None:
    # As the hook and the installed script run it: without the present folder on the path.
    for name in ("json", "click", "yaml", "closeout", "typing", "analyses/json"):
        project.write({f"{name}.py": f"raise SystemExit('{SECRET}')\n"})
    done = subprocess.run(
        [sys.executable, "-P", "-m", "closeout", "verify"],
        cwd=project.path,
        env=environment(),
        capture_output=True,
        text=True,
        timeout=BACKSTOP,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert SECRET not in done.stdout + done.stderr


def test_an_analysis_has_no_hold_on_the_verdict_of_another(project: Project) -> None:
    # Each runs in its own process: what one does to the tool's modules stays there.
    project.replace(
        "analyses/warmth.py",
        "    return Warmth",
        "    import closeout.judge.limits as j\n    j.compare = None\n    return Warmth",
    )
    run = project.verify()
    assert run.status == 0
    assert run.json["totals"]["C"] == 3


@pytest.mark.slow
def test_an_analysis_that_floods_its_output_is_no_harm(project: Project) -> None:
    project.replace(
        "analyses/energy.py",
        "    return Energy",
        "    print('x' * 50_000_000)\n    return Energy",
    )
    run = project.run("verify", processor=8 * SECONDS)
    assert run.status == 0
    assert "xxx" not in run.said
