"""Formulas made at random, as trees over every function of closeout.math."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from hypothesis import strategies as st

from closeout import math

VARIABLES = ("x", "y", "z")
TABLE = ((-30.0, 2.0), (-1.0, 1.0), (0.0, 3.0), (0.5, -1.0), (2.0, 0.5), (30.0, 0.75))

UNARY = {
    "neg": lambda a: -a,
    "abs": abs,
    "exp": lambda a: math.exp(math.clip(a, -5.0, 3.0)),
    "raw exp": math.exp,
    "log": lambda a: math.log(1.0 + a * a),
    "raw log": math.log,
    "log10": lambda a: math.log10(0.5 + abs(a)),
    "sqrt": lambda a: math.sqrt(abs(a)),
    "raw sqrt": math.sqrt,
    "sin": math.sin,
    "cos": math.cos,
    "tan": math.tan,
    "asin": lambda a: math.asin(math.clip(a, -1.0, 1.0)),
    "acos": lambda a: math.acos(math.sin(a) * 0.9),
    "atan": math.atan,
    "sinh": lambda a: math.sinh(math.tanh(a)),
    "cosh": lambda a: math.cosh(math.clip(a, -2.0, 4.0)),
    "tanh": math.tanh,
    "asinh": math.asinh,
    "acosh": lambda a: math.acosh(1.0 + abs(a)),
    "raw acosh": math.acosh,
    "atanh": lambda a: math.atanh(math.clip(a, -0.9, 0.9)),
    "raw atanh": math.atanh,
    "log2": lambda a: math.log2(0.25 + a * a),
    "cbrt": math.cbrt,
    "erf": math.erf,
    "normal": math.normal_cdf,
    "floor": math.floor,
    "ceil": lambda a: math.ceil(a * 2.0),
    "sign": math.sign,
    "square": lambda a: a * a,
    "cube": lambda a: math.power(a, 3),
    "fourth": lambda a: math.power(a, 4),
    "inverse": lambda a: 1.0 / (1.5 + math.sin(a)),
    "raw inverse": lambda a: 1.0 / a,
    "table": lambda a: math.table(math.clip(a, -30.0, 30.0), TABLE),
    "fraction": lambda a: (1.0 + abs(a)) ** 0.7,
    "decibel": lambda a: 10.0 ** (math.tanh(a) / 10.0),
}
BINARY = {
    "add": lambda a, b: a + b,
    "sub": lambda a, b: a - b,
    "mul": lambda a, b: a * b,
    "div": lambda a, b: a / (2.0 + math.cos(b)),
    "raw div": lambda a, b: a / b,
    "min": math.minimum,
    "max": math.maximum,
    "most of three": lambda a, b: math.maximum(a, b, a * b),
    "least of four": lambda a, b: math.minimum(a, b, a + b, 1.0),
    "hypot": math.hypot,
    "atan2": math.atan2,
    "where": lambda a, b: math.where(a < b, a + 1.0, b * 2.0),
    "both": lambda a, b: math.where((a > 0.0) & (b >= 1.0), a, b),
}

constants = st.integers(-40, 40).map(lambda n: n / 8)
leaves = st.sampled_from(VARIABLES) | constants
trees = st.recursive(
    leaves,
    lambda inner: (
        st.tuples(st.sampled_from(sorted(UNARY)), inner)
        | st.tuples(st.sampled_from(sorted(BINARY)), inner, inner)
    ),
    max_leaves=8,
)
ends = st.integers(-24, 24).map(lambda n: n / 8)
boxes = st.tuples(*[st.tuples(ends, ends).map(lambda e: (min(e), max(e)))] * len(VARIABLES))


def value(tree: Any, at: Mapping[str, Any]) -> Any:
    """Return the value of a formula at a point of numbers, arrays, intervals or gradients."""
    if isinstance(tree, str):
        return at[tree]
    if not isinstance(tree, tuple):
        return tree
    name, *parts = tree
    values = [value(part, at) for part in parts]
    return UNARY[name](*values) if len(values) == 1 else BINARY[name](*values)
