"""An analysis is one and the same, whether it is named by its function or by module.function."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.cli.project import make
from tests.graph.projects import build, requirement, requirements, spec

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

CHARTER = "project:\n  name: Peak\n  note: Invented for a test.\n  reviews: [CDR]\n"

PARAMETERS = "parameters:\n  x: {value: 3, range: [0, 6], source: Invented}\n"

# Above 20 only where |x - 1| < 0.159, between the points at which a search looks first.
MODULE = '''\
"""A narrow peak, and a slope beside it."""
from typing import NamedTuple

from closeout import analysis
from closeout.math import exp
from closeout.units import ratio


class Peak(NamedTuple):
    y: ratio
    slope: ratio


@analysis
def f(x: ratio) -> Peak:
    """A narrow peak at 1, and a straight line."""
    return Peak(100.0 * exp(-((x - 1.0) * 8.0) * ((x - 1.0) * 8.0)), 2.0 * x)
'''

PEAK = "quantity: y, at_most: 20"
SLOPE = "quantity: slope, at_most: 13"


def judged(path: Path, *verifications: str) -> list[dict[str, Any]]:
    rows = "".join(f"      - {{method: analysis, {one}}}\n" for one in verifications)
    project = make(
        path,
        {
            "requirements/project.yaml": CHARTER,
            "requirements/r.yaml": (
                "requirements:\n  - id: R-1\n    title: Peak\n    source: Invented\n"
                f"    statement: The peak shall be low.\n    verification:\n{rows}"
            ),
            "analyses/p.yaml": PARAMETERS,
            "analyses/a.py": MODULE,
        },
    )
    found: list[dict[str, Any]] = project.verify().json["requirements"][0]["verification"]
    return found


@pytest.mark.parametrize("name", ["f", "a.f"])
def test_the_name_decides_neither_verdict_nor_assurance(tmp_path: Path, name: str) -> None:
    (peak,) = judged(tmp_path / "p", f"analysis: {name}, {PEAK}")
    assert (peak["state"], peak["assurance"]) == ("not met", "bounded")
    assert peak["analysis"] == "f"
    assert peak["high"] == pytest.approx(100.0, rel=1e-6)  # at x = 1, by the formula


@pytest.mark.parametrize(("first", "second"), [("f", "a.f"), ("a.f", "f")])
def test_both_names_at_once_are_one_analysis_with_all_quantities_proved(
    tmp_path: Path, first: str, second: str
) -> None:
    peak, slope = judged(
        tmp_path / "p", f"analysis: {first}, {PEAK}", f"analysis: {second}, {SLOPE}"
    )
    assert (peak["state"], peak["assurance"]) == ("not met", "bounded")
    assert (slope["state"], slope["assurance"]) == ("met", "bounded")
    assert slope["high"] == pytest.approx(12.0, rel=1e-6)  # 2 times 6


def test_both_names_ask_one_question() -> None:
    built = build(
        requirements(
            requirement(
                "R-1",
                "method: analysis, analysis: f, quantity: y, at_most: 20 W",
                "method: analysis, analysis: a.f, quantity: slope, at_most: 13 W",
            )
        ),
        spec("f", {"x": "W"}, {"y": "W", "slope": "W"}, module="analyses.a"),
        more={"analyses/p.yaml": "parameters:\n  x: {value: 3 W, range: [0 W, 6 W]}\n"},
        clean=True,
    )
    (question,) = built.plan.questions
    assert question.detail == '["slope","y"]'
