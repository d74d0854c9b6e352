"""The search over corners, against brute force and by hand."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from itertools import product
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from closeout import absent
from closeout.arithmetic.proof.search import (
    ALL_CORNERS,
    LEAST_DESIGN,
    MOST_ROUNDS,
    OtherCases,
    _design,
    answer,
)
from closeout.arithmetic.types import Box
from closeout.model.answer import Answer, Assurance, Extent

Function = Callable[[Mapping[str, float]], float]
KEY = ("y", None)

numbers = st.floats(-1e3, 1e3, allow_nan=False)


def one(function: Function) -> Callable[[Mapping[str, float]], dict[Any, float]]:
    return lambda point: {KEY: function(point)}


def names(count: int) -> list[str]:
    return [f"x{i}" for i in range(count)]


@st.composite
def boxes(draw: st.DrawFn, least: int = 1, most: int = 12) -> tuple[dict[str, float], Box]:
    """Inputs, and a box around them; some of its sides have no width."""
    inputs: dict[str, float] = {}
    sides = []
    for name in names(draw(st.integers(least, most))):
        low, value, high = sorted(draw(st.tuples(numbers, numbers, numbers)))
        if draw(st.integers(0, 5)) == 0:
            low = high = value
        inputs[name] = value
        sides.append((name, low, high))
    return inputs, tuple(sides)


def brute(function: Function, inputs: Mapping[str, float], box: Box) -> tuple[float, float]:
    """Return the extremes over every corner and the inputs."""
    found = [function(inputs)]
    for corner in product(*((low, high) for _, low, high in box)):
        point = {**inputs, **{name: v for (name, _, _), v in zip(box, corner, strict=True)}}
        found.append(function(point))
    return min(found), max(found)


def check(found: Answer, function: Function, inputs: Mapping[str, float], box: Box) -> Extent:
    """Check what holds of every answer; return the extent of y."""
    extent = found.extents[KEY]
    assert extent.low is not None
    assert extent.high is not None
    assert extent.value == function(inputs)
    assert extent.low <= extent.value <= extent.high
    # The points are where the extremes are, and lie in the box.
    assert function({**inputs, **dict(extent.low_at)}) == extent.low
    assert function({**inputs, **dict(extent.high_at)}) == extent.high
    ends = {name: (low, high) for name, low, high in box}
    for name, value in (*extent.low_at, *extent.high_at):
        assert ends[name][0] <= value <= ends[name][1]
    sides = sum(low < high for _, low, high in box)
    assert found.evaluations <= bound(sides, 1)
    assert found.assurance is Assurance.SEARCHED
    return extent


def bound(sides: int, quantities: int) -> int:
    """The most points that may be evaluated, as the module's own text says it."""
    if sides <= ALL_CORNERS:
        return 1 + 2**sides
    design = 2 ** max(LEAST_DESIGN, math.ceil(math.log2(sides)) + 1)
    return 1 + 2 * sides + design + quantities * 2 * (2 + MOST_ROUNDS * sides)


@settings(deadline=None)
@given(boxes(), st.data())
def test_affine_functions_exactly(asked: tuple[dict[str, float], Box], data: st.DataObject) -> None:
    inputs, box = asked
    # Whole numbers: sums are exact, so the extreme corner is the extreme value.
    factors = data.draw(st.lists(st.integers(-9, 9), min_size=len(box), max_size=len(box)))
    inputs = {name: float(round(value)) for name, value in inputs.items()}
    box = tuple((name, float(math.floor(low)), float(math.ceil(high))) for name, low, high in box)

    def function(point: Mapping[str, float]) -> float:
        return 7.0 + sum(f * point[name] for f, name in zip(factors, names(len(box)), strict=True))

    extent = check(answer(one(function), inputs, box), function, inputs, box)
    by_hand = [
        7.0 + sum(pick(f * low, f * high) for f, (_, low, high) in zip(factors, box, strict=True))
        for pick in (min, max)
    ]
    assert [extent.low, extent.high] == by_hand


