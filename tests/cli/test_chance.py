"""A probability as it is shown: P and what is required, no unit; and how far the quantity reaches.

Resistance less load, both normal: 400 MPa with sigma 20 MPa, 300 MPa with sigma 15 MPa. The reserve
is normal too, 100 MPa with sigma sqrt(20^2 + 15^2) = 25 MPa, and is above zero with the probability
Phi(4) = 0.99996833 (R. E. Melchers, Structural Reliability Analysis and Prediction, the fundamental
case, from memory; each step by hand).
"""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path
from statistics import NormalDist
from typing import Any

import pytest

from tests.cli.project import Project, make

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

CHARTER = """\
project:
  name: Bracket
  note: Invented for a test.
  reviews: [CDR]
  next_review: CDR
"""
PARAMETERS = """\
parameters:
  strength: {value: 400 MPa, sigma: 20 MPa, source: Invented}
  stress: {value: 300 MPa, sigma: 15 MPa, source: Invented}
"""
MODULE = '''\
"""Strength of a bracket."""
from typing import NamedTuple

from closeout import analysis
from closeout.units import MPa


class Reserve(NamedTuple):
    reserve: MPa


@analysis(validated_by="tests/test_all.py")
def bracket(strength: MPa, stress: MPa) -> Reserve:
    """Strength less stress."""
    return Reserve(strength - stress)
'''
TRUE = NormalDist().cdf(4.0)


def bracket(tmp_path: Path, probability: str, confidence: str = "0.95") -> Project:
    return make(
        tmp_path / "p",
        {
            "requirements/project.yaml": CHARTER,
            "requirements/r.yaml": f"""\
requirements:
  - id: R-1
    title: Strength
    source: Invented
    statement: The bracket shall hold.
    verification:
      - {{method: analysis, review: CDR, risk: RA 1, analysis: bracket, quantity: reserve,
          at_least: 0 MPa, basis: {{probability: {probability}, confidence: {confidence}}}}}
""",
            "analyses/p.yaml": PARAMETERS,
            "analyses/bracket.py": MODULE,
            "tests/test_all.py": "",
        },
    )


def entry(project: Project) -> dict[str, Any]:
    found: dict[str, Any] = project.verify().json["requirements"][0]["verification"][0]
    return found


def test_a_margin_of_probability_has_no_unit_and_says_what_it_is_taken_from(tmp_path: Path) -> None:
    project = bracket(tmp_path, "0.9999")
    found = entry(project)
    assert (found["state"], found["unit"], found["margin_unit"]) == ("met", "MPa", "1")
    chance = found["probability"]
    assert chance["required"] == 0.9999
    assert chance["confidence"] == 0.95
    assert 0.9999 <= chance["at_least"] < TRUE < chance["at_most"] <= 1.0
    assert found["margin"] == chance["at_least"] - 0.9999
    assert (found["value"], found["low"], found["high"]) == (None, None, None)

    terminal = project.run("verify").stdout
    shown = re.sub(r"\s+", " ", project.run("explain", "R-1").stdout)
    wanted = (
        r"reserve, at least 0 MPa, probability at least 0\.9999, judged probability 0\.9999\d+,"
        r" margin \+\d\.\d+e-5 "
    )
    assert re.search(wanted, shown)
    assert not re.search(r"margin \S+ MPa", terminal + shown)


def test_a_table_for_machines_has_the_unit_of_the_margin_beside_it(tmp_path: Path) -> None:
    project = bracket(tmp_path, "0.9999")
    run = project.run("matrix", "-o", "m.csv")
    assert run.status == 0, run.stderr
    (row,) = csv.DictReader(io.StringIO((project.path / "m.csv").read_text("utf-8")))
    assert (row["unit"], row["margin unit"], row["judged value"]) == ("MPa", "1", "")
    assert 0.0 < float(row["margin"]) < 1e-4


@pytest.mark.slow
def test_how_far_the_quantity_reaches_is_told_in_its_unit(tmp_path: Path) -> None:
    """99.99 % of all reserves lie above 100 MPa - 3.719 x 25 MPa = 7.025 MPa.

    It is bounded from the samples that showed that 99.99 % of all lie above 0 MPa, so it does too.
    """
    project = bracket(tmp_path, "0.9999")
    exact = 100.0 + 25.0 * NormalDist().inv_cdf(1e-4)
    out = project.path / "out"
    assert project.run("package", "--review", "CDR", "-o", str(out)).status == 0
    report = "".join(path.read_text("utf-8") for path in sorted(out.rglob("*.md")))
    for text in (project.run("explain", "R-1").stdout, report):
        found = re.search(
            r"tolerance bounds: with confidence 95 %, at least 99.99 % of all values are above"
            r" (\S+) MPa",
            re.sub(r"\s+", " ", text),
        )
        assert found is not None
        assert 0.0 <= float(found[1]) < exact


@pytest.mark.parametrize(
    ("probability", "confidence", "told"),
    [
        ("0.9999999", "0.95", True),
        ("0.999997", "0.95", True),
        # 1 - 3.518e-6, by ln 0.025 / 2^20.
        ("0.9999964", "0.95", False),
        ("0.9999", "0.95", False),
    ],
)
def test_a_probability_that_samples_can_never_show_is_told_by_lint(
    tmp_path: Path, probability: str, confidence: str, *, told: bool
) -> None:
    project = bracket(tmp_path, probability, confidence)
    run = project.run("lint")
    assert ("probability-out-of-reach" in run.stdout) is told
    assert run.status == (1 if told else 0), run.stdout
    if told:
        text = re.sub(r"\s+", " ", run.stdout)
        assert f"requires the probability {probability}, confidence 0.95" in text
        assert "at most 0.99999648 can be shown" in text
        assert not (project.path / ".closeout" / "answers").exists()


def test_nearly_certain_is_not_shown_as_certain(tmp_path: Path) -> None:
    project = bracket(tmp_path, "0.9999999")
    found = entry(project)
    assert (found["state"], found["basis"]) == ("not met", "probability 0.9999999, confidence 0.95")
    texts = project.run("verify").stdout + project.run("explain", "R-1").stdout
    assert "0.9999999 required" in texts
    assert not re.search(r"probability 1\b(?!\.)|\b1 required", texts)
