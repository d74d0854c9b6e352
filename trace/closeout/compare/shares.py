"""How a change is shared among the factors that made it: the Shapley value.

L. S. Shapley, "A value for n-person games", Contributions to the Theory of Games II, 1953: the
mean, over all orders in which the factors may be changed one after another, of what each one adds.
So the shares add up to the whole, factors that do the same get the same, one without effect gets
nothing, and to exchange the two states changes every sign. By permutations in opposite pairs where
there are too many: Castro, Gomez, Tejada, Computers & Operations Research 36 (2009) 1726; pairs
make the mean of a share vary less (antithetic variates; Mitchell et al., JMLR 23 (2022) 43).
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain, combinations

from closeout.model.changes import Factor

# The factors, by place, that are as in the later state; the others are as in the earlier one.
Choice = frozenset[int]
Order = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Share:
    """A factor's share of a change, and its standard error where it was sampled."""

    part: Fraction
    error: float | None = None


def choices(factors: int) -> Iterator[Choice]:
    """Yield every choice among so many factors, from none of them to all."""
    places = range(factors)
    for some in chain.from_iterable(combinations(places, k) for k in range(factors + 1)):
        yield frozenset(some)


def exact_shares(factors: int, values: Mapping[Choice, Fraction]) -> list[Share]:
    """Return the share of each factor from the values of all choices, without any rounding."""
    weights = [
        Fraction(math.factorial(k) * math.factorial(factors - k - 1), math.factorial(factors))
        for k in range(factors)
    ]
    return [
        Share(
            sum(
                (
                    weights[len(some)] * (values[some | {one}] - values[some])
                    for some in choices(factors)
                    if one not in some
                ),
                Fraction(0),
            )
        )
        for one in range(factors)
    ]


def opposite_orders(factors: int, pairs: int, seed: str) -> list[tuple[Order, Order]]:
    """Return so many orders of the factors, each beside the opposite one; the same for a seed."""
    drawn = random.Random(seed)
    found = []
    for _ in range(pairs):
        order = tuple(drawn.sample(range(factors), factors))
        found.append((order, order[::-1]))
    return found


def along(order: Order) -> Iterator[Choice]:
    """Yield the choices on the way from none of the factors to all of them."""
    for number in range(len(order) + 1):
        yield frozenset(order[:number])


def sampled_shares(
    orders: Iterable[tuple[Order, Order]], values: Mapping[Choice, Fraction]
) -> list[Share]:
    """Return the shares from some pairs of orders, two at least, with their standard errors.

    They add up to the whole all the same, since each order does.
    """
    samples: list[list[Fraction]] = []
    for pair in orders:
        added = [_added(order, values) for order in pair]
        samples.append([(one + other) / 2 for one, other in zip(*added, strict=True)])
    return [_mean(column) for column in map(list, zip(*samples, strict=True))]


def _added(order: Order, values: Mapping[Choice, Fraction]) -> list[Fraction]:
    """Return by place what each factor adds where they change in an order."""
    found = [Fraction(0)] * len(order)
    way = [values[choice] for choice in along(order)]
    for step, place in enumerate(order):
        found[place] = way[step + 1] - way[step]
    return found


def _mean(samples: list[Fraction]) -> Share:
    mean = sum(samples, Fraction(0)) / len(samples)
    squares = sum(((one - mean) ** 2 for one in samples), Fraction(0))
    return Share(mean, math.sqrt(squares / (len(samples) - 1) / len(samples)))


def interaction(factors: int, values: Mapping[Choice, Fraction]) -> Fraction:
    """Return what of the change no factor makes alone: the change less each one's own effect."""
    none = values[frozenset()]
    alone = sum((values[frozenset({one})] - none for one in range(factors)), Fraction(0))
    return values[frozenset(range(factors))] - none - alone


def merged(players: Sequence[tuple[Factor, ...]], later: Choice) -> tuple[tuple[Factor, ...], ...]:
    """Return fewer players, where a choice among them cannot be evaluated.

    Those that are not of the state of most factors go together with the code, which may know no
    other; at last all are one.
    """
    early = [one for place, one in enumerate(players) if place not in later]
    late = [one for place, one in enumerate(players) if place in later]
    few, many = sorted((early, late), key=lambda side: (sum(map(len, side)), _has_code(side)))
    together = [*few, *(one for one in many if _has_code([one]))]
    rest = [one for one in players if one not in together]
    if len(together) < 2:
        together, rest = [*players], []
    return (*rest, tuple(factor for one in together for factor in one))


def _has_code(side: Iterable[tuple[Factor, ...]]) -> bool:
    return any(factor.kind == "code" for one in side for factor in one)
