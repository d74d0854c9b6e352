"""Findings of an independent review of the package.

Each expected text is worked out beside the check from the small project's YAML, never copied from a
document.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.project import Project
from tests.documents import packages
from tests.documents.packages import Package, committed
from tests.render.reading import markdown_tables

Edit = tuple[str, str, str]
Made = Callable[..., dict[str, str]]


@pytest.fixture
def made(tmp_path: Path) -> Made:
    """Return what writes the package of the small project after edits (file, old, new)."""

    def make(*edits: Edit, more: tuple[str, ...] = ()) -> dict[str, str]:
        place = tmp_path / "buoy"
        committed(place)
        for name, old, new in edits:
            path = place / name
            text = path.read_text(encoding="utf-8")
            assert old in text, old
            path.write_text(text.replace(old, new), encoding="utf-8")
        project = Project(place)
        project.git("add", "--all")
        if edits:
            project.git("commit", "--quiet", "--date", packages.DAY, "--message", "Changed")
        run = project.run("package", "--review", "CDR", "-o", str(tmp_path / "out"), *more)
        assert run.status == 0, run.said
        return {
            str(path.relative_to(tmp_path / "out")): path.read_text(encoding="utf-8")
            for path in (tmp_path / "out").rglob("*.md")
        }

    return make


def row(text: str, first: str) -> str:
    """Return the first row of a document whose text holds this, as one line."""
    return next(
        " | ".join(cells)
        for table in markdown_tables(text)
        for cells in table[1:]
        if first in " | ".join(cells)
    )


def test_finding_01_a_case_short_of_its_limit_is_not_met(small: Package) -> None:
    # By hand: south, sqrt(0.6 x 28) = 4.099 km, at least 5.2 km; two of three are required.
    matrix = small.files["compliance-matrix.md"].decode()
    assert "3 of 3 cases met" not in matrix
    south = row(matrix.split("Annex A")[1], "LMP-020 | distance | south")
    assert not south.split(" | ")[-1].startswith("met")


def test_finding_02_a_specification_tells_how_many_cases(small: Package) -> None:
    # `cases: at least 2` of requirements/power.yaml is part of the criterion.
    specification = small.files["requirement-specification.md"].decode()
    part = specification.split("Attributes of LMP-020")[1].split("###")[0]
    assert "at least 2" in part


@pytest.mark.slow
def test_finding_03_a_limit_is_printed_as_it_was_written(made: Made) -> None:
    files = made(("requirements/power.yaml", "at_least: 4.5 km", "at_least: 5.29151 km"))
    rows = [
        " | ".join(cells)
        for table in markdown_tables(files["compliance-matrix.md"])
        for cells in table[1:]
        if cells[0] == "LMP-010" and "distance" in " | ".join(cells)
    ]
    assert rows
    assert [one for one in rows if "at least 5.29151 km" not in one] == []


@pytest.mark.slow
def test_finding_04_the_sum_has_the_limit_that_it_was_held_against(made: Made) -> None:
    # 12 W h and 20 % are 14.4 W h; 13.6296 W h - 14.4 W h is the margin of -0.77 W h.
    files = made(
        ("requirements/project.yaml", "CDR: 10 %, AR: 0 %}}", "CDR: 20 %, AR: 0 %}, enforce: true}")
    )
    report = files["analyses/night_energy.md"]
    judged = next(line for line in report.splitlines() if line.startswith("- judged"))
    assert "-0.77 W h" in judged
    assert "14.4 W h" in judged


@pytest.mark.slow
def test_finding_08_a_proposal_of_not_applicable_is_agreed_and_not_planned(made: Made) -> None:
    proposed = """  - id: HUL-040
    title: No fire
    statement: The buoy shall stay without pyrotechnic devices.
    source: {document: SHP, clause: "4.10", issue: 1}
    owner: hull
    type: design
    not_applicable: {reason: There is none.}

  - id: HUL-030"""
    files = made(("requirements/hull.yaml", "  - id: HUL-030", proposed))
    assert "plan a verification" not in row(files["open-points.md"], "HUL-040")


@pytest.mark.slow
def test_finding_09_a_retest_that_was_met_closes_a_nonconformance(made: Made) -> None:
    retest = """    document: TRN-TR-002 issue 2
    date: 2026-08-20
    article: {BUOY-QM: QM-2}
    same_design: As before.
    judged: {HUL-010: A}
    measured: {water_taken_in: 4 mL +/- 0.5 mL (k = 2)}
    replaces: TR-HUL-001
"""
    files = made(("requirements/evidence.yaml", "    document: TRN-TR-002 issue 2\n", retest))
    assert "NCR-001" in row(files["open-points.md"], "HUL-010").split(" | ")[-1]


def test_finding_10_an_uncertainty_that_is_added_is_not_deducted(small: Package) -> None:
    # At most 5 mL: 11 mL + 1 mL = 12 mL is judged.
    evidence = small.files["evidence.md"].decode()
    assert "deducted" not in row(evidence, "water_taken_in | 12 mL")


@pytest.mark.slow
def test_finding_11_a_what_if_has_nothing_to_sign(made: Made) -> None:
    files = made(more=("--set", "capacity=4 A h"))
    assert "signature" not in files["index.md"]
    listed = row(files["verification-report.md"], "+/- 4 %")
    assert "4 A h (what if; declared 5 A h)" in listed


def test_finding_13_why_a_test_stands_at_one_point_is_printed(small: Package) -> None:
    texts = [data.decode() for name, data in small.files.items() if name.endswith(".md")]
    assert any("The cold cell holds less." in text for text in texts)  # tested_at of PWR-010


def test_finding_14_the_document_of_a_waiver_asked_for_is_printed(small: Package) -> None:
    texts = [data.decode() for name, data in small.files.items() if name.endswith(".md")]
    assert any("TRN-RFD-002" in text for text in texts)


def test_finding_17_a_statement_that_is_signed_names_the_deviation(small: Package) -> None:
    # SYS-010 rests on LMP-010, which is not met, under deviation RFD-001 (evidence.yaml).
    assert "RFD-001" in small.files["statement-of-compliance.md"].decode()


@pytest.mark.slow
def test_finding_05_a_waiver_that_reaches_is_not_said_to_fall_short(made: Made) -> None:
    # South is judged 4.099 km, so 3 km is far below; another waiver covers it first.
    second = """
  - id: RFD-003
    kind: deviation
    requirement: LMP-010
    reason: Another.
    accepts: {quantity: distance, at_least: 3 km, cases: [south]}
    approved_by: board of the project
    date: 2026-08-04
    document: TRN-RFD-003
    expires: AR
  - id: RFD-002"""
    files = made(("requirements/evidence.yaml", "\n  - id: RFD-002", second))
    assert "does not cover" not in row(files["verification-report.md"], "RFD-003")


def test_a_board_reads_what_a_waiver_would_accept(small: Package) -> None:
    # RFD-002 accepts 0.5 W h; the surplus is judged 10 W x 4.1 h - 40 W h = 1 W h.
    asked = row(small.files["index.md"].decode(), "approve deviation RFD-002")
    assert "It accepts surplus at least 0.5 W h; judged 1 W h." in asked