@settings(deadline=None, max_examples=60)
@given(boxes(most=ALL_CORNERS), st.data())
def test_any_function_at_its_corners(
    asked: tuple[dict[str, float], Box], data: st.DataObject
) -> None:
    """Up to so many sides every corner is looked at, whatever the function."""
    inputs, box = asked
    count = data.draw(st.integers(1, 6))
    terms = [
        (data.draw(numbers), data.draw(st.sets(st.sampled_from(names(len(box))))))
        for _ in range(count)
    ]

    def function(point: Mapping[str, float]) -> float:
        return math.fsum(f * math.prod(point[name] for name in term) for f, term in terms)

    extent = check(answer(one(function), inputs, box), function, inputs, box)
    assert (extent.low, extent.high) == brute(function, inputs, box)


@settings(deadline=None, max_examples=40)
@given(boxes(least=ALL_CORNERS + 1), st.data())
def test_monotone_functions_of_many_sides(
    asked: tuple[dict[str, float], Box], data: st.DataObject
) -> None:
    """Monotone in every side, curved and in part flat: the slopes at the inputs may be nought."""
    inputs, box = asked
    signs = data.draw(st.lists(st.sampled_from([-1.0, 1.0]), min_size=len(box), max_size=len(box)))
    bends = data.draw(st.lists(numbers, min_size=len(box), max_size=len(box)))

    def function(point: Mapping[str, float]) -> float:
        values = [point[name] for name, _, _ in box]
        return math.fsum(
            s * (max(v - b, 0.0) + v**3 * 1e-6)
            for s, v, b in zip(signs, values, bends, strict=True)
        )

    extent = check(answer(one(function), inputs, box), function, inputs, box)

    # By hand: each term is extreme at an end of its own side.
    def at(direction: float) -> float:
        ends = {
            name: high if s * direction > 0 else low
            for s, (name, low, high) in zip(signs, box, strict=True)
        }
        return function(ends)

    assert extent.low == at(-1.0)
    assert extent.high == at(1.0)


@settings(deadline=None, max_examples=40)
@given(boxes(least=ALL_CORNERS + 1), st.data())
def test_products_of_many_sides_never_promise_more_than_was_seen(
    asked: tuple[dict[str, float], Box], data: st.DataObject
) -> None:
    """Not monotone: the search may miss an extreme, but all that it tells is true."""
    inputs, box = asked
    factors = data.draw(st.lists(numbers, min_size=len(box), max_size=len(box)))

    def function(point: Mapping[str, float]) -> float:
        values = [point[name] for name, _, _ in box]
        pairs = zip(factors, values, values[1:] + values[:1], strict=True)
        return math.fsum(f * a * b for f, a, b in pairs)

    extent = check(answer(one(function), inputs, box), function, inputs, box)
    low, high = brute(function, inputs, box)
    assert low <= extent.low <= extent.high <= high  # type: ignore[operator]


def test_products_of_positive_quantities(tmp_path: object) -> None:
    """A budget as engineers write it: a product and a quotient of ten positive quantities."""
    inputs = dict.fromkeys(names(10), 2.0)
    box = tuple((name, 2.0 - (i + 1) / 16, 2.0 + (i + 1) / 8) for i, name in enumerate(inputs))

    def function(point: Mapping[str, float]) -> float:
        values = [point[name] for name in names(10)]
        return math.prod(values[:5]) / math.prod(values[5:])

    found = answer(one(function), inputs, box)
    assert (found.extents[KEY].low, found.extents[KEY].high) == brute(function, inputs, box)
    assert found.evaluations < 2**10 / 4


