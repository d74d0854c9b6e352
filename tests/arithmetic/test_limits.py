"""A proof that is about limits alone ends where it is certain that they are met, and not before."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from closeout import math
from closeout.arithmetic.proof import worst
from closeout.arithmetic.proof.bound import prove
from closeout.model.answer import Assurance, Bounds, Sought
from tests.arithmetic import formulas

KEY = ("y", None)
# Six-hump camel: from -1.0316284535 to 162.9 over this box (Dixon, Szego 1978, from memory; the
# greatest value at a corner, by hand). The least lies inside, so that it takes many evaluations.
BOX = (("x", -3.0, 3.0), ("y", -2.0, 2.0))
LEAST = -1.0316284535


def camel(point):
    x, y = point["x"], point["y"]
    return {KEY: (4 - 2.1 * x * x + math.power(x, 4) / 3) * x * x + x * y + (4 * y * y - 4) * y * y}


def proofs(*limits, about=camel, **options):
    limits = [Sought("y", None if ends is None else Bounds(*ends)) for ends in limits]
    return prove(about, {"x": 0.5, "y": 0.5}, BOX, [KEY], limits=limits, **options)


def test_a_far_limit_takes_fewer_evaluations_than_the_end_itself():
    ends = prove(camel, {"x": 0.5, "y": 0.5}, BOX, [KEY])
    assert ends.proved[KEY].tight
    counts = []
    for limit in (-1.2, -2.0, -20.0):
        found = proofs((limit, None))
        one = found.proved[KEY]
        assert (one.decided, one.low_tight) == (True, False)
        assert 0.9 * (LEAST - limit) <= one.low - limit <= LEAST - limit
        assert one.high >= 162.9
        counts.append(found.evaluations)
    assert ends.evaluations > counts[0] > counts[1] > counts[2]


@pytest.mark.parametrize(
    "limits",
    [
        [(-1.0, None)],  # not met
        [(-2.0, None), (-1.0, None)],  # of two verdicts
        [(LEAST, None)],  # nearer than any proof comes
        [None],  # the extent is wanted
        [(-2.0, None), None],
    ],
)
def test_an_end_that_is_short_or_wanted_is_followed(limits):
    one = proofs(*limits).proved[KEY]
    assert one.low_tight
    assert one.low == pytest.approx(LEAST, rel=2e-6)
    assert one.seen_low == pytest.approx(LEAST, rel=2e-6)


def test_each_end_is_searched_as_far_as_its_own_limits_ask():
    met, short = proofs((-2.0, 162.0)).proved[KEY], proofs((-1.0, 200.0)).proved[KEY]
    assert (met.low_tight, met.high_tight) == (False, True)
    assert met.high == pytest.approx(162.9, rel=1e-6)
    assert (short.low_tight, short.decided) == (True, True)


def test_whole_ends_know_all_that_the_limits_took():
    """The search for the limits comes first, so that verdicts are the same either way."""
    for limits in ([(-20.0, 200.0)], [(-1.0, None)], [(-1.2, 162.0)]):
        part, whole = proofs(*limits), proofs(*limits, whole=True)
        some, every = part.proved[KEY], whole.proved[KEY]
        assert every.tight
        assert part.evaluations <= whole.evaluations
        assert some.low <= every.low <= every.seen_low <= some.seen_low
        assert some.seen_high <= every.seen_high <= every.high <= some.high
        assert some.decided == every.decided


def test_of_what_nothing_is_judged_the_first_bound_is_enough():
    found = proofs()
    assert found.proved[KEY].decided
    assert found.evaluations < proofs((-20.0, None)).evaluations


def test_a_bound_that_is_not_finite_decides_nothing():
    """x x - x + 1 is at least 3/4, and over all of [0, 1] at once it may be zero."""

    def gain(point):
        return {KEY: 1.0 / (point["x"] * point["x"] - point["x"] + 1.0)}

    box = (("x", 0.0, 1.0),)
    one = prove(gain, {"x": 0.3}, box, [KEY], limits=[Sought("y", Bounds(None, 2.0))]).proved[KEY]
    assert one.decided
    assert 4 / 3 <= one.high <= 2.0
    assert one.low <= 1.0


def test_ends_that_are_known_at_once_depend_on_no_limit():
    """Where nothing is halved there is nothing to stop, and the answer serves every limit."""

    def divider(point):
        return {KEY: point["y"] / (point["x"] + point["y"])}

    box = (("x", 9.9, 10.1), ("y", 9.9, 10.1))
    answers = [
        worst.answer(divider, {"x": 10.0, "y": 10.0}, box, ["y"], limits, whole)
        for limits in (None, [Sought("y", Bounds(0.1, None))], [Sought("y", Bounds(0.5, None))])
        for whole in (False, True)
    ]
    assert all(answer == answers[0] for answer in answers)
    assert not answers[0].of_limits


def test_an_end_that_is_halved_for_depends_on_limits():
    at = {"x": 0.5, "y": 0.5}
    for limits in (None, [], [Sought("y", Bounds(-20.0, None))], [Sought("y", Bounds(-1.0, None))]):
        for whole in (False, True):
            found = worst.answer(camel, at, BOX, ["y"], limits, whole)
            assert found.of_limits
            assert found.assurance is Assurance.BOUNDED


def test_what_fails_after_a_part_was_halved_depends_on_limits():
    def treacherous(point):
        if isinstance(point["x"], float) and abs(point["x"] + 0.75) < 1e-3:
            raise ValueError("here")
        return camel(point)

    found = prove(treacherous, {"x": 0.5, "y": 0.5}, BOX, [KEY])
    assert found.proved == {}
    assert found.of_limits


def test_nothing_is_searched_where_the_limits_are_decided():
    at = {"x": 0.5, "y": 0.5}
    found = worst.answer(camel, at, BOX, ["y"], [Sought("y", Bounds(-20.0, None))], False)
    extent = found.extents[KEY]
    assert not extent.low_tight
    assert extent.proved_low is not None
    assert extent.proved_low >= -20.0
    at_inputs, at_corners = 1, 4  # on numbers, beside the proof
    proof = proofs((-20.0, None))
    assert found.evaluations == proof.evaluations + at_inputs + at_corners


def test_hard_quantities_share_what_there_is_and_whole_ends_know_no_less():
    """Two that are hard beside each other: what the limits decide stays decided (a reviewer's)."""

    def two(point):
        x, y, z = point["x"], point["y"], point["z"]
        bowl = x * x + y * y + z * z
        ripple = math.cos(6 * x) * math.cos(5 * y) + math.cos(7 * y) * math.cos(6 * z)
        fine = bowl - ripple - math.cos(8 * z) * math.cos(7 * x)
        rough = bowl * math.sin(3 * x + 2 * y) - ripple * math.cos(4 * x * y * z)
        return {("fine", None): fine, ("rough", None): rough}

    box = tuple((name, -1.0, 1.0) for name in "xyz")
    at = dict.fromkeys("xyz", 0.1)
    keys = [("fine", None), ("rough", None)]
    for most in (3.9, 4.1, 4.5):
        limits = [Sought("fine", Bounds(None, most)), Sought("rough", Bounds(None, 100.0))]
        options = {"limits": limits, "budget": 400}
        part = prove(two, at, box, keys, **options)
        whole = prove(two, at, box, keys, **options, whole=True)
        for key in keys:
            some, every = part.proved[key], whole.proved[key]
            assert some.decided == every.decided
            assert some.low <= every.low
            assert every.high <= some.high
            assert every.seen_high >= some.seen_high


@settings(max_examples=60)
@given(formulas.trees, formulas.boxes, st.floats(-0.2, 1.2), st.booleans())
def test_a_limit_changes_no_verdict(tree, box, share, upper):
    """Whatever the formula: certain is what the proof to the end would say, too."""
    sides = tuple((n, *ends) for n, ends in zip(formulas.VARIABLES, box, strict=True))
    middle = {name: 0.5 * (low + high) for name, low, high in sides}

    def evaluate(point):
        return {KEY: formulas.value(tree, point)}

    ends = prove(evaluate, middle, sides, [KEY], budget=250)
    if KEY not in ends.proved:
        return
    end = ends.proved[KEY]
    at = end.low + share * (end.high - end.low)
    limit = Sought("y", Bounds(None if upper else at, at if upper else None))
    part, whole = (
        prove(evaluate, middle, sides, [KEY], limits=[limit], budget=250, whole=whole)
        for whole in (False, True)
    )
    if KEY not in part.proved:
        return
    found, every = part.proved[KEY], whole.proved[KEY]
    assert part.of_limits == whole.of_limits == ends.of_limits
    assert found.decided == every.decided
    for one in (found, every):
        assert one.low <= end.seen_low
        assert end.seen_high <= one.high
    assert found.low <= every.low
    assert every.high <= found.high
    if not ends.of_limits:
        assert found == every == end
    tight = found.high_tight if upper else found.low_tight
    if found.decided and not tight:
        assert found.high <= at if upper else found.low >= at
