"""What a verdict rests on: worst case proved, root sum square, probability; end to end.

The invented project is a divider of two resistors, as in many a textbook: two of 10 kohm, 1 %.
"""

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
  name: Divider
  note: Invented for a test.
  reviews: [CDR]
  next_review: CDR
"""

PARAMETERS = """\
parameters:
  upper: {value: 10 kohm, tolerance: 1 %, source: Invented}
  lower: {value: 10 kohm, tolerance: 1 %, source: Invented}
  chance: {value: 0.5, range: [0, 1], source: Invented}
  load: {value: 0, condition: declared, source: Invented}
"""

MODULE = '''\
"""A divider, a march, and a number that is as likely here as there."""
from typing import NamedTuple

from closeout import analysis
from closeout.units import kohm, ratio


class Divider(NamedTuple):
    share: ratio


@analysis
def divider(upper: kohm, lower: kohm) -> Divider:
    """Share of the voltage at the lower resistor."""
    return Divider(lower / (upper + lower))


class March(NamedTuple):
    end: ratio


@analysis
def march(upper: kohm, lower: kohm) -> March:
    """The same by a loop that asks for one number."""
    total, step = 0.0, 0
    while step < float(3.0):
        total, step = total + lower / (upper + lower) / 3.0, step + 1
    return March(float(total))


class Peak(NamedTuple):
    height: ratio


@analysis
def peak(chance: ratio) -> Peak:
    """10 at 0.7771, and -60 000 at 0: a wide range that must not hide its upper end."""
    return Peak(10.0 - 1e5 * (chance - 0.7771) * (chance - 0.7771))


class Pole(NamedTuple):
    value: ratio


@analysis
def pole(chance: ratio) -> Pole:
    """Has no value at one end of its argument."""
    return Pole(1.0 / (chance - 1.0))


class Chance(NamedTuple):
    where: ratio


@analysis
def chance_of(chance: ratio, load: ratio) -> Chance:
    """A number that is uniform between 0 and 1, raised by a load."""
    return Chance(chance + load)
'''


MODULE += '''

@analysis
def depth_of(chance: ratio) -> Chance:
    """As likely anywhere between -10 and 0."""
    return Chance(-10.0 * chance)
'''


def judged(
    tmp_path: Path, *verifications: str, safety: str = "", margins: str = ""
) -> dict[str, Any]:
    """Return what ``verify --json -`` says of one requirement with these verifications."""
    rows = "".join(
        f"      - {{method: analysis, review: CDR, {verification}}}\n"
        for verification in verifications
    )
    text = (
        "requirements:\n  - id: R-1\n    title: Share\n    source: Invented\n"
        f"    statement: The divider shall divide.\n{safety}    verification:\n{rows}"
    )
    project: Project = make(
        tmp_path,
        {
            "requirements/project.yaml": CHARTER + margins,
            "requirements/r.yaml": text,
            "analyses/p.yaml": PARAMETERS,
            "analyses/m.py": MODULE,
        },
    )
    found: dict[str, Any] = project.verify().json
    return found


def entries(document: dict[str, Any]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = document["requirements"][0]["verification"]
    return found


def test_extreme_value_and_root_sum_square_differ_as_the_closed_forms_say(tmp_path: Path) -> None:
    # r2/(r1 + r2): extremes 9.9/20 = 0.495 and 10.1/20 = 0.505. By root sum square each resistor
    # alone moves the share by (10/19.9 - 10/20.1)/2 and (10.1/20.1 - 9.9/19.9)/2, which are equal:
    # 0.5 -+ sqrt(2) (10/19.9 - 10/20.1)/2.
    half = 2**0.5 * (10 / 19.9 - 10 / 20.1) / 2
    share = "analysis: divider, quantity: share, at_least: 0.494, at_most: 0.506"
    worst, linear = entries(judged(tmp_path, share, f"{share}, basis: root sum square"))
    assert (worst["state"], worst["assurance"]) == ("met", "bounded")
    assert worst["low"] == pytest.approx(0.495, rel=1e-6)
    assert worst["high"] == pytest.approx(0.505, rel=1e-6)
    assert linear["state"] == "met"
    assert linear["low"] == pytest.approx(0.5 - half, rel=1e-12)
    assert linear["high"] == pytest.approx(0.5 + half, rel=1e-12)
    assert linear["assurance"] == "linearised"
    assert "linearisation error" in linear["message"]


def test_a_limit_met_exactly_is_proved(tmp_path: Path) -> None:
    (entry,) = entries(judged(tmp_path, "analysis: divider, quantity: share, at_most: 0.505"))
    assert (entry["state"], entry["high"], entry["margin"]) == ("met", 0.505, 0.0)


def test_what_cannot_be_proved_is_searched_and_says_so(tmp_path: Path) -> None:
    (entry,) = entries(judged(tmp_path, "analysis: march, quantity: end, at_least: 0.494"))
    assert (entry["state"], entry["assurance"]) == ("met", "searched")
    assert entry["low"] == pytest.approx(0.495, rel=1e-12)


def test_a_counterexample_fails_when_it_is_replayed(tmp_path: Path) -> None:
    document = judged(tmp_path, "analysis: divider, quantity: share, at_least: 0.496")
    (entry,) = entries(document)
    assert (entry["state"], entry["assurance"]) == ("not met", "bounded")
    sets = [f"--set={name}={text}" for name, text in entry["counterexample"].items()]
    assert len(sets) == 2
    again = Project(tmp_path).verify(*sets).json["requirements"][0]["verification"][0]
    assert again["value"] < 0.496


@pytest.mark.parametrize(
    ("asked", "limit", "state"),
    [(0.8, 0.9, "met"), (0.95, 0.9, "not met"), (0.3, 0.5, "met"), (0.7, 0.5, "not met")],
)
def test_a_probability_is_decided(tmp_path: Path, asked: float, limit: float, state: str) -> None:
    # The number is uniform between 0 and 1, so it is at most L with the probability L.
    basis = f"basis: {{probability: {asked}, confidence: 0.9}}"
    row = f"analysis: chance_of, quantity: where, at_most: {limit}, {basis}"
    first, second = (entries(judged(tmp_path / name, row))[0] for name in ("a", "b"))
    assert (first["state"], first["assurance"]) == (state, "sampled")
    assert (first["margin"] >= 0) == (state == "met")
    assert "taken as uniform: chance" in first["message"]
    assert first == second  # the seed is the requirement's identifier


@pytest.mark.slow
@pytest.mark.parametrize(
    ("policy", "there", "not_there"),
    [
        # At most 0.8 less 25 % of the limit is at most 0.6, which has the probability 0.6.
        ("of: limit, required: {CDR: 25 %}", 0.5, 0.7),
        # A quarter of each value itself: x + x/4 is at most 0.8 up to x = 0.64.
        ("of: value, required: {CDR: 25 %}", 0.62, 0.66),
        ("of: value, required: {CDR: 0.2}", 0.5, 0.7),
    ],
)
def test_a_margin_is_held_against_a_probability(
    tmp_path: Path, policy: str, there: float, not_there: float
) -> None:
    row = "analysis: chance_of, quantity: where, at_most: 0.8, basis: "
    rows = [f"{row}{{probability: {p}, confidence: 0.9}}" for p in (there, not_there)]
    margins = f"  margins: [{{quantity: where, {policy}}}]\n"
    found = judged(tmp_path / "a", *rows, margins=margins)
    assert [entry["state"] for entry in entries(found)] == ["met", "met"]
    (told,) = [p["message"] for p in found["problems"] if p["rule"] == "margin-policy"]
    assert "is not met: with it the probability is at least 0." in told
    assert f"{not_there} required" in told
    found = judged(tmp_path / "b", *rows, margins=margins.replace("}}]", "}, enforce: true}]"))
    assert [entry["state"] for entry in entries(found)] == ["met", "not met"]
    assert [entry["margin"] >= 0 for entry in entries(found)] == [True, False]
    assert "margin-policy" not in [p["rule"] for p in found["problems"]]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("limit", "probabilities"),
    [
        # -10 times a number that is uniform from 0 to 1. Half of a value is half of its magnitude:
        # v - |v|/2 is at least -8 from v = -16/3 on, v + |v|/2 at most -2 up to v = -4.
        ("at_least: -8", (0.5, 0.56)),
        ("at_most: -2", (0.57, 0.63)),
    ],
)
def test_a_share_of_a_negative_value_is_one_of_its_magnitude(
    tmp_path: Path, limit: str, probabilities: tuple[float, float]
) -> None:
    row = f"analysis: depth_of, quantity: where, {limit}, basis: "
    rows = [f"{row}{{probability: {p}, confidence: 0.9}}" for p in probabilities]
    policy = "{quantity: where, of: value, required: {CDR: 50 %}, enforce: true}"
    found = judged(tmp_path, *rows, margins=f"  margins: [{policy}]\n")
    assert [entry["state"] for entry in entries(found)] == ["met", "not met"]


def test_a_margin_at_the_probability_itself_is_undecided(tmp_path: Path) -> None:
    row = "analysis: chance_of, quantity: where, at_most: 0.8"
    row += ", basis: {probability: 0.6, confidence: 0.99}"
    margins = "  margins: [{quantity: where, required: {CDR: 0.2}, enforce: true}]\n"
    (entry,) = entries(judged(tmp_path, row, margins=margins))
    assert entry["state"] == "open"
    assert "is undecided" in entry["message"]


def test_a_margin_of_another_dimension_is_told_of_a_probability_too(tmp_path: Path) -> None:
    row = "analysis: chance_of, quantity: where, at_most: 0.8"
    row += ", basis: {probability: 0.6, confidence: 0.99}"
    found = judged(tmp_path, row, margins="  margins: [{quantity: where, required: {CDR: 1 kg}}]\n")
    assert [p["rule"] for p in found["problems"] if p["severity"] == "error"] == ["unit"]
    assert found["exit_status"] == 2


def test_a_probability_at_the_limit_is_open(tmp_path: Path) -> None:
    # Exactly the probability that is asked: no number of samples decides it, and it is never met.
    row = "analysis: chance_of, quantity: where, at_most: 0.5"
    (entry,) = entries(judged(tmp_path, f"{row}, basis: {{probability: 0.5, confidence: 0.99}}"))
    assert entry["state"] == "open"


def test_a_condition_given_as_a_pair_is_no_chance(tmp_path: Path) -> None:
    # With a load of 0.3 the number is at most 0.9 with a probability of 0.6 only.
    row = "analysis: chance_of, quantity: where, at_most: 0.9, given: {load: [0, 0.3]}"
    (entry,) = entries(judged(tmp_path, f"{row}, basis: {{probability: 0.7, confidence: 0.9}}"))
    assert entry["state"] == "not met"
    assert "at load = 0.3" in entry["message"]


def test_safety_on_an_unproved_search_is_a_finding(tmp_path: Path) -> None:
    safety = "    safety: critical\n"
    loose = judged(tmp_path / "a", "analysis: march, quantity: end, at_least: 0.4", safety=safety)
    assert "safety-not-proved" in {
        p["rule"] for p in loose["problems"] if p["path"] == "requirements/r.yaml"
    }
    proved = judged(
        tmp_path / "b", "analysis: divider, quantity: share, at_least: 0.4", safety=safety
    )
    assert not [p for p in proved["problems"] if p["rule"] == "safety-not-proved"]


def test_a_wide_range_hides_no_limit_near_its_end(tmp_path: Path) -> None:
    # The maximum is 10, inside the box; corners and the inputs are all far below zero.
    row = "analysis: peak, quantity: height, at_most: 9.99"
    (entry,) = entries(judged(tmp_path, row))
    assert (entry["state"], entry["assurance"]) == ("not met", "bounded")
    assert 10.0 <= entry["high"] <= 10.0 + 1e-5
    (name, text), *_ = entry["counterexample"].items()
    again = Project(tmp_path).verify(f"--set={name}={text}").json
    assert again["requirements"][0]["verification"][0]["value"] > 9.99


def test_verify_ends_a_proof_where_the_limit_is_met(tmp_path: Path) -> None:
    # The maximum is 10; that it is at most 400 is known from the first bounds.
    (first,) = entries(judged(tmp_path, "analysis: peak, quantity: height, at_most: 400"))
    assert (first["state"], first["assurance"], first["tight"]) == ("met", "bounded", False)
    assert 10.0 < first["high"] <= 400.0
    assert first["margin"] == 400.0 - first["high"]
    project = Project(tmp_path)
    assert "  >= +" in project.run("verify").stdout
    # What is read for its numbers has them whole, and leaves verify as it was.
    assert "margin +390\n" in project.run("explain", "R-1").stdout
    project.run("matrix", "-o", "m.json")
    (whole,) = entries(json.loads((tmp_path / "m.json").read_text()))
    assert whole["tight"]
    assert whole["high"] == pytest.approx(10.0, rel=1e-6)
    assert entries(project.verify().json) == [first]
    (tmp_path / ".closeout").rename(tmp_path / "old")
    assert entries(project.verify().json) == [first]
    (asked,) = entries(project.verify("--set=chance=0.5").json)
    assert asked["tight"]


def test_a_changed_limit_runs_again_only_what_might_have_ended_elsewhere(tmp_path: Path) -> None:
    judged(
        tmp_path,
        "analysis: peak, quantity: height, at_most: 400",
        "analysis: divider, quantity: share, at_most: 0.6",
        "analysis: march, quantity: end, at_most: 0.6",
    )
    project = Project(tmp_path)
    assert "0 evaluations run" in project.run("verify").stdout
    project.replace("requirements/r.yaml", "at_most: 0.6", "at_most: 0.7")
    assert "0 evaluations run" in project.run("verify").stdout
    project.replace("requirements/r.yaml", "at_most: 400", "at_most: 300")
    run = project.run("verify").stdout
    assert "1 evaluation run" in run
    project.replace("requirements/r.yaml", "at_most: 300", "at_most: 400")
    assert "0 evaluations run" in project.run("verify").stdout


@pytest.mark.parametrize("more", ["margins", "waiver"])
def test_a_proof_goes_on_where_the_verdict_asks_how_far(tmp_path: Path, more: str) -> None:
    margins = "  margins: [{quantity: height, required: {CDR: 1 %}}]\n" if more == "margins" else ""
    judged(tmp_path, "analysis: peak, quantity: height, at_most: 400", margins=margins)
    project = Project(tmp_path)
    if more == "waiver":
        waiver = (
            "{id: W-1, kind: waiver, requirement: R-1, accepts: {quantity: height, at_most: 401}}"
        )
        project.write({"requirements/w.yaml": f"waivers:\n  - {waiver}\n"})
    (entry,) = entries(project.verify().json)
    assert entry["tight"]
    assert entry["margin"] == pytest.approx(390.0, rel=1e-6)


def test_a_limit_that_is_the_end_itself_is_met_exactly(tmp_path: Path) -> None:
    # Exactly the maximum, which is inside the box; below it by a rounding it is not met.
    (entry,) = entries(judged(tmp_path / "a", "analysis: peak, quantity: height, at_most: 10"))
    assert (entry["state"], entry["assurance"]) == ("met", "bounded")
    row = "analysis: peak, quantity: height, at_most: 9.999999999999998"
    (entry,) = entries(judged(tmp_path / "b", row))
    assert entry["state"] != "met"


def test_a_value_outside_of_its_range_is_judged_by_nothing(tmp_path: Path) -> None:
    judged(tmp_path, "analysis: peak, quantity: height, at_most: 11")
    project = Project(tmp_path)
    project.replace("analyses/p.yaml", "chance: {value: 0.5,", "chance: {value: 1.5,")
    run = project.verify()
    assert run.status == 2
    assert run.json["requirements"][0]["verification"][0]["state"] == "error"


def test_a_failure_at_a_corner_says_where(tmp_path: Path) -> None:
    (entry,) = entries(judged(tmp_path, "analysis: pole, quantity: value, at_most: 11"))
    assert entry["state"] == "error"
    assert entry["at_most"] == 11.0
    assert "ZeroDivisionError" in entry["message"]
    assert "analyses/m.py:" in entry["message"]
    assert "evaluated at chance = 1.0" in entry["message"]


MORE = '''

class Bowl(NamedTuple):
    depth: ratio


@analysis
def bowl(chance: ratio, load: ratio) -> Bowl:
    """Least where the load is zero, inside of a range around it."""
    return Bowl(chance + load * load)


@analysis
def square(chance: ratio) -> Bowl:
    """Flat at the middle, where a straight line sees nothing of it."""
    return Bowl((chance - 0.5) * (chance - 0.5))
'''


@pytest.mark.parametrize("basis", ["root sum square", "{probability: 0.9, confidence: 0.9}"])
def test_a_range_of_a_condition_is_looked_at_between_its_ends(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, basis: str
) -> None:
    # At the ends of the load it is 1.5 and more, at its middle 0 to 1.
    monkeypatch.setattr("tests.cli.test_bases.MODULE", MODULE + MORE)
    row = "analysis: bowl, quantity: depth, at_least: 1.4, given: {load: [-1, 1]}"
    (entry,) = entries(judged(tmp_path, f"{row}, basis: {basis}"))
    assert entry["state"] == "not met"
    assert "load checked at points of the range only" in entry["message"]


def test_root_sum_square_is_open_where_its_own_error_exceeds_the_margin(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # (chance - 0.5)^2 reaches 0.25, and its straight line is flat: the error shown is 0.25.
    monkeypatch.setattr("tests.cli.test_bases.MODULE", MODULE + MORE)
    row = "analysis: square, quantity: depth, at_most: {}, basis: root sum square"
    short, ample = entries(judged(tmp_path, row.format("0.2"), row.format("0.3")))
    assert (short["state"], ample["state"]) == ("open", "met")
    assert "which is more than the margin" in short["message"]
    assert short["assurance"] == ample["assurance"] == "linearised"


BOTH_WAYS = '''

class Power(NamedTuple):
    gain: W


@analysis
def both_ways(first: ratio, second: ratio) -> Power:
    """12 (a/5)^2 - 12 (b/5)^2: over 0 +/- 2 it is from -1.92 to 1.92, and each chord is flat."""
    return Power(12.0 * (first / 5.0) ** 2 - 12.0 * (second / 5.0) ** 2)


@analysis
def both_ways_by_a_library(first: ratio, second: ratio) -> Power:
    """The same, where nothing can be proved."""
    return both_ways(float(first), float(second))
'''
PAIR = """\
  first: {value: 0, range: [-2, 2], source: Invented}
  second: {value: 0, range: [-2, 2], source: Invented}
