"""Verdicts on failure probabilities that are known: in closed form, or published.

Each limit state fails where it is below zero. Required is a probability of survival a little below
the true one, which has to be met, and one a little above, which has to be not met; and the bounds
have to hold the true one. Closed forms are by hand; published values and the names of those who
published them are from memory, and beside each stands what SciPy integrates, or a sum that anyone
can follow.
"""

from __future__ import annotations

import math as plain
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

import pytest
from scipy import integrate, stats

from closeout import math
from closeout.arithmetic.chance import trials

KEY = ("state", None)
NORMAL = stats.norm


class Problem(NamedTuple):
    """A limit state, the mean and sigma of its normal inputs, and its uniform ones from 0 to 1.

    ``failure`` is the true probability of failure, ``published`` a value that was published, with
    the share by which it may be off, since it is rounded or sampled itself.
    """

    state: Callable[..., Any]
    failure: float
    normal: Mapping[str, tuple[float, float]]
    uniform: tuple[str, ...] = ()
    published: tuple[float, float] | None = None


def standard(count: int) -> dict[str, tuple[float, float]]:
    return {f"u{i}": (0.0, 1.0) for i in range(count)}


def over(density: Callable[[float], float], span: float = 12.0) -> float:
    """Return the integral of a density over the line, whose middle is near zero."""
    return float(integrate.quad(density, -span, span, epsabs=1e-14, epsrel=1e-10, limit=500)[0])


# ---- closed forms


def linear(beta: float, count: int) -> Problem:
    """beta sqrt(n) less the sum of n standard normals: Phi(-beta), whatever n is."""
    return Problem(
        lambda **u: beta * plain.sqrt(count) - sum(u.values()),
        float(NORMAL.cdf(-beta)),
        standard(count),
    )


def exponentials(count: int, most: float) -> Problem:
    """The sum of n exponential variables of mean 1 is gamma distributed with shape n."""
    names = tuple(f"v{i}" for i in range(count))
    return Problem(
        lambda **v: most + sum(math.log(one) for one in v.values()),
        float(stats.gamma.sf(most, count)),
        {},
        names,
    )


def sphere(radius: float, count: int) -> Problem:
    """r^2 less the sum of n squares: chi-square with n degrees of freedom."""
    return Problem(
        lambda **u: radius * radius - sum(one * one for one in u.values()),
        float(stats.chi2.sf(radius * radius, count)),
        standard(count),
    )


def _lognormal(mean: float, share: float) -> tuple[float, float]:
    """Return mean and sigma of the logarithm, by the mean and the coefficient of variation."""
    spread = plain.sqrt(plain.log(1.0 + share * share))
    return plain.log(mean) - spread * spread / 2.0, spread


STRENGTH, LOAD = _lognormal(250.0, 0.1), _lognormal(120.0, 0.25)

CLOSED = {
    # Resistance less load, both normal: Phi(-(m_R - m_S) / sqrt(s_R^2 + s_S^2)) = Phi(-2.5).
    "resistance less load": Problem(
        lambda resistance, load: resistance - load,
        float(NORMAL.cdf(-2.5)),
        {"resistance": (200.0, 12.0), "load": (150.0, 16.0)},
    ),
    # Both lognormal: the logarithms are normal, and so is that of the ratio.
    "resistance over load": Problem(
        lambda resistance, load: math.exp(resistance) / math.exp(load) - 1.0,
        float(NORMAL.cdf((LOAD[0] - STRENGTH[0]) / plain.hypot(LOAD[1], STRENGTH[1]))),
        {"resistance": STRENGTH, "load": LOAD},
    ),
    "plane, two variables": linear(2.0, 2),
    "plane, ten variables": linear(3.0, 10),
    "plane, forty variables": linear(2.5, 40),
    "sum of five exponentials": exponentials(5, 12.0),
    "sum of twenty exponentials": exponentials(20, 34.0),
    "inside of a sphere": sphere(3.5, 3),
    # A series of three that know nothing of each other: 1 - Phi(2.5)^3.
    "weakest of three": Problem(
        lambda u0, u1, u2: math.minimum(2.5 - u0, 2.5 - u1, 2.5 - u2),
        1.0 - float(NORMAL.cdf(2.5)) ** 3,
        standard(3),
    ),
    # Three in parallel fail together: Phi(-0.8)^3.
    "strongest of three": Problem(
        lambda u0, u1, u2: math.maximum(0.8 - u0, 0.8 - u1, 0.8 - u2),
        float(NORMAL.cdf(-0.8)) ** 3,
        standard(3),
    ),
    # A yearly maximum after Gumbel with mode 20 and scale 3, against 35: 1 - exp(-e^(-5)).
    "wind after Gumbel": Problem(
        lambda v: 35.0 - (20.0 - 3.0 * math.log(-math.log(v))),
        1.0 - plain.exp(-plain.exp(-5.0)),
        {},
        ("v",),
    ),
    # Survival by the normal distribution function itself: Phi(u) is uniform.
    "probability as a quantity": Problem(
        lambda u0: math.normal_cdf(u0) - 0.01, 0.01, standard(1)
    ),
}  # fmt: skip


