"""Straight line by least squares: JCGM 100 H.3, certified data of NIST, textbook, SciPy, NumPy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analyses.physics.linear_fit import (
    fit_line,
    student_probability,
    student_quantile,
    uncertainty_of_mean,
    uncertainty_of_one_more,
    value_at,
)

# JCGM 100:2008, H.3, table H.6: readings of a thermometer in degC and corrections in degC (data as
# in the documentation of GTC, example "Calibration of a thermometer (GUM H3)"), t0 = 20 degC.
THERMOMETER = (
    [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511],
    [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160],
)


def test_jcgm_100_h3() -> None:
    readings, corrections = THERMOMETER
    line = fit_line([t - 20 for t in readings], corrections)
    # Printed in H.3.3 and H.3.4 (from memory).
    assert line.intercept == pytest.approx(-0.1712, abs=5e-5)
    assert line.intercept_uncertainty == pytest.approx(0.0029, abs=5e-5)
    assert line.slope == pytest.approx(0.00218, abs=5e-6)
    assert line.slope_uncertainty == pytest.approx(0.00067, abs=5e-6)
    assert line.correlation == pytest.approx(-0.930, abs=5e-4)
    assert line.residual == pytest.approx(0.0035, abs=5e-5)
    assert value_at(line, 10) == pytest.approx(-0.1494, abs=5e-5)  # at 30 degC
    assert uncertainty_of_mean(line, 10) == pytest.approx(0.0041, abs=5e-5)
    assert line.degrees_of_freedom == 9


# NIST Statistical Reference Datasets, Norris: ozone monitors, (y, x). From memory; that it is right
# is seen from the certified values.
NORRIS = (
    (0.1, 0.2), (338.8, 337.4), (118.1, 118.2), (888.0, 884.6), (9.2, 10.1), (228.1, 226.5),
    (668.5, 666.3), (998.5, 996.3), (449.1, 448.6), (778.9, 777.0), (559.2, 558.2), (0.3, 0.4),
    (0.1, 0.6), (778.1, 775.5), (668.8, 666.9), (339.3, 338.0), (448.9, 447.5), (10.8, 11.6),
    (557.7, 556.0), (228.3, 228.1), (998.0, 995.8), (888.8, 887.6), (119.6, 120.2), (0.3, 0.3),
    (0.6, 0.3), (557.6, 556.8), (339.3, 339.1), (888.0, 887.2), (998.5, 999.0), (778.9, 779.0),
    (10.2, 11.1), (117.6, 118.3), (228.9, 229.2), (668.4, 669.1), (449.2, 448.9), (0.2, 0.5),
)  # fmt: skip


def test_nist_norris() -> None:
    line = fit_line([x for _, x in NORRIS], [y for y, _ in NORRIS])
    # certified values of the data set
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-10)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-13)
    assert line.intercept_uncertainty == pytest.approx(0.232818234301152, rel=1e-10)
    assert line.slope_uncertainty == pytest.approx(0.429796848199937e-3, rel=1e-10)
    assert line.residual == pytest.approx(0.884796396144373, rel=1e-10)


# Montgomery, Peck and Vining, Introduction to Linear Regression Analysis, Example 2.1: shear
# strength in psi against the age of a propellant in weeks; data from memory.
AGE = (15.50, 23.75, 8.00, 17.00, 5.50, 19.00, 24.00, 2.50, 7.50, 11.00, 13.00, 3.75, 25.00, 9.75,
       22.00, 18.00, 6.00, 12.50, 2.00, 21.50)  # fmt: skip
STRENGTH = (
    2158.70, 1678.15, 2316.00, 2061.30, 2207.50, 1708.30, 1784.70, 2575.00, 2357.90, 2256.70,
    2165.20, 2399.55, 1779.80, 2336.75, 1765.30, 2053.50, 2414.40, 2200.50, 2654.20, 1753.70,
)  # fmt: skip


def test_published_prediction_interval() -> None:
    line = fit_line(AGE, STRENGTH)
    assert line.intercept == pytest.approx(2627.82, abs=0.006)
    assert line.slope == pytest.approx(-37.15, abs=0.006)
    t = student_quantile(0.975, line.degrees_of_freedom)
    assert t == pytest.approx(2.101, abs=5e-4)  # printed in every table of t, 18 degrees of freedom
    centre, wide = value_at(line, 10), t * uncertainty_of_one_more(line, 10)
    # Example 2.7: 2048.32 <= y0 <= 2464.32 (rounded intermediate values in the book)
    assert centre - wide == pytest.approx(2048.32, abs=0.5)
    assert centre + wide == pytest.approx(2464.32, abs=0.5)
    # Example 2.6: the mean at 13.3625 weeks, 2086.230 to 2176.571
    mean, narrow = value_at(line, 13.3625), t * uncertainty_of_mean(line, 13.3625)
    assert (mean - narrow, mean + narrow) == pytest.approx((2086.230, 2176.571), abs=0.1)


numbers = st.lists(st.tuples(st.floats(-50, 50), st.floats(-50, 50)), min_size=4, max_size=40)


@given(numbers)
def test_scipy_and_numpy_find_the_same_line(points: list[tuple[float, float]]) -> None:
    x, y = (np.array(column) for column in zip(*points, strict=True))
    if min(np.ptp(x), np.ptp(y)) < 1e-3:
        return  # SciPy divides by the spread of both
    line, found = fit_line(list(x), list(y)), stats.linregress(x, y)
    assert line.slope == pytest.approx(found.slope, rel=1e-7, abs=1e-7)
    assert line.intercept == pytest.approx(found.intercept, rel=1e-7, abs=1e-5)
    assert line.slope_uncertainty == pytest.approx(found.stderr, rel=1e-5, abs=1e-6)
    assert line.intercept_uncertainty == pytest.approx(found.intercept_stderr, rel=1e-5, abs=1e-5)
    slope, intercept = np.polyfit(x, y, 1)
    assert line.slope == pytest.approx(slope, rel=1e-6, abs=1e-6)
    assert line.intercept == pytest.approx(intercept, rel=1e-6, abs=1e-4)


def test_one_more_point_is_less_certain_than_the_mean() -> None:
    for many in (10, 1000):
        x = [float(k) for k in range(many)]
        line = fit_line(x, [2 * v + (-1) ** k for k, v in enumerate(x)])
        mean, one = uncertainty_of_mean(line, many / 2), uncertainty_of_one_more(line, many / 2)
        assert one**2 == pytest.approx(mean**2 + line.residual**2)
    assert mean < 0.05 < 0.95 < one  # the mean of many is sure, one more is not


@pytest.mark.parametrize(
    ("probability", "freedom", "quantile"),
    # Student's t, one-sided; JCGM 100:2008, table G.2 (two-sided 90 %, 95 %, 99 %)
    [(0.95, 1, 6.31), (0.95, 10, 1.81), (0.95, 20, 1.72), (0.95, 50, 1.68), (0.975, 5, 2.57),
     (0.975, 10, 2.23), (0.975, 20, 2.09), (0.995, 10, 3.17), (0.995, 25, 2.79)],
)  # fmt: skip
def test_student(probability: float, freedom: float, quantile: float) -> None:
    found = student_quantile(probability, freedom)
    assert found == pytest.approx(quantile, abs=0.0051)
    assert student_probability(found, freedom) == pytest.approx(probability, rel=1e-9)
    assert student_probability(0, freedom) == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("x", "y", "message"),
    [
        ([1.0, 2.0], [1.0, 2.0], "three points"),
        ([1.0, 2.0, 3.0], [1.0, 2.0], "3 values of x and 2"),
        ([2.0, 2.0, 2.0], [1.0, 2.0, 3.0], "all points are at x = 2"),
    ],
)
def test_no_line(x: list[float], y: list[float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        fit_line(x, y)


def test_points_on_a_line_have_no_residual() -> None:
    line = fit_line([0.0, 1.0, 2.0, 5.0], [1.0, 3.0, 5.0, 11.0])
    assert (line.intercept, line.slope) == pytest.approx((1, 2))
    assert line.residual == pytest.approx(0, abs=1e-12)
    assert math.isfinite(line.correlation)
