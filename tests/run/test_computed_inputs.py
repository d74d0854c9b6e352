"""Analyses that feed analyses: bounds, cuts, bases, messages, what-ifs, and never an old value.

Expected values are worked out by hand beside each test, or sampled with NumPy outside the tool.
"""

from __future__ import annotations

from math import sqrt
from pathlib import Path

import numpy
import pytest

from closeout.model.answer import Assurance
from closeout.model.dossier import State
from closeout.run import Project, UserError
from tests.run.chains import Function, evidence, judged, rules, written

FEED = Function(
    "feed", {"supply": "m^3/s", "area": "m^2"}, {"flow": "m^3/s"}, "return R(supply * area / 2.0)"
)
TANK = Function(
    "tank",
    {"flow": "m^3/h", "area": "m^2", "run_time": "min"},
    {"level": "m"},
    "return R(flow * run_time / 60.0 / area)",
)
HEAT = Function("heat", {"level": "cm", "area": "m^2"}, {"rise": "K"}, "return R(level * area)")
PARAMETERS = """
    area: {value: 2 m^2, tolerance: 0.1 m^2, source: x}
    supply: {value: 0.2 m^3/s, tolerance: 0.01 m^3/s, source: x}
    run_time: {value: 1 min, condition: true, source: x}
    flow: {from: feed.flow}
    level: {from: tank.level}
"""
RUN = "given: {run_time: [50 s, 70 s]}"


def test_a_chain_is_bounded_tighter_than_by_extents_and_holds_its_samples(tmp_path: Path) -> None:
    """rise = 100 area (supply 3600 area / 2) run_time / 60 / area = 3000 supply run_time area."""
    folder = written(
        tmp_path, PARAMETERS, (FEED, TANK, HEAT),
        [f"analysis: heat, quantity: rise, at_most: 2000 K, {RUN}"],
    )  # fmt: skip
    found = evidence(judged(folder))
    assert (found.state, found.assurance) == (State.MET, Assurance.BOUNDED)
    assert found.low is not None
    assert found.high is not None
    # Extremes by hand; the area acts once, and not three times as through extents.
    assert found.low == pytest.approx(3000 * 0.19 * 50 / 60 * 1.9, rel=1e-9)
    assert found.high == pytest.approx(3000 * 0.21 * 70 / 60 * 2.1, rel=1e-9)
    flow = numpy.array([0.19 * 1.9 / 2, 0.21 * 2.1 / 2]) * 3600
    level = numpy.array([flow[0] * 50 / 3600 / 2.1, flow[1] * 70 / 3600 / 1.9]) * 100
    extents = level[0] * 1.9, level[1] * 2.1
    assert extents[0] < found.low < found.high < extents[1]
    draw = numpy.random.default_rng(7)
    area, supply, time = (
        draw.uniform(low, high, 100_000) for low, high in ((1.9, 2.1), (0.19, 0.21), (50, 70))
    )
    rise = (supply * area / 2 * 3600) * (time / 60) / 60 / area * 100 * area
    assert found.low <= rise.min() < rise.max() <= found.high
    assert dict(found.at).keys() == {"area", "supply", "run_time"}


MARCH = Function(
    "march", {"a": "1"}, {"up": "1", "down": "1"}, "a = float(a)\nreturn R(2.0 + a, 6.0 - a)"
)
SUM = Function("total", {"hot": "1", "cold": "1"}, {"power": "W"}, "return R(hot + cold)")
CUT = """
    a: {value: 2, tolerance: 0.5, source: x}
    hot: {from: march.up}
    cold: {from: march.down}
"""


def test_bounds_of_a_cut_chain_that_meet_the_limit_are_met_and_replay(tmp_path: Path) -> None:
    """hot is 3.5 to 4.5, cold is 3.5 to 4.5: the sum of the ends is at most 9."""
    folder = written(
        tmp_path, CUT, (MARCH, SUM), ["analysis: total, quantity: power, at_most: 9.5 W"]
    )
    found = evidence(judged(folder))
    assert (found.state, found.assurance, found.high) == (State.MET, Assurance.SEARCHED, 9.0)
    assert "march is searched" in (found.unproved or "")
    again = evidence(judged(folder, set=dict(found.at)))
    assert again.value == found.high
    assert again.margin == found.margin


