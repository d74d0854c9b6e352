"""Derivatives at a point by our own gradients, against SymPy's and closed forms."""

from __future__ import annotations

import math
import subprocess
import sys
from typing import Any

import mpmath
import pytest
from hypothesis import given, settings

from analyses.carrier_doppler import carrier_doppler
from analyses.ground_flux import ground_flux
from analyses.pad_hold_energy import pad_hold_energy
from closeout import math as cm
from closeout.arithmetic.study.sensitivity import gradient
from closeout.arithmetic.symbol.symbolic import symbolic
from tests.arithmetic import on_sympy
from tests.arithmetic.test_sensitivity import POSITIVE, TREES, X, exact, grown, single
from tests.arithmetic.test_symbol import DOPPLER, FLUX, PAD_HOLD, evaluator

# What the rounding of either side may leave, relative to a derivative.
ROUNDING = 5e-14


@pytest.mark.parametrize(
    ("analysis", "inputs"),
    [(pad_hold_energy, PAD_HOLD), (carrier_doppler, DOPPLER), (ground_flux, FLUX)],
)
def test_derivatives_of_the_mission_are_those_of_sympy(analysis: Any, inputs: Any) -> None:
    s = symbolic(evaluator(analysis.function), inputs)
    keys = [(stage.quantity, stage.case) for stage in s.stages if stage.field][:12]
    for key in keys:
        assert gradient(s, key) == pytest.approx(on_sympy.gradient(s, key), rel=ROUNDING), key


@settings(max_examples=80, deadline=None)
@given(TREES, POSITIVE, POSITIVE, POSITIVE)
def test_derivatives_are_those_of_sympy_with_60_digits(
    tree: Any, a: float, b: float, c: float
) -> None:
    # What is a small difference of large parts has their rounding; 1.0 is the size of a part.
    s = symbolic(single(lambda **p: grown(tree, p, cm)), {"a": a, "b": b, "c": c})
    found = gradient(s, X)
    assert found is not None
    for name, slope in on_sympy.exact_gradient(s, X).items():
        assert abs(found[name] - slope) <= ROUNDING * max(abs(slope), 1.0), name


@pytest.mark.parametrize(
    ("name", "at", "slope"),
    [
        ("exp", 1.5, mpmath.exp),
        ("exprel", 1e-6, lambda x: mpmath.diff(lambda y: mpmath.expm1(y) / y, x)),
        ("log1prel", -0.3, lambda x: mpmath.diff(lambda y: mpmath.log1p(y) / y, x)),
        ("log", 0.7, lambda x: 1 / x),
        ("log10", 0.7, lambda x: 1 / (x * mpmath.log(10))),
        ("log2", 3.0, lambda x: 1 / (x * mpmath.log(2))),
        ("sqrt", 2.0, lambda x: 1 / (2 * mpmath.sqrt(x))),
        ("cbrt", -8.0, lambda _: mpmath.mpf(1) / 12),
        ("sin", 2.0, mpmath.cos),
        ("cos", 2.0, lambda x: -mpmath.sin(x)),
        ("tan", 1.0, lambda x: mpmath.sec(x) ** 2),
        ("asin", 0.9, lambda x: 1 / mpmath.sqrt(1 - x * x)),
        ("acos", 0.9, lambda x: -1 / mpmath.sqrt(1 - x * x)),
        ("atan", -7.0, lambda x: 1 / (1 + x * x)),
        ("sinh", 2.0, mpmath.cosh),
        ("cosh", -2.0, mpmath.sinh),
        ("tanh", 2.0, lambda x: mpmath.sech(x) ** 2),
        ("asinh", 0.75, lambda x: 1 / mpmath.sqrt(1 + x * x)),
        ("acosh", 1.25, lambda x: 1 / mpmath.sqrt(x * x - 1)),
        ("atanh", 0.5, lambda x: 1 / (1 - x * x)),
        ("erf", 0.5, lambda x: 2 / mpmath.sqrt(mpmath.pi) * mpmath.exp(-x * x)),
        ("normal_cdf", -3.0, mpmath.npdf),
        ("floor", 3.0, lambda _: 0),
        ("ceil", 2.5, lambda _: 0),
        ("sign", -2.5, lambda _: 0),
    ],
)  # closed forms, with 50 digits
def test_each_function(name: str, at: float, slope: Any) -> None:
    with mpmath.workdps(50):
        expected = slope(mpmath.mpf(at))
    found = exact(lambda a: getattr(cm, name)(a), {"a": at})["a"]
    assert found == pytest.approx(float(expected), rel=1e-14)


