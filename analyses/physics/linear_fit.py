"""Straight line through measured points by ordinary least squares, with its uncertainty.

y = intercept + slope x with independent errors of one standard deviation in y and none in x (JCGM
100:2008, H.3). Uncertainties are standard uncertainties with n - 2 degrees of freedom.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import fsum, sqrt
from typing import NamedTuple


class Line(NamedTuple):
    """A fitted line and its uncertainty."""

    intercept: float
    slope: float
    residual: float  # standard deviation of the points about the line
    intercept_uncertainty: float
    slope_uncertainty: float
    correlation: float  # of intercept and slope
    points: int
    mean_x: float
    spread_x: float  # sum of squares about the mean

    @property
    def degrees_of_freedom(self) -> int:
        return self.points - 2


def fit_line(x: Sequence[float], y: Sequence[float]) -> Line:
    """Return the line of least squares.

    Raises:
        ValueError: sequences of different length, fewer than three points, or all at one x.
    """
    n = len(x)
    if n != len(y):
        raise ValueError(f"{n} values of x and {len(y)} of y")
    if n < 3:
        raise ValueError(f"a line with an uncertainty needs three points, there are {n}")
    mean_x, mean_y = fsum(x) / n, fsum(y) / n
    spread = fsum((a - mean_x) ** 2 for a in x)
    if spread == 0.0:
        raise ValueError(f"all points are at x = {mean_x:g}")
    slope = fsum((a - mean_x) * (b - mean_y) for a, b in zip(x, y, strict=True)) / spread
    left = fsum((b - mean_y - slope * (a - mean_x)) ** 2 for a, b in zip(x, y, strict=True))
    residual = sqrt(left / (n - 2))
    whole = 1 / n + mean_x * mean_x / spread
    return Line(
        intercept=mean_y - slope * mean_x,
        slope=slope,
        residual=residual,
        intercept_uncertainty=residual * sqrt(whole),
        slope_uncertainty=residual / sqrt(spread),
        correlation=-mean_x / sqrt(spread * whole),
        points=n,
        mean_x=mean_x,
        spread_x=spread,
    )


def value_at(line: Line, x: float) -> float:
    """Return the line at x."""
    return line.intercept + line.slope * x


def uncertainty_of_mean(line: Line, x: float) -> float:
    """Return the standard uncertainty of the line at x: of the mean of many more points there."""
    away = (x - line.mean_x) ** 2 / line.spread_x
    return line.residual * sqrt(1 / line.points + away)


def uncertainty_of_one_more(line: Line, x: float) -> float:
    """Return the standard uncertainty of the prediction of one more point at x.

    It holds the scatter of the point itself, so it stays however many points the line has (D. C.
    Montgomery, E. A. Peck, G. G. Vining, Introduction to Linear Regression Analysis, section 2.5).
    """
    away = (x - line.mean_x) ** 2 / line.spread_x
    return line.residual * sqrt(1 + 1 / line.points + away)


def student_quantile(probability: float, degrees_of_freedom: float) -> float:
    """Return what a variable of Student's t distribution stays below with a probability."""
    from scipy.special import stdtrit  # type: ignore[import-untyped]

    return float(stdtrit(degrees_of_freedom, probability))


def student_probability(value: float, degrees_of_freedom: float) -> float:
    """Return the probability that a variable of Student's t distribution stays below a value."""
    from scipy.special import stdtr

    return float(stdtr(degrees_of_freedom, value))
