"""Intervals: outward ends against mpmath at 50 digits, against exact fractions, and refusals."""

import contextlib
import math as numbers
import operator
import tracemalloc
from fractions import Fraction
from itertools import pairwise
from statistics import NormalDist

import mpmath
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from closeout import absent, math
from closeout.arithmetic.array import functions as array_functions
from closeout.arithmetic.gradient import functions as gradient_functions
from closeout.arithmetic.gradient.gradient import Gradient, seed
from closeout.arithmetic.interval import functions as interval_functions
from closeout.arithmetic.interval import interval
from closeout.arithmetic.interval.interval import Interval
from closeout.arithmetic.undecided import Truth, Undecided, Undefined, watched

TINY, HUGE = 5e-324, 1.7976931348623157e308
finite = st.floats(allow_nan=False, allow_infinity=False)
moderate = st.floats(-1e3, 1e3)


def cube_root(x):
    return mpmath.sign(x) * mpmath.cbrt(abs(x))


# Name, a range of arguments, and the same function of mpmath (50 digits: the reference).
ELEMENTARY = [
    ("exp", -745.0, 709.0, mpmath.exp),
    ("log", TINY, HUGE, mpmath.log),
    ("log10", TINY, HUGE, mpmath.log10),
    ("sqrt", 0.0, HUGE, mpmath.sqrt),
    ("sin", -1e22, 1e22, mpmath.sin),
    ("cos", -1e22, 1e22, mpmath.cos),
    ("tan", -1.57, 1.57, mpmath.tan),
    ("asin", -1.0, 1.0, mpmath.asin),
    ("acos", -1.0, 1.0, mpmath.acos),
    ("atan", -HUGE, HUGE, mpmath.atan),
    ("sinh", -700.0, 700.0, mpmath.sinh),
    ("cosh", -700.0, 700.0, mpmath.cosh),
    ("tanh", -HUGE, HUGE, mpmath.tanh),
    ("asinh", -HUGE, HUGE, mpmath.asinh),
    ("acosh", 1.0, HUGE, mpmath.acosh),
    ("atanh", -1.0 + 2.0**-53, 1.0 - 2.0**-53, mpmath.atanh),
    ("log2", TINY, HUGE, lambda x: mpmath.log(x, 2)),
    ("cbrt", -HUGE, HUGE, cube_root),
    ("erf", -HUGE, HUGE, mpmath.erf),
]


def arguments(low: float, high: float) -> list[float]:
    """Return arguments of every size inside a range: ends, tiny ones, and 300 at random."""
    random = np.random.default_rng(20090101)
    sizes = np.concatenate(
        [
            10.0 ** random.uniform(-320, 308, 150),
            10.0 ** random.uniform(-3, 3, 100),
            random.uniform(0.0, 1.0, 50),
        ]
    )
    near = [next_to for step in (1e-15, 1e-9, 1e-3) for next_to in (1.0 - step, 1.0 + step)]
    values = [low, high, *near, 0.0, 1.0, -1.0, TINY, -TINY, 2.2e-308, *sizes, *-sizes]
    return [float(x) for x in values if low <= x <= high]


@pytest.mark.parametrize(("name", "low", "high", "exact"), ELEMENTARY)
def test_ends_of_a_point_are_outward_and_near(name, low, high, exact):
    with mpmath.workdps(50):
        for x in arguments(low, high):
            found = getattr(math, name)(interval.point(x))
            if isinstance(found, Undefined):
                assert name == "tan" or x > 700.0
                continue
            true = exact(mpmath.mpf(x))
            assert found.low <= true <= found.high, (name, x)
            # The C library's and NumPy's value, which are not the true one, are inside too.
            assert found.low <= getattr(numbers, name)(x) <= found.high, (name, x)
            on_arrays = getattr(array_functions, name)
            assert found.low <= on_arrays(np.array([x] * 8))[3] <= found.high
            # And the ends are no farther than 40 units in the last place.
            assert found.high - found.low <= 40 * numbers.ulp(float(true)) + 1e-322


