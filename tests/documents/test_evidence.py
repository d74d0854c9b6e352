"""The test summary and the evidence sheets of a lantern: what went well, and all that did not.

The project is invented; every expected number is worked out by hand, as written beside it.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from tests.cli.project import base, make
from tests.render.reading import markdown_tables

CHARTER = """\
project:
  name: Lantern
  note: Invented for a test.
  reviews: [SRR, CDR, AR]
  next_review: CDR
articles:
  - {id: LAMP-1, title: Lamp for qualification, model: qualification, build: B}
"""

CURVE = "h,V\n0,12\n47,10\n"

# 41 h - 0.5 h = 40.5 h is 4.5 h short of 45 h; 47 h - 0.5 h = 46.5 h is 1.5 h above it.
LIFE = """\
requirements:
  - id: LMP-010
    issue: B
    title: Burning time
    statement: The lamp shall burn for at least 45 h.
    source: Invented
    verification:
      - {method: test, level: system, stage: qualification, review: CDR,
         quantity: burning_time, at_least: 45 h, records: [TR-001, TR-002, TR-003],
         given: {cell_temperature: 20 degC}, within: {cell_temperature: 2 K}}
  - id: LMP-020
    title: Label
    statement: The lamp shall carry a label.
    source: Invented
    verification:
      - {method: inspection, level: system, stage: qualification, review: CDR, records: [IN-001]}
  - id: LMP-030
    title: Handle
    statement: The lamp shall have a handle.
    source: Invented
    verification:
      - {method: review of design, level: system, stage: qualification, review: CDR,
         records: [RD-001]}
records:
  - {id: TR-001, method: test, title: First burning, document: LAN-TR-1, date: 2026-02-01,
     article: {LAMP-1: A}, judged: {LMP-010: B}, data: data/first.csv, data_sha256: "DIGEST",
     conditions: {cell_temperature: 21 degC +/- 0.1 K (k = 2)},
     measured: {burning_time: 41 h +/- 0.5 h (k = 2)}}
  - {id: TR-002, method: test, title: Second burning, document: LAN-TR-2, date: 2026-03-01,
     article: {LAMP-1: B}, judged: {LMP-010: {issue: B, date: 2026-04-01}}, replaces: TR-001,
     data: data/second.csv, conditions: {cell_temperature: 26 degC +/- 0.1 K (k = 2)},
     same_design: Cells and case are those of the drawings., differs: [no paint],
     measured: {burning_time: 47 h +/- 0.5 h (k = 2)}}
  - {id: TR-003, method: test, title: Third burning, document: LAN-TP-3,
     article: {LAMP-1: B}, judged: {LMP-010: B}}
  - {id: IN-001, method: inspection, title: Look at the label, document: LAN-IN-1,
     date: 2026-03-02, article: {LAMP-1: A}, judged: {LMP-020: A}, outcome: met}
  - {id: RD-001, method: review of design, title: Handle on the drawing, document: LAN-RD-1,
     date: 2026-01-02, judged: {LMP-030: A}, outcome: met}
nonconformances:
  - {id: NCR-001, article: {LAMP-1: A}, found_by: TR-001, requirements: [LMP-010], class: major,
     disposition: rework, cause: A weak cell., corrective_action: Cell renewed.,
     retest: [TR-002], closed_by: TR-002}
