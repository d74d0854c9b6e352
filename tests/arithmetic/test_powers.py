"""Powers with any exponent, from zero upward: ranges and slopes against numbers."""

import math as numbers
from random import Random

import pytest

from closeout.arithmetic.gradient.gradient import Gradient, seed
from closeout.arithmetic.interval.interval import Interval
from closeout.arithmetic.proof.bound import prove
from closeout.arithmetic.undecided import Undefined

KEY = ("y", None)


def proved(function, box, inputs=None, **options):
    middle = {name: 0.5 * (low + high) for name, (low, high) in box.items()}
    sides = tuple((name, low, high) for name, (low, high) in box.items())
    return prove(
        lambda p: {KEY: function(**p)}, {**middle, **(inputs or {})}, sides, [KEY], **options
    )


@pytest.mark.parametrize(
    ("power", "high"), [(1.5, 8.0), (0.3, 2.0), (2.5, 1e-3), (0.5, 4.0), (7.25, 3.0)]
)
def test_a_power_from_zero_is_proved(power, high):
    """It rises from 0 to high ** power, whatever the exponent."""
    found = proved(lambda u: u**power, {"u": (0.0, high)}).proved[KEY]
    assert found.tight
    assert (found.low, found.high) == pytest.approx((0.0, high**power), rel=1e-12)
    assert found.low == 0.0


def test_u_to_the_three_halves_like_u_root_u():
    from closeout import math

    one = proved(lambda u: u**1.5 - u, {"u": (0.0, 1.0)}).proved[KEY]
    other = proved(lambda u: u * math.sqrt(u) - u, {"u": (0.0, 1.0)}).proved[KEY]
    # The least is at u = 4/9, by hand: 8/27 - 4/9 = -4/27.
    for found in (one, other):
        assert found.low == pytest.approx(-4 / 27, rel=2e-6)
        assert found.tight


def test_an_exponent_that_varies():
    found = proved(lambda x, y: x**y, {"x": (0.0, 0.5), "y": (1.0, 2.0)}).proved[KEY]
    assert (found.low, found.high) == pytest.approx((0.0, 0.5), abs=1e-12)
    found = proved(lambda x, y: x**y, {"x": (0.25, 4.0), "y": (-1.0, 2.0)}).proved[KEY]
    assert (found.low, found.high) == pytest.approx((0.0625, 16.0), rel=1e-6)


@pytest.mark.parametrize(
    ("function", "box"),
    [
        (lambda u: u**-0.5, (0.0, 1.0)),  # no value at zero
        (lambda u: u**1.5, (-1.0, 1.0)),  # complex below zero
    ],
)
def test_what_has_no_value_is_not_proved(function, box):
    assert not proved(function, {"u": box}).proved


def test_random_powers_hold_numbers_and_slopes():
    random = Random(5)
    for _ in range(3000):
        low, high = sorted(random.choice([0.0, random.random() ** 4 * 50.0]) for _ in range(2))
        least, most = sorted(random.uniform(-3.0, 4.0) for _ in range(2))
        x, y = seed(Interval(low, high), 0), seed(Interval(least, most), 1)
        found = x**y
        if isinstance(found, Undefined):
            assert low == 0.0
            assert least <= 0.0
            continue
        assert isinstance(found, Gradient)
        for _ in range(4):
            a, b = random.uniform(low, high), random.uniform(least, most)
            assert found.value.low <= a**b <= found.value.high
            if a > 0.0:
                by_a, by_b = b * a ** (b - 1.0), a**b * numbers.log(a)
                slopes = found.slopes
                spare = 1e-12 * (1.0 + abs(by_a) + abs(by_b))
                assert slopes[0][0] - spare <= by_a <= slopes[0][1] + spare
                assert slopes[1][0] - spare <= by_b <= slopes[1][1] + spare
