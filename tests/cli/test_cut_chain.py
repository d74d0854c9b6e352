"""A chain that is cut is decided on numbers at the ends of what was cut, also between two ends."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.project import Project, base, by_id, make, power

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

# A clock that no range reads: it wakes at `tick` at the earliest, at `tick` + 2 s at the latest.
CLOCK = '''\
"""When a lantern is lit and what that leaves of the night."""
from typing import NamedTuple

from closeout import analysis
from closeout.units import s


class Wake(NamedTuple):
    earliest: s
    latest: s


class Left(NamedTuple):
    left: s


@analysis(validated_by="tests/test_all.py")
def clock(tick: s) -> Wake:
    """Wakes within two seconds."""
    return Wake(float(tick), float(tick) + 2.0)


@analysis(validated_by="tests/test_all.py", model_uncertainty={"latest": "0.5 s"})
def doubtful_clock(tick: s) -> Wake:
    """Wakes within two seconds, as far as is known."""
    return Wake(float(tick), float(tick) + 2.0)


@analysis(validated_by="tests/test_all.py")
def night(wake: s) -> Left:
    """A night of 20 s."""
    return Left(20.0 - wake)
'''

PARAMETERS = """\
parameters:
  tick: {value: 10 s, tolerance: 1 s, source: Invented}
  wake: {from: [clock.earliest, clock.latest]}
  voltage: {value: 12 V, tolerance: 0.5 V, source: Invented}
  charge: {value: 5 A h, tolerance: 5 %, source: Invented}
  cell_temperature: {value: 20 degC, condition: true, source: Invented}
"""

LEFT = """\
  - id: LIT-010
    title: Light
    statement: The lantern shall be lit at least 7.2 s before the end of the night.
    derived_from: [SYS-010]
    rationale: Invented
    source: Invented
    verification:
      - {method: analysis, level: system, stage: qualification, review: CDR, analysis: night,
         quantity: left, at_least: 7.2 s, risk: Invented}
"""


def lantern(tmp_path: Path, parameters: str = PARAMETERS) -> Project:
    files = base(parameters=parameters, **{"analyses/clock.py": CLOCK})
    return make(tmp_path / "p", {**files, "requirements/light.yaml": power(LEFT)})


def test_the_worst_of_two_ends_is_run(tmp_path: Path) -> None:
    """By hand: lit at 11 s + 2 s at the latest, 20 s - 13 s = 7 s; in the middle 8 s would pass."""
    run = lantern(tmp_path).verify("--only", "LIT-010")
    (found,) = by_id(run.json)["LIT-010"]["verification"]
    assert found["state"] == "not met"
    assert found["margin"] == pytest.approx(-0.2, abs=1e-9)


def test_what_the_model_is_off_is_run_too(tmp_path: Path) -> None:
    """By hand: 20 s - 13 s - 0.5 s = 6.5 s."""
    doubtful = PARAMETERS.replace("[clock.earliest, clock.latest]", "doubtful_clock.latest")
    run = lantern(tmp_path, doubtful).verify("--only", "LIT-010")
    (found,) = by_id(run.json)["LIT-010"]["verification"]
    assert found["state"] == "not met"
    assert found["margin"] == pytest.approx(-0.7, abs=1e-9)
