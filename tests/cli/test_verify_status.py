"""The exit status of ``verify``, each by its cause: 0 met or covered, 1 shortfall, 2 not judged."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path

import pytest

import closeout
from tests.cli.project import (
    ANALYSIS,
    CHARTER,
    SYSTEM,
    Project,
    base,
    by_id,
    environment,
    make,
    power,
)
from tests.cli.project import requirement as item

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

WAIVER = """\
waivers:
  - id: RFW-001
    kind: waiver
    requirement: PWR-010
    accepts: {quantity: energy, at_least: 196 kJ}
    approved_by: control board
    date: 2026-08-30
    document: RFW-001
    expires: AR
"""
TEST = """\
  - id: PWR-020
    title: Energy on the bench
    statement: The battery shall hold 56 W h.
    source: Invented
    verification:
      - {method: test, level: system, stage: qualification, review: REVIEW, quantity: energy,
         at_least: 56 W h, records: [TR-001]}
"""
RECORD = """\
records:
  - {id: TR-001, method: test, title: Bench, document: D, date: 2026-01-02,
     measured: {energy: MEASURED}}
"""


REPORTED: dict[str, str | bytes] = {
    "requirements/reports.yaml": (
        "nonconformances: [{id: NCR-1, found_by: TR-001, requirements: [PWR-020]}]\n"
    )
}


def with_test(review: str, measured: str | None) -> dict[str, str | bytes]:
    record = RECORD.replace("MEASURED", measured or "57 W h")
    if measured is None:
        record = record.replace(" date: 2026-01-02,", "")
    return base(power=power(item(), TEST.replace("REVIEW", review)), records=record) | {
        "requirements/records.yaml": record
    }


def test_everything_met_is_0(passing: Project) -> None:
    run = passing.verify()
    assert run.status == 0
    assert run.json["exit_status"] == 0
    assert run.json["totals"]["C"] == 3
    assert run.stderr == ""


def test_a_shortfall_is_1(project: Project) -> None:
    project.write({"requirements/power.yaml": power(item(limit="at_least: 197 kJ"))})
    run = project.run("verify")
    assert run.status == 1
    assert run.stderr == ""
    assert "Non-compliances" in run.stdout
    assert "PWR-010" in run.stdout.partition("Non-compliances")[2]


def test_a_limit_that_is_reached_exactly_is_met(project: Project) -> None:
    # By hand: 11.5 V x 4.75 A h = 54.625 W h; 54.625 x 3.6 = 196.65 kJ.
    project.write({"requirements/power.yaml": power(item(limit="at_least: 196.65 kJ"))})
    assert project.run("verify").status == 0
    project.write({"requirements/power.yaml": power(item(limit="at_least: 196.6500001 kJ"))})
    assert project.run("verify").status == 1


def test_a_covered_shortfall_is_0_and_keeps_its_code(project: Project) -> None:
    project.write(
        {
            "requirements/power.yaml": power(item(limit="at_least: 197 kJ")),
            "requirements/waivers.yaml": WAIVER,
        }
    )
    run = project.verify()
    assert run.status == 0
    entry = by_id(run.json)["PWR-010"]
    assert (entry["compliance"], entry["covered"], entry["closed"]) == ("NC", True, True)
    assert entry["verification"][0]["covered_by"] == "RFW-001"
    # Cover never rises to the parent.
    above = by_id(run.json)["SYS-010"]
    assert (above["compliance"], above["covered"]) == ("PC", False)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("at_least: 196 kJ", "at_least: 196.7 kJ"),  # does not reach the judged 196.65 kJ
        ("expires: AR", "expires: SRR"),  # CDR is judged, which comes later
        ("    date: 2026-08-30\n", ""),
        ("    approved_by: control board\n", ""),
    ],
)
def test_a_waiver_that_does_not_reach_covers_nothing(project: Project, old: str, new: str) -> None:
    assert old in WAIVER
    project.write(
        {
            "requirements/power.yaml": power(item(limit="at_least: 197 kJ")),
            "requirements/waivers.yaml": WAIVER.replace(old, new),
        }
    )
    run = project.verify()
    assert run.status == 1
    assert by_id(run.json)["PWR-010"]["covered"] is False


@pytest.mark.parametrize(
    ("measured", "status", "compliance"),
    [
        ("57.1 W h +/- 0.4 W h (k = 2)", 0, "C"),
        ("56.4 W h +/- 0.4 W h (k = 2)", 0, "C"),  # the guard band ends on the limit
        ("56.1 W h +/- 0.4 W h (k = 2)", 1, "open"),  # the limit lies inside the uncertainty
        ("55.1 W h +/- 0.4 W h (k = 2)", 1, "NC"),
        (None, 1, "open"),  # planned: no date yet
    ],
)
def test_a_test_that_is_due(
    tmp_path: Path, measured: str | None, status: int, compliance: str
) -> None:
    more = REPORTED if compliance == "NC" else {}
    run = make(tmp_path, with_test("CDR", measured) | more).verify()
    assert run.status == status
    assert by_id(run.json)["PWR-020"]["compliance"] == compliance


def test_what_is_planned_for_a_later_review_is_0(tmp_path: Path) -> None:
    project = make(tmp_path, with_test("AR", None))
    run = project.verify()
    assert run.status == 0
    entry = by_id(run.json)["PWR-020"]
    assert (entry["compliance"], entry["due"], entry["closed"]) == ("open", False, False)
    assert project.run("verify", "--review", "AR").status == 1


def test_an_early_shortfall_is_shown_and_is_0(tmp_path: Path) -> None:
    failed = with_test("AR", "55.1 W h +/- 0.4 W h (k = 2)")
    project = make(tmp_path, failed | REPORTED)
    run = project.run("verify")
    assert run.status == 0
    assert "PWR-020" in run.stdout.partition("Non-compliances")[2]
    assert "not yet due: AR" in run.stdout


def test_without_a_next_review_everything_is_judged(tmp_path: Path) -> None:
    files = with_test("AR", None)
    files["requirements/project.yaml"] = CHARTER.replace("  next_review: CDR\n", "")
    run = make(tmp_path, files).verify()
    assert run.status == 1
    assert run.json["review"] is None


@pytest.mark.parametrize(
    ("name", "content", "rule"),
    [
        (
            "requirements/power.yaml",
            power(item().replace("    title:", "    titel:")),
            "unknown-key",
        ),
        ("requirements/power.yaml", power(item(above="SYS-011")), "dangling-reference"),
        ("requirements/power.yaml", power(item(limit="at_least: 190 kg")), "unit"),
        ("requirements/more.yaml", "requirements: [\n", "yaml-syntax"),
        ("requirements/second.yaml", power(item()), "duplicate-identifier"),
    ],
)
def test_an_error_of_form_or_trace_is_2(
    project: Project, name: str, content: str, rule: str
) -> None:
    project.write({name: content})
    run = project.verify()
    assert run.status == 2
    found = [problem for problem in run.json["problems"] if problem["rule"] == rule]
    assert found
    assert found[0]["severity"] == "error"
    assert found[0]["path"] == name
    assert found[0]["cure"]
    text = project.run("verify")
    assert text.status == 2
    place = f"{name}:{found[0]['line']}:{found[0]['column']}: "
    assert any(
        line.startswith(place) and line.endswith(f"[{rule}]") for line in text.stdout.split("\n")
    )


BROKEN = {
    "raises": "raise RuntimeError('no cell')",
    "returns NaN": "return Energy(float('nan'))",
    "exits": "raise SystemExit(0)",
    "is killed": "import os, signal; os.kill(os.getpid(), signal.SIGKILL)",
    "divides by zero": "return Energy(voltage / 0.0)",
    "returns text": "return Energy('60')",
    "returns another type": "return (60.0,)",
    "recurses": "return energy(voltage, charge)",
}


@pytest.mark.parametrize("body", BROKEN.values(), ids=list(BROKEN))
def test_an_analysis_error_that_is_due_is_2_and_no_verdict(project: Project, body: str) -> None:
    project.write({"analyses/energy.py": ANALYSIS.replace("return Energy(voltage * charge)", body)})
    run = project.verify()
    assert run.status == 2
    entry = by_id(run.json)["PWR-010"]
    assert entry["compliance"] == "open"
    assert entry["verification"][0]["state"] == "error"
    assert entry["verification"][0]["message"]
    assert by_id(run.json)["THM-010"]["compliance"] == "C"


def test_an_analysis_that_hangs_is_ended_and_is_2(project: Project) -> None:
    text = ANALYSIS.replace("@analysis(", "@analysis(time_limit=1.0, ").replace(
        "    return Energy(", "    while True:\n        pass\n    return Energy("
    )
    project.write({"analyses/energy.py": text})
    run = project.run("verify")
    assert run.status == 2
    assert "1 s" in run.stdout


def test_an_analysis_error_that_is_due_later_is_0(project: Project) -> None:
    body = "raise RuntimeError('no cell')"
    project.write(
        {
            "requirements/power.yaml": power(item(review="AR")),
            "analyses/energy.py": ANALYSIS.replace("return Energy(voltage * charge)", body),
        }
    )
    assert project.run("verify").status == 0
    assert project.run("verify", "--review", "AR").status == 2


@pytest.mark.parametrize("charter", [b"", b"project: [", b"\xff\xfe\x00", b"project: {}\n"])
def test_a_project_that_cannot_be_read_is_2(project: Project, charter: bytes) -> None:
    project.write({"requirements/project.yaml": charter})
    run = project.verify()
    assert run.status == 2
    assert run.json["problems"]
    assert all(problem["cure"] for problem in run.json["problems"])


def test_the_highest_status_applies(project: Project) -> None:
    project.write(
        {
            "requirements/power.yaml": power(item(limit="at_least: 197 kJ")),
            "requirements/more.yaml": "requirements: [\n",
        }
    )
    run = project.run("verify")
    assert run.status == 2
    assert "Non-compliances" in run.stdout


def broken_copy(folder: Path, name: str, content: str) -> Path:
    """Return a folder with a copy of the package in which one file is broken."""
    shutil.copytree(Path(closeout.__file__).parent, folder / "closeout")
    path = folder / "closeout" / name
    path.write_text(content.replace("...", path.read_text("utf-8")), "utf-8")
    return folder


@pytest.mark.parametrize(
    ("name", "content"),
    [
        # The seams at which a fault may come: a module that cannot be imported, one that raises
        # in the middle of a run, one that raises while it shows.
        ("judge/dossier.py", "...\n\ndef judge(run):\n    raise RuntimeError('broken\\nin two')\n"),
        ("render/terminal.py", "...\n\ndef verify_text(*a, **k):\n    raise KeyError('broken')\n"),
        ("cli/verify.py", "import nothing_of_this_name\n"),
        ("load/schemas/common.json", "{"),
    ],
)
def test_a_fault_of_the_tool_is_3_in_one_line(
    project: Project, tmp_path: Path, name: str, content: str
) -> None:
    copy = broken_copy(tmp_path / "copy", name, content)
    run = project.run("verify", env=environment(PYTHONPATH=str(copy)))
    assert run.status == 3, run.said
    assert run.stdout == ""
    assert run.stderr.count("\n") == 1
    assert "internal error of closeout" in run.stderr


def test_a_fault_leaves_the_rest_in_the_store(project: Project, tmp_path: Path) -> None:
    project.run("verify")
    content = "...\n\ndef verify_text(*a, **k):\n    raise KeyError('broken')\n"
    copy = broken_copy(tmp_path / "copy", "render/terminal.py", content)
    run = project.run("verify", env=environment(PYTHONPATH=str(copy)))
    assert run.status == 3
    assert ".closeout/fault.txt" in run.stderr
    told = (project.path / ".closeout" / "fault.txt").read_text("utf-8")
    assert "Traceback" in told
    assert "KeyError: 'broken'" in told


def test_a_project_without_requirements_is_a_finding(tmp_path: Path) -> None:
    charter = "project: {name: Lantern, reviews: [CDR]}\n"
    project = make(tmp_path, {"requirements/project.yaml": charter})
    rules = [problem["rule"] for problem in project.verify().json["problems"]]
    assert rules == ["no-requirements"]
    project.write({"requirements/system.yaml": SYSTEM})
    assert "no-requirements" not in [p["rule"] for p in project.verify().json["problems"]]


def test_a_record_of_other_data_is_2_and_no_evidence(tmp_path: Path) -> None:
    log = b"day,voltage\n0,12.1\n"
    said = f", data: requirements/soak.csv, data_sha256: {hashlib.sha256(log).hexdigest()}}}"
    files = with_test("CDR", "57 W h +/- 0.1 W h (k = 2)")
    record = str(files["requirements/records.yaml"]).rstrip().removesuffix("}") + said
    project = make(tmp_path, {**files, "requirements/records.yaml": record})
    project.write({"requirements/soak.csv": log})
    done = project.verify()
    assert (done.status, by_id(done.json)["PWR-020"]["compliance"]) == (0, "C")
    project.write({"requirements/soak.csv": log.replace(b"12.1", b"12.2")})
    done = project.verify()
    altered = by_id(done.json)["PWR-020"]
    assert (done.status, altered["compliance"], altered["closed"]) == (2, "open", False)
    assert "the data file of TR-001 has changed" in altered["why"]


def test_an_analysis_that_does_not_read_the_log_judges_no_test(tmp_path: Path) -> None:
    """The record says that a test took place, the analysis what its log shows."""
    log = b"day,energy\n0,57\n"
    test = TEST.replace("REVIEW", "CDR").replace(
        "quantity: energy", "analysis: NAME, quantity: left"
    )
    reads = (
        "from typing import NamedTuple\nfrom pathlib import Path\n"
        "from closeout import analysis\nfrom closeout.units import V, W_h\n"
        "class Left(NamedTuple):\n    left: W_h\n"
        '@analysis(validated_by="tests/test_all.py")\n'
        "def reads(voltage: V) -> Left:\n    '''Energy of a log.'''\n"
        "    return Left(float(Path('requirements/soak.csv').read_text().split(',')[-1]))\n"
        '@analysis(validated_by="tests/test_all.py")\n'
        "def guesses(voltage: V) -> Left:\n    '''Energy of no log.'''\n"
        "    return Left(voltage * 5)\n"
    )
    for name, code in (("reads", "C"), ("guesses", "open")):
        files = base(power=power(item(), test.replace("NAME", name)))
        files |= {"analyses/log.py": reads, "requirements/soak.csv": log}
        files["requirements/records.yaml"] = (
            "records:\n  - {id: TR-001, method: test, date: 2026-01-02,"
            " data: requirements/soak.csv}\n"
        )
        project = make(tmp_path / name, files)
        for _ in range(2):  # the second from the store
            found = by_id(project.verify().json)["PWR-020"]
            assert found["compliance"] == code, found["why"]
    assert "guesses did not read requirements/soak.csv" in found["why"]
