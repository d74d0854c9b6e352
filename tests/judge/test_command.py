"""A few runs of the command itself: the dossier's numbers, and a shortfall that is replayed."""

from __future__ import annotations

from math import isclose
from pathlib import Path

from tests.cli.project import base, by_id, make, power, requirement

# By hand: 11.5 V to 12.5 V times 4.75 A h to 5.25 A h is 54.625 W h to 65.625 W h, 60 W h between.
LEAST_KJ, MOST_KJ = 54.625 * 3.6, 65.625 * 3.6


def test_a_shortfall_is_found_at_a_corner_that_set_replays(tmp_path: Path):
    text = power(requirement(limit="at_least: 197 kJ, at_most: 237 kJ".replace(", ", "\n        ")))
    project = make(tmp_path / "p", base(power=text))
    run = project.verify()
    assert run.status == 1
    (entry,) = by_id(run.json)["PWR-010"]["verification"]
    assert (entry["state"], entry["unit"]) == ("not met", "kJ")
    assert entry["low"] == LEAST_KJ
    assert entry["high"] == MOST_KJ
    assert entry["value"] == 216
    assert isclose(entry["margin"], LEAST_KJ - 197, abs_tol=1e-12)
    assert entry["counterexample"] == {
        "voltage": "11.5 V exactly",
        "charge": "4.75 A h exactly",
    }
    settings = [f"--set={name}={value}" for name, value in entry["counterexample"].items()]
    again = project.verify("--only", "PWR-010", *settings)
    (at_the_corner,) = by_id(again.json)["PWR-010"]["verification"]
    assert at_the_corner["value"] == entry["low"]
    assert at_the_corner["state"] == "not met"


def test_what_is_outstanding_decides_the_status_at_each_review(tmp_path: Path):
    later = requirement(review="CDR", more="      - {method: test, review: AR}\n")
    project = make(tmp_path / "p", base(power=power(later)))
    at_cdr, at_ar = project.verify(), project.verify("--review", "AR")
    assert (at_cdr.status, at_ar.status) == (0, 1)
    for run, compliance in ((at_cdr, "C"), (at_ar, "open")):
        entry = by_id(run.json)["PWR-010"]
        assert (entry["compliance"], entry["closed"]) == (compliance, False)
        assert by_id(run.json)["SYS-010"]["compliance"] == compliance


def test_an_analysis_that_fails_is_an_error_until_its_review(tmp_path: Path):
    broken = "return Energy(voltage * charge / 0.0)"
    project = make(tmp_path / "p", base(power=power(requirement(review="AR"))))
    project.replace("analyses/energy.py", "return Energy(voltage * charge)", broken)
    assert project.verify().status == 0
    run = project.verify("--review", "AR")
    assert run.status == 2
    (entry,) = by_id(run.json)["PWR-010"]["verification"]
    assert entry["state"] == "error"
    assert "ZeroDivisionError" in entry["message"]