@pytest.mark.parametrize(("name", "low", "high", "exact"), ELEMENTARY)
def test_a_range_holds_the_function_between_its_ends(name, low, high, exact):
    random = np.random.default_rng(7)
    low, high = max(low, -30.0), min(high, 30.0)
    for _ in range(60):
        a, b = sorted(float(x) for x in random.uniform(low, high, 2))
        found = getattr(math, name)(Interval(a, b))
        inside = np.linspace(a, b, 201)
        values = [getattr(numbers, name)(float(x)) for x in inside]
        assert found.low <= min(values)
        assert found.high >= max(values)
        # No wider than what the samples span, but for what lies between two of them.
        steepest = max(abs(q - p) for p, q in pairwise(values))
        assert found.low >= min(values) - steepest - 1e-13
        assert found.high <= max(values) + steepest + 1e-12 * abs(found.high)


def test_extremes_of_sine_and_cosine_inside_a_range():
    assert math.sin(Interval(1.0, 2.0)).high == 1.0
    assert math.sin(Interval(4.0, 5.0)).low == -1.0
    assert math.cos(Interval(-0.1, 0.1)).high == 1.0
    assert math.cos(Interval(3.0, 3.2)).low == -1.0
    whole = math.sin(Interval(0.0, 7.0))
    assert (whole.low, whole.high) == (-1.0, 1.0)
    # At 1e15 the extreme is found too: its place is known to about one radian.
    assert math.sin(Interval(1e15, 1e15 + 4.0)).high == 1.0
    assert math.cos(Interval(0.5, 1.0)).high < 0.88


def test_exprel_and_log1prel_against_50_digits():
    with mpmath.workdps(700):
        for x in [*arguments(-0.999999, 700.0), 1e-31, 1e-29, -1e-29]:
            a = mpmath.mpf(x)
            exact = {
                "exprel": mpmath.expm1(a) / a if x else 1,
                "exprel_slope": (mpmath.exp(a) * (a - 1) + 1) / a**2 if x else 0.5,
                "log1prel": mpmath.log1p(a) / a if x else 1,
                "log1prel_slope": (a / (1 + a) - mpmath.log1p(a)) / a**2 if x else -0.5,
            }
            for name, true in exact.items():
                found = getattr(interval_functions, name)(interval.point(x))
                assert found.low <= true <= found.high, (name, x)
                assert found.high - found.low <= 1e-13 * abs(float(true)) + 1e-300


def test_normal_distribution_function_against_mpmath_in_both_tails():
    """The C library's erfc and SciPy's ndtr err by some x^2 units far below; both are inside."""
    random = np.random.default_rng(5)
    sizes = [0.0, TINY, 1e-10, 37.0, 38.0, 39.0, 41.0, 1e3]
    with mpmath.workdps(60):
        for x in [*random.uniform(-38.0, 9.0, 600), *sizes, *(-size for size in sizes)]:
            true = mpmath.erfc(-mpmath.mpf(float(x)) / mpmath.sqrt(2)) / 2
            found = math.normal_cdf(interval.point(float(x)))
            assert found.low <= true <= found.high, x
            assert found.low <= math.normal_cdf(float(x)) <= found.high
            assert found.low <= array_functions.normal_cdf(np.array([x]))[0] <= found.high
            assert 0.0 < found.high <= 1.0
            wide = (2e-15 + 5e-16 * float(min(x, 0.0)) ** 2) * float(true)
            assert found.high - found.low <= 4.0 * wide + 1e-300
    for size in (1e10, 1e300, HUGE):
        assert 0.0 < math.normal_cdf(interval.point(-size)).high < 1e-322
        assert math.normal_cdf(interval.point(size)).high == 1.0
    whole = math.normal_cdf(Interval(-1.0, 2.0))
    assert (whole.low, whole.high) == pytest.approx((NormalDist().cdf(-1), NormalDist().cdf(2)))


