"""Limits near the end of a proof, evaluations that are raised, and why something is not proved."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.cli.project import Project, make

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

CHARTER = """\
project:
  name: Parabola
  note: Invented for a test.
  reviews: [CDR]
  next_review: CDR
"""

PARAMETERS = """\
parameters:
  part: {value: 0.35, range: [0.3, 0.8], source: Invented}
  across: {value: 0.4, range: [-1, 2], source: Invented}
  along: {value: 0.4, range: [-1, 1.5], source: Invented}
  hold: {value: 0.11 min, source: Invented}
"""

MODULE = '''\
"""Formulas whose least and greatest values are known by hand."""
from typing import NamedTuple

from closeout import analysis, math
from closeout.units import hour, ratio


class Value(NamedTuple):
    value: ratio


class Hold(NamedTuple):
    hold_time: hour


@analysis
def parabola(part: ratio) -> Value:
    """At most 0.25, at 0.5."""
    return Value(part * (1 - part))


@analysis
def tall(part: ratio) -> Value:
    """At most 3, at 0.5, as the difference of larger numbers."""
    return Value(1003.0 - 1000.0 - 12.0 * (part - 0.5) * (part - 0.5))


@analysis
def valley(across: ratio, along: ratio) -> Value:
    """A sum of squares: at least 0, at (1, 1)."""
    return Value(100 * (along - across * across) ** 2 + (1 - across) ** 2)


@analysis
def rising(across: ratio) -> Value:
    """A power from zero: 0 to 8 for across up to 2."""
    return Value((across + 1.0) ** 1.5)


@analysis(OPTIONS)
def waves(across: ratio, along: ratio, part: ratio) -> Value:
    """Many humps, of which the lowest is at about -3.445 (by a search with scipy)."""
    one = math.sin(9 * across) * math.cos(7 * along) + math.sin(8 * part) * math.cos(9 * across)
    other = math.cos(6 * along * part) + math.sin(5 * across * part)
    return Value(one + other + 0.3 * math.sin(along))


@analysis
def march(part: ratio) -> Value:
    """Asks for one number."""
    return Value(float(part) * (1 - part))


@analysis
def holding(hold: hour) -> Hold:
    """As long as it is."""
    return Hold(hold)
'''


def judged(
    folder: Path, verification: str, *, charter: str = "", options: str = "", only: bool = False
) -> dict[str, Any]:
    """Return the entry of ``verify --json -`` for one verification."""
    text = f"""\
requirements:
  - id: R-1
    title: One
    statement: The value shall be inside its limits.
    rationale: Invented.
    verification:
      - {{method: analysis, review: CDR, {verification}}}