@pytest.mark.parametrize(
    ("formula", "at", "slope"),
    [
        (lambda a: cm.maximum(a, 3.0 * a - 4.0), 2.0, 1.0),
        (lambda a: cm.maximum(3.0 * a - 4.0, a), 2.0, 3.0),
        (lambda a: cm.minimum(7.0, 5.0 * a, a + 4.0), 1.0, 5.0),
        (lambda a: abs(a), 0.0, 1.0),
        (lambda a: cm.table(a, ((0.0, 0.0), (1.0, 5.0), (9.0, 21.0))), 1.0, 2.0),
        (lambda a: cm.table(a, ((0.0, 0.0), (1.0, 5.0), (9.0, 21.0))), 9.0, 2.0),
        (lambda a: cm.table(a, ((0.0, 0.0), (1.0, 5.0), (9.0, 21.0))), 0.0, 5.0),
        (lambda a: cm.where(a < 1.0, a, 7.0 * a), 1.0, 7.0),
        # The root has no slope at zero, and no part in the value.
        (lambda a: cm.where(a > 0.0, cm.sqrt(a), 2.0 * a), 0.0, 2.0),
    ],
)  # by hand: at a tie the first, at a point of a table the line to the right
def test_at_a_kink_the_slope_is_that_of_one_side(formula: Any, at: float, slope: float) -> None:
    s = symbolic(single(formula), {"a": at})
    assert gradient(s, X) == {"a": slope}
    assert on_sympy.gradient(s, X) == {"a": slope}


@pytest.mark.parametrize(
    ("formula", "at"),
    [
        (lambda a: cm.sqrt(a), 0.0),
        (lambda a: cm.cbrt(a), 0.0),
        (lambda a: cm.asin(a), 1.0),
        (lambda a: cm.acosh(a), 1.0),
        (lambda a: cm.hypot(a, a), 0.0),
        (lambda a: cm.atan2(a, -1.0 - a), 0.0),
        (lambda a: a**0.5, 0.0),
    ],
)
def test_where_there_is_no_slope_there_is_no_gradient(formula: Any, at: float) -> None:
    s = symbolic(single(formula), {"a": at})
    assert not s.reasons
    assert gradient(s, X) is None


def test_a_value_that_is_used_often_is_looked_at_once() -> None:
    # x_(n+1) = x_n x_n, forty times: written out it has 2^40 factors. x = a^(2^40), closed form.
    def squared(a: Any) -> Any:
        for _ in range(40):
            a = a * a
        return a

    power = 2.0**40
    at = 1.0 + 2.0**-45
    slope = power * math.exp((power - 1.0) * math.log1p(2.0**-45))
    assert exact(squared, {"a": at})["a"] == pytest.approx(slope, rel=1e-3)


def test_a_derivative_does_without_sympy() -> None:
    script = (
        "import sys\n"
        "from closeout.arithmetic.study.sensitivity import gradient\n"
        "from closeout.arithmetic.symbol.symbolic import symbolic\n"
        "from closeout import math\n"
        "s = symbolic(lambda p: {('x', None): math.exp(p['a']) * p['a']}, {'a': 0.0})\n"
        "print(gradient(s, ('x', None)), 'sympy' in sys.modules)\n"
    )
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert run.stdout == "{'a': 1.0} False\n"