@pytest.mark.parametrize("count", [9, 10, 12])
@pytest.mark.parametrize("right", [0.75, 0.85])
def test_a_quantity_that_is_flat_at_the_inputs(count: int, right: float) -> None:
    """A heater that comes on, a limiter: nothing moves before most sides are at their bad end."""
    inputs = dict.fromkeys(names(count), 1.0)
    box = tuple((name, 0.0, 2.0) for name in inputs)
    signs = [(-1.0) ** (i // 2) for i in range(count)]

    def function(point: Mapping[str, float]) -> float:
        moved = sum(s * (point[name] - 1.0) for s, name in zip(signs, names(count), strict=True))
        return max(0.0, moved - (2 * right - 1) * count)

    found = answer(one(function), inputs, box)
    assert function(inputs) == 0.0
    assert (found.extents[KEY].low, found.extents[KEY].high) == brute(function, inputs, box)


@pytest.mark.parametrize("count", [9, 12, 31, 32, 33, 100])
def test_the_design_tells_each_side_from_any_two_others(count: int) -> None:
    """Resolution IV (NIST/SEMATECH e-Handbook, 5.3.3.4.4): balanced, and free of pairs."""
    columns = [
        [1 if high else -1 for high in column] for column in zip(*_design(count), strict=True)
    ]
    assert len(columns) == count
    for i, one_side in enumerate(columns):
        assert sum(one_side) == 0
        for j in range(i):
            assert sum(a * b for a, b in zip(one_side, columns[j], strict=True)) == 0
    for i, j, k in [(0, 1, 2), (count - 3, count - 2, count - 1), (0, count // 2, count - 1)]:
        triple = zip(columns[i], columns[j], columns[k], strict=True)
        assert sum(a * b * c for a, b, c in triple) == 0


def test_nominal() -> None:
    found = answer(one(lambda p: p["a"] * 2), {"a": 3.0}, ())
    assert found == Answer({KEY: Extent(6.0)}, Assurance.NOMINAL, 1)


def test_sides_without_width_cost_nothing() -> None:
    inputs = {"a": 1.0, "b": 2.0}
    found = answer(one(lambda p: p["a"] + p["b"]), inputs, (("a", 1.0, 1.0), ("b", 2.0, 2.0)))
    assert found == Answer({KEY: Extent(3.0, 3.0, 3.0)}, Assurance.SEARCHED, 1)
    found = answer(one(lambda p: p["a"] + p["b"]), inputs, (("a", 1.0, 1.0), ("b", 1.0, 3.0)))
    assert found.evaluations == 3
    assert found.extents[KEY] == Extent(3.0, 2.0, 4.0, (("b", 1.0),), (("b", 3.0),))


def test_a_side_that_does_not_hold_the_input() -> None:
    """Nothing in the box is passed over, also where a side lies beside the input."""
    found = answer(one(lambda p: p["a"]), {"a": 1.0}, (("a", 4.0, 4.0),))
    assert found.extents[KEY].high == 4.0
    found = answer(one(lambda p: p["a"]), {"a": 1.0}, (("a", 4.0, 2.0),))
    assert (found.extents[KEY].low, found.extents[KEY].high) == (1.0, 4.0)


@pytest.mark.parametrize("count", [2, 10])
def test_a_case_that_is_absent_at_a_corner(count: int) -> None:
    inputs = dict.fromkeys(names(count), 0.0)
    box = tuple((name, -1.0, 1.0) for name in inputs)

    def function(point: Mapping[str, float]) -> dict[Any, float]:
        total = sum(point.values())
        gone = total < -count + 0.5  # at one corner alone, the lowest
        return {("y", "a"): absent("below the horizon") if gone else total, ("y", "b"): total}

    found = answer(function, inputs, box)
    extent = found.extents["y", "a"]
    assert (extent.value, extent.low, extent.high) == (0.0, None, None)
    assert extent.absent == "below the horizon"
    assert dict(extent.low_at) == dict.fromkeys(inputs, -1.0)
    assert found.extents["y", "b"].low == -count


def test_a_case_that_is_absent_at_the_inputs() -> None:
    def function(point: Mapping[str, float]) -> dict[Any, float]:
        return {("y", "a"): absent("never") if point["x"] == 1.0 else 5.0}

    found = answer(function, {"x": 1.0}, (("x", 0.0, 2.0),))
    assert found.extents["y", "a"] == Extent(None, absent="never")
    assert answer(function, {"x": 1.0}, ()).extents["y", "a"] == Extent(None, absent="never")


def test_other_cases_at_a_corner() -> None:
    def function(point: Mapping[str, float]) -> dict[Any, float]:
        return {("y", "a" if point["x"] < 2 else "b"): 1.0}

    with pytest.raises(OtherCases, match=r"y\[a\], y\[b\]"):
        answer(function, {"x": 1.0}, (("x", 0.0, 2.0),))


def test_what_an_analysis_raises_goes_through() -> None:
    with pytest.raises(ZeroDivisionError):
        answer(one(lambda p: 1 / p["x"]), {"x": 1.0}, (("x", 0.0, 2.0),))
