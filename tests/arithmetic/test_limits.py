"""A proof that is about limits alone ends where it is certain that they are met, and not before."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from closeout import math
from closeout.arithmetic import worst
from closeout.arithmetic.bound import prove
from closeout.model.answer import Assurance, Limit
from tests.arithmetic import formulas

KEY = ("y", None)
# Six-hump camel: from -1.0316284535 to 162.9 over this box (Dixon, Szego 1978, from memory; the
# greatest value at a corner, by hand). The least lies inside, so that it takes many evaluations.
BOX = (("x", -3.0, 3.0), ("y", -2.0, 2.0))
LEAST = -1.0316284535


def camel(point):
    x, y = point["x"], point["y"]
    return {KEY: (4 - 2.1 * x * x + math.power(x, 4) / 3) * x * x + x * y + (4 * y * y - 4) * y * y}


def proofs(*limits, about=camel):
    return prove(about, {"x": 0.5, "y": 0.5}, BOX, [KEY], limits=[Limit("y", *n) for n in limits])


def test_a_far_limit_takes_fewer_evaluations_than_the_end_itself():
    whole = prove(camel, {"x": 0.5, "y": 0.5}, BOX, [KEY])
    assert whole.proved[KEY].tight
    counts = []
    for limit in (-1.2, -2.0, -20.0):
        found = proofs((limit, None, 1e-9))
        one = found.proved[KEY]
        assert (one.certain, one.tight) == (True, False)
        assert 0.9 * (LEAST - limit) <= one.low - limit <= LEAST - limit
        assert one.high >= 162.9
        counts.append(found.evaluations)
    assert whole.evaluations > counts[0] > counts[1] > counts[2]


@pytest.mark.parametrize(
    "limits",
    [
        [(-1.0, None, 1e-9)],  # not met
        [(-2.0, 162.0, 1e-9)],  # met below, not met above
        [(-2.0, None, 1e-9), (None, 100.0, 1e-9)],  # of two verdicts
        [(LEAST, None, 1e-9)],  # nearer than rounding lets decide
        [(None, None, None)],  # the extent is wanted
        [(-2.0, None, 1e-9), (None, None, None)],
    ],
)
def test_what_is_not_met_or_wanted_whole_is_followed_to_its_ends(limits):
    one = proofs(*limits).proved[KEY]
    assert (one.certain, one.tight) == (False, True)
    assert one.low == pytest.approx(LEAST, rel=2e-6)
    assert one.seen_low == pytest.approx(LEAST, rel=2e-6)
    assert one.high == pytest.approx(162.9, rel=2e-6)


def test_of_what_nothing_is_judged_the_first_bound_is_enough():
    found = proofs()
    assert found.proved[KEY].certain
    assert found.evaluations < proofs((-20.0, None, 1e-9)).evaluations


def test_ends_that_are_known_at_once_depend_on_no_limit():
    """Where nothing is halved there is nothing to stop, and the answer serves every limit."""

    def divider(point):
        return {KEY: point["y"] / (point["x"] + point["y"])}

    box = (("x", 9.9, 10.1), ("y", 9.9, 10.1))
    answers = [
        worst.answer(divider, {"x": 10.0, "y": 10.0}, box, ["y"], limits)
        for limits in (None, [Limit("y", 0.1, None, 0.0)], [Limit("y", 0.5, None, 0.0)])
    ]
    assert answers[0] == answers[1] == answers[2]
    assert not answers[0].of_limits


def test_an_end_that_is_halved_for_depends_on_limits():
    at = {"x": 0.5, "y": 0.5}
    for limits in (None, [], [Limit("y", -20.0, None, 1e-9)], [Limit("y", -1.0, None, 1e-9)]):
        found = worst.answer(camel, at, BOX, ["y"], limits)
        assert found.of_limits
        assert found.assurance is Assurance.BOUNDED


def test_nothing_is_searched_where_the_limits_are_decided():
    at = {"x": 0.5, "y": 0.5}
    found = worst.answer(camel, at, BOX, ["y"], [Limit("y", -20.0, None, 1e-9)])
    extent = found.extents[KEY]
    assert not extent.tight
    assert extent.proved_low is not None
    assert extent.proved_low >= -20.0
    assert found.evaluations == proofs((-20.0, None, 1e-9)).evaluations + 1  # at the inputs


@settings(max_examples=60)
@given(formulas.trees, formulas.boxes, st.floats(-0.2, 1.2), st.booleans())
def test_a_limit_changes_no_verdict(tree, box, share, upper):
    """Whatever the formula: certain is what the proof to the end would say, too."""
    sides = tuple((n, *ends) for n, ends in zip(formulas.VARIABLES, box, strict=True))
    middle = {name: 0.5 * (low + high) for name, low, high in sides}

    def evaluate(point):
        return {KEY: formulas.value(tree, point)}

    whole = prove(evaluate, middle, sides, [KEY], budget=250)
    if KEY not in whole.proved:
        return
    end = whole.proved[KEY]
    at = end.low + share * (end.high - end.low)
    limit = Limit("y", None if upper else at, at if upper else None, 1e-9 * abs(at))
    part = prove(evaluate, middle, sides, [KEY], limits=[limit], budget=250)
    found = part.proved[KEY]
    assert part.of_limits == whole.of_limits
    assert found.low <= end.seen_low
    assert end.seen_high <= found.high
    if not whole.of_limits:
        assert found._replace(certain=False) == end
    if found.certain:
        assert found.high <= at if upper else found.low >= at
    elif end.tight:
        assert found.tight
