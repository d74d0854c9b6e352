"""Chains by root sum square, probability and at the inputs, against closed forms outside the tool.

The propagation of uncertainty is that of JCGM 100:2008, 5.1.2 and 5.2.2, by `uncertainties`.
"""

from __future__ import annotations

from math import erf, sqrt
from pathlib import Path

import pytest
from uncertainties import ufloat

from closeout.model.answer import Assurance
from closeout.model.dossier import State
from closeout.run import Project
from tests.run.chains import Function, evidence, judged, written

# Each starts processes; a default run has the chains of test_computed_inputs.
pytestmark = pytest.mark.slow

LOW = Function("low", {"x": "1", "w": "1"}, {"a": "1", "b": "1"}, "return R(x * w, x * w + 4.0)")
MID = Function(
    "mid", {"y": "%", "w": "1"}, {"z": "1"}, "return R(y / 100.0 - w)",
    '@analysis(model_uncertainty={"z": "0.25"})',
)  # fmt: skip
TOP = Function("top", {"z": "1", "w": "1"}, {"v": "1"}, "return R(z * z / 10.0 + 3.0 * w)")
ROOTS = """
    x: {value: 10, tolerance: 0.25, source: x}
    w: {value: 3, tolerance: 0.125, source: x}
    z: {from: mid.z}
"""
ONE = ROOTS + "    y: {from: low.a}\n"
TWO = ROOTS + "    y: {from: [low.a, low.b]}\n"


def top(t: float, e: float, x, w):  # type: ignore[no-untyped-def]
    """The whole chain by hand: t is the place of y between its ends, e what mid may be off."""
    z = (x * w + 4.0 * t - w) + 0.25 * e
    return z * z / 10.0 + 3.0 * w


@pytest.mark.parametrize(("parameters", "places"), [(ONE, (0.0,)), (TWO, (0.0, 1.0))])
def test_root_sum_square_through_a_chain(
    tmp_path: Path, parameters: str, places: tuple[float, ...]
) -> None:
    """Roots are propagated once, through all their paths; what mid may be off is added whole.

    Both ends of a range of two quantities count, and no point of it is told as one to set.
    """
    said = "analysis: top, quantity: v, at_most: 1000, basis: root sum square"
    folder = written(tmp_path, parameters, (LOW, MID, TOP), [said])
    found = evidence(judged(folder))
    assert (found.state, found.assurance) == (State.MET, Assurance.LINEARISED)
    ends = []
    for t in places:
        one = top(t, 0.0, ufloat(10, 0.25), ufloat(3, 0.125))
        off = (top(t, 1.0, 10.0, 3.0) - top(t, -1.0, 10.0, 3.0)) / 2.0
        ends += [one.n - one.s - off, one.n + one.s + off]
    assert found.low == pytest.approx(min(ends), rel=1e-9)
    assert found.high == pytest.approx(max(ends), rel=1e-9)
    middle = sum(places) / len(places)
    assert found.value == pytest.approx(top(middle, 0.0, 10.0, 3.0), rel=1e-12)
    again = evidence(judged(folder, set=dict(found.at)))
    assert again.margin == found.margin


def test_many_models_below_cost_no_more_than_their_number(tmp_path: Path) -> None:
    """Twelve models, each off by 0.5: 2^12 corners would be as many proofs.

    v = sum of x + i +/- 0.5, x = 10 +/- 1: 186 +/- (12 + 6).
    """
    parts = [
        Function(
            f"m{i}", {"x": "1"}, {"y": "1"}, f"return R(x + {i}.0)",
            '@analysis(model_uncertainty={"y": "0.5"})',
        )
        for i in range(12)
    ]  # fmt: skip
    sum_of = " + ".join(f"y{i}" for i in range(12))
    top = Function("top", {f"y{i}": "1" for i in range(12)}, {"v": "1"}, f"return R({sum_of})")
    links = "".join(f"    y{i}: {{from: m{i}.y}}\n" for i in range(12))
    parameters = f"x: {{value: 10, tolerance: 1, source: x}}\n{links}"
    said = [f"analysis: top, quantity: v, at_most: 300{basis}"
            for basis in ("", ", basis: root sum square")]  # fmt: skip
    dossier = judged(written(tmp_path, parameters, [*parts, top], said))
    for number in (1, 2):
        found = evidence(dossier, number)
        assert found.low == pytest.approx(186.0 - 18.0, rel=1e-12)
        assert found.high == pytest.approx(186.0 + 18.0, rel=1e-12)