"""
    files = {
        "requirements/project.yaml": CHARTER + charter,
        "requirements/r.yaml": text,
        "analyses/p.yaml": PARAMETERS,
        "analyses/m.py": MODULE.replace("(OPTIONS)", options),
    }
    project = make(folder, files)
    (entry,) = project.verify().json["requirements"][0]["verification"]
    return entry


@pytest.mark.parametrize(
    ("limit", "state"),
    [
        ("0.2500001", "met"),  # nearer to the end than the tolerance of a proof
        ("0.25", "met"),  # exactly the end
        ("0.2499999999", "not met"),
        ("0.24", "not met"),
    ],
)
def test_a_proof_goes_on_until_the_limit_is_decided(tmp_path: Path, limit: str, state: str) -> None:
    entry = judged(tmp_path, f"analysis: parabola, quantity: value, at_most: {limit}")
    assert (entry["state"], entry["assurance"]) == (state, "bounded")


@pytest.mark.parametrize("limit", ["2.99999999999998", "2.9999999999999", "2.999999999"])
def test_a_limit_that_the_formula_passes_is_not_met_by_rounding(tmp_path: Path, limit: str) -> None:
    entry = judged(tmp_path, f"analysis: tall, quantity: value, at_most: {limit}")
    assert entry["state"] == "not met"
    (text,) = entry["counterexample"].values()
    again = Project(tmp_path).verify(f"--set=part={text}").json
    assert again["requirements"][0]["verification"][0]["value"] > float(limit)


@pytest.mark.parametrize(
    ("verification", "state"),
    [
        ("analysis: valley, quantity: value, at_least: 0", "met"),
        ("analysis: valley, quantity: value, at_least: 1e-6", "not met"),
        ("analysis: rising, quantity: value, at_least: 0", "met"),
        ("analysis: rising, quantity: value, at_most: 5.2", "met"),
        ("analysis: rising, quantity: value, at_most: 5.1", "not met"),
    ],
)
def test_sums_of_squares_and_powers_from_zero_are_proved(
    tmp_path: Path, verification: str, state: str
) -> None:
    entry = judged(tmp_path, verification)
    assert (entry["state"], entry["assurance"]) == (state, "bounded")
    assert entry["unproved"] is None


def test_evaluations_are_raised_by_the_analysis_and_by_the_policy(tmp_path: Path) -> None:
    row = "analysis: waves, quantity: value, at_least: -3.6"
    few, many = "  policy: {evaluations: 12}\n", "  policy: {evaluations: 4000}\n"
    entry = judged(tmp_path / "few", row, charter=few)
    assert (entry["state"], entry["assurance"]) == ("met", "searched")
    assert "do not decide" in entry["unproved"]
    project = Project(tmp_path / "few")
    project.write({"requirements/project.yaml": CHARTER + many})
    run = project.verify()  # another number of evaluations is another question
    (entry,) = run.json["requirements"][0]["verification"]
    assert (entry["state"], entry["assurance"], entry["unproved"]) == ("met", "bounded", None)
    own = judged(tmp_path / "own", row, charter=many, options="(evaluations=12)")
    assert own["assurance"] == "searched"


@pytest.mark.parametrize("wrong", ["0", "-3", "1.5", "many", "100000000000"])
def test_a_number_of_evaluations_that_is_none_is_told(tmp_path: Path, wrong: str) -> None:
    entry_of = "analysis: parabola, quantity: value, at_most: 0.3"
    judged(tmp_path, entry_of)
    project = Project(tmp_path)
    project.write({"requirements/project.yaml": f"{CHARTER}  policy: {{evaluations: {wrong}}}\n"})
    told = project.verify().json["problems"]
    assert any("evaluations" in json.dumps(problem) for problem in told)


def test_an_analysis_says_a_number_of_evaluations(tmp_path: Path) -> None:
    row = "analysis: waves, quantity: value, at_least: -9"
    judged(tmp_path, row, options="(evaluations=0)")
    told = [p["message"] for p in Project(tmp_path).verify().json["problems"]]
    assert any("evaluations is 0" in message for message in told)


def test_why_it_is_not_proved_is_shown(tmp_path: Path) -> None:
    entry = judged(tmp_path, "analysis: march, quantity: value, at_most: 0.3")
    assert (entry["state"], entry["assurance"]) == ("met", "searched")
    assert "one number is needed" in entry["unproved"]
    project = Project(tmp_path)
    for name in ("R-1", "march"):
        shown = " ".join(project.run("explain", name).stdout.split())
        assert "not proved: " in shown
        assert "one number is needed" in shown
    project.run("package", "-o", "out")
    report = next((tmp_path / "out").rglob("*march*.md")).read_text()
    assert "Not proved: value: " in report


def test_verify_and_explain_say_the_same_where_the_evaluations_are_used_up(tmp_path: Path) -> None:
    row = "analysis: waves, quantity: value, at_least: -3.6"
    entry = judged(tmp_path, row, charter="  policy: {evaluations: 12}\n")
    project = Project(tmp_path)
    project.run("matrix", "-o", "m.json")
    (whole,) = json.loads((tmp_path / "m.json").read_text())["requirements"][0]["verification"]
    for key in ("state", "assurance", "unproved", "margin", "low"):
        assert whole[key] == entry[key]


@pytest.mark.parametrize("of", ["limit", "value"])
@pytest.mark.parametrize("enforce", ["true", "false"])
def test_a_margin_in_another_unit_is_met_where_it_is_met_exactly(
    tmp_path: Path, of: str, enforce: str
) -> None:
    limit = {"limit": "0.1 min", "value": "0.099 min"}[of]
    policy = f"[{{quantity: hold_time, of: {of}, required: {{CDR: 10 %}}, enforce: {enforce}}}]"
    row = f"analysis: holding, quantity: hold_time, at_least: {limit}"
    entry = judged(tmp_path, row, charter=f"  margins: {policy}\n")
    assert entry["state"] == "met"
    problems = Project(tmp_path).verify().json["problems"]
    assert [p for p in problems if p["rule"] == "margin-policy"] == []