def test_ends_that_cannot_occur_together_are_no_shortfall(tmp_path: Path) -> None:
    """hot + cold is 8 wherever a is, while the ends alone allow 9."""
    folder = written(
        tmp_path, CUT, (MARCH, SUM), ["analysis: total, quantity: power, at_most: 8.5 W"]
    )
    found = evidence(judged(folder))
    assert found.state is State.OPEN
    assert found.message is not None
    assert "the ends of hot and cold were not reached together" in found.message
    assert not found.counterexample


def test_a_shortfall_of_a_cut_chain_is_shown_by_a_run_of_the_whole(tmp_path: Path) -> None:
    """With down = 6 - a / 2 the sum is 8 + a / 2: 9.25 at a = 2.5."""
    march = Function(
        "march", {"a": "1"}, {"up": "1", "down": "1"}, MARCH.body.replace("6.0 - a", "6.0 - a / 2")
    )
    folder = written(
        tmp_path, CUT, (march, SUM), ["analysis: total, quantity: power, at_most: 8.5 W"]
    )
    found = evidence(judged(folder))
    assert (found.state, found.assurance) == (State.NOT_MET, Assurance.SEARCHED)
    assert found.counterexample == (("a", "2.5 exactly"),)
    assert found.margin == -0.75
    again = evidence(judged(folder, set=dict(found.counterexample)))
    assert (again.state, again.margin) == (State.NOT_MET, -0.75)


RATE = Function(
    "rate", {"x": "1"}, {"low": "1", "high": "1"}, "return R(x, x + 2.0)",
    mark='@analysis(model_uncertainty={"high": "0.5"})',
)  # fmt: skip
USE = Function("use", {"y": "1", "z": "1"}, {"power": "W"}, "return R(3.0 * y + z)")
RANGED = """
    x: {value: 10, tolerance: 0.3, source: x}
    z: {value: 1, tolerance: 0.4, source: x}
    y: {from: [rate.low, rate.high]}
"""


@pytest.mark.parametrize(
    ("basis", "low", "high"),
    [
        # y = x + t (2 + 0.5 e), t in [0, 1], e in [-1, 1]; power = 3 y + z.
        ("worst case", 3 * 9.7 + 0.6, 3 * (10.3 + 2.5) + 1.4),
        # Both ends of t and e count; about each, x and z by root sum square.
        ("root sum square", 31 - sqrt(0.9**2 + 0.4**2), 31 + 7.5 + sqrt(0.9**2 + 0.4**2)),
    ],
)
def test_a_range_of_two_quantities_and_the_model_below(
    tmp_path: Path, basis: str, low: float, high: float
) -> None:
    said = f"analysis: use, quantity: power, at_most: 100 W, basis: {basis}"
    folder = written(tmp_path, RANGED, (RATE, USE), [said])
    found = evidence(judged(folder))
    assert found.low == pytest.approx(low, rel=1e-6)
    assert found.high == pytest.approx(high, rel=1e-6)
    if basis == "worst case":
        assert found.assurance is Assurance.BOUNDED
        again = evidence(judged(folder, set=dict(found.at)))
        assert again.value == pytest.approx(found.high, rel=1e-12)
        assert dict(found.at).keys() == {"x", "z", "y"}


def test_nominal_is_in_the_middle_of_a_range(tmp_path: Path) -> None:
    """y = 10 + 0.5 * 2 = 11, power = 34."""
    said = "analysis: use, quantity: power, at_most: 100 W, basis: nominal"
    found = evidence(judged(written(tmp_path, RANGED, (RATE, USE), [said])))
    assert (found.value, found.low) == (34.0, None)


def test_a_probability_takes_both_ends_of_a_range(tmp_path: Path) -> None:
    """At t = 1, e = 1 power is above 37 for nearly all x and z, at t = 0 below 33."""
    basis = "basis: {probability: 0.9, confidence: 0.9}"
    folder = written(
        tmp_path, RANGED, (RATE, USE),
        [f"analysis: use, quantity: power, at_most: {limit} W, {basis}" for limit in (36, 40)],
    )  # fmt: skip
    dossier = judged(folder)
    assert [evidence(dossier, n).state for n in (1, 2)] == [State.NOT_MET, State.MET]
    # No one point decides a chance, so there is none to set: it would be one sample.
    assert [(one.at, one.counterexample) for one in (evidence(dossier, 1),)] == [((), ())]