@pytest.mark.parametrize(
    ("link", "shift", "limit"),
    [
        # y = x + s, x normal about 10 with sigma 1: P(2 y <= limit) = Phi(limit / 2 - s - 10).
        ("base.low", 0.0, 23.0),
        ("base.high", 2.5, 28.0),  # its model may be off by 0.5: at the worst s = 2 + 0.5
        ("[base.low, base.high]", 2.5, 28.0),  # the worse of both ends
    ],
)
def test_a_probability_through_a_chain(
    tmp_path: Path, link: str, shift: float, limit: float
) -> None:
    base = Function(
        "base", {"x": "1"}, {"low": "1", "high": "1"}, "return R(x, x + 2.0)",
        '@analysis(model_uncertainty={"high": "0.5"})',
    )  # fmt: skip
    double = Function("double", {"y": "%"}, {"v": "1"}, "return R(y / 50.0)")
    parameters = f"""
        x: {{value: 10, sigma: 1, source: x}}
        y: {{from: {link}}}
    """
    basis = "basis: {probability: 0.9, confidence: 0.99}"
    said = f"analysis: double, quantity: v, at_most: {limit}, {basis}"
    found = evidence(judged(written(tmp_path, parameters, (base, double), [said])))
    assert found.state is State.MET
    assert found.chance is not None
    exact = 0.5 * (1.0 + erf((limit / 2.0 - shift - 10.0) / sqrt(2.0)))
    # Four standard deviations of a share of so many samples.
    four = 4.0 * sqrt(exact * (1.0 - exact) / found.chance.samples)
    assert found.chance.estimate == pytest.approx(exact, abs=four)
    assert found.chance.at_least <= exact <= found.chance.at_most


def test_a_share_is_of_the_value_in_the_unit_of_its_quantity(tmp_path: Path) -> None:
    """300 K +/- 2 % is 294 K to 306 K, also where the other end is in degC: 32.85 degC at most."""
    rates = Function(
        "rates", {"x": "K"}, {"cold": "degC", "hot": "K"}, "return R(x - 273.15 - 20.0, x)",
        '@analysis(model_uncertainty={"hot": "2 %"})',
    )  # fmt: skip
    use = Function("use", {"y": "degC"}, {"v": "degC"}, "return R(y)")
    parameters = """
        x: {value: 300 K, tolerance: 0.001 K, source: x}
        y: {from: [rates.cold, rates.hot]}
    """
    said = ["analysis: use, quantity: v, at_most: 400 degC",
            "analysis: use, quantity: v, at_most: 400 degC, basis: root sum square",
            "analysis: use, quantity: v, at_most: 20 degC"]  # fmt: skip
    dossier = judged(written(tmp_path, parameters, (rates, use), said))
    for number in (1, 2, 3):
        found = evidence(dossier, number)
        assert found.high == pytest.approx(32.85, abs=0.002), found.message
        assert found.low == pytest.approx(6.85, abs=0.002)


def test_break_even_is_of_inputs_that_can_be_set(tmp_path: Path) -> None:
    """v = z^2 / 10 + 3 w falls below 70 within what mid may be off, which nobody can set.

    With x alone, at t = 0.5 and e = 0: z = 3 x + 2 - 3, v = 70 where z^2 = 610.
    """
    said = "analysis: top, quantity: v, at_least: 70, basis: {probability: 0.9, confidence: 0.9}"
    folder = written(tmp_path, TWO, (LOW, MID, TOP), [said])
    shown = Project(folder, jobs=2).explain("A-1", width=1000).text
    part = shown.split("Break-even: v")[1].split("Sensitivity")[0]
    assert "range of y" not in part
    assert "model uncertainty" not in part
    assert "checked at points of the range only" in shown
    assert "at model uncertainty of mid.z = -1, place in the range of y = 0;" in shown
    x = (sqrt(610.0) + 1.0) / 3.0
    assert f"x  now 10  not met below {x:.5g}" in part