@given(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6), st.floats(0, 1))
def test_steps_hold_every_point_and_no_more(a, b, s):
    """At a jump inside, the range is that of the two ends."""
    for scale in (1.0, 1e-5):
        x = Interval(min(a, b) * scale, max(a, b) * scale)
        p = min(max(x.low * (1 - s) + x.high * s, x.low), x.high)
        for name, exact in (
            ("floor", numbers.floor),
            ("ceil", numbers.ceil),
            ("sign", lambda v: (v > 0) - (v < 0)),
        ):
            found = getattr(math, name)(x)
            assert (found.low, found.high) == (exact(x.low), exact(x.high))
            assert found.low <= getattr(math, name)(p) <= found.high
            assert getattr(math, name)(p) == exact(p) == getattr(array_functions, name)(p)


@given(st.lists(st.tuples(moderate, moderate), min_size=2, max_size=5), st.floats(0, 1))
def test_smallest_and_largest_of_several(ends, s):
    ranges = [Interval(min(one), max(one)) for one in ends]
    points = [min(max(x.low * (1 - s) + x.high * s, x.low), x.high) for x in ranges]
    for name, choose in (("minimum", min), ("maximum", max)):
        function = getattr(math, name)
        assert function(*points) == choose(points)
        found = function(*ranges)
        assert found.low <= choose(points) <= found.high
        assert (found.low, found.high) == tuple(
            choose(getattr(x, end) for x in ranges) for end in ("low", "high")
        )
        mixed = function(points[0], *ranges[1:])
        assert mixed.low <= choose(points) <= mixed.high
        lost = Undefined("no value")
        assert function(*ranges, lost) is lost


OPERATIONS = [operator.add, operator.sub, operator.mul, operator.truediv]


@pytest.mark.parametrize("operation", OPERATIONS)
@given(finite, finite, finite, finite, st.floats(0, 1), st.floats(0, 1))
def test_arithmetic_holds_the_exact_fraction_and_the_number(operation, a, b, c, d, s, t):
    x, y = Interval(min(a, b), max(a, b)), Interval(min(c, d), max(c, d))
    found = operation(x, y)
    if isinstance(found, Undefined):
        return
    p = min(max(x.low * (1 - s) + x.high * s, x.low), x.high)
    q = min(max(y.low * (1 - t) + y.high * t, y.low), y.high)
    exact = operation(Fraction(p), Fraction(q))
    assert Fraction(found.low) <= exact <= Fraction(found.high)
    assert found.low <= operation(p, q) <= found.high
    mixed = operation(x, q)
    assert Fraction(mixed.low) <= exact <= Fraction(mixed.high)
    turned = operation(p, y)
    assert isinstance(turned, Undefined) or turned.low <= operation(p, q) <= turned.high


@given(st.floats(-50, 50), st.floats(-50, 50), st.integers(-7, 9), st.floats(0, 1))
def test_powers_hold_the_exact_fraction(a, b, n, s):
    x = Interval(min(a, b), max(a, b))
    p = min(max(x.low * (1 - s) + x.high * s, x.low), x.high)
    for found in (x**n, math.power(x, n)):
        if isinstance(found, Undefined):
            continue
        assert Fraction(found.low) <= Fraction(p) ** n <= Fraction(found.high)
        if n % 2 == 0:
            assert found.low >= 0.0


def test_powers_are_tight():
    square = math.power(Interval(-1.0, 2.0), 2)
    assert square.low == 0.0
    assert square.high == pytest.approx(4.0, rel=1e-14)
    x = Interval(-1.0, 2.0)
    assert (x * x).low == 0.0
    root = Interval(0.0, 4.0) ** 0.5
    assert root.low == 0.0
    assert root.high == pytest.approx(2.0, rel=1e-15)
    ratio = 10 ** (Interval(-3.0, 3.0) / 10)
    assert ratio.low == pytest.approx(10**-0.3, rel=1e-13)
    assert ratio.high == pytest.approx(10**0.3, rel=1e-13)


