"""Shares of a change: against values computed by hand, and the properties that define them.

Shapley (1953) derives the value from efficiency, symmetry, the null player and additivity; the
first three are held here. The weighted voting game [51; 50, 49, 1] has the shares 4/6, 1/6, 1/6:
Shapley and Shubik, American Political Science Review 48 (1954) 787 (from memory), worked out below
by its six orders as well.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from closeout.compare.shares import (
    along,
    choices,
    exact_shares,
    interaction,
    merged,
    opposite_orders,
    sampled_shares,
)
from closeout.model.changes import Factor

NUMBER = st.integers(-1000, 1000).map(Fraction)


@st.composite
def games(draw: st.DrawFn) -> tuple[int, dict[frozenset[int], Fraction]]:
    factors = draw(st.integers(1, 5))
    return factors, {choice: draw(NUMBER) for choice in choices(factors)}


def test_a_product_and_a_sum_by_hand() -> None:
    # f = u v + w; u 2 -> 5, v 3 -> 7, w 1 -> 4. By hand: u has (5 - 2) (3 + 7) / 2 = 15, v has
    # (7 - 3) (2 + 5) / 2 = 14, w has 3; of these (5 - 2) (7 - 3) = 12 is interaction.
    was, now = (2, 3, 1), (5, 7, 4)
    values = {}
    for choice in choices(3):
        u, v, w = (now[i] if i in choice else was[i] for i in range(3))
        values[choice] = Fraction(u * v + w)
    assert [share.part for share in exact_shares(3, values)] == [15, 14, 3]
    assert interaction(3, values) == 12


def test_a_weighted_vote() -> None:
    weights = (50, 49, 1)
    values = {c: Fraction(sum(weights[i] for i in c) >= 51) for c in choices(3)}
    assert [share.part for share in exact_shares(3, values)] == [
        Fraction(4, 6), Fraction(1, 6), Fraction(1, 6),
    ]  # fmt: skip


@given(games())
def test_shares_are_the_mean_over_all_orders_and_add_up(
    game: tuple[int, dict[frozenset[int], Fraction]],
) -> None:
    factors, values = game
    orders = list(permutations(range(factors)))
    means = [Fraction(0)] * factors
    for order in orders:
        before = frozenset[int]()
        for one in order:
            means[one] += (values[before | {one}] - values[before]) / len(orders)
            before |= {one}
    shares = exact_shares(factors, values)
    assert [share.part for share in shares] == means
    assert sum(means) == values[frozenset(range(factors))] - values[frozenset()]


@given(games())
def test_to_exchange_the_states_changes_every_sign(
    game: tuple[int, dict[frozenset[int], Fraction]],
) -> None:
    factors, values = game
    every = frozenset(range(factors))
    exchanged = {every - choice: value for choice, value in values.items()}
    forth, back = exact_shares(factors, values), exact_shares(factors, exchanged)
    assert [one.part for one in forth] == [-one.part for one in back]


@given(games(), st.integers(0, 4))
def test_what_has_no_effect_gets_exactly_nothing(
    game: tuple[int, dict[frozenset[int], Fraction]], which: int
) -> None:
    factors, values = game
    idle = which % factors
    ignoring = {choice: values[choice - {idle}] for choice in values}
    assert exact_shares(factors, ignoring)[idle].part == 0


@given(games())
def test_two_that_do_the_same_get_the_same(
    game: tuple[int, dict[frozenset[int], Fraction]],
) -> None:
    factors, values = game
    # A twin of the last factor: it matters only whether neither, one or both are there.
    counted = {c: Fraction(len(c & {factors - 1, factors})) for c in choices(factors + 1)}
    both = {c: values[c - {factors - 1, factors}] * 3 + n * n for c, n in counted.items()}
    shares = exact_shares(factors + 1, both)
    assert shares[-1].part == shares[-2].part


def test_sampled_shares_add_up_and_come_near() -> None:
    factors = 6
    values = {c: Fraction((1 + len(c)) ** 3 + sum(c)) for c in choices(factors)}
    orders = opposite_orders(factors, 60, "A-1")
    needed = {choice for pair in orders for order in pair for choice in along(order)}
    assert needed <= values.keys()
    found, exact = sampled_shares(orders, values), exact_shares(factors, values)
    assert sum(one.part for one in found) == sum(one.part for one in exact)
    for one, true in zip(found, exact, strict=True):
        assert one.error is not None
        assert one.error > 0
        assert abs(float(one.part - true.part)) < 4 * one.error
    assert orders == opposite_orders(factors, 60, "A-1")
    assert orders != opposite_orders(factors, 60, "A-2")


def _factors(*kinds: str) -> tuple[tuple[Factor, ...], ...]:
    return tuple((Factor(kind, f"{kind}{place}"),) for place, kind in enumerate(kinds))


@pytest.mark.parametrize(
    ("kinds", "later", "together"),
    [
        # The old value of a parameter that the new code does not take goes with the code.
        (("parameter", "parameter", "parameter", "code"), {1, 2, 3}, {"parameter0", "code3"}),
        (("parameter", "parameter", "parameter", "code"), {0, 1, 2}, None),
        (
            ("parameter", "parameter", "parameter", "code"),
            {0, 3},
            {"parameter1", "parameter2", "code3"},
        ),
        (("parameter", "parameter", "data"), {0, 1}, None),
        (("parameter", "code"), set(), None),
    ],
)
def test_what_cannot_be_evaluated_goes_together(
    kinds: tuple[str, ...], later: set[int], together: set[str] | None
) -> None:
    players = _factors(*kinds)
    fewer = merged(players, frozenset(later))
    assert len(fewer) < len(players)
    found = {one.name for one in fewer[-1]}
    assert found == (together or {one.name for (one,) in players})
    assert sorted(one.name for player in fewer for one in player) == sorted(
        one.name for (one,) in players
    )
