"""Proved bounds: published extremes, formulas made at random, and refusals with a reason."""

import math as numbers

import numpy as np
import pytest
from hypothesis import given, settings

from closeout import absent, math
from closeout.arithmetic.array import functions as array_functions
from closeout.arithmetic.interval.interval import Interval
from closeout.arithmetic.proof.bound import prove
from tests.arithmetic import formulas

KEY = ("y", None)


def proofs(function, box, inputs=None, **options):
    """Return what is proved of one function of named arguments."""
    middle = {name: 0.5 * (low + high) for name, (low, high) in box.items()}

    def evaluate(point):
        return {KEY: function(**point)}

    sides = tuple((name, low, high) for name, (low, high) in box.items())
    return prove(evaluate, {**middle, **(inputs or {})}, sides, [KEY], **options)


def proved(function, box, inputs=None, **options):
    return proofs(function, box, inputs, **options).proved[KEY]


def reason(function, box, inputs=None, **options):
    result = proofs(function, box, inputs, **options)
    assert result.proved == {}
    return result.unproved[KEY]


@pytest.mark.parametrize(
    "divider", [lambda r1, r2: r2 / (r1 + r2), lambda r1, r2: 1 / (1 + r1 / r2)]
)
def test_resistor_divider(divider):
    """Two resistors of 10 kohm and 1 %: 9.9/20 to 10.1/20, in closed form (extreme value)."""
    found = proved(divider, {"r1": (9.9, 10.1), "r2": (9.9, 10.1)})
    assert found.low == pytest.approx(0.495, rel=1e-14)
    assert found.high == pytest.approx(0.505, rel=1e-14)
    assert found.low <= found.seen_low <= found.seen_high <= found.high
    assert dict(found.low_at) == {"r1": 10.1, "r2": 9.9}
    assert dict(found.high_at) == {"r1": 9.9, "r2": 10.1}
    assert found.tight
    assert found.seen_low - found.low <= found.low_rounding


def test_published_minima():
    """Six-hump camel: -1.0316284535; Rosenbrock: 0 at (1, 1).

    L. C. W. Dixon, G. P. Szego, Towards Global Optimisation 2 (1978), the digits from memory, as in
    every collection of test functions; H. H. Rosenbrock, Computer Journal 3 (1960).
    """

    def camel(x, y):
        return (4 - 2.1 * x * x + math.power(x, 4) / 3) * x * x + x * y + (4 * y * y - 4) * y * y

    found = proved(camel, {"x": (-3, 3), "y": (-2, 2)}, tolerance=2e-9)
    assert found.low == pytest.approx(-1.0316284535, abs=1e-6)
    assert found.seen_low == pytest.approx(-1.0316284535, abs=1e-6)
    assert found.low <= -1.0316284534 <= found.seen_low + 1e-9
    # The greatest value is at a corner: 162.9 by hand, 9 (4 - 18.9 + 27) + 6 + 4 (16 - 4).
    assert found.high == pytest.approx(162.9, rel=1e-12)

    def valley(x, y):
        return 100 * math.power(y - x * x, 2) + math.power(1 - x, 2)

    found = proved(valley, {"x": (-2, 2.5), "y": (-1.5, 3)})
    assert found.low == pytest.approx(0.0, abs=1e-6 * found.high)
    assert found.seen_low == pytest.approx(0.0, abs=1e-6 * found.high)


def rump(a, b):
    b2, b4 = math.power(b, 2), math.power(b, 4)
    inner = 11 * math.power(a, 2) * b2 - b2 * b4 - 121 * b4 - 2
    return 333.75 * b2 * b4 + math.power(a, 2) * inner + 5.5 * b4 * b4 + a / (2 * b)


def test_rump():
    """The number is of the size of 10^21; the true value, -0.827396059946821, lies in the bounds.

    S. M. Rump, Algorithms for verified inclusions (1988).
    """
    a, b = 77617.0, 33096.0
    point = rump(Interval(a, a), Interval(b, b))
    assert point.low <= -0.827396059946822
    assert point.high >= -0.827396059946821
    found = proved(rump, {"a": (a, numbers.nextafter(a, 1e9)), "b": (b, numbers.nextafter(b, 1e9))})
    assert found.low <= -0.827396059946822 <= found.high
    # Nothing is left of the number but rounding: no bound may pass for what was seen.
    assert (found.low_rounding, found.high_rounding) == (0.0, 0.0)


