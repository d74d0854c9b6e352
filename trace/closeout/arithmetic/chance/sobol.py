"""Share of each parameter in the variance of a quantity: Sobol indices, from samples.

First order: what falls away from the variance if the parameter alone were known; total: what is
left if all other inputs were known. Estimators on two independent matrices A and B and on A with
one parameter taken from B: Saltelli et al., Computer Physics Communications 181 (2010) 259-270,
Table 2, (b) for the first order, and (f), by Jansen, for the total. Parameters of one group are one
factor, since they cannot vary apart.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, NamedTuple

from closeout.arithmetic.chance.sampling import Distribution, Stream
from closeout.arithmetic.types import Key

if TYPE_CHECKING:
    import numpy
    from numpy.typing import NDArray

    Array = NDArray[numpy.float64]
    Evaluate = Callable[[Mapping[str, Array]], Mapping[Key, Array]]


class Index(NamedTuple):
    """First-order and total index of a factor, each with its standard error.

    ``names`` is one parameter, or all of a group. An estimate may lie a little below 0 or above 1.
    """

    names: tuple[str, ...]
    first: float
    first_error: float
    total: float
    total_error: float


class Indices(NamedTuple):
    """The indices of one quantity and case, in the order of the parameters.

    ``samples`` is the number n of rows of each matrix; n (factors + 2) points were evaluated. Where
    the variance is zero nothing has a share, and ``factors`` is empty.
    """

    variance: float
    samples: int
    evaluations: int
    factors: tuple[Index, ...]


def sobol_indices(
    evaluate: Evaluate, spreads: Mapping[str, Distribution], n: int, seed: int
) -> dict[Key, Indices]:
    """Return the Sobol indices of each quantity and case that ``evaluate`` returns.

    Args:
        evaluate: returns the values at samples of the parameters in ``spreads``, each of shape
            (n,), with no NaN.
        spreads: distributions of the parameters; independent unless they are of one group.
        n: rows of each matrix; standard errors fall with its square root.
        seed: as :func:`closeout.arithmetic.chance.sampling.seed_of` returns it.

    Raises:
        ValueError: n is below 2, or values are missing or no numbers.
    """
    if n < 2:
        raise ValueError(f"n is {n}, not 2 or more")
    a = Stream(spreads, seed, "sobol A").take(n)
    b = Stream(spreads, seed, "sobol B").take(n)
    at_a, at_b = _values(evaluate, a, n), _values(evaluate, b, n)
    factors = _factors(spreads)
    points = n * (len(factors) + 2)
    shares: dict[Key, list[Index]] = {key: [] for key in at_a}
    for names in factors:
        at_mixed = _values(evaluate, {**a, **{name: b[name] for name in names}}, n)
        for key, found in shares.items():
            found.append(_index(names, at_a[key], at_b[key], at_mixed[key]))
    return {key: _indices(at_a[key], at_b[key], n, points, found) for key, found in shares.items()}


def _factors(spreads: Mapping[str, Distribution]) -> list[tuple[str, ...]]:
    groups: dict[tuple[bool, str], list[str]] = {}
    for name, spread in spreads.items():
        alone = spread.group is None
        groups.setdefault((alone, spread.group or name), []).append(name)
    return [tuple(names) for names in groups.values()]


def _values(evaluate: Evaluate, points: Mapping[str, Array], n: int) -> Mapping[Key, Array]:
    import numpy

    values = evaluate(points)
    for (quantity, case), one in values.items():
        if one.shape != (n,) or not numpy.isfinite(one).all():
            shown = quantity if case is None else f"{quantity}[{case}]"
            raise ValueError(f"{shown} has no value at each of {n} samples: no Sobol indices")
    return values


def _index(names: tuple[str, ...], at_a: Array, at_b: Array, at_mixed: Array) -> Index:
    # Centred values change no index, and make the first-order estimate far less noisy.
    middle = 0.5 * (at_a.mean() + at_b.mean())
    f_a, f_b, f_mixed = at_a - middle, at_b - middle, at_mixed - middle
    squares = 0.5 * (f_a * f_a + f_b * f_b)
    first, first_error = _ratio(f_b * (f_mixed - f_a), squares)
    total, total_error = _ratio(0.5 * (f_a - f_mixed) ** 2, squares)
    return Index(names, first, first_error, total, total_error)


def _ratio(part: Array, whole: Array) -> tuple[float, float]:
    """Return mean(part) / mean(whole) and its standard error, to first order."""
    mean = float(whole.mean())
    if mean == 0.0:
        return 0.0, 0.0
    ratio = float(part.mean()) / mean
    residual = part - ratio * whole
    return ratio, float(residual.std(ddof=1)) / (mean * math.sqrt(part.size))


def _indices(at_a: Array, at_b: Array, n: int, points: int, found: list[Index]) -> Indices:
    import numpy

    values = numpy.concatenate([at_a, at_b])
    # Rounding alone gives the mean of equal values a variance, so look at the values themselves.
    varies = values.min() < values.max()
    variance = float(values.var(ddof=1)) if varies else 0.0
    return Indices(variance, n, points, tuple(found) if varies else ())