# ---- published examples


def _cubes() -> float:
    """x^3 + y^3 below 18, normal about 10 and 9.9 with sigma 5."""
    return over(
        lambda u: NORMAL.pdf(u) * NORMAL.cdf((float(_cbrt(18.0 - (10 + 5 * u) ** 3)) - 9.9) / 5.0)
    )


def _cbrt(x: float) -> float:
    return plain.copysign(abs(x) ** (1.0 / 3.0), x)


def _four_branches() -> float:
    """In v = (x + y)/sqrt 2 and w = (x - y)/sqrt 2: |v| < 3 + 0.2 w^2 and |w| < 3."""
    inside = integrate.quad(
        lambda w: NORMAL.pdf(w) * (2.0 * NORMAL.cdf(3.0 + 0.2 * w * w) - 1.0), -3.0, 3.0
    )[0]
    return 1.0 - float(inside)


def _branches(u0: Any, u1: Any) -> Any:
    root = plain.sqrt(2.0)
    bowl = 3.0 + 0.1 * math.power(u0 - u1, 2)
    slant = (u0 + u1) / root
    return math.minimum(bowl - slant, bowl + slant, (u0 - u1) + 6.0 / root, (u1 - u0) + 6.0 / root)


def _oscillator(m: Any, c1: Any, c2: Any, r: Any, force: Any, time: Any) -> Any:
    pulse = math.sqrt((c1 + c2) / m)
    return 3.0 * r - abs(2.0 * force / (m * pulse * pulse) * math.sin(pulse * time / 2.0))


def _ripples(u0: Any, u1: Any) -> Any:
    return 10.0 - sum(math.power(u, 2) - 5.0 * math.cos(2.0 * math.pi * u) for u in (u0, u1))


def _rippled() -> float:
    """The share of the plane where the sum of two x^2 - 5 cos 2 pi x is above 10."""
    import numpy

    x = numpy.linspace(-8.0, 8.0, 4001)
    weight = NORMAL.pdf(x) * (x[1] - x[0])
    height = x * x - 5.0 * numpy.cos(2.0 * numpy.pi * x)
    return float((numpy.outer(weight, weight) * (height[:, None] + height > 10.0)).sum())


PUBLISHED = {
    # Rajashekhar and Ellingwood 1993: deflection of a cantilever, 0.0096.
    "cantilever": Problem(
        lambda load, depth: 18.46154 - 74769.23 * load / math.power(depth, 3),
        over(
            lambda u: NORMAL.pdf(u)
            * NORMAL.sf((18.46154 * (250.0 + 37.5 * u) ** 3 / 74769.23 - 1000.0) / 200.0),
            6.5,
        ),
        {"load": (1000.0, 200.0), "depth": (250.0, 37.5)},
        published=(0.0096, 0.02),
    ),
    # A convex parabola, Borri and Speranzini 1997; Waarts 2000: 4.2e-3.
    "parabola": Problem(
        lambda u0, u1: 2.5 + 0.1 * math.power(u0 - u1, 2) - (u0 + u1) / plain.sqrt(2.0),
        over(lambda w: NORMAL.pdf(w) * NORMAL.sf(2.5 + 0.2 * w * w)),
        standard(2),
        published=(4.2e-3, 0.02),
    ),
    # A valley of the fourth power, Grooteman 2008: 2.86e-3.
    "valley of the fourth power": Problem(
        lambda x, y: 2.5 - 0.2357 * (x - y) + 0.00463 * math.power(x + y - 20.0, 4),
        over(
            lambda w: NORMAL.pdf(w)
            * NORMAL.sf((2.5 + 0.00463 * (18.0**0.5 * w) ** 4) / (0.2357 * 18.0**0.5))
        ),
        {"x": (10.0, 3.0), "y": (10.0, 3.0)},
        published=(2.86e-3, 0.02),
    ),
    # Two cubes, after Rackwitz and Fiessler; several authors print 5.8e-3 from samples.
    "two cubes": Problem(
        lambda x, y: math.power(x, 3) + math.power(y, 3) - 18.0,
        _cubes(),
        {"x": (10.0, 5.0), "y": (9.9, 5.0)},
        published=(5.8e-3, 0.03),
    ),
    # A series of four branches, Waarts 2000; Echard, Gayton, Lemaire 2011: 4.416e-3.
    "four branches": Problem(
        _branches, _four_branches(), standard(2), published=(4.416e-3, 0.03)
    ),
    # Echard, Gayton, Lemaire 2011: 7.308e-2, islands of failure.
    "ripples": Problem(_ripples, _rippled(), standard(2), published=(7.308e-2, 0.02)),
    # The same, after Rajashekhar and Ellingwood 1993: an oscillator under a pulse, 2.834e-2; taken
    # as true, since nothing here integrates over six variables.
    "oscillator": Problem(
        _oscillator, 2.834e-2,
        {"m": (1.0, 0.05), "c1": (1.0, 0.1), "c2": (0.1, 0.01), "r": (0.5, 0.05),
         "force": (1.0, 0.2), "time": (1.0, 0.2)},
    ),
}  # fmt: skip