def test_published_ranges():
    """Moore, Kearfott, Cloud (2009), chapters 5 and 6, from memory.

    x (1 - x) over [0, 1] is [0, 1/4], whereas natural extension gives [0, 1]; x/(1 + x) is
    monotone over [1, 2].
    """
    found = proved(lambda x: x * (1 - x), {"x": (0.0, 1.0)})
    assert (found.low, found.high) == pytest.approx((0.0, 0.25), abs=1e-6)
    found = proved(lambda x: x / (1 + x), {"x": (1.0, 2.0)})
    assert (found.low, found.high) == pytest.approx((1 / 2, 2 / 3), rel=1e-14)


@pytest.mark.parametrize(
    ("function", "box", "low", "high"),
    [
        (lambda x: math.where(x < 3, x, 10 - x), (0.0, 5.0), 0.0, 7.0),  # jumps up at 3
        (lambda x: math.where(x < 3, 1.0, 0.0), (0.0, 5.0), 0.0, 1.0),  # slopes zero, yet a jump
        (lambda x: abs(x - 1 / 3), (0.0, 1.0), 0.0, 2 / 3),
        (lambda x: math.table(x, ((0, 0), (1, 2), (4, 1))), (0.5, 3.0), 1.0, 2.0),
        (lambda x: math.minimum(x, 1 - x) * x, (0.0, 1.0), 0.0, 0.25),
        (lambda x: math.sin(x) + math.sin(10 * x / 3), (2.7, 7.5), -1.899599, 0.888315),
        (lambda x: x - x, (0.0, 5.0), 0.0, 0.0),
        (lambda x: 3.0, (0.0, 5.0), 3.0, 3.0),
        (lambda x: math.sqrt(x), (0.0, 4.0), 0.0, 2.0),
        (lambda x: math.atan2(x, -1.0), (-1.0, 1.0), -numbers.pi, numbers.pi),
    ],
)
def test_one_side(function, box, low, high):
    """Extremes by hand; the sum of two sines is a test function with its minimum in print.

    (Gramacy and Lee and others; -1.899599 at 5.145735. Its maximum, 0.888315 at 6.217, by samples.)
    """
    found = proved(function, {"x": box})
    assert found.low == pytest.approx(low, abs=3e-6 * max(1.0, high - low))
    assert found.high == pytest.approx(high, abs=3e-6 * max(1.0, high - low))
    assert found.tight
    x = np.linspace(*box, 20001)
    values = [function(float(one)) for one in x]
    assert found.low <= min(values)
    assert max(values) <= found.high


def shaped(x, y, z):
    bent = math.table(math.clip(x * y, -2.0, 2.0), ((-2.0, 1.0), (0.0, -1.0), (2.0, 3.0)))
    return bent + math.where(z > 0.3, math.exp(-z * z), math.cos(3 * z)) * math.hypot(x, 1.0)


def budget(x, y, z):
    return 10 * math.log10(3 + x) - 12 * math.power(y / 4, 2) + math.atan(z) / (2 + math.tanh(x))


def swing(x, y, z):
    return math.sin(3 * x) * math.cosh(y / 2) - abs(z - x) + math.maximum(y, z) * math.asin(z / 3)


@pytest.mark.parametrize("function", [shaped, budget, swing])
def test_no_sample_of_100000_is_outside(function):
    box = {"x": (-1.5, 2.0), "y": (-2.0, 1.0), "z": (-1.0, 2.5)}
    found = proved(function, box)
    random = np.random.default_rng(1)
    samples = {n: random.uniform(low, high, 100_000) for n, (low, high) in box.items()}
    for name, (low, high) in box.items():  # and many at the faces
        samples[name][:: 7 + len(samples[name]) % 5] = low
        samples[name][3::11] = high
    with array_functions.raising():
        values = function(**samples)
    assert found.low <= values.min()
    assert values.max() <= found.high
    for end, at in ((found.seen_low, found.low_at), (found.seen_high, found.high_at)):
        middle = {name: 0.5 * (low + high) for name, (low, high) in box.items()}
        assert function(**{**middle, **dict(at)}) == end
    # The samples come near to both ends, so these are no idle bounds.
    assert values.min() - found.low < 0.05 * (found.high - found.low)
    assert found.high - values.max() < 0.05 * (found.high - found.low)


@settings(max_examples=250, deadline=None)
@given(formulas.trees, formulas.boxes)
def test_no_sample_of_any_formula_is_outside(tree, box):
    sides = dict(zip(formulas.VARIABLES, box, strict=True))

    def function(**point):
        return formulas.value(tree, point)

    result = proofs(function, sides, budget=250)
    if KEY in result.unproved:
        assert result.unproved[KEY]
        return
    found = result.proved[KEY]
    random = np.random.default_rng(3)
    for i in range(300):
        shares = random.uniform(0, 1, 3) if i % 2 else random.integers(0, 2, 3)
        at = {
            name: min(max(low + float(share) * (high - low), low), high)
            for share, (name, (low, high)) in zip(shares, sides.items(), strict=True)
        }
        # An error at some point of the box would make the proof void, too.
        assert found.low <= function(**at) <= found.high