"""


def test_straight_lines_are_held_against_more_than_one_corner(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The extreme is 1.92 W, by hand; root sum square says 0 W, which meets 1.9 W by accident."""
    module = MODULE.replace("import kohm, ratio", "import W, kohm, ratio") + BOTH_WAYS
    monkeypatch.setattr("tests.cli.test_bases.MODULE", module)
    monkeypatch.setattr("tests.cli.test_bases.PARAMETERS", PARAMETERS + PAIR)
    row = "analysis: {}, quantity: gain, at_most: {} W, basis: root sum square"
    names = ("both_ways", "both_ways_by_a_library")
    found = entries(
        judged(tmp_path, *(row.format(name, at) for name in names for at in (1.9, 1.93)))
    )
    assert [one["state"] for one in found] == ["open", "met", "open", "met"]
    assert {one["assurance"] for one in found} == {"linearised"}
    told = [one["message"] for one in found]
    assert told[0] == (
        "undecided: linearisation error up to 1.92 W (against the proved extremes),"
        " which is more than the margin"
    )
    assert "error up to 1.92 W (checked at the worst corner" in told[2]


def test_a_margin_that_straight_lines_do_not_reach_is_open(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """0.25 is met by more than 0.25; with the margin that is enforced, 0.2 is not (see above)."""
    monkeypatch.setattr("tests.cli.test_bases.MODULE", MODULE + MORE)
    policy = "  margins: [{quantity: depth, of: limit, required: {CDR: 0.1}, enforce: true}]\n"
    row = "analysis: square, quantity: depth, at_most: 0.3, basis: root sum square"
    (entry,) = entries(judged(tmp_path, row, margins=policy))
    assert (entry["state"], entry["assurance"]) == ("open", "linearised")
    assert "within the linearisation error" in entry["message"]


def test_root_sum_square_of_dependent_parameters_is_told_at_its_place(tmp_path: Path) -> None:
    judged(tmp_path, "analysis: divider, quantity: share, at_least: 0.4, basis: root sum square")
    project = Project(tmp_path)
    project.replace("analyses/p.yaml", "tolerance: 1 %,", "tolerance: 1 %, group: reel,")
    run = project.verify()
    assert run.status == 2
    (problem,) = [p for p in run.json["problems"] if p["rule"] == "dependent-parameters"]
    assert problem["path"] == "requirements/r.yaml"


def test_the_counterexample_is_of_the_end_that_fails_on_numbers(tmp_path: Path) -> None:
    # Both ends of the share fail by their proved values; each point that is named has to fail.
    row = "analysis: divider, quantity: share, at_least: 0.4951, at_most: 0.505"
    (entry,) = entries(judged(tmp_path, row))
    sets = [f"--set={name}={text}" for name, text in entry["counterexample"].items()]
    again = Project(tmp_path).verify(*sets).json["requirements"][0]["verification"][0]
    assert again["value"] < 0.4951