CONFIDENCE = 0.99
# The greater share of failures that is required to be met, and the smaller one that is not.
APART = 1.25


def decided(problem: Problem, failure: float) -> list[Any]:
    """Return what is decided of a required probability of survival."""
    inputs = {name: mean for name, (mean, _) in problem.normal.items()}
    inputs |= dict.fromkeys(problem.uniform, 0.5)
    box = [(name, mean - 3.0 * s, mean + 3.0 * s) for name, (mean, s) in problem.normal.items()]
    box += [(name, 0.0, 1.0) for name in problem.uniform]
    said: dict[str, Any] = {name: (s, None, None) for name, (_, s) in problem.normal.items()}
    said |= dict.fromkeys(problem.uniform, (None, "uniform", None))
    detail = {
        "quantity": "state", "at_least": 0.0, "at_most": None, "cases_at_least": None,
        "probability": 1.0 - failure, "confidence": CONFIDENCE, "seed": "R-1", "drawn": said,
    }  # fmt: skip
    (one,) = trials.answer(
        lambda point: {KEY: problem.state(**point)}, inputs, tuple(box), detail
    ).decisions
    return one


@pytest.mark.parametrize("name", [*CLOSED, *PUBLISHED])
def test_a_failure_probability_that_is_known_is_decided_rightly(name: str) -> None:
    problem = {**CLOSED, **PUBLISHED}[name]
    for share, outcome in ((APART, "met"), (1.0 / APART, "not met")):
        _, found, _, _, lower, upper, samples, *_, fallback, _ = decided(
            problem, share * problem.failure
        )
        assert found == outcome
        assert fallback is None
        assert lower <= 1.0 - problem.failure <= upper
        assert samples <= 2**20


@pytest.mark.parametrize("name", [name for name, one in PUBLISHED.items() if one.published])
def test_what_was_published_agrees_with_what_is_integrated(name: str) -> None:
    problem = PUBLISHED[name]
    assert problem.published is not None
    value, share = problem.published
    assert problem.failure == pytest.approx(value, rel=share)


def test_what_is_exact_is_open_or_right_and_never_wrong() -> None:
    """Required is the very probability: no number of samples may call it not met at 0.99."""
    for name in ("plane, two variables", "wind after Gumbel", "weakest of three"):
        problem = CLOSED[name]
        assert decided(problem, problem.failure)[1] == "undecided"


def test_the_closed_form_of_a_probability_is_a_quantity_like_any_other() -> None:
    """Phi(-beta) of resistance and load as a formula: proved over the spread of their means."""
    from closeout.arithmetic.proof.bound import prove

    def failure(point: Mapping[str, Any]) -> dict[Any, Any]:
        beta = (point["resistance"] - point["load"]) / math.hypot(12.0, 16.0)
        return {KEY: math.normal_cdf(-beta)}

    box = (("resistance", 190.0, 210.0), ("load", 148.0, 152.0))
    found = prove(failure, {"resistance": 200.0, "load": 150.0}, box, [KEY]).proved[KEY]
    assert found.tight
    assert found.low == pytest.approx(float(NORMAL.cdf(-3.1)), rel=1e-9)
    assert found.high == pytest.approx(float(NORMAL.cdf(-1.9)), rel=1e-9)