"""


@pytest.fixture(scope="module")
def text(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("evidence")
    life = LIFE.replace("DIGEST", hashlib.sha256(b"something else").hexdigest())
    files = base(charter=CHARTER)
    files |= {"requirements/life.yaml": life, "data/first.csv": CURVE, "data/second.csv": CURVE}
    return made(folder, files)


def made(folder: Path, files: dict[str, str | bytes]) -> str:
    run = make(folder / "p", files).run("package", "--review", "CDR", "-o", str(folder / "out"))
    assert run.status == 0, run.stderr
    return (folder / "out" / "evidence.md").read_text("utf-8")


def sheet(text: str, name: str) -> str:
    """Return the part of the document below the heading of a record."""
    (part,) = (p for p in text.split("\n### ") if p.startswith(f'<a id="E-{name}"></a>'))
    return part


def summary(text: str) -> dict[str, dict[str, str]]:
    tables = [one for one in markdown_tables(text) if one[0][:2] == ["record", "what"]]
    return {row[0]: dict(zip(t[0], row, strict=True)) for t in tables for row in t[1:]}


def test_every_record_has_a_row_and_a_sheet(text: str) -> None:
    names = ["TR-001", "TR-002", "TR-003", "IN-001", "RD-001"]
    assert list(summary(text)) == names  # tests, inspections, reviews; each in order of dates
    for name in names:
        assert sheet(text, name)
        assert f"[{name}](evidence.md#E-{name})" in text


def test_a_failed_test_that_was_replaced(text: str) -> None:
    row = summary(text)["TR-001"]
    assert row["outcome"] == "not met: LMP-010"
    assert row["made on"] == "LAMP-1 build A (now build B)"
    assert row["nonconformances"].startswith("NCR-001 closed by TR-002")
    one = sheet(text, "TR-001")
    for part in (
        "test of 2026-02-01; replaced by TR-002",
        "| replaced by | [TR-002](evidence.md#E-TR-002) |",
        "[NCR-001](verification-report.md#N-NCR-001) closed by TR-002",
        "burning_time = 41 h +/- 0.5 h (k = 2)",
        "| 40.5 h (measured 41 h) | at least 45 h | -4.5 h | not met |",
        "[LMP-010](verification-control.md#R-LMP-010)",
    ):
        assert part in one


def test_a_data_file_that_was_altered_and_one_without_a_digest(text: str) -> None:
    assert "| data file today | missing, or not the one that was recorded |" in sheet(
        text, "TR-001"
    )
    assert "the record has no digest of it" in sheet(text, "TR-002")


def test_the_conditions_stand_beside_what_is_required_and_by_whom(text: str) -> None:
    """At 21 degC the test was within 2 K of 20 degC, at 26 degC it was not."""
    for name, as_run, verdict in (
        ("TR-001", "21 degC", "within"),
        ("TR-002", "26 degC", "outside"),
    ):
        (found,) = (t for t in markdown_tables(sheet(text, name)) if t[0][0] == "condition")
        (row,) = (dict(zip(found[0], one, strict=True)) for one in found[1:])
        assert row["as run"].startswith(as_run)
        assert row["required"] == "20 degC"
        assert (row["verdict"], row["required by"]) == (verdict, "LMP-010")


def test_what_differed_and_when_it_was_judged_anew(text: str) -> None:
    assert summary(text)["TR-002"]["what differed"] == "no paint"
    one = sheet(text, "TR-002")
    assert "| replaces | [TR-001](evidence.md#E-TR-001) |" in one
    assert "LMP-010 issue B (judged anew on 2026-04-01)" in one
    assert "Cells and case are those of the drawings." in one


def test_a_planned_test_is_said_to_be_planned(text: str) -> None:
    row = summary(text)["TR-003"]
    assert row["date"] == "planned, not yet performed"
    assert row["outcome"] == ""
    one = sheet(text, "TR-003")
    assert "test, planned, not yet performed." in one
    assert "| to be made on | LAMP-1 build B (its present build) |" in one
    assert "| to be judged | LMP-010 issue B |" in one


def test_a_record_of_a_former_build_says_why_it_does_not_count(text: str) -> None:
    one = sheet(text, "IN-001")
    assert "LAMP-1 build A (now build B)" in one
    assert "re-opened: IN-001 was made on LAMP-1 build A, LAMP-1 is at build B" in one


def test_matrix_and_control_document_lead_to_the_sheets(tmp_path: Path) -> None:
    project = make(tmp_path / "p", {**base(charter=CHARTER), "requirements/life.yaml": LIFE})
    run = project.run("package", "--review", "CDR", "-o", str(tmp_path / "out"))
    assert run.status == 0, run.stderr
    for name in ("compliance-matrix", "verification-control"):
        assert "(evidence.md#E-IN-001)" in (tmp_path / f"out/{name}.md").read_text("utf-8")
        assert 'href="evidence.html#E-IN-001"' in (tmp_path / f"out/{name}.html").read_text("utf-8")
    alone = project.run("matrix", "--review", "CDR", "-o", str(tmp_path / "matrix.md"))
    assert alone.status == 0, alone.stderr
    assert "evidence.md" not in (tmp_path / "matrix.md").read_text("utf-8")