def test_zero_stays_zero():
    x = Interval(0.0, 3.0)
    for found in (x * 2, 2 * x, x * x, x / 3, x + 0, abs(x), math.sqrt(x), x * Interval(1, 2)):
        assert found.low == 0.0
    assert (Interval(1.0, 1.0) - 1).high == 0.0
    # What is too small for a number is not zero.
    assert (Interval(1e-200, 1e-200) * Interval(-1e-200, -1e-200)).low < 0.0
    assert math.exp(Interval(-800.0, -800.0)).high > 0.0


def test_published_values():
    """R. E. Moore, R. B. Kearfott, M. J. Cloud, Introduction to Interval Analysis (2009).

    The rules of chapter 2; examples from memory, each easily done by hand: sum, difference and
    product, the square of a range against the product of two, x (1 - x) by natural extension.
    """
    total = Interval(0.0, 2.0) + Interval(-1.0, 1.0)
    assert (total.low, total.high) == pytest.approx((-1.0, 3.0), abs=1e-15)
    less = Interval(-1.0, 0.0) - Interval(1.0, 4.0)
    assert (less.low, less.high) == pytest.approx((-5.0, -1.0), rel=1e-15)
    product = Interval(-1.0, 0.0) * Interval(1.0, 4.0)
    assert (product.low, product.high) == pytest.approx((-4.0, 0.0), rel=1e-15)
    squared, other = Interval(-2.0, 2.0) ** 2, Interval(-2.0, 2.0) * Interval(-2.0, 2.0)
    assert (squared.low, squared.high) == pytest.approx((0.0, 4.0), rel=1e-14)
    assert (other.low, other.high) == pytest.approx((-4.0, 4.0), rel=1e-15)
    x = Interval(0.0, 1.0)
    natural = x * (1 - x)
    assert (natural.low, natural.high) == pytest.approx((0.0, 1.0), abs=1e-15)


def test_comparisons():
    x = Interval(1.0, 2.0)
    assert (x < 3) is True
    assert (x > 3) is False
    assert (x <= 1) is not False
    assert (x >= 1) is True
    assert operator.lt(0, x) is True
    assert (x < Interval(2.0, 3.0)) is not True
    assert (x <= Interval(2.0, 3.0)) is True
    assert isinstance(x < 1.5, Truth)
    with pytest.raises(Undecided, match=r"\[1.0, 2.0\] < 1.5"):
        bool(x < 1.5)
    with pytest.raises(Undecided):
        min(x, 1.5)
    assert max(x, 0.5) is x


@given(finite, finite, finite, finite)
def test_a_certain_comparison_holds_for_every_point(a, b, c, d):
    x, y = Interval(min(a, b), max(a, b)), Interval(min(c, d), max(c, d))
    for compare in (operator.lt, operator.le, operator.gt, operator.ge):
        answer = compare(x, y)
        answers = {compare(p, q) for p in (x.low, x.high) for q in (y.low, y.high)}
        if isinstance(answer, bool):
            assert answers == {answer}
        else:
            assert answers == {True, False}


def test_conditions_join():
    x = Interval(1.0, 2.0)
    assert ((x < 1.5) & False) is False
    assert ((x < 1.5) | True) is True
    assert (True & (x < 3)) is True
    assert isinstance(True & (x < 1.5), Truth)
    assert isinstance(False | ((x < 1.5) & (x > 1.2)), Truth)
    found = math.where((x > 1.2) & (x < 1.5), x, 7.0)
    assert (found.low, found.high) == (1.0, 7.0)


