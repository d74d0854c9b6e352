"""Inputs that records measured: their numbers act at once, and only while they are in force."""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import Any

import pytest
from uncertainties import ufloat

from closeout.model.dossier import State
from tests.cli.project import GIT
from tests.run.chains import Function, evidence, judged, rules, written

LIFE = Function("life", {"charge": "A h", "drain": "mA"}, {"time": "h"},
                "return R(charge / drain * 1000.0)")  # fmt: skip
BELOW = Function("cells", {"charge": "A h"}, {"left": "A h"}, "return R(charge * 0.5)")
PARAMETERS = """
    charge: {value: 2 A h, tolerance: 0 A h, source: x}
    drain: {from: TR-2.drain}
"""
SAID = ["analysis: life, quantity: time, at_least: 15 h"]
ARTICLES = "articles:\n  - {id: BAT, title: Battery, model: flight, build: FM-3}\n"


def record(name: str = "TR-2", **keys: str) -> str:
    """Return a record that measured the drain on the battery."""
    said = {
        "method": "test", "title": "Bench", "document": "TN-1", "date": "2026-03-03",
        "article": "{BAT: FM-3}", "measured": "{drain: 100 mA +/- 4 mA (k = 2)}", **keys,
    }  # fmt: skip
    return f"  - {{id: {name}, {', '.join(f'{key}: {text}' for key, text in said.items())}}}\n"


def project(
    folder: Path,
    *records: str,
    parameters: str = PARAMETERS,
    more: str = "",
    articles: str = ARTICLES,
) -> Path:
    written(folder, parameters, (LIFE,), SAID)
    text = "records:\n" + "".join(records or (record(),))
    (folder / "requirements/records.yaml").write_text(articles + text + more)
    return folder


def test_a_measured_input_is_its_value_and_expanded_uncertainty(tmp_path: Path) -> None:
    """2 A h over 96 mA to 104 mA: 20.83 h to 19.23 h."""
    found = evidence(judged(project(tmp_path)))
    assert (found.low, found.high) == (pytest.approx(2000 / 104), pytest.approx(2000 / 96))
    assert found.state is State.MET


def test_an_uncertainty_of_less_than_the_projects_k_is_raised(tmp_path: Path) -> None:
    """u = 4 mA, so U = 8 mA at k = 2 (JCGM 100:2008, 6.2)."""
    folder = project(tmp_path, record(measured="{drain: 100 mA +/- 4 mA (k = 1)}"))
    assert evidence(judged(folder)).low == pytest.approx(2000 / 108)


def test_a_count_has_no_spread(tmp_path: Path) -> None:
    said = "{drain: {value: 100 mA, exact: a setting}}"
    found = evidence(judged(project(tmp_path, record(measured=said))))
    assert found.value == pytest.approx(20.0)


def test_what_replaces_the_record_acts_at_once(tmp_path: Path) -> None:
    newer = record("TR-7", date="2026-04-01", replaces="TR-2",
                   measured="{drain: 150 mA +/- 6 mA (k = 2)}")  # fmt: skip
    dossier = judged(project(tmp_path, record(), newer))
    assert evidence(dossier).state is State.NOT_MET
    assert evidence(dossier).low == pytest.approx(2000 / 156)
    (used,) = (u for e in dossier.evaluations for u in e.inputs if u.name == "drain")
    assert "measured: TR-7, which replaces TR-2, TN-1, 2026-04-01" in (used.source or "")
    assert "expanded uncertainty, k = 2" in (used.source or "")


OPEN_REPORT = (
    "nonconformances:\n  - {id: NCR-1, found_by: TR-2, requirements: [A-1], class: minor,"
    " article: {BAT: FM-3}}\n"
)


@pytest.mark.parametrize(
    ("keys", "more", "articles", "why"),
    [
        ({"date": "2099-01-01"}, "", ARTICLES, "TR-2"),
        (
            {"article": "{BAT: FM-2}"},
            "",
            ARTICLES,
            "TR-2 was made on BAT build FM-2, BAT is at build FM-3",
        ),
        ({"outcome": "not met"}, "", ARTICLES, "the outcome of TR-2 is not met"),
        ({}, OPEN_REPORT, ARTICLES, "NCR-1, found by TR-2, is not closed"),
    ],
)
def test_a_record_out_of_force_leaves_open_what_rests_on_it(
    tmp_path: Path, keys: dict[str, str], more: str, articles: str, why: str
) -> None:
    folder = project(tmp_path, record(**keys), more=more, articles=articles)
    dossier = judged(folder)
    found = evidence(dossier)
    assert found.state is State.OPEN
    assert "drain has no value" in (found.message or "")
    assert why in (found.message or "")
    assert not {"unknown-parameter", "unknown-analysis", "linked-parameter"} & rules(dossier).keys()
    # A what-if may still say a value.
    assert evidence(judged(folder, set={"drain": "100 mA exactly"})).state is State.MET


