"""Which record an input is found in: repeats in parts, plans, failures; what is said of its origin.

All data are invented.
"""

from __future__ import annotations

from contextlib import chdir
from pathlib import Path

import pytest
from click.testing import CliRunner

from closeout.cli import group
from closeout.model.dossier import State
from tests.run.chains import Function, evidence, judged, rules
from tests.run.test_measured_inputs import ARTICLES, PARAMETERS, git, project, record

NEWER = {"date": "2026-04-01", "replaces": "TR-2"}
REBUILT = {"article": "{BAT: FM-2}"}


def explained(folder: Path, name: str) -> str:
    """Return what `explain` prints of an item, on one line."""
    with chdir(folder):
        result = CliRunner().invoke(group, ["explain", name])
    assert result.exit_code == 0, result.output
    return " ".join(result.output.split())


# ---- which record


def test_a_test_that_is_repeated_in_parts_is_followed_to_the_part_that_measured_it(
    tmp_path: Path,
) -> None:
    part = record("TR-7", measured="{drain: 110 mA +/- 4 mA (k = 2)}", **NEWER)
    other = record("TR-8", date="2026-04-09", replaces="TR-2",
                   measured="{voltage: 12 V +/- 1 V (k = 2)}")  # fmt: skip
    found = evidence(judged(project(tmp_path, record(), part, other)))
    assert found.value == pytest.approx(2000 / 110)


def test_what_a_repeat_left_out_is_found_in_the_next(tmp_path: Path) -> None:
    without = record("TR-7", measured="{voltage: 12 V +/- 1 V (k = 2)}", **NEWER)
    last = record("TR-8", date="2026-04-09", replaces="TR-7",
                  measured="{drain: 110 mA +/- 4 mA (k = 2)}")  # fmt: skip
    found = evidence(judged(project(tmp_path, record(), without, last)))
    assert found.value == pytest.approx(2000 / 110)


def test_a_repeat_that_did_not_measure_it_leaves_no_number(tmp_path: Path) -> None:
    without = record("TR-7", measured="{voltage: 12 V +/- 1 V (k = 2)}", **NEWER)
    found = evidence(judged(project(tmp_path, record(), without)))
    assert found.state is State.OPEN
    assert "TR-2 is replaced by TR-7, which did not measure drain" in (found.message or "")


def test_a_planned_repeat_leaves_the_number_in_force(tmp_path: Path) -> None:
    planned = "  - {id: TR-7, method: test, title: Again, document: TN-2, replaces: TR-2}\n"
    found = evidence(judged(project(tmp_path, record(), planned)))
    assert (found.state, found.value) == (State.MET, pytest.approx(20.0))


def test_a_record_that_is_planned_without_a_number_is_awaited(tmp_path: Path) -> None:
    planned = "  - {id: TR-2, method: test, title: Bench, document: TN-2}\n"
    dossier = judged(project(tmp_path, planned))
    assert evidence(dossier).state is State.OPEN
    assert "drain has no value: TR-2 is planned" in (evidence(dossier).message or "")
    assert not rules(dossier)


def test_a_planned_record_that_was_replaced_without_the_number_is_awaited(tmp_path: Path) -> None:
    planned = "  - {id: TR-2, method: test, title: Bench, document: TN-2}\n"
    without = record("TR-7", measured="{voltage: 12 V +/- 1 V (k = 2)}", **NEWER)
    found = evidence(judged(project(tmp_path, planned, without)))
    assert "TR-2 is replaced by TR-7, which did not measure drain" in (found.message or "")


def test_a_what_if_sets_an_input_that_is_awaited(tmp_path: Path) -> None:
    planned = "  - {id: TR-2, method: test, title: Bench, document: TN-2}\n"
    folder = project(tmp_path, planned)
    found = evidence(judged(folder, set={"drain": "100 mA +/- 4 mA"}))
    assert (found.state, found.low) == (State.MET, pytest.approx(2000 / 104))