def test_most_formulas_are_proved():
    """The last test would hold if nothing were ever proved."""
    from hypothesis import HealthCheck

    outcomes = []

    @settings(max_examples=100, deadline=None, database=None, derandomize=True,
              suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(formulas.trees, formulas.boxes)
    def collect(tree, box):
        sides = dict(zip(formulas.VARIABLES, box, strict=True))
        result = proofs(lambda **point: formulas.value(tree, point), sides, budget=250)
        outcomes.append(KEY in result.proved and result.proved[KEY].tight)

    collect()
    assert sum(outcomes) > 0.6 * len(outcomes)


def test_budget_used_up_leaves_valid_bounds():
    def waves(**point):
        return sum(math.sin(7 * x) * math.cos(3 * x) for x in point.values())

    box = {f"x{i}": (-2.0, 3.0 + i / 7) for i in range(6)}
    result = proofs(waves, box, budget=200)
    found = result.proved[KEY]
    assert not found.tight
    assert result.evaluations <= 215
    random = np.random.default_rng(5)
    for _ in range(2000):
        at = {n: float(random.uniform(low, high)) for n, (low, high) in box.items()}
        assert found.low <= waves(**at) <= found.high


def test_the_same_question_has_the_same_answer():
    box = {"x": (-1.5, 2.0), "y": (-2.0, 1.0), "z": (-1.0, 2.5)}
    assert proofs(shaped, box) == proofs(shaped, box)


def test_no_side_and_a_side_without_width():
    result = prove(lambda p: {KEY: p["x"] * 3}, {"x": 0.1}, (), [KEY])
    assert result.proved[KEY].seen_low == result.proved[KEY].seen_high == 0.1 * 3
    assert result.proved[KEY].low_at == ()
    result = prove(lambda p: {KEY: p["x"] * 3}, {"x": 0.1}, (("x", 2.0, 2.0),), [KEY])
    found = result.proved[KEY]
    assert (found.low, found.high) == pytest.approx((6.0, 6.0), rel=1e-14)
    assert found.low_at == (("x", 2.0),)


def march(x):
    time = 0.0
    while time < 100.0:
        time, x = time + 0.001, x + 0.001 * math.exp(-x)
    return x


@pytest.mark.parametrize(
    ("function", "message"),
    [
        (lambda x: x if x < 3 else 3.0, "< 3"),
        (lambda x: numbers.exp(x), "one number is needed"),
        (lambda x: np.exp(x), "one number is needed"),
        (lambda x: float(x) * 2, "one number is needed"),
        (lambda x: 1.0 if x == 2.0 else x, "== on a range is refused"),
        (lambda x: round(x), "one number is needed"),
        (lambda x: x % 2.0, "one number is needed"),
        (lambda x: {1.0: 2.0}.get(x, x), "cannot be looked up"),
        (march, "too many operations"),
        (lambda x: 1 / (x - 2.25), "division by"),
        (lambda x: math.log(x - 0.5), "ValueError"),  # a corner fails on numbers
        (lambda x: absent("no pass") if x > 4.5 else x, "absent"),
        (lambda x: math.where(x > 4.5, absent("no pass"), x), "absent"),
        (lambda x: "text", "text"),
    ],
)
def test_what_cannot_be_proved_says_why(function, message):
    assert message in reason(function, {"x": (0.0, 5.0)})


def test_a_range_that_does_not_agree_with_the_number_is_not_used():
    def by_kind(x):
        return x if isinstance(x, float) else 2 * x

    assert "do not agree" in reason(by_kind, {"x": (1.0, 2.0)})

    def at_points_only(x):
        # Slopes that lie: right at every point, wrong over a range.
        return x * x if isinstance(x, (float, Interval)) else x * 3

    assert "do not agree" in reason(at_points_only, {"x": (1.0, 2.0)})


def test_one_quantity_falls_back_by_itself():
    def evaluate(point):
        x = point["x"]
        return {
            ("good", None): 2 * x + 1,
            ("pole", None): 1 / (x - 0.3),
            ("cases", "a"): math.exp(x),
            ("cases", "b"): absent("never"),
            ("other", None): 0.0,
        }

    keys = [("good", None), ("pole", None), ("cases", "a"), ("cases", "b")]
    result = prove(evaluate, {"x": 0.5}, (("x", 0.6, 1.0),), keys)
    assert set(result.proved) == {("good", None), ("pole", None), ("cases", "a")}
    assert "never" in result.unproved["cases", "b"]
    # At 0.3 the analysis fails as a whole, so nothing holds at every point of a box around it.
    result = prove(evaluate, {"x": 0.5}, (("x", 0.0, 1.0),), keys)
    assert not result.proved
    assert "division" in result.unproved["good", None]
    other = prove(evaluate, {"x": 0.5}, (("x", 0.0, 1.0),), [("cases", "a")])
    assert "the cases at a point differ from those required" in other.unproved["cases", "a"]


def test_evaluations_are_shared_between_quantities():
    def evaluate(point):
        x, y = point["x"], point["y"]
        return {("q", str(i)): (i + 1) * x + math.exp(y) for i in range(50)}

    keys = [("q", str(i)) for i in range(50)]
    box = (("x", 0.0, 1.0), ("y", 0.0, 1.0))
    result = prove(evaluate, {"x": 0.5, "y": 0.5}, box, keys)
    assert len(result.proved) == 50
    assert result.evaluations < 30


def _swallows(a):
    try:
        k = 0.5 if 3.001 < a < 3.003 else 1.0
    except:  # noqa: E722
        k = 1.0
    return k * a


@pytest.mark.parametrize(
    ("formula", "box", "low"),
    [
        # cosh is 1 at 0 and 3e17 at the other end: what is rounding there is none here.
        (lambda a: math.cosh(a), (-3.3, 41.0), 1.0),
        (lambda a: math.cosh(a), (-7.0, 100.0), 1.0),
        (lambda a: math.exp(a) + math.exp(-a), (-17.0, 61.0), 2.0),
        (lambda a: 10.0 ** ((a * a - 60.0) / 10.0), (-3.7, 14.1), 1e-6),
        (lambda a: abs(math.sinh(math.clip(math.power(a, 5), -5.0, 5.0))), (-2075.9, 924.0), 0.0),
        # 1e13 leaves steps of 2^-10 of what is added to it.
        (lambda a: 1.0 + ((a * a + 1e13) - 1e13 - a * a), (2.7, 3.3), 1.0 - 2.0**-10),
    ],
)
def test_rounding_at_one_end_is_none_at_the_other(formula, box, low):
    middle = box[0] + 0.51 * (box[1] - box[0])
    found = prove(
        lambda p: {("y", None): formula(**p)}, {"a": middle}, (("a", *box),), [("y", None)]
    )
    proof = found.proved["y", None]
    assert proof.low <= low
    assert proof.low >= low - 1e-2
    attained = proof.seen_low - proof.low <= proof.low_rounding
    assert not attained or proof.seen_low <= low * (1.0 + 1e-9)


@pytest.mark.parametrize(
    ("formula", "box"),
    [
        (_swallows, (2.0, 4.0)),
        (lambda a: math.where(a > -1.0, 2.0, 1.0 / a), (-0.5, 0.5)),
        (lambda a: (1.0 / a, a + 2.0)[1], (-0.5, 0.5)),
        (lambda a: math.where(a < 0.3, 1.0, math.log(a - 0.2)), (0.1, 0.5)),
    ],
    ids=["caught", "in the other branch", "not used", "guarded too late"],
)
def test_nothing_is_proved_where_something_was_dropped(formula, box):
    found = prove(
        lambda p: {("y", None): formula(**p)}, {"a": box[1]}, (("a", *box),), [("y", None)]
    )
    assert not found.proved


def test_a_jump_is_no_rounding():
    def evaluate(point):
        a, b = point["a"], point["b"]
        condition = math.sin(a) ** 2 + math.cos(a) ** 2 > 1.0000000000000004
        return {("y", None): math.where(condition, 3.0, b * b)}

    box = (("a", 0.5, 1.5), ("b", -0.37, 2.0))
    found = prove(evaluate, {"a": 1.0, "b": 1.0}, box, [("y", None)])
    proof = found.proved["y", None]
    assert proof.low <= 0.0
    assert not proof.tight


@pytest.mark.parametrize("size", [1e10, 1e11, 1e300])
def test_functions_far_out_are_proved_like_others(size):
    """Far below zero exprel(x) is -1/x, far above log1prel(x) is ln(x)/x; both by hand."""

    def small(point):
        return {
            ("growth", None): size * math.exprel(-point["x"]),
            ("yield", None): size * math.log1prel(point["x"]),
        }

    found = prove(
        small, {"x": size}, (("x", 0.8 * size, 1.25 * size),), [("growth", None), ("yield", None)]
    )
    assert not found.unproved
    growth, share = found.proved[("growth", None)], found.proved[("yield", None)]
    assert (growth.low, growth.high) == pytest.approx((0.8, 1.25), rel=1e-9)
    ends = [numbers.log(part * size) / part for part in (1.25, 0.8)]
    assert (share.low, share.high) == pytest.approx(ends, rel=1e-9)
    assert growth.tight
    assert share.tight