def test_what_needs_one_number_is_refused_with_a_reason():
    x = Interval(1.0, 2.0)
    for need in (float, int, round, numbers.floor, numbers.exp, bool(x) and numbers.sqrt):
        with pytest.raises(Undecided, match="one number is needed"):
            need(x)
    with pytest.raises(Undecided, match="refused"):
        assert x == 1.0
    with pytest.raises(Undecided, match="refused"):
        assert x != 3.0
    with pytest.raises(Undecided):
        f"{x:.1f}"
    with pytest.raises(Undecided):
        bool(Interval(-1.0, 1.0))
    with pytest.raises(TypeError):
        hash(x)
    for of_numpy in (np.exp, np.asarray, np.all, np.mean, np.isfinite, np.array([1.0]).__mul__):
        with pytest.raises(Undecided, match="one number is needed"):
            of_numpy(x)
    with pytest.raises(AttributeError, match="immutable"):
        x.low = 0.0
    for ends in ((2.0, 1.0), (numbers.nan, 1.0), (0.0, numbers.inf)):
        with pytest.raises(ValueError, match="no interval"):
            Interval(*ends)


def test_an_error_of_the_analysis_is_not_taken_for_an_undecided_range():
    def guarded(x):
        try:
            return 1.0 if x < 1.5 else 2.0
        except Exception:
            return absent("never")

    with pytest.raises(Undecided):
        guarded(Interval(1.0, 2.0))


def test_what_would_tell_a_range_from_a_number_is_refused_while_it_is_evaluated():
    """Even where it is caught: note is taken of it."""
    x, y = Interval(1.0, 2.0), Interval(0.0, 1.5)
    looks = [
        str, repr, hash, format, lambda v: f"{v}", "%s".__mod__, lambda v: f"{[v]}",
        lambda v: {v: 1}, lambda v: v in {1.0}, lambda v: v // 1.0, lambda v: 5.0 % v,
        lambda v: divmod(v, 2.0), lambda v: v.real, lambda v: v.is_integer(),
        lambda v: hasattr(v, "hex"), lambda v: [1][v], lambda v: range(v),
        lambda v: float(v > y), lambda v: int(v < y), lambda v: (v > y) * 1.0, lambda v: ~(v > y),
        lambda v: str(v > y), lambda v: (v > y).real, lambda v: np.float32(2.0) * v,
    ]  # fmt: skip
    for look in looks:
        with watched() as noted, contextlib.suppress(BaseException):
            exec("look(x)", {"look": look, "x": x})
        assert noted, look


def test_a_numpy_number_is_a_number():
    x = Interval(1.0, 2.0)
    assert (np.float64(2.0) * x).high == pytest.approx(4.0)
    assert (np.float64(0.5) < x) is True
    assert (x - np.int64(1)).low == pytest.approx(0.0, abs=1e-300)
    assert (np.float64(4.0) / x + np.float64(1.0)).high == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("make", "reason"),
    [
        (lambda x: 1 / (x - 1), "division by"),
        (lambda x: math.log(x - 1.5), "logarithm"),
        (lambda x: math.log10(x - 1.5), "logarithm"),
        (lambda x: math.sqrt(x - 1.5), "square root"),
        (lambda x: math.asin(x), "arc sine"),
        (lambda x: math.acos(x), "arc cosine"),
        (lambda x: math.acosh(x - 0.5), "inverse hyperbolic cosine"),
        (lambda x: math.atanh(x - 1.0), "inverse hyperbolic tangent"),
        (lambda x: math.log2(x - 1.0), "logarithm"),
        (lambda x: math.maximum(x, 1.0, numbers.nan), "no number"),
        (lambda x: math.tan(x), "pole"),
        (lambda x: math.exp(1000 * x), "overflow"),
        (lambda x: math.cosh(1000 * x), "overflow"),
        (lambda x: math.power(x * 1e200, 2), "overflow"),
        (lambda x: x * 1e308 * 10, "overflow"),
        (lambda x: (x - 1.5) ** 0.5, "square root"),
        (lambda x: (x - 1.5) ** 0.3, "logarithm"),
        (lambda x: (-2) ** x, "to the power"),
        (lambda x: math.table(x, ((0.0, 1.0), (1.9, 2.0))), "table"),
        (lambda x: x + absent("none"), "not finite"),
        (lambda x: math.where(x < 1.5, x, absent("none")), "no number"),
        (lambda x: math.maximum(x, numbers.inf), "not finite"),
    ],
)
def test_a_value_that_may_not_exist_passes_through(make, reason):
    found = make(Interval(1.0, 2.0))
    assert isinstance(found, Undefined)
    assert reason in found.reason
    # No function makes a bound of it again, as atan(1/x) would of an infinite one.
    x = Interval(1.0, 2.0)
    for again in (
        math.atan(found), math.minimum(x, found), math.minimum(found, 0.0), math.hypot(1.0, found),
        math.where(x < 1.5, found, 0.0), math.where(found > 0, 1.0, 2.0), math.power(found, 2),
        math.clip(found, 0.0, 1.0), 0 * found, found - found, -abs(found), 2 ** found, x / found,
    ):  # fmt: skip
        assert again is found
    with pytest.raises(Undecided, match=r".+"):
        bool(found > 0)
    with pytest.raises(Undecided):
        float(found)