def test_a_data_file_that_was_altered_leaves_no_number(tmp_path: Path) -> None:
    digest = "0" * 64
    folder = project(tmp_path, record(data="analyses/data/bench.csv", data_sha256=f'"{digest}"'))
    (folder / "analyses/data").mkdir()
    (folder / "analyses/data/bench.csv").write_text("drain\n0.1\n")
    found = evidence(judged(folder))
    assert found.state is State.OPEN
    assert "the data file of TR-2 has changed" in (found.message or "")


def test_evidence_that_is_too_old_leaves_no_number(tmp_path: Path) -> None:
    folder = project(tmp_path, record(good_for="30 d"))
    charter = folder / "requirements/project.yaml"
    charter.write_text(
        charter.read_text().replace("next_review", "review_dates: {CDR: 2026-06-01}, next_review")
    )
    found = evidence(judged(folder))
    assert found.state is State.OPEN
    assert "TR-2 of 2026-03-03 is valid for 30 d" in (found.message or "")


LIMITED = """requirements:
  - id: B-1
    title: Drain
    statement: The drain shall be at most 90 mA.
    rationale: x
    source: invented
    verification:
      - {method: test, level: system, stage: qualification, review: CDR, quantity: drain,
         at_most: 90 mA, records: [TR-2]}
"""


def test_a_measured_failure_that_nobody_reported_gives_no_number(tmp_path: Path) -> None:
    """96 mA to 104 mA against at most 90 mA: not met, and no nonconformance says what is done."""
    folder = project(tmp_path, record(judged="{B-1: A}"))
    (folder / "requirements/limited.yaml").write_text(LIMITED)
    found = evidence(judged(folder))
    assert found.state is State.OPEN
    assert "TR-2 found B-1 not met, and has no nonconformance" in (found.message or "")


BOTH = "{drain: 100 mA +/- 4 mA (k = 2), voltage: 12 V +/- 1 V (k = 2)}"
OTHER = LIMITED.replace("B-1", "C-1").replace("drain", "voltage").replace("90 mA", "9 V")


@pytest.mark.parametrize(
    ("requirements", "state"),
    [
        ("requirements: [C-1], ", State.MET),  # of the voltage
        ("requirements: [B-1], ", State.OPEN),  # of the drain
        ("requirements: [C-1, B-1], ", State.OPEN),
        ("requirements: [C-1, A-1], ", State.OPEN),  # A-1 is of nothing that was measured
        ("", State.OPEN),
    ],
)
def test_a_nonconformance_takes_what_it_speaks_of_out_of_force(
    tmp_path: Path, requirements: str, state: State
) -> None:
    report = f"nonconformances:\n  - {{id: NCR-1, found_by: TR-2, {requirements}class: minor}}\n"
    folder = project(tmp_path, record(measured=BOTH), more=report)
    (folder / "requirements/limited.yaml").write_text(LIMITED.replace("90 mA", "120 mA"))
    (folder / "requirements/other.yaml").write_text(OTHER)
    found = evidence(judged(folder))
    assert found.state is state
    assert ("NCR-1, found by TR-2, is not closed" in (found.message or "")) is (state is State.OPEN)


def test_a_failure_of_another_quantity_that_nobody_reported_leaves_the_number(
    tmp_path: Path,
) -> None:
    folder = project(tmp_path, record(measured=BOTH, judged="{C-1: A}"))
    (folder / "requirements/other.yaml").write_text(OTHER)
    assert evidence(judged(folder)).state is State.MET


# ---- what is written beside


@pytest.mark.parametrize("key", ["condition: true", "maturity: estimated", "value: 3 mA"])
@pytest.mark.parametrize("link", ["TR-2.drain", "A-1.time.at_least"])
def test_a_measured_input_and_a_limit_take_no_key_of_a_stated_value(
    tmp_path: Path, key: str, link: str
) -> None:
    parameters = PARAMETERS.replace("TR-2.drain", f"{link}, {key}")
    found = rules(judged(project(tmp_path, parameters=parameters)))
    assert f"does not take {key.partition(':')[0]} beside" in found["linked-parameter"]


