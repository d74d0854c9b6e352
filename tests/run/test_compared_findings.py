"""What is told of a prediction that a test does not bear out; no verdict depends on it."""

from __future__ import annotations

from pathlib import Path

import pytest

from closeout.model.compared import Standing
from closeout.model.problem import Severity
from closeout.run import Project
from tests.cli.project import make
from tests.run.predictions import (
    CHARTER,
    CRITERION,
    EXPLAINED,
    FAR,
    ITEM,
    files,
    only,
    record,
    rules,
    verified,
)

# ---- findings, and that no verdict depends on them


def test_no_verdict_depends_on_a_prediction(tmp_path: Path) -> None:
    near, far = (
        verified(tmp_path / name, files(record(measured=measured)))
        for name, measured in (("near", "energy: 58 W h +/- 1.2 W h (k = 2)"), ("far", FAR))
    )
    for one in (near, far):
        (result,) = one.requirements
        assert [(entry.state, entry.due) for entry in result.evidence] == [("met", True)] * 2
        assert result.compliance == "C"
        assert result.closed
    (test,) = [e for e in far.requirements[0].evidence if e.record]
    assert test.margin == pytest.approx(38.8)  # 80 - 1.2 - 40, whatever was predicted
    assert rules(far) == [("outside-prediction", "warning")]
    assert far.exit_status == 0
    assert rules(near) == []


@pytest.mark.parametrize("stage", ["qualification", "acceptance"])
def test_a_record_of_qualification_or_acceptance_has_to_be_explained(
    tmp_path: Path, stage: str
) -> None:
    item = ITEM.replace("{method: test,", f"{{method: test, stage: {stage},")
    far = verified(tmp_path / "a", files(record(measured=FAR), **{"requirements/power.yaml": item}))
    assert rules(far) == [("unexplained-difference", "error")]
    assert far.exit_status == 2
    said = record(measured=FAR, more=EXPLAINED)
    far = verified(tmp_path / "b", files(said, **{"requirements/power.yaml": item}))
    assert rules(far) == []
    assert far.exit_status == 0
    assert only(far).explained is not None


def test_one_of_a_safety_requirement_that_is_due_too(tmp_path: Path) -> None:
    safe = ITEM.replace("    source: Invented\n", "    source: Invented\n    safety: critical\n")
    later = safe.replace("stage: qualification, review: CDR", "stage: qualification, review: QR")
    severities = [
        rules(
            verified(
                tmp_path / name, files(record(measured=FAR), **{"requirements/power.yaml": item})
            )
        )
        for name, item in (("due", safe), ("later", later))
    ]
    assert severities == [
        [("unexplained-difference", "error")],
        [("outside-prediction", "warning")],
    ]


def test_a_replaced_record_is_shown_and_no_finding(tmp_path: Path) -> None:
    newer = record(
        "TR-2", "energy: 58 W h +/- 1.2 W h (k = 2)", day="2026-04-01", more=", replaces: TR-1"
    )
    dossier = verified(tmp_path, files(record(measured=FAR), newer))
    assert [(one.record, one.replaced) for one in dossier.compared] == [
        ("TR-1", True),
        ("TR-2", False),
    ]
    assert rules(dossier) == []


def test_two_values_that_disagree_within_what_is_stated_of_them(tmp_path: Path) -> None:
    # Within the range, and 5.3 W h from 60 W h: E_n = 5.3 / sqrt(1.2^2 + 4.509^2) = 1.136.
    far = verified(tmp_path, files(record(measured="energy: 65.3 W h +/- 1.2 W h (k = 2)")))
    assert only(far).now.standing is Standing.ASTRIDE
    assert only(far).now.normalised_error == pytest.approx(1.1358, abs=1e-3)
    assert rules(far) == [("normalised-error", "warning")]


def test_a_range_of_more_than_ten_uncertainties_tells_little(tmp_path: Path) -> None:
    # The range is 11 W h wide.
    dossiers = {
        half: verified(
            tmp_path / half, files(record(measured=f"energy: 59 W h +/- {half} W h (k = 2)"))
        )
        for half in ("1.2", "1.0")
    }
    assert rules(dossiers["1.2"]) == []
    assert rules(dossiers["1.0"]) == [("coarse-prediction", "warning")]


def test_a_what_if_changes_no_comparison(tmp_path: Path) -> None:
    item = ITEM.replace("{method: test,", "{method: test, stage: qualification,")
    near = record(measured="energy: 58 W h +/- 1.2 W h (k = 2)")
    content = files(near, **{"requirements/power.yaml": item})
    dossier = verified(tmp_path, content, set={"charge": "3.5 A h"})
    assert only(dossier).now.value == 60.0
    assert rules(dossier) == []


def test_a_criterion_of_the_project_holds_from_its_review_on(tmp_path: Path) -> None:
    charter = CHARTER.replace("  next_review: CDR\n", "  next_review: CDR\n" + CRITERION)
    content = files(record(measured="energy: 58 W h +/- 1.2 W h (k = 2)"))
    content["requirements/project.yaml"] = charter
    folder = make(tmp_path / "p", content).path
    now, later = (Project(folder, jobs=1).verify(review) for review in ("CDR", "QR"))
    assert [(c.kept, c.due) for c in only(now).correlated] == [(False, False)]
    assert rules(now) == []
    assert rules(later) == [("not-correlated", "warning")]
    analysis, test = later.requirements[0].evidence
    (said,) = analysis.not_correlated
    assert said == (
        "energy is not correlated: TR-1 measured energy -2 W h from what is predicted,"
        " 1.5 W h is allowed (VP 6.3)"
    )
    assert test.not_correlated == ()
    assert analysis.state == "met"
    assert later.exit_status == now.exit_status
    wide = charter.replace("within: 1.5 W h", "within: 2 W h")
    make(tmp_path / "p", {"requirements/project.yaml": wide})
    assert rules(Project(folder, jobs=1).verify("QR")) == []


@pytest.mark.parametrize(
    ("criterion", "rule", "told"),
    [
        ("{quantity: enrgy, within: 1 W h}", "unknown-quantity", "enrgy"),
        ("{quantity: energy, within: 1 K}", "unit", "1 K"),
        ("{quantity: energy, within: 1 W h, at: XR}", "unknown-review", "XR"),
    ],
)
def test_a_criterion_that_means_nothing_is_told(
    tmp_path: Path, criterion: str, rule: str, told: str
) -> None:
    charter = CHARTER.replace("  next", f"  correlation: [{criterion}]\n  next")
    content = files()
    content["requirements/project.yaml"] = charter
    problems = [p for p in verified(tmp_path, content).problems if p.severity is Severity.ERROR]
    assert [p.rule for p in problems] == [rule]
    assert told in problems[0].message
