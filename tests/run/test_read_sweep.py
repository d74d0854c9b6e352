"""Values of a sweep: both ends, rising, evenly spread, each as ``--set`` reads it."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from closeout.graph import Index, rests_on
from closeout.model.errors import Mistake
from closeout.model.setting import read_setting
from closeout.model.sweep import SweepAxis, runs
from closeout.run.read_sweep import read_sweep
from tests.graph.projects import UNITS, build, requirement, requirements, spec

AT_MOST = "method: analysis, analysis: model, quantity: x, at_most: 1 W"
PARAMETERS = """\
parameters:
  pressure: {value: 50 kPa, tolerance: 1 kPa, source: Invented}
  temperature: {value: 5 degC, source: Invented}
  cells: {value: 5 count, source: Invented}
  factor: {value: 2, range: [1.5, 2.5], source: Invented}
  idle: {value: 1 W, source: Invented}
  power: {from: below.x}
  agreed: {value: 2 W, range: [1 W, 3 W], estimate: below.x, source: Invented}
"""
MODEL = spec("model", {"pressure": "Pa", "cells": "count", "factor": "1", "power": "W"})
BELOW = spec("below", {"temperature": "K"})
OTHER = spec("other", {"temperature": "K"})
AGREED = spec("agreed_with", {"agreed": "W"})


@pytest.fixture(scope="module")
def index() -> Index:
    items = requirements(
        requirement("R-1", AT_MOST),
        requirement("R-2", AT_MOST.replace("model", "below"), AT_MOST.replace("model", "other")),
        requirement("R-3", "method: test, quantity: x, at_most: 1 W"),
        requirement("R-5", AT_MOST.replace("model", "agreed_with")),
        requirement(
            "R-4", AT_MOST, more="not_applicable: {reason: None, agreed_by: us, document: D}"
        ),
    )
    found = build(items, MODEL, BELOW, OTHER, AGREED, more={"analyses/p.yaml": PARAMETERS}).index
    assert "power" in found.linked
    return found


def axis_of(index: Index, text: str, points: int | None = None) -> SweepAxis:
    wrong: list[Mistake] = []
    found = read_sweep([text], None if points is None else str(points), (), index, UNITS, wrong)
    assert wrong == []
    (axis,) = found
    return axis


def test_what_rests_on_a_parameter(index: Index) -> None:
    assert rests_on("pressure", index) == {("R-1", 0)}
    # Also through the input that the analysis below computes.
    # And where a range was agreed that has to contain what that analysis finds.
    through = {("R-1", 0), ("R-2", 0), ("R-2", 1), ("R-5", 0)}
    assert rests_on("temperature", index) == through
    assert rests_on("power", index) == {("R-1", 0)}
    assert rests_on("agreed", index) == {("R-5", 0)}
    assert rests_on("idle", index) == frozenset()
    assert rests_on("nothing", index) == frozenset()


DECIMALS = st.decimals(-(10**6), 10**6, allow_nan=False, places=3)


@given(DECIMALS, DECIMALS, st.integers(2, 200))
def test_values_are_spread_evenly_and_read_as_what_they_are(
    index: Index, one: Decimal, other: Decimal, points: int
) -> None:
    low, high = sorted((one, other))
    if low == high:
        return
    axis = axis_of(index, f"temperature={low} degC..{high} degC", points)
    numbers = [tried.number for tried in axis.tried]
    assert numbers[0] == Fraction(low)
    assert numbers[-1] == Fraction(high)
    assert len(numbers) == points
    assert sorted(set(numbers)) == numbers
    step = (Fraction(high) - Fraction(low)) / (points - 1)
    for place, tried in enumerate(axis.tried):
        setting = read_setting(tried.text)
        assert setting.spread is None
        assert setting.value is not None
        assert UNITS.convert(setting.value, "degC") == tried.number
        assert abs(tried.number - (Fraction(low) + step * place)) <= step / 100


@given(st.integers(-1000, 1000), st.integers(1, 1000), st.integers(2, 100))
def test_a_count_takes_whole_numbers(index: Index, low: int, more: int, points: int) -> None:
    for text in (f"cells={low}..{low + more}", f"cells={low} count..{low + more} count"):
        axis = axis_of(index, text, points)
        numbers = [tried.number for tried in axis.tried]
        assert axis.whole
        assert all(number.denominator == 1 for number in numbers)
        assert sorted(set(numbers)) == numbers
        assert (numbers[0], numbers[-1]) == (low, low + more)
        assert len(numbers) == min(points, more + 1)


def test_a_ratio_with_a_range_between_whole_numbers_is_no_count(index: Index) -> None:
    axis = axis_of(index, "factor=1..3", 5)
    assert not axis.whole
    assert [tried.text for tried in axis.tried] == ["1", "1.5", "2", "2.5", "3"]


def test_ends_keep_their_texts_and_the_first_gives_the_unit(index: Index) -> None:
    axis = axis_of(index, "pressure=45kPa..0.58 bar", 3)
    assert [tried.text for tried in axis.tried] == ["45kPa", "51.5 kPa", "0.58 bar"]
    assert [tried.number for tried in axis.tried] == [45, Fraction("51.5"), 58]
    assert (axis.unit, axis.now, axis.declared) == ("kPa", 50, "50 kPa (+/- 1 kPa)")
    axis = axis_of(index, "temperature=273.15 K..20 degC", 2)
    assert [tried.number for tried in axis.tried] == [Fraction("273.15"), Fraction("293.15")]


def test_temperatures_of_two_scales_are_in_order(index: Index) -> None:
    wrong: list[Mistake] = []
    read_sweep(["temperature=20 degC..280 K"], None, (), index, UNITS, wrong)
    ((message, cure),) = wrong
    assert "the first end is above the second" in message
    assert cure == "write 'temperature=280 K..20 degC'"


@given(st.lists(st.booleans(), max_size=30).map(tuple))
def test_runs_are_all_that_is_true_and_as_long_as_can_be(flags: tuple[bool, ...]) -> None:
    found = list(runs(flags))
    assert [i for first, last in found for i in range(first, last + 1)] == [
        i for i, flag in enumerate(flags) if flag
    ]
    for (_, last), (first, _) in pairwise(found):
        assert first > last + 1