def test_it_is_open_through_a_chain(tmp_path: Path) -> None:
    parameters = """
        cells: {value: 3, tolerance: 0 %, source: x}
        drain: {from: load.current}
        lamp: {from: TR-2.drain}
        charge: {value: 2 A h, tolerance: 0 A h, source: x}
    """
    takes, gives = {"lamp": "mA", "cells": "1"}, {"current": "mA"}
    load = Function("load", takes, gives, "return R(lamp * cells)")
    folder = project(tmp_path, record(article="{BAT: FM-2}"), parameters=parameters)
    (folder / "analyses/load.py").write_text(load.text)
    found = evidence(judged(folder))
    assert found.state is State.OPEN
    assert "lamp has no value: TR-2 was made on BAT build FM-2" in (found.message or "")


@pytest.mark.parametrize(
    ("link", "measured", "rule", "message"),
    [
        ("TR-2.drane", None, "unknown-quantity", "TR-2 did not measure drane"),
        ("TR-9.drain", None, "unknown-analysis", "there is no analysis or record TR-9"),
        ("[TR-2.drain, TR-2.drain]", None, "linked-parameter", "is not the end of a range"),
        ("TR-2.drain", "{drain: 100 mA}", "linked-parameter", "states no uncertainty of drain"),
        ("TR-2.drain", "{drain: 100 mV +/- 1 mV (k = 2)}", "unit", "drain for life"),
    ],
)
def test_what_is_wrong_with_a_measured_input_is_said(
    tmp_path: Path, link: str, measured: str | None, rule: str, message: str
) -> None:
    keys = {} if measured is None else {"measured": measured}
    parameters = PARAMETERS.replace("TR-2.drain", link)
    dossier = judged(project(tmp_path, record(**keys), parameters=parameters))
    assert message in rules(dossier)[rule]


def stated(value: str, source: str = "TR-2") -> str:
    return f"""
        charge: {{value: 2 A h, tolerance: 0 A h, source: x}}
        drain: {{value: {value}, tolerance: 5 mA, source: {source}}}
    """


@pytest.mark.parametrize("source", ["TR-2", "{record: TR-2}"])
def test_a_stated_value_encloses_what_its_source_measured(tmp_path: Path, source: str) -> None:
    """100 +/- 4 mA lies within 99 +/- 5 mA, and not within 98 +/- 5 mA."""
    good = project(tmp_path / "good", parameters=stated("99 mA", source))
    assert not rules(judged(good))
    wrong = project(tmp_path / "wrong", parameters=stated("98 mA", source))
    message = rules(judged(wrong))["measured-outside-declared"]
    assert message == (
        "drain is declared as 98 mA +/- 5 mA, and TR-2 measured 100 mA +/- 4 mA (k = 2)"
    )


def test_the_newest_record_counts_as_the_source(tmp_path: Path) -> None:
    newer = record("TR-7", date="2026-04-01", replaces="TR-2",
                   measured="{drain: 150 mA +/- 6 mA (k = 2)}")  # fmt: skip
    dossier = judged(project(tmp_path, record(), newer, parameters=stated("100 mA")))
    assert "TR-7 measured 150 mA" in rules(dossier)["measured-outside-declared"]
    said = {one.rule: one.message for one in dossier.problems}
    assert said["source-not-in-force"] == "TR-2, the source of drain, is replaced by TR-7"


def test_a_record_that_is_no_record_is_said(tmp_path: Path) -> None:
    dossier = judged(project(tmp_path, parameters=stated("100 mA", "{record: TR-3}")))
    assert rules(dossier)["dangling-reference"] == "there is no record TR-3"


def test_the_states_date_decides(tmp_path: Path) -> None:
    folder = project(tmp_path, record(date="2026-05-05"))
    assert evidence(judged(folder, today="2026-05-04")).state is State.OPEN
    assert evidence(judged(folder, today="2026-05-05")).state is State.MET


def git(folder: Path, *words: str) -> Any:
    return subprocess.run(["git", *words], cwd=folder, env={**GIT}, check=True, capture_output=True)


def test_a_changed_record_changes_what_rests_on_it_alone(tmp_path: Path) -> None:
    folder = project(tmp_path)
    (folder / "analyses/cells.py").write_text(BELOW.text)
    path = folder / "requirements/all.yaml"
    path.write_text(
        path.read_text()
        + path.read_text()
        .partition("\n")[2]
        .replace("A-1", "A-2")
        .replace("life, quantity: time, at_least: 15 h", "cells, quantity: left, at_least: 0.5 A h")
    )
    first = judged(folder)
    records = folder / "requirements/records.yaml"
    records.write_text(records.read_text().replace("100 mA", "101 mA"))
    after = judged(folder)
    assert after.scale.evaluated == 1
    assert evidence(after, 2) == evidence(first, 2)
    assert evidence(after).value == pytest.approx(2000 / 101)


