"""Worst case: proved where it can be, else searched at corners and inside the box."""

from __future__ import annotations

from typing import Any

import pytest

from closeout import absent
from closeout.arithmetic.proof import search, worst
from closeout.model.answer import Assurance

Y = ("y", None)


def hump(point: Any) -> dict[Any, Any]:
    # Highest in the middle of things: 1 at x = 0.4, 0.84 and 0.64 at the ends of 0 to 1.
    return {Y: 1.0 - (point["x"] - 0.4) * (point["x"] - 0.4)}


def stubborn(point: Any) -> dict[Any, Any]:
    return {Y: hump({"x": float(point["x"])})[Y]}  # asks for one number, so it is not proved


def test_corners_alone_miss_an_extreme_inside() -> None:
    found = search.answer(hump, {"x": 0.9}, (("x", 0.0, 1.0),))
    assert found.extents[Y].high == pytest.approx(0.84)


def test_a_search_inside_the_box_finds_it() -> None:
    found = worst.answer(stubborn, {"x": 0.9}, (("x", 0.0, 1.0),))
    extent = found.extents[Y]
    assert found.assurance is Assurance.SEARCHED
    assert extent.high == pytest.approx(1.0, abs=2e-4)
    assert extent.proved_high is None
    assert extent.unproved is not None
    assert "one number" in extent.unproved
    assert hump(dict(extent.high_at))[Y] == extent.high


def test_a_proof_holds_it() -> None:
    found = worst.answer(hump, {"x": 0.9}, (("x", 0.0, 1.0),))
    extent = found.extents[Y]
    assert found.assurance is Assurance.BOUNDED
    assert extent.tight
    assert extent.proved_high is not None
    assert 1.0 <= extent.proved_high <= 1.0 + 2e-6
    assert extent.proved_low == pytest.approx(0.64, rel=1e-6)


def test_nominal_needs_no_box() -> None:
    found = worst.answer(stubborn, {"x": 0.9}, ())
    assert (found.assurance, found.extents[Y].value) == (Assurance.NOMINAL, 0.75)


def test_an_absent_case_is_an_answer_beside_others() -> None:
    def cases(point: Any) -> dict[Any, Any]:
        return {("y", "a"): point["x"] * 2.0, ("y", "b"): absent("never rises")}

    extents = worst.answer(cases, {"x": 0.5}, (("x", 0.0, 1.0),)).extents
    assert extents["y", "b"].absent == "never rises"
    assert (extents["y", "a"].low, extents["y", "a"].high) == (0.0, 2.0)


def test_the_search_is_bounded() -> None:
    sides = 10
    inputs = {f"x{i}": 0.5 for i in range(sides)}
    box = tuple((name, 0.0, 1.0) for name in inputs)
    count = 0

    def waves(point: Any) -> dict[Any, Any]:
        nonlocal count
        count += 1
        return {Y: float(sum((float(v) * (i + 3)) % 1.0 for i, v in enumerate(point.values())))}

    worst.answer(waves, inputs, box)
    assert count < 200 + search.MOST_DESCENTS
