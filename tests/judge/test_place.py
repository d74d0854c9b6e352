"""Where a measured value lies in a predicted range, and E_n: cases worked out by hand.

Definitions: decision rule of JCGM 106:2012, 8 (guarded by the expanded uncertainty, as ISO 14253-1
has it); E_n of ISO 13528:2022, 9.7, as in ISO/IEC 17043:2023, B.4.1.1 (clause numbers from memory).
"""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from closeout.judge.compared.place import normalised_error, place, standing
from closeout.model.compared import Standing

INSIDE, ASTRIDE, OUTSIDE = Standing.INSIDE, Standing.ASTRIDE, Standing.OUTSIDE


@pytest.mark.parametrize(
    ("x", "expected"),
    [
        (60.0, 0.0),
        (66.0, 1.0),  # (66 - 60) / (66 - 60)
        (63.0, 0.5),
        (56.0, -1.0),  # (56 - 60) / (60 - 56)
        (59.0, -0.25),
        (69.0, 1.5),
        (54.0, -1.5),
    ],
)
def test_a_place_is_a_share_of_the_way_to_the_end_on_its_side(x: float, expected: float) -> None:
    assert place(x, 60.0, 56.0, 66.0) == expected


def test_a_place_in_no_range_is_known_at_the_value_alone() -> None:
    assert place(5.0, 5.0, 5.0, 5.0) == 0.0
    assert place(6.0, 5.0, 4.0, 5.0) is None
    assert place(4.0, 5.0, 5.0, 6.0) is None


@pytest.mark.parametrize(
    ("x", "half", "expected"),
    [
        (60, 1, INSIDE),
        (65, 1, INSIDE),  # touches the end from within
        (65, 2, ASTRIDE),
        (66, 0, INSIDE),  # the ends belong to the range
        (67, 1, ASTRIDE),  # x - U = 66: not beyond the end
        (68, 1, OUTSIDE),
        (55, 1, ASTRIDE),  # x + U = 56
        (54, 1, OUTSIDE),
        (61, 20, ASTRIDE),  # wider than the range, both ends lie in it
    ],
)
def test_a_value_is_outside_only_with_all_of_its_uncertainty(
    x: int, half: int, expected: Standing
) -> None:
    assert standing(x, half, 56, 66) is expected


def test_ends_are_compared_exactly() -> None:
    # 0.1 + 0.2 is above 0.3 in doubles, and equal to it here.
    x, half, high = Fraction("0.3"), Fraction("0.2"), Fraction("0.1")
    assert standing(x, half, Fraction(-1), high) is ASTRIDE


@pytest.mark.parametrize(
    ("x", "half", "y", "expanded", "expected"),
    [
        (10.3, 0.3, 10.0, 0.4, 0.6),  # 0.3 / 0.5: the 3-4-5 triangle
        (9.0, 0.6, 10.0, 0.8, -1.0),
        (12.0, 0.0, 10.0, 1.0, 2.0),
    ],
)
def test_the_normalised_error(
    x: float, half: float, y: float, expanded: float, expected: float
) -> None:
    assert normalised_error(x, half, y, expanded) == pytest.approx(expected, rel=1e-12)


NUMBERS = st.integers(-1000, 1000).map(lambda n: Fraction(n, 8))


@given(NUMBERS, NUMBERS, NUMBERS, NUMBERS, NUMBERS)
def test_place_and_standing_agree(
    x: Fraction, a: Fraction, b: Fraction, c: Fraction, u: Fraction
) -> None:
    low, y, high = sorted((a, b, c))
    half = abs(u)
    where, found = place(x, y, low, high), standing(x, half, low, high)
    if found is INSIDE:
        assert low <= x <= high
    if where is not None and math.fabs(where) <= 1.0:
        assert found is not OUTSIDE
    if where is not None and math.fabs(where) > 1.0:
        assert found is not INSIDE
    if half == 0:
        assert found is not ASTRIDE