CASES = Function(
    "sites", {"x": "1"}, {"angle": "*deg"}, 'return R({"North": x * 10.0, "South": x * 12.0})'
)
LOOK = Function("look", {"angle": "rad"}, {"gain": "1"}, "return R(angle)")


@pytest.mark.parametrize(
    ("link", "low", "high"),
    [("case: South", 9 * 12.0, 11 * 12.0), ("cases: all", 9 * 10.0, 11 * 12.0)],
)
def test_one_case_or_all_of_them(tmp_path: Path, link: str, low: float, high: float) -> None:
    parameters = f"""
        x: {{value: 10, tolerance: 1, source: x}}
        angle: {{from: sites.angle, {link}}}
    """
    folder = written(
        tmp_path, parameters, (CASES, LOOK), ["analysis: look, quantity: gain, at_most: 9"]
    )
    found = evidence(judged(folder))
    assert found.assurance is Assurance.BOUNDED
    assert found.low == pytest.approx(numpy.deg2rad(low), rel=1e-9)
    assert found.high == pytest.approx(numpy.deg2rad(high), rel=1e-9)


HEATED = f"analysis: heat, quantity: rise, at_most: 2000 K, {RUN}"


@pytest.mark.parametrize(
    ("old", "new", "said", "rule", "message"),
    [
        ("{from: feed.flow}", "{from: feed.flow, maturity: estimated}", HEATED,
         "linked-parameter", "flow is found by feed.flow, and does not take maturity"),
        ("{from: feed.flow}", "{from: feed.flow, condition: true}", HEATED,
         "linked-parameter", "does not take condition"),
        ("{from: feed.flow}", "{from: feed.flow, case: North}", HEATED,
         "linked-parameter", "flow has no cases"),
        ("{from: feed.flow}", "{from: feed.flows}", HEATED,
         "unknown-quantity", "feed returns no quantity flows"),
        ("{from: feed.flow}", "{from: fed.flow}", HEATED,
         "unknown-analysis", "there is no analysis or record fed"),
        ("{from: feed.flow}", "{from: heat.rise}", HEATED,
         "cycle", "flow from heat.rise, which takes level, level from tank.level, which takes"),
        ("{from: tank.level}", "{from: feed.flow}", HEATED,
         "unit", "level for heat: wrong dimension"),
        ("", "", HEATED.replace("run_time: [50", "flow: 1 m^3/h, run_time: [50"),
         "linked-parameter", "given is for conditions only; flow is found by feed.flow"),
        ("", "", HEATED.replace(f", {RUN}", ""),
         "condition-not-given", "tank takes the condition run_time"),
        ("source: x}\n    flow", "source: x}\n    other: {value: 1 s, condition: true}\n    flow",
         HEATED.replace("run_time: [50", "other: 1 s, run_time: [50"),
         "given-unused", "heat does not take other, nor does an analysis below it"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_a_link_is_said(
    tmp_path: Path, old: str, new: str, said: str, rule: str, message: str
) -> None:
    parameters = PARAMETERS.replace(old, new) if old else PARAMETERS
    found = rules(judged(written(tmp_path, parameters, (FEED, TANK, HEAT), [said])))
    assert message in found[rule]


@pytest.mark.parametrize(
    ("body", "message"),
    [
        ("raise ValueError('dry')", "flow: feed: ValueError: dry"),
        ("return R(float('nan'))", "flow: feed: "),
    ],
)
def test_a_failure_below_is_open_above_and_names_the_member(
    tmp_path: Path, body: str, message: str
) -> None:
    feed = Function(FEED.name, FEED.takes, FEED.gives, body)
    said = [HEATED, "analysis: feed, quantity: flow, at_least: 0.1 m^3/s"]
    dossier = judged(written(tmp_path, PARAMETERS, (feed, TANK, HEAT), said))
    above, own = evidence(dossier, 1), evidence(dossier, 2)
    assert above.state is State.OPEN
    assert message in (above.message or "")
    assert own.state is State.ERROR


def test_a_case_without_a_value_is_open_above(tmp_path: Path) -> None:
    sites = Function(
        "sites", {"x": "1"}, {"angle": "*deg"},
        'return R({"North": absent("never rises"), "South": x})',
    )  # fmt: skip
    parameters = """
        x: {value: 10, tolerance: 1, source: x}
        angle: {from: sites.angle, case: North}
    """
    folder = written(
        tmp_path, parameters, (sites, LOOK), ["analysis: look, quantity: gain, at_most: 9"]
    )
    found = evidence(judged(folder))
    assert found.state is State.OPEN
    assert "never rises" in (found.message or "")
    other = written(
        tmp_path / "other", parameters.replace("North", "East"), (sites, LOOK),
        ["analysis: look, quantity: gain, at_most: 9"],
    )  # fmt: skip
    assert "has no case East; it has North, South" in (evidence(judged(other)).message or "")


def test_a_what_if_moves_a_computed_input_and_keeps_its_distances(tmp_path: Path) -> None:
    """level is 583.33 cm +100 / -... : by hand from flow; see the test of bounds."""
    folder = written(tmp_path, PARAMETERS, (FEED, TANK, HEAT), [HEATED])
    plain = evidence(judged(folder))
    # level nominal: 0.2 * 3600 / 60 * 1 / 2 * 1 min = 6 m; heat takes it in cm.
    moved = evidence(judged(folder, set={"level": "7 m"}))
    assert plain.value == pytest.approx(600 * 2)
    assert moved.value == pytest.approx(700 * 2)
    # The high end of level + 1 m: (0.21 * 60 * 70 / 60 / 2 + 1) m, taken at an area of 2.1 m^2.
    assert moved.high == pytest.approx((0.21 * 60 * 70 / 60 / 2 + 1) * 100 * 2.1, rel=1e-6)
    exact = evidence(judged(folder, set={"level": "7 m exactly"}))
    assert exact.high == pytest.approx(700 * 2.1)
    below = evidence(judged(folder, set={"supply": "0.3 m^3/s"}))
    assert below.value == pytest.approx(900 * 2)


def test_only_what_rests_on_a_change_runs_again(tmp_path: Path) -> None:
    said = [HEATED, f"analysis: tank, quantity: level, at_most: 10 m, {RUN}",
            "analysis: feed, quantity: flow, at_least: 0.1 m^3/s"]  # fmt: skip
    folder = written(tmp_path, PARAMETERS, (FEED, TANK, HEAT), said)
    first = judged(folder)
    assert judged(folder).scale.evaluated == 0
    path = folder / "analyses/heat.py"
    path.write_text(path.read_text().replace("level * area", "level * area + 0.0"))
    only_heat = judged(folder)
    assert only_heat.scale.evaluated == 1
    path = folder / "analyses/feed.py"
    path.write_text(path.read_text().replace("/ 2.0", "/ 2.5"))
    after = judged(folder)
    assert after.scale.evaluated == 3
    fresh = judged(written(tmp_path / "fresh", PARAMETERS, (FEED, TANK, HEAT), said))
    for number in (1, 2, 3):
        assert evidence(fresh, number).margin == evidence(first, number).margin
    assert evidence(after).high == pytest.approx((evidence(first).high or 0.0) / 1.25)


def test_a_file_that_a_member_reads_is_part_of_what_is_above(tmp_path: Path) -> None:
    feed = Function(
        "feed", {"supply": "m^3/s", "area": "m^2"}, {"flow": "m^3/s"},
        "return R(supply * area / float(open('analyses/data/loss.txt').read()))",
    )  # fmt: skip
    folder = written(tmp_path, PARAMETERS, (feed, TANK, HEAT), [HEATED])
    (folder / "analyses/data").mkdir()
    (folder / "analyses/data/loss.txt").write_text("2.0")
    before = evidence(judged(folder)).value
    (folder / "analyses/data/loss.txt").write_text("4.0")
    assert evidence(judged(folder)).value == pytest.approx((before or 0.0) / 2)


def test_two_analyses_of_one_name_in_two_modules(tmp_path: Path) -> None:
    one = Function("f", {"x": "1"}, {"y": "1"}, "return R(x + 1.0)")
    folder = written(
        tmp_path, "x: {value: 1, tolerance: 0.5, source: x}\n y: {from: g.f.z}",
        (one,), ["analysis: f.f, quantity: w, at_most: 9"],
    )  # fmt: skip
    below = Function("f", {"x": "1"}, {"z": "1"}, "return R(2.0 * x)")
    above = Function("f", {"y": "1", "x": "1"}, {"w": "1"}, "return R(y - x)")
    (folder / "analyses/g.py").write_text(below.text)
    (folder / "analyses/f.py").write_text(above.text)
    found = evidence(judged(folder))
    assert (found.low, found.high) == (pytest.approx(0.5), pytest.approx(1.5))


def test_an_agreed_range_has_to_contain_its_estimate(tmp_path: Path) -> None:
    agreed = PARAMETERS.replace(
        "flow: {from: feed.flow}",
        "flow: {range: [640 m^3/h, 800 m^3/h], estimate: feed.flow, source: x}",
    )
    folder = written(tmp_path, agreed, (FEED, TANK, HEAT), [HEATED])
    dossier = judged(folder)
    assert evidence(dossier).state is State.MET
    assert not rules(dossier)
    # By hand: flow is at most 0.23 * 2.1 / 2 * 3600 = 869.4 m^3/h.
    after = judged(folder, set={"supply": "0.22 m^3/s"})
    assert evidence(after).state is State.OPEN
    assert "does not contain what feed.flow finds" in (evidence(after).message or "")
    assert "to 869.4 m^3/h, with supply=0.22 m^3/s" in rules(after)["estimate-outside-range"]


def test_a_limit_is_an_input(tmp_path: Path) -> None:
    parameters = """
        x: {value: 1, tolerance: 0.5, source: x}
        floor: {from: A-1.y.at_least}
    """
    one = Function("one", {"x": "1"}, {"y": "1"}, "return R(x)")
    two = Function("two", {"x": "1", "floor": "%"}, {"w": "1"}, "return R(x - floor / 100.0)")
    said = ["analysis: one, quantity: y, at_least: 0.25",
            "analysis: two, quantity: w, at_least: 0.2"]  # fmt: skip
    found = evidence(judged(written(tmp_path, parameters, (one, two), said)), 2)
    assert (found.low, found.high) == (pytest.approx(0.25), pytest.approx(1.25))


def test_a_counterexample_of_a_moved_input_replays(tmp_path: Path) -> None:
    """torque 0.8 N m at the inputs keeps its distances, so that 0.8 - 0.15 are left somewhere."""
    parameters = """
        current: {value: 2 A, tolerance: 0.1 A, source: x}
        lever: {value: 0.05 m, tolerance: 0.001 m, source: x}
        torque: {from: motor.torque}
    """
    motor = Function("motor", {"current": "A"}, {"torque": "N m"}, "return R(0.5 * current)")
    grip = Function("grip", {"torque": "N m", "lever": "m"}, {"force": "N"},
                    "return R(torque / lever)")  # fmt: skip
    folder = written(tmp_path, parameters, (motor, grip),
                     ["analysis: grip, quantity: force, at_least: 15.5 N"])  # fmt: skip
    found = evidence(judged(folder, set={"torque": "0.8 N m"}))
    assert found.state is State.NOT_MET
    assert found.low == pytest.approx((0.8 - 0.05) / 0.051)
    again = evidence(judged(folder, set=dict(found.counterexample)))
    assert (again.state, again.value) == (State.NOT_MET, pytest.approx(found.low))


def test_an_agreed_range_may_end_where_the_estimate_ends(tmp_path: Path) -> None:
    """1.795 * 0.48 is 0.8616, and a last bit less in doubles."""
    parameters = """
        current: {value: 1.9 A, tolerance: 0.105 A, source: x}
        constant: {value: 0.5 N m/A, tolerance: 0.02 N m/A, source: x}
        torque: {range: [0.8616 N m, 1.0426 N m], estimate: motor.torque, source: x}
    """
    motor = Function("motor", {"current": "A", "constant": "N m/A"}, {"torque": "N m"},
                     "return R(current * constant)")  # fmt: skip
    grip = Function("grip", {"torque": "N m"}, {"force": "N"}, "return R(torque / 0.05)")
    folder = written(tmp_path, parameters, (motor, grip),
                     ["analysis: grip, quantity: force, at_least: 15 N"])  # fmt: skip
    dossier = judged(folder)
    assert not rules(dossier)
    assert evidence(dossier).state is State.MET


def test_a_probability_over_a_failing_member_is_open(tmp_path: Path) -> None:
    parameters = "x: {value: 0.1, tolerance: 0.5, source: x}\n y: {from: root.y}"
    root = Function("root", {"x": "1"}, {"y": "1"}, "return R(sqrt(x))")
    top = Function("top", {"y": "1"}, {"w": "1"}, "return R(2.0 * y)")
    said = ["analysis: top, quantity: w, at_most: 9,"
            " basis: {probability: 0.9, confidence: 0.9}"]  # fmt: skip
    found = evidence(judged(written(tmp_path, parameters, (root, top), said)))
    assert found.state is State.OPEN
    assert "root: ValueError: math domain error" in (found.message or "")


def test_a_program_evaluates_a_chain_with_inputs_below(tmp_path: Path) -> None:
    """0.3 m^3/s * 2 m^2 / 2 for 1 min over 2 m^2 is 9 m; times 2 m^2, in cm."""
    folder = written(tmp_path, PARAMETERS, (FEED, TANK, HEAT), [HEATED])
    project = Project(folder, jobs=2)
    assert float(project.evaluate("heat")["rise"]) == pytest.approx(1200)  # type: ignore[arg-type]
    more = project.evaluate("heat", supply="0.3 m^3/s", run_time="60 s")["rise"]
    assert float(more) == pytest.approx(1800)  # type: ignore[arg-type]
    with pytest.raises(UserError, match="heat does not take loss"):
        project.evaluate("heat", loss="3 %")


WARM = Function("warm", {"air": "K", "a": "1"}, {"y": "1"},
                "return R(float(air) / 100.0 + float(a))")  # fmt: skip
ABOVE = Function("above", {"y": "1", "a": "1"}, {"sum": "1"}, "return R(y + a)")
AIR = """
    air: {value: 15 degC, condition: true, source: x}
    a: {value: 1.7, range: [1.1, 2.3], source: x}
    y: {from: warm.y}
"""


@pytest.mark.parametrize("analysis", ["warm, quantity: y", "above, quantity: sum"])
def test_a_point_is_shown_in_the_amounts_that_were_written(tmp_path: Path, analysis: str) -> None:
    """10 degC is 283.15 K, and back 9.999999999999977 degC in doubles; and it replays."""
    said = f"analysis: {analysis}, at_least: 10, given: {{air: [10 degC, 20 degC]}}"
    folder = written(tmp_path, AIR, (WARM, ABOVE), [said])
    found = evidence(judged(folder))
    assert dict(found.counterexample or found.at)["air"] == "10 degC exactly"
    assert dict(found.at)["a"] in ("1.1 exactly", "2.3 exactly")
    again = evidence(judged(folder, set=dict(found.at)))
    assert (again.value, again.margin) == (found.low, found.margin)


@pytest.mark.parametrize(
    ("old", "new", "cause"),
    [
        ("{from: feed.flow}", "{from: heat.rise}",
         "the computed input level cannot be found: computed inputs lead back to themselves: flow"
         " from heat.rise, which takes level, level from tank.level, which takes flow"
         " (level in analyses/all.yaml)"),
        ("{from: feed.flow}", "{from: feed.flow, case: North}",
         "the computed input flow cannot be found: flow has no cases (flow in analyses/all.yaml)"),
        ("{from: feed.flow}", "{from: feed.flows}",
         "the computed input flow cannot be found: feed returns no quantity flows"),
        ("{from: feed.flow}", "{from: broken.flow}",
         "the computed input flow cannot be found: broken cannot be used"
         " (flow in analyses/all.yaml)"),
    ],
)  # fmt: skip
def test_why_a_computed_input_cannot_be_found_is_said_where_it_is_taken(
    tmp_path: Path, old: str, new: str, cause: str
) -> None:
    folder = written(tmp_path, PARAMETERS.replace(old, new), (FEED, TANK, HEAT), [HEATED])
    broken = Function("broken", {"area": "m^2"}, {"flow": "m^3/s"}, "return R(area)")
    (folder / "analyses/broken.py").write_text(broken.text + "\n\nraise ValueError('dry')\n")
    assert cause in (evidence(judged(folder)).message or "")


@pytest.mark.parametrize("basis", ["worst case", "nominal"])
def test_a_missing_case_is_said_with_the_link_that_names_it(tmp_path: Path, basis: str) -> None:
    parameters = """
        x: {value: 10, tolerance: 1, source: x}
        angle: {from: sites.angle, case: East}
        gain: {from: look.gain}
    """
    above = Function("above", {"gain": "1"}, {"w": "1"}, "return R(gain)")
    folder = written(
        tmp_path, parameters, (CASES, LOOK, above),
        [f"analysis: above, quantity: w, at_most: 9, basis: {basis}"],
    )  # fmt: skip
    said = "has no case East; it has North, South (angle in analyses/all.yaml)"
    assert said in (evidence(judged(folder)).message or "")
