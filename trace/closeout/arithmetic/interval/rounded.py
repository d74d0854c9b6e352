"""Elementary functions of one number, right to a unit in the last place, and steps outward.

The C library errs by up to two units in the last place (its tanh), NumPy's vector loops by up to
four (its own documentation). Functions are evaluated here by mpmath's libmp with 60 bits; a step
outward is eight units, which covers all three. mpmath.iv alone would not do: it has no asin, acos,
atan, sinh, cosh, tanh and hypot.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, lru_cache
from typing import Any

# Eight units in the last place, at least: see above.
SLACK = 2.0**-49
LEAST = 4e-323  # the same among the subnormal numbers
_BITS = 60

# Values of each elementary function that are cached.
CACHE_SIZE = 8192


def below(value: float) -> float:
    """Return a number that lies eight units below; zero is exact and stays."""
    return value - (abs(value) * SLACK + LEAST) if value else 0.0


def above(value: float) -> float:
    """Return a number that lies eight units above; zero is exact and stays."""
    return value + (abs(value) * SLACK + LEAST) if value else 0.0


@cache
def load() -> Any:
    """Return libmp, loaded where it is asked for first; no command needs it at its start."""
    from mpmath import libmp  # type: ignore[import-untyped]

    return libmp


@cache
def near(name: str) -> Callable[..., float]:
    """Return a function of libmp as one of numbers, right to a unit in the last place.

    It is zero only where it is exactly zero, or too small for a number.
    """
    libmp = load()
    function, read, write = getattr(libmp, f"mpf_{name}"), libmp.from_float, libmp.to_float

    # Parts of a box share most of their ends, so the same numbers come again and again.
    @lru_cache(maxsize=CACHE_SIZE)
    def found(*values: float) -> float:
        return float(write(function(*map(read, values), _BITS, "n")))

    return found


# Differences that nearly cancel need more bits: two powers of the argument, down to _TINY, where
# the first term of the series is all that a number can hold. Every sum has its precision: an exact
# one of numbers of unlike size takes as many bits as their exponents differ.
_MANY_BITS = 280
_TINY = 1e-30
# Below this e^x is no part of a sum with 1 any more, not to twice as many bits.
_FAR = -400.0
# Beyond so many standard deviations a probability is too small for a number, or too near to 1.
MOST_SIGMAS = 40.0


@lru_cache(maxsize=CACHE_SIZE)
def exprel(x: float) -> float:
    """Return (e^x - 1) / x, 1 at zero."""
    if abs(x) < _TINY:
        return 1.0
    m, a = load(), load().from_float(x)
    growth = m.mpf_sub(m.mpf_exp(a, _MANY_BITS, "n"), m.fone, _MANY_BITS, "n")
    return float(m.to_float(m.mpf_div(growth, a, _BITS, "n")))


@lru_cache(maxsize=CACHE_SIZE)
def exprel_slope(x: float) -> float:
    """Return (e^x (x - 1) + 1) / x^2, 1/2 at zero."""
    if abs(x) < _TINY:
        return 0.5
    m, a = load(), load().from_float(x)
    above_one = m.fone
    if x > _FAR:
        grown = m.mpf_mul(m.mpf_exp(a, _MANY_BITS, "n"), m.mpf_sub(a, m.fone))
        above_one = m.mpf_add(grown, m.fone, _MANY_BITS, "n")
    return float(m.to_float(m.mpf_div(above_one, m.mpf_mul(a, a), _BITS, "n")))


@lru_cache(maxsize=CACHE_SIZE)
def log1prel(x: float) -> float:
    """Return ln(1 + x) / x, 1 at zero."""
    if abs(x) < _TINY:
        return 1.0
    m, a = load(), load().from_float(x)
    natural = m.mpf_log(m.mpf_add(m.fone, a), _MANY_BITS, "n")
    return float(m.to_float(m.mpf_div(natural, a, _BITS, "n")))


@lru_cache(maxsize=CACHE_SIZE)
def log1prel_slope(x: float) -> float:
    """Return (x / (1 + x) - ln(1 + x)) / x^2, -1/2 at zero."""
    if abs(x) < _TINY:
        return -0.5
    m, a = load(), load().from_float(x)
    one_more = m.mpf_add(m.fone, a)
    share = m.mpf_div(a, one_more, _MANY_BITS, "n")
    less = m.mpf_sub(share, m.mpf_log(one_more, _MANY_BITS, "n"))
    return float(m.to_float(m.mpf_div(less, m.mpf_mul(a, a), _BITS, "n")))


@lru_cache(maxsize=CACHE_SIZE)
def log10(x: float) -> float:
    """Return the common logarithm of x."""
    return _logarithm(x, "mpf_ln10")


@lru_cache(maxsize=CACHE_SIZE)
def log2(x: float) -> float:
    """Return the binary logarithm of x."""
    return _logarithm(x, "mpf_ln2")


def _logarithm(x: float, of_base: str) -> float:
    m = load()
    natural = m.mpf_log(m.from_float(x), _BITS, "n")
    return float(m.to_float(m.mpf_div(natural, getattr(m, of_base)(_BITS), _BITS, "n")))


@lru_cache(maxsize=CACHE_SIZE)
def acosh(x: float) -> float:
    """Return the inverse hyperbolic cosine of x, from 1 on."""
    m = load()
    # Next to 1 half of the bits are lost.
    return float(m.to_float(m.mpf_acosh(m.from_float(x), 2 * _BITS, "n")))


@lru_cache(maxsize=CACHE_SIZE)
def cbrt(x: float) -> float:
    """Return the cube root of x, with its sign."""
    m = load()
    if not x:
        return 0.0
    root = float(m.to_float(m.mpf_cbrt(m.from_float(abs(x)), _BITS, "n")))
    return root if x > 0.0 else -root


@lru_cache(maxsize=CACHE_SIZE)
def normal_cdf(x: float) -> float:
    """Return the distribution function of the standard normal distribution."""
    if abs(x) > MOST_SIGMAS:
        return 0.0 if x < 0.0 else 1.0
    m = load()
    share = m.mpf_div(m.from_float(-x), m.mpf_sqrt(m.from_int(2), 2 * _BITS), 2 * _BITS, "n")
    return float(m.to_float(m.mpf_shift(m.mpf_erfc(share, _BITS, "n"), -1)))