def test_the_only_quantity_of_a_source_is_what_it_measured(tmp_path: Path) -> None:
    measured = "{sleep_drain: 100 mA +/- 4 mA (k = 2)}"
    folder = project(tmp_path, record(measured=measured), parameters=stated("98 mA"))
    assert "TR-2 measured 100 mA" in rules(judged(folder))["measured-outside-declared"]


# By hand: time = 2000 / drain, drain normal with 100 mA and u = U / k (JCGM 100:2008, 6.2, 7.2.3).
NORMAL = record(measured="{drain: 100 mA +/- 5 mA (k = 2.5)}")


def test_a_probability_draws_a_measured_input_as_normal(tmp_path: Path) -> None:
    """u = 5 mA / 2.5 = 2 mA: drain is above 105 mA with 0.0062097, in 62 of 10^4 samples.

    A uniform distribution over the expanded uncertainty has nothing beyond 105 mA. The share is the
    tail of the normal distribution beyond 2.5 standard deviations (its tables).
    """
    limit = f"at_least: {2000 / 105} h"
    folder = project(tmp_path, NORMAL)
    path = folder / "requirements/all.yaml"
    basis = "basis: {probability: 0.999, confidence: 0.9}"
    path.write_text(path.read_text().replace("at_least: 15 h", f"{limit}, {basis}"))
    dossier = judged(folder)
    found = evidence(dossier)
    assert found.state is State.NOT_MET
    assert found.chance is not None
    assert found.chance.at_least <= 1 - 0.0062097 <= found.chance.at_most
    assert "drawn-as-uniform" not in {one.rule for one in dossier.problems}


def test_the_worst_case_and_root_sum_square_of_a_measured_input(tmp_path: Path) -> None:
    """Of an uncertainty every normal input has three times, as a sigma: 3 * 2 mA; slope linear."""
    folder = project(tmp_path, NORMAL)
    assert evidence(judged(folder)).low == pytest.approx(2000 / 105)
    path = folder / "requirements/all.yaml"
    linear = Function(
        "life", {"charge": "A h", "drain": "mA"}, {"time": "h"}, "return R(40.0 - drain / 5.0)"
    )
    (folder / "analyses/life.py").write_text(linear.text)
    path.write_text(path.read_text().replace("15 h", "15 h, basis: root sum square"))
    value = 40 - ufloat(100, 5 / 2.5) / 5
    found = evidence(judged(folder))
    assert found.low == pytest.approx(value.n - 3 * value.s)
    assert found.high == pytest.approx(value.n + 3 * value.s)


def test_the_uncertainty_of_a_prediction_takes_a_measured_input_as_normal(tmp_path: Path) -> None:
    """19 h +/- 1 h against 2000 / 100 h; U_y = 2 u_y by `uncertainties` (JCGM 100, 5.1.2)."""
    other = record(
        "TR-5", article="{UNIT: A}", measured="{time: 19 h +/- 1 h (k = 2)}", date="2026-03-05"
    )
    folder = project(
        tmp_path, NORMAL, other,
        articles=ARTICLES + "  - {id: UNIT, title: Unit, model: flight, build: A}\n",
    )  # fmt: skip
    (one,) = [one for one in judged(folder).compared if one.record == "TR-5"]
    predicted = 2000 / ufloat(100, 5 / 2.5)
    assert one.now.expanded == pytest.approx(2 * predicted.s, rel=1e-5)
    error = (19 - 20) / (1 + (2 * predicted.s) ** 2) ** 0.5
    assert one.now.normalised_error == pytest.approx(error, rel=1e-5)


@pytest.mark.parametrize("source", ["TR-1", "{record: TR-1}"])
def test_a_source_under_a_former_identifier_is_looked_for_and_checked(
    tmp_path: Path, source: str
) -> None:
    renamed = record(formerly="TR-1")
    folder = project(tmp_path, renamed, parameters=stated("98 mA", source))
    dossier = judged(folder)
    found = rules(dossier)
    assert found["dangling-reference"] == "there is no record TR-1"
    assert "TR-2 measured 100 mA" in found["measured-outside-declared"]
    cures = {one.rule: one.cure for one in dossier.problems}
    assert cures["dangling-reference"] == "did you mean TR-2 (formerly TR-1)?"


def test_an_input_from_a_former_identifier_is_told_the_one_of_today(tmp_path: Path) -> None:
    parameters = PARAMETERS.replace("TR-2.drain", "TR-1.drain")
    dossier = judged(project(tmp_path, record(formerly="TR-1"), parameters=parameters))
    cures = {one.rule: one.cure for one in dossier.problems}
    assert cures["unknown-analysis"] == "did you mean TR-2 (formerly TR-1)?"