@given(moderate, moderate, moderate, moderate, st.floats(0, 1), st.floats(0, 1))
def test_functions_of_two(a, b, c, d, s, t):
    x, y = Interval(min(a, b), max(a, b)), Interval(min(c, d), max(c, d))
    p = min(max(x.low * (1 - s) + x.high * s, x.low), x.high)
    q = min(max(y.low * (1 - t) + y.high * t, y.low), y.high)
    for name in ("hypot", "atan2", "minimum", "maximum"):
        function = getattr(math, name)
        for found in (function(x, y), function(x, q), function(p, y)):
            assert found.low <= function(p, q) <= found.high
    assert math.atan2(Interval(-0.0, 1.0), Interval(-2.0, -1.0)).low < -3.14
    corner = math.atan2(Interval(1.0, 2.0), Interval(1.0, 2.0))
    assert corner.low == pytest.approx(numbers.atan2(1, 2), rel=1e-13)
    assert corner.high == pytest.approx(numbers.atan2(2, 1), rel=1e-13)


TABLE = ((0.0, 1.0), (1.0, 3.0), (1.5, 0.1), (4.0, 0.7))


@given(st.floats(0, 4), st.floats(0, 4), st.floats(0, 1))
def test_table_holds_every_sample(a, b, s):
    x = Interval(min(a, b), max(a, b))
    p = min(max(x.low * (1 - s) + x.high * s, x.low), x.high)
    found = math.table(x, TABLE)
    assert found.low <= math.table(p, TABLE) <= found.high
    across, up = zip(*TABLE, strict=True)
    assert found.low <= np.interp(p, across, up) <= found.high


def test_table_is_exact_at_its_points():
    for x, y in TABLE:
        found = math.table(interval.point(x), TABLE)
        assert (found.low, found.high) == (y, y)
    whole = math.table(Interval(0.0, 4.0), TABLE)
    assert (whole.low, whole.high) == (0.1, 3.0)
    middle = math.table(Interval(0.5, 1.25), TABLE)
    assert middle.high == 3.0
    assert middle.low == pytest.approx(1.55, rel=1e-14)


def test_operations_are_counted():
    with interval.limited(10), pytest.raises(interval.TooLong):
        sum([Interval(1.0, 2.0)] * 20)
    assert (Interval(1.0, 2.0) + 1).low <= 2.0


def test_mpmath_is_not_imported_before_it_is_needed():
    import subprocess
    import sys

    code = (
        "import sys; from closeout.arithmetic.proof import bound;"
        "from closeout.arithmetic.interval import interval; from closeout import math;"
        "x = interval.Interval(1, 2); math.table(x * x / 3, ((0, 0), (9, 1)));"
        "print('mpmath' in sys.modules, 'numpy' in sys.modules, 'sympy' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False", "False"]