def test_an_estimate_is_what_an_analysis_finds_and_no_record(tmp_path: Path) -> None:
    parameters = """
        charge: {value: 2 A h, tolerance: 0 A h, source: x}
        drain: {range: [50 mA, 60 mA], estimate: TR-2.drain, source: x}
    """
    dossier = judged(project(tmp_path, parameters=parameters))
    assert "TR-2.drain is measured, and no estimate" in rules(dossier)["linked-parameter"]


CHAIN = """
    cells: {value: 1, tolerance: 0 %, source: x}
    lamp: {from: TR-2.drain}
    charge: {value: 2 A h, tolerance: 0 A h, source: x}
    drain: {range: [90 mA, 120 mA], estimate: load.current, source: x}
"""
LOAD = Function("load", {"lamp": "mA", "cells": "1"}, {"current": "mA"}, "return R(lamp * cells)")


def test_an_agreed_range_whose_estimate_rests_on_no_record_in_force_is_open(
    tmp_path: Path,
) -> None:
    folder = project(tmp_path / "good", parameters=CHAIN)
    (folder / "analyses/load.py").write_text(LOAD.text)
    assert evidence(judged(folder)).state is State.MET
    folder = project(tmp_path / "rebuilt", record(**REBUILT), parameters=CHAIN)
    (folder / "analyses/load.py").write_text(LOAD.text)
    dossier = judged(folder)
    found = evidence(dossier)
    assert found.state is State.OPEN
    assert "lamp has no value: TR-2 was made on BAT build FM-2" in (found.message or "")
    assert not rules(dossier)


def test_a_number_that_is_awaited_is_not_called_exact(tmp_path: Path) -> None:
    dossier = judged(project(tmp_path, record(**REBUILT)))
    assert "worst-case-of-nothing" not in {one.rule for one in dossier.problems}


# ---- what is said


def test_explain_names_record_day_build_and_coverage_factor(tmp_path: Path) -> None:
    folder = project(tmp_path)
    said = "measured: TR-2, TN-1, 2026-03-03, BAT build FM-3, expanded uncertainty, k = 2"
    for name in ("drain", "A-1"):
        assert said in explained(folder, name)


def test_a_source_that_is_written_stands_beside_the_record(tmp_path: Path) -> None:
    parameters = PARAMETERS.replace("TR-2.drain", "TR-2.drain, source: Bench log")
    text = explained(project(tmp_path, parameters=parameters), "drain")
    assert "Bench log; measured: TR-2, TN-1" in text


def test_a_raised_uncertainty_is_said_with_what_was_stated(tmp_path: Path) -> None:
    folder = project(tmp_path, record(measured="{drain: 100 mA +/- 4 mA (k = 1)}"))
    text = explained(folder, "drain")
    assert "100 mA +/- 8 mA" in text
    assert "expanded uncertainty, k = 2, raised from 4 mA (k = 1)" in text


def test_explain_says_why_there_is_no_number(tmp_path: Path) -> None:
    folder = project(tmp_path, record(**REBUILT))
    text = explained(folder, "drain")
    assert "measured: TR-2.drain" in text
    assert "drain has no value: TR-2 was made on BAT build FM-2, BAT is at build FM-3" in text


def test_a_record_names_the_parameters_that_rest_on_it(tmp_path: Path) -> None:
    text = explained(project(tmp_path, articles=ARTICLES), "TR-2")
    assert "drain" in text.partition("Parameters")[2]


# ---- a state's own day


def test_a_commit_is_judged_by_its_own_records(tmp_path: Path) -> None:
    folder = project(tmp_path)
    git(folder, "init", "--quiet")
    git(folder, "add", "--all")
    git(folder, "commit", "--quiet", "--message", "x")
    newer = record("TR-7", measured="{drain: 150 mA +/- 6 mA (k = 2)}", **NEWER)
    path = folder / "requirements/records.yaml"
    path.write_text(path.read_text() + newer)
    assert evidence(judged(folder)).state is State.NOT_MET
    assert evidence(judged(folder, at="HEAD")).state is State.MET
