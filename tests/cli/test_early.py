"""What is verified ahead of its review: compliant, closed, and called early, in every output."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from tests.cli.project import CHARTER, Project, base, by_id, make, power, repository
from tests.cli.project import requirement as item

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

# A second verification of PWR-010 beside its analysis, as it stands in the file.
LOOK = """\
      - method: inspection
        level: system
        stage: acceptance
        review: AR
        records: [IR-1]
        risk: Invented
"""
DONE = """\
records:
  - id: IR-1
    method: inspection
    title: Invented
    document: GAN-IR-1
    date: 2026-01-01
    outcome: met
"""
PLANNED = "records:\n  - {id: IR-1, method: inspection, title: Invented}\n"


def line_of(text: str, identifier: str) -> list[str]:
    return next(line for line in text.split("\n") if line.startswith(identifier + " ")).split()


@pytest.fixture
def early(tmp_path: Path) -> Project:
    """PWR-010 is due at AR and met already; judged is CDR."""
    return make(tmp_path / "p", base(power=power(item(review="AR"))))


def test_what_is_verified_early_is_compliant_and_called_so(early: Project) -> None:
    run = early.run("verify")
    assert run.status == 0
    assert line_of(run.stdout, "PWR-010")[:6] == ["PWR-010", "C", "closed,", "ahead", "of", "plan"]
    table, _, _ = run.stdout.partition("Exit status")
    assert "\n  ahead of plan: closed although nothing of it is due" in table
    assert "3 C, 0 PC, 0 NC, 0 NA, 0 open; 3 closed of 3" in run.stdout
    document = early.verify().json
    found = by_id(document)["PWR-010"]
    assert (found["compliance"], found["closed"], found["early"], found["due"]) == (
        "C", True, True, False,
    )  # fmt: skip
    assert document["totals"]["C"] == 3
    # A parent of which one child was due and the other early is compliant, and not early itself.
    above = by_id(document)["SYS-010"]
    assert (above["compliance"], above["closed"], above["early"]) == ("C", True, False)


def test_at_its_own_review_it_is_early_no_more(early: Project) -> None:
    run = early.run("verify", "--review", "AR")
    assert line_of(run.stdout, "PWR-010")[:3] == ["PWR-010", "C", "closed"]
    assert "ahead of plan" not in run.stdout


def test_a_parent_of_early_ones_alone_is_early(early: Project) -> None:
    early.replace("requirements/frost.yaml", "review: CDR", "review: AR")
    document = early.verify().json
    above = by_id(document)["SYS-010"]
    assert (above["compliance"], above["closed"], above["early"]) == ("C", True, True)
    assert document["totals"]["C"] == document["totals"]["closed"] == 3


@pytest.mark.parametrize(
    ("record", "code", "closed"), [(DONE, "C", True), (PLANNED, "open", False)]
)
def test_a_part_that_is_early_stays_open(
    early: Project, record: str, code: str, closed: bool
) -> None:
    early.write(
        {
            "requirements/power.yaml": power(item(review="AR", more=LOOK)),
            "requirements/r.yaml": record,
        }
    )
    found = by_id(early.verify().json)["PWR-010"]
    assert (found["compliance"], found["closed"], found["early"]) == (code, closed, closed)


def test_an_early_shortfall_stays_open_until_it_is_covered(early: Project) -> None:
    early.write({"requirements/power.yaml": power(item(review="AR", limit="at_least: 197 kJ"))})
    found = by_id(early.verify().json)["PWR-010"]
    assert (found["compliance"], found["early"], found["covered"]) == ("open", False, False)
    early.write(
        {
            "requirements/w.yaml": """\
waivers:
  - id: RFW-1
    kind: waiver
    requirement: PWR-010
    accepts: {quantity: energy, at_least: 190 kJ}
    approved_by: control board
    date: 2026-01-01
    document: Invented
"""
        }
    )
    run = early.run("verify")
    # Bad news is never hidden by cover: the code says what was found.
    row = line_of(run.stdout, "PWR-010")
    assert row[:7] == ["PWR-010", "NC", "covered", "closed,", "ahead", "of", "plan"]
    assert run.status == 0


def test_open_never_stands_beside_closed(early: Project) -> None:
    for review in ("SRR", "CDR", "AR"):
        for entry in early.verify("--review", review).json["requirements"]:
            assert not (entry["compliance"] == "open" and entry["closed"]), (review, entry["id"])


def test_matrix_and_documents_say_early(early: Project) -> None:
    for name in ("m.md", "m.html", "m.csv"):
        assert early.run("matrix", "-o", name).status == 0
    rows = csv.DictReader(io.StringIO((early.path / "m.csv").read_text("utf-8"), newline=""))
    cells = next(row for row in rows if row["requirement"] == "PWR-010")
    wanted = {"compliance": "C", "close-out": "closed", "due": "no", "early": "yes"}
    assert {name: cells[name] for name in wanted} == wanted
    (row,) = [r for r in (early.path / "m.md").read_text("utf-8").split("\n") if "| PWR-010 |" in r]
    assert "| C | closed, ahead of plan |" in row
    page = (early.path / "m.html").read_text("utf-8")
    assert '<span class="closed">closed, ahead of plan</span>' in page
    assert "closed although nothing of it is due" in page
    assert early.run("package", "-o", "out").status == 0
    for name in ("verification-control.md", "verification-control.html", "index.md"):
        text = (early.path / "out" / name).read_text("utf-8")
        assert "closed although nothing of it is due" in text, name
    control = (early.path / "out/verification-control.md").read_text("utf-8")
    assert "| yes | closed, ahead of plan |" in control
    assert "C (compliant), closed, ahead of plan" in early.run("explain", "PWR-010").stdout


def test_a_test_that_is_planned_later_may_be_committed(tmp_path: Path) -> None:
    # It was verified early, and with one more verification it is not any more: nothing is lost.
    project = repository(tmp_path / "p", base(power=power(item(review="AR"))))
    assert project.run("hook", "install").status == 0
    assert by_id(project.verify().json)["PWR-010"]["compliance"] == "C"
    project.write(
        {
            "requirements/power.yaml": power(item(review="AR", issue="A", more=LOOK)),
            "requirements/r.yaml": PLANNED,
        }
    )
    project.git("add", "--all")
    run = project.attempt("commit", "--message", "one more test")
    assert run.status == 0, run.said
    assert by_id(project.verify().json)["PWR-010"]["compliance"] == "open"


def test_a_project_that_turns_to_the_next_review_loses_what_fails_there(tmp_path: Path) -> None:
    project = repository(tmp_path / "p", base(power=power(item(review="AR"))))
    assert project.run("hook", "install").status == 0
    project.write(
        {"requirements/project.yaml": CHARTER.replace("next_review: CDR", "next_review: AR")}
    )
    project.replace("analyses/parameters.yaml", "12 V", "11 V")
    project.git("add", "--all")
    run = project.attempt("commit", "--message", "worse")
    assert run.status == 1
    assert "PWR-010  C -> NC" in run.said
