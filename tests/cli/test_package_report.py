"""What ``package`` says at its end: what it wrote where, and what is missing in it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.cli.project import ANALYSIS, Project, base, make, power, requirement
from tests.cli.test_terminal import ESCAPE, in_terminal

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow


def told(project: Project, target: Path) -> str:
    run = project.run("package", "--review", "CDR", "-o", str(target))
    assert run.status == 0, run.stderr
    return " ".join(run.stdout.split())


def test_it_says_what_it_wrote_and_that_nothing_is_missing(
    passing: Project, tmp_path: Path
) -> None:
    target = tmp_path / "cdr"
    text = told(passing, target)
    files = [path for path in target.rglob("*") if path.is_file()]
    pages = sum(path.suffix == ".html" for path in files)
    size = sum(path.stat().st_size for path in files)
    head = f"{pages} documents for CDR in {len(files)} files, {round(size / 1000)} kB"
    assert text.startswith(f"wrote {target}: {head}; start with index.html DRAFT - ")
    assert "nothing that is due is missing" in text


def test_what_is_missing_follows_by_kind(tmp_path: Path) -> None:
    # 54.625 W h is 196.65 kJ (see tests/cli/project.py): one falls short of 197 kJ.
    test = """\
      - {method: test, level: system, stage: qualification, review: CDR, records: []}
      - {method: test, level: system, stage: acceptance, review: AR, records: []}
"""
    items = (
        requirement("PWR-010", "at_least: 197 kJ"),
        requirement("PWR-020", more=test),
        requirement("PWR-030").replace("analysis: energy", "analysis: broken"),
    )
    broken = ANALYSIS.replace("def energy", "def broken").replace(
        "return Energy(voltage * charge)", "raise ValueError('no')"
    )
    files = base(power=power(*items)) | {"analyses/broken.py": broken}
    text = told(make(tmp_path / "p", files), tmp_path / "cdr")
    assert text.index("wrote ") < text.index("INCOMPLETE - could not be evaluated: PWR-030")
    assert (
        "missing of what is due: 1 could not be evaluated (PWR-030); 1 not met without waiver or"
        " deviation"
        " (PWR-010); 1 open (PWR-020); see open-points.html"
    ) in text
    assert "not yet due and not closed: 1 verification" in text


@pytest.mark.slow
def test_progress_is_shown_on_a_terminal_alone(tmp_path: Path) -> None:
    slow = ANALYSIS.replace("    return", "    import time\n\n    time.sleep(0.02)\n    return")
    project = make(tmp_path / "p", base(analysis=slow))
    status, text = in_terminal(project, "package", "--review", "CDR", "-o", str(tmp_path / "a"))
    plain = ESCAPE.sub("", text)
    assert status == 0
    assert "searching sensitivity and break-even" in plain
    assert re.search(r"wrote .*: \d+ documents", plain.replace("\n", " "))
    run = project.run("package", "--review", "CDR", "-o", str(tmp_path / "b"))
    assert run.stderr == ""


def test_what_a_nonconformance_keeps_open_is_missing_and_verify_says_why(tmp_path: Path) -> None:
    """All evidence is met: exit status 1, and both name the nonconformance."""
    more = """\
      - {method: test, level: system, stage: acceptance, review: CDR, records: [TR-001],
         quantity: energy, at_least: 190 kJ}
"""
    bench = """\
articles: [{id: BAT, title: Battery, model: flight, build: FM-2}]
records:
  - {id: TR-001, method: test, date: 2026-01-12, title: Discharge, document: TR-001,
     article: {BAT: FM-2}, judged: {PWR-010: A}, measured: {energy: 57 W h +/- 0.4 W h (k = 2)}}
nonconformances:
  - {id: NCR-001, requirements: [PWR-010], article: {BAT: FM-2}, class: minor, cause: a scratch,
     disposition: return}
"""
    files = base(power=power(requirement("PWR-010", more=more))) | {"requirements/b.yaml": bench}
    project = make(tmp_path / "p", files)
    run = project.run("verify")
    assert run.status == 1
    assert "Due and open\n  PWR-010 (C)  Energy of the battery" in run.stdout
    assert "NCR-001 is open: no record closes it" in run.stdout
    text = told(project, tmp_path / "cdr")
    assert "missing of what is due: 1 open for another reason (PWR-010)" in text
    assert "nothing that is due is missing" not in text


def test_what_cannot_be_judged_is_not_said_to_be_whole(tmp_path: Path) -> None:
    files = base(power=power(requirement("PWR-010", above="SYS-010, SYS-090")))
    project = make(tmp_path / "p", files)
    assert project.run("verify").status == 2  # there is no SYS-090
    text = told(project, tmp_path / "cdr")
    assert "INCOMPLETE" in text
    assert "nothing that is due is missing" not in text