SIZES = (TINY, 2.2e-308, 1e-300, 1e-31, 1e-29, 1e-10, 1.0, 700.0, 1e6, 1e7, 1e8, 1e10, 1e16, 1e300)
OF_ONE = sorted(
    set(interval_functions.__all__)
    - {"atan2", "hypot", "maximum", "minimum", "power", "table", "where"}
)


@pytest.mark.parametrize("name", OF_ONE)
def test_no_argument_takes_memory_or_has_another_end_than_a_value_or_a_reason(name):
    """Numbers of unlike size added without rounding take as many bits as their exponents differ.

    Sizes rise, so that what takes memory in proportion is seen before it takes all of it.
    """
    for functions, made in ((interval_functions, interval.point), (gradient_functions, variable)):
        function = getattr(functions, name, None)
        if function is None:  # the slope of another
            continue
        function(made(0.5))  # what is cached stays cached
        for x in [0.0, *(sign * size for size in (*SIZES, HUGE) for sign in (1.0, -1.0))]:
            tracemalloc.start()
            found = function(made(x))
            _, most = tracemalloc.get_traced_memory()
            tracemalloc.stop()
            assert most < 100_000, (name, x)
            assert isinstance(found, (Interval, Gradient, Undefined)), (name, x)


def variable(x):
    return seed(interval.point(x), 0)


@pytest.mark.parametrize("name", sorted(set(gradient_functions.__all__) - {"table", "where"}))
def test_slopes_of_values_of_every_size_and_of_unbounded_slopes_are_ranges(name):
    """After a jump a slope is unbounded; whatever is made of it has a slope again, and no NaN."""
    function = getattr(gradient_functions, name)
    sizes = [0.0, *(sign * size for size in (*SIZES, HUGE) for sign in (1.0, -1.0))]
    for x in sizes:
        for slope in ((1.0, 1.0), (-numbers.inf, numbers.inf), (0.0, numbers.inf), (-HUGE, HUGE)):
            value = Gradient(interval.point(x), {0: slope})
            if name == "power":
                partners = [-(10**9), -1, 0, 1, 2, 3, 10**9]
            elif name in ("atan2", "hypot", "maximum", "minimum"):
                partners = [0.0, 1.0, -HUGE, variable(HUGE), variable(-TINY)]
            else:
                partners = [None]
            for other in partners:
                found = function(value) if other is None else function(value, other)
                if isinstance(found, Gradient):
                    assert all(low <= high for low, high in found.slopes.values()), (x, other)
                else:
                    assert isinstance(found, Undefined), (x, other)


def test_slopes_of_exprel_and_log1prel_far_from_zero():
    """Against mpmath; far below zero exprel is -1/x and its slope 1/x^2, to every digit."""
    with mpmath.workdps(50):
        for x in (-399.0, -401.0, -1e3, -1e10, -1e11, -1e150, -1e160, -1e300, -HUGE):
            a = mpmath.mpf(x)
            true = (mpmath.exp(a) * (a - 1) + 1) / a**2
            found = interval_functions.exprel_slope(interval.point(x))
            assert found.low <= true <= found.high, x
            assert found.high > 0.0  # a slope too small for a number is not zero
            assert found.high - found.low <= 1e-13 * float(true) + 1e-300
        for x in (1e10, 1e150, 1e160, 1e300, HUGE):
            a = mpmath.mpf(x)
            true = (a / (1 + a) - mpmath.log1p(a)) / a**2
            found = interval_functions.log1prel_slope(interval.point(x))
            assert found.low <= true <= found.high, x
            assert found.low < 0.0
    wide = interval_functions.exprel_slope(Interval(-HUGE, 700.0))
    assert wide.low == 0.0


def test_an_angle_too_small_for_a_number_is_not_zero():
    for y in (1e-300, -1e-300):
        found = math.atan2(interval.point(y), interval.point(1e300))
        assert found.low < found.high
        assert (found.high > 0.0) if y > 0.0 else (found.low < 0.0)
    axis = math.atan2(interval.point(0.0), interval.point(1e300))
    assert (axis.low, axis.high) == (0.0, 0.0)
