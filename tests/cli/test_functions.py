"""Functions of closeout.math in an analysis, from the formula to verdict, chance and derivation.

A bolted joint, invented: 30 kN +/- 3 kN on bolts of 8 kN +/- 0.4 kN each; a strength of 250 MPa, a
stress of 150 MPa, with sigmas of 12 MPa and 16 MPa about means that are known to 5 MPa. Every
expected value is by hand, Phi by Python's statistics.
"""

from __future__ import annotations

import re
from pathlib import Path
from statistics import NormalDist

import pytest

from tests.cli.project import make

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

CHARTER = """\
project:
  name: Joint
  note: Invented for a test.
  reviews: [CDR]
  next_review: CDR
"""
PARAMETERS = """\
parameters:
  pull: {value: 30, tolerance: 3, source: Invented}
  each: {value: 8, tolerance: 0.4, source: Invented}
  strength: {value: 250 MPa, tolerance: 5 MPa, source: Invented}
  stress: {value: 150 MPa, tolerance: 5 MPa, source: Invented}
"""
MODULE = '''\
"""Bolts and their probability of failure."""
from typing import NamedTuple

from closeout import analysis
from closeout.math import asinh, cbrt, ceil, erf, hypot, log2, maximum, normal_cdf, sign
from closeout.units import MPa, ratio


class Joint(NamedTuple):
    bolts: ratio
    chance: ratio
    worst: MPa
    other: ratio


@analysis(validated_by="tests/test_all.py")
def joint(pull: ratio, each: ratio, strength: MPa, stress: MPa) -> Joint:
    """Number of bolts, the probability of failure, the greatest of three, and all the rest."""
    beta = (strength - stress) / hypot(12.0, 16.0)
    rest = sign(pull) * cbrt(each) + log2(each) + asinh(pull) + erf(each / 8.0)
    return Joint(ceil(pull / each), normal_cdf(-beta), maximum(stress, 2.0 * each, pull), rest)
'''
ROWS = (
    "quantity: bolts, at_most: 5",
    "quantity: chance, at_most: 4e-6",
    "quantity: worst, at_most: 155 MPa",
    "quantity: other, at_least: 0",
    "quantity: bolts, at_most: 4, basis: {probability: 0.5, confidence: 0.9}",
)


def test_each_is_proved_sampled_and_written_out(tmp_path: Path) -> None:
    rows = "".join(
        f"      - {{method: analysis, review: CDR, risk: RA 1, analysis: joint, {row}}}\n"
        for row in ROWS
    )
    project = make(
        tmp_path / "p",
        {
            "requirements/project.yaml": CHARTER,
            "requirements/r.yaml": "requirements:\n  - id: R-1\n    title: Joint\n"
            "    source: Invented\n    statement: The joint shall hold.\n    verification:\n"
            + rows,
            "analyses/p.yaml": PARAMETERS,
            "analyses/joint.py": MODULE,
            "tests/test_all.py": "",
        },
    )
    bolts, chance, worst, other, sampled = project.verify().json["requirements"][0]["verification"]
    for one in (bolts, chance, worst, other):
        assert (one["state"], one["assurance"]) == ("met", "bounded"), one
    # 27/8.4 = 3.2 to 33/7.6 = 4.3: four or five bolts.
    assert (bolts["low"], bolts["high"]) == (4.0, 5.0)
    # beta from 90/20 to 110/20.
    ends = [NormalDist().cdf(-beta) for beta in (5.5, 4.5)]
    assert chance["value"] == pytest.approx(NormalDist().cdf(-5.0), rel=1e-12)
    assert chance["high"] == pytest.approx(ends[1], rel=1e-6)
    assert worst["high"] == pytest.approx(155.0, rel=1e-12)
    assert sampled["state"] == "met"
    text = re.sub(r"\s+", " ", project.run("explain", "R-1").stdout)
    assert "bolts = ceil(pull / each)" in text
    assert "chance = Phi(-" in text
    assert "worst = max(stress, 2 * each, pull)" in text
    assert "sgn(pull) * cbrt(each) + log2(each) + arsinh(pull) + erf(each / 8)" in text
    assert "incomplete" not in text
