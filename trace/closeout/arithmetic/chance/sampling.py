"""Draw parameters from their distributions, the same on every machine and in every run.

Each parameter has a stream of its own, seeded by a digest of a text (the requirement's identifier)
and of the parameter's name: another parameter more or less, or another order, leaves its samples as
they are. Samples are drawn from the raw output of the generator PCG64, which NumPy keeps the same
from version to version, by the inverse of the cumulative distribution. So more samples later
continue the stream: the first n are the same for every n.

Parameters of one group take the same uniform variate: they move together, fully correlated in rank,
all up or all down, each along its own distribution. Partial and negative correlation is not
offered; parameters without a group are independent.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

if TYPE_CHECKING:
    import numpy
    from numpy.typing import NDArray

    Array = NDArray[numpy.float64]

Kind = Literal["uniform", "normal", "triangular"]

# A tolerance or range that is said to be normal is taken as so many standard deviations, as the
# worst case takes three of a sigma.
SIGMAS = 3.0
_BITS = 52


class Uniform(NamedTuple):
    """Every value from low to high is as likely as any other."""

    low: float
    high: float

    def quantile(self, u: Array) -> Array:
        """Return the values that are exceeded with the probability 1 - u."""
        return self.low + (self.high - self.low) * u


class Triangular(NamedTuple):
    """Density rises from low to the mode and falls to high, in straight lines."""

    low: float
    mode: float
    high: float

    def quantile(self, u: Array) -> Array:
        """Return the values that are exceeded with the probability 1 - u."""
        import numpy

        width, left, right = self.high - self.low, self.mode - self.low, self.high - self.mode
        below = self.low + numpy.sqrt(u * (width * left))
        above = self.high - numpy.sqrt((1.0 - u) * (width * right))
        return numpy.where(u * width < left, below, above)


class Normal(NamedTuple):
    """Not truncated: a sample may lie beyond any end that the worst case takes."""

    mean: float
    sigma: float

    def quantile(self, u: Array) -> Array:
        """Return the values that are exceeded with the probability 1 - u."""
        from scipy.special import ndtri  # type: ignore[import-untyped]

        values: Array = self.mean + self.sigma * ndtri(u)
        return values


class Distribution(NamedTuple):
    """How a parameter is distributed, and with which group it moves.

    ``assumed`` says that the project gives only how far it may lie, so that it is taken as uniform.
    """

    shape: Uniform | Triangular | Normal
    group: str | None = None
    assumed: bool = False


def distribution(
    value: float,
    low: float | None = None,
    high: float | None = None,
    *,
    sigma: float | None = None,
    kind: Kind | None = None,
    group: str | None = None,
) -> Distribution:
    """Return the distribution of a parameter from what the project says of it.

    Args:
        value: mean of a normal, mode of a triangular distribution.
        low, high: ends of its tolerance or range; not used where sigma is given.
        sigma: its standard deviation; normal unless ``kind`` says otherwise, and then the ends of a
            uniform one lie sqrt(3) sigma, those of a triangular one sqrt(6) sigma from the value.
        kind: uniform where only ends are given and nothing is said; then it is marked as assumed.
            A normal one from ends has a third of the wider side as its standard deviation.
        group: of the parameters that move together.

    Raises:
        ValueError: neither sigma nor both ends, ends in the wrong order or on one side of the
            value, or a number that is not finite or (sigma) negative.
    """
    if sigma is not None:
        _check(sigma >= 0.0 and math.isfinite(value + sigma), f"sigma {sigma!r} of {value!r}")
        if kind in (None, "normal"):
            return Distribution(Normal(value, sigma), group)
        reach = sigma * math.sqrt(3.0 if kind == "uniform" else 6.0)
        low, high = value - reach, value + reach
    if low is None or high is None:
        raise ValueError("a distribution needs sigma, or a low and a high end")
    fits = low <= value <= high and math.isfinite(high - low)
    _check(fits, f"{value!r} between {low!r} and {high!r}")
    if kind == "normal":
        return Distribution(Normal(value, max(value - low, high - value) / SIGMAS), group)
    if kind == "triangular":
        return Distribution(Triangular(low, value, high), group)
    return Distribution(Uniform(low, high), group, assumed=kind is None and sigma is None)


def drawn(
    inputs: Mapping[str, float],
    box: Iterable[tuple[str, float, float]],
    said: Mapping[str, tuple[float | None, Kind | None, str | None]],
) -> dict[str, Distribution]:
    """Return the distributions of what is drawn: by name, sigma, kind and group as in ``said``."""
    found = {}
    for name, low, high in box:
        if name in said:
            sigma, kind, group = said[name]
            found[name] = distribution(inputs[name], low, high, sigma=sigma, kind=kind, group=group)
    return found


def assumed(spreads: Mapping[str, Distribution]) -> tuple[str, ...]:
    """Return the parameters that are taken as uniform because only their ends are given."""
    return tuple(name for name, spread in spreads.items() if spread.assumed)


def seed_of(text: str) -> int:
    """Return a seed of 256 bits: the SHA-256 digest of a text."""
    return int.from_bytes(hashlib.sha256(text.encode()).digest(), "big")


class Stream:
    """Samples of the parameters, one after the other without end.

    ``part`` sets streams of one seed apart that must be independent of each other.
    """

    def __init__(self, spreads: Mapping[str, Distribution], seed: int, part: str = "") -> None:
        self._spreads = dict(spreads)
        self._sources = {
            source: _generator(seed, part, *source) for source in map(_source, spreads.items())
        }

    def take(self, n: int) -> dict[str, Array]:
        """Return the next n samples of each parameter, of shape (n,)."""
        variates = {source: _uniform(made, n) for source, made in self._sources.items()}
        return {
            name: spread.shape.quantile(variates[_source((name, spread))])
            for name, spread in self._spreads.items()
        }


def draw(spreads: Mapping[str, Distribution], n: int, seed: int) -> dict[str, Array]:
    """Return the first n samples of each parameter, of shape (n,)."""
    return Stream(spreads, seed).take(n)


def _source(item: tuple[str, Distribution]) -> tuple[str, str]:
    """Return what names the variates of a parameter: its group, or itself."""
    name, spread = item
    return ("parameter", name) if spread.group is None else ("group", spread.group)


def _generator(seed: int, *names: str) -> Any:
    from numpy.random import PCG64, SeedSequence

    # The length stands in front of each name, so that no two lists of names run together.
    key = seed_of("".join(f"{len(name)}:{name}" for name in names))
    return PCG64(SeedSequence(seed, spawn_key=(key,)))


def _uniform(generator: Any, n: int) -> Array:
    """Return variates of the open interval from 0 to 1: the middles of 2^52 equal parts.

    With one bit more the last middle would round to 1, where a normal variate is infinite.
    """
    import numpy

    raw = generator.random_raw(n)
    variates: Array = (raw >> numpy.uint64(64 - _BITS)).astype(numpy.float64)
    variates += 0.5
    variates *= 2.0**-_BITS
    return variates


def _check(holds: bool, message: str) -> None:
    if not holds:
        raise ValueError(f"no distribution: {message}")
