"""Studies of formulas whose derivatives and break-even values are known in closed form.

Every expected number is computed by hand from the formula, as written beside it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from xml.etree import ElementTree

import pytest

from closeout import absent
from closeout.arithmetic.study.quantity import FIRST, MARCH, study
from closeout.model.study import BreakEven, StudyFound

X = ("x", None)


def asked(**changed: Any) -> dict[str, Any]:
    return {
        "quantity": "x", "case": None, "at_least": None, "at_most": None, "corner": [],
        "decides": [],
        "units": {"x": "W h"}, "groups": {}, "sides": [], "added": [], "reach": {}, "unset": [],
        "drawn": {},
        "seed": "R-1", "boundary": None, "marches": True, "differentiated": False, "quantile": None,
        "possible": {}, "met_everywhere": False,
        **changed,
    }  # fmt: skip


def edges(found: StudyFound, other_inputs: str) -> dict[tuple[str, str], BreakEven]:
    rows = found.break_even
    return {(one.parameter, one.direction): one for one in rows if one.other_inputs == other_inputs}


def test_product() -> None:
    # x = a b at a = 2 +/- 0.2, b = 3 +/- 0.1: slopes b = 3 and a = 2, spreads 0.6 and 0.2, shares
    # 0.36 / 0.40 and 0.04 / 0.40. x >= 5: at nominal a = 5/3 and b = 5/2; at the worst corner
    # (1.8, 2.9) a = 5/2.9 and b = 5/1.8.
    found = study(
        lambda point: {X: point["a"] * point["b"]},
        {"a": 2.0, "b": 3.0},
        (("a", 1.8, 2.2), ("b", 2.9, 3.1)),
        asked(
            at_least=5.0, corner=[["a", 1.8], ["b", 2.9]], quantile=[0.9, 0.95],
            drawn={"a": [None, None, None], "b": [None, None, None]},
        ),
    )  # fmt: skip
    assert found.symbolic is None
    assert found.reasons == {}
    first, second = found.drivers
    assert first == ("a", *map(pytest.approx, (3.0, -0.6, 0.6, 90.0)), True)
    assert second == ("b", *map(pytest.approx, (2.0, -0.2, 0.2, 10.0)), True)
    nominal, worst = edges(found, "nominal"), edges(found, "worst")
    assert nominal["a", "below"].value == pytest.approx(5.0 / 3.0, rel=1e-14)
    assert nominal["a", "below"].tolerances == pytest.approx((2.0 - 5.0 / 3.0) / 0.2, rel=1e-12)
    assert nominal["b", "below"].value == pytest.approx(2.5, rel=1e-14)
    assert worst["a", "below"].value == pytest.approx(5.0 / 2.9, rel=1e-14)
    assert worst["b", "below"].value == pytest.approx(5.0 / 1.8, rel=1e-14)
    assert all(one.holds for one in (*nominal.values(), *worst.values()))


def test_what_the_spreads_make_of_a_product() -> None:
    # x = a b as above. Root sum square: sqrt(0.6^2 + 0.2^2); the corner (1.8, 2.9) is 5.22 where
    # straight lines say 5.2. With uniform a and b, of variances 0.04/3 and 0.01/3, the variance of
    # the product is 9 va + 4 vb + va vb: first-order index of a 9 va over it, total (9 va + va vb)
    # over it, and so for b (Saltelli et al. 2010 for the definitions).
    va, vb = 0.04 / 3.0, 0.01 / 3.0
    whole = 9.0 * va + 4.0 * vb + va * vb
    drawn = {"a": [None, None, None], "b": [None, None, None]}
    found = study(
        lambda point: {X: point["a"] * point["b"]},
        {"a": 2.0, "b": 3.0},
        (("a", 1.8, 2.2), ("b", 2.9, 3.1)),
        asked(at_least=5.0, drawn=drawn, quantile=[0.9, 0.95]),
    )
    assert found.root_sum_square is not None
    _, low, high, remark = found.root_sum_square
    assert (low, high) == pytest.approx((6.0 - 0.4**0.5, 6.0 + 0.4**0.5), rel=1e-12)
    assert remark.startswith("linearisation error up to 0.02 W h (")
    (a, first_a, error_a, total_a, _), (b, first_b, error_b, _, _) = found.factors
    assert (a, b) == (("a",), ("b",))
    assert abs(first_a - 9.0 * va / whole) < 4.0 * error_a
    assert abs(first_b - 4.0 * vb / whole) < 4.0 * error_b
    assert total_a == pytest.approx((9.0 * va + va * vb) / whole, abs=0.05)
    # One in ten of all products lies below 5.502 or so (from the convolution of the two uniform
    # spreads: 9 va of the variance is that of a, so nearly 3 a, of which a tenth is below 5.52).
    assert found.quantiles is not None
    share, confidence, below, above, samples = found.quantiles
    assert (share, confidence) == (0.9, 0.95)
    assert 5.40 < below < 5.52 < 6.48 < above < 6.60
    assert samples == 65_536


def test_ratio_and_its_derivation() -> None:
    # x = a / b at a = 6 +/- 1, b = 2 +/- 0.5: slopes 1/b = 0.5 and -a/b^2 = -1.5, spreads 0.5 and
    # 0.75, shares 4/13 and 9/13. x <= 4: a = 8 and b = 1.5 at nominal; with the
    # other at the worst corner (7, 1.5) a = 4 x 1.5 = 6 and b = 7/4.
    found = study(
        lambda point: {X: point["a"] / point["b"]},
        {"a": 6.0, "b": 2.0},
        (("a", 5.0, 7.0), ("b", 1.5, 2.5)),
        asked(at_most=4.0, corner=[["a", 7.0], ["b", 1.5]]),
    )
    assert [row[0] for row in found.drivers] == ["b", "a"]
    assert found.drivers[0][1:5] == pytest.approx((-1.5, 0.75, -0.75, 900.0 / 13.0))
    assert found.drivers[1][1:5] == pytest.approx((0.5, -0.5, 0.5, 400.0 / 13.0))
    nominal, worst = edges(found, "nominal"), edges(found, "worst")
    assert nominal["a", "above"].value == pytest.approx(8.0, rel=1e-14)
    assert nominal["b", "below"].value == pytest.approx(1.5, rel=1e-14)
    # At 6/1.5 = 4 the search begins on the edge itself, which still holds.
    assert worst["a", "above"].value == pytest.approx(6.0, rel=1e-14)
    assert worst["b", "below"].value == pytest.approx(1.75, rel=1e-14)
    (row,) = found.lines
    quantity, case, text, latex, mathml, numbers_text, numbers, numbers_mathml, value, unit = row
    assert (text, numbers_text) == ("x = a / b", " = 6 / 2")
    assert (quantity, case, value, unit) == ("x", None, 3.0, "W h")
    assert latex.replace(" ", "") == r"\mathrm{x}=\frac{\mathrm{a}}{\mathrm{b}}"
    assert numbers.replace(" ", "") == r"=\frac{6}{2}"
    for text in (mathml, numbers_mathml):
        assert ElementTree.fromstring(text).tag == "{http://www.w3.org/1998/Math/MathML}math"


def test_only_the_case_that_was_asked() -> None:
    found = study(
        lambda point: {("x", "near"): point["a"] + 1.0, ("x", "far"): 4.0 * point["a"]},
        {"a": 1.0},
        (("a", 0.5, 1.5),),
        asked(case="far", at_least=3.0),
    )
    assert found.drivers[0][1] == pytest.approx(4.0)
    assert edges(found, "nominal")["a", "below"].value == pytest.approx(0.75, rel=1e-14)
    assert [row[:2] for row in found.lines] == [("x", "far")]


def march(point: Mapping[str, Any]) -> dict[Any, float]:
    """Straight flight in steps until it is done; the loop cannot run on symbols."""
    way = 0.0
    for _ in range(100):
        way += float(point["speed"]) * float(point["time"]) / 100.0
    return {X: way}


def test_a_march_falls_back_to_differences_and_says_why() -> None:
    # The same as speed times time: slopes 5 and 2, and 8 is reached at time = 4, speed = 1.6.
    found = study(
        march,
        {"speed": 2.0, "time": 5.0},
        (("speed", 1.9, 2.1), ("time", 4.5, 5.5)),
        asked(at_least=8.0),
    )
    assert found.symbolic
    assert found.lines == ()
    assert [row[0] for row in found.drivers] == ["time", "speed"]
    assert [row[1] for row in found.drivers] == pytest.approx([2.0, 5.0], rel=1e-9)
    assert [row[5] for row in found.drivers] == [False, False]
    nominal = edges(found, "nominal")
    assert nominal["time", "below"].value == pytest.approx(4.0, rel=1e-12)
    assert nominal["speed", "below"].value == pytest.approx(1.6, rel=1e-12)


def test_a_march_is_bounded_by_counts_and_says_how_far_it_came() -> None:
    names = [f"p{i:02}" for i in range(60)]
    count = 0

    def evaluate(point: Mapping[str, Any]) -> dict[Any, float]:
        nonlocal count
        count += 1
        return {X: sum(float(point[name]) for name in names)}

    # Sixty parameters of 1 +/- 0.1, the sum at most 60.45: each alone breaks it at 1.45.
    found = study(
        evaluate,
        dict.fromkeys(names, 1.0),
        tuple((name, 0.9, 1.1) for name in names),
        asked(at_most=60.45, corner=[[name, 1.0] for name in names]),
    )
    # Besides the search: three for each difference, four for each straight line of root sum square,
    # a few for the symbolic form and for a proof that a march does not allow.
    assert count <= 2 * MARCH.evaluations + 7 * len(names) + 40
    text = found.reasons["break-even"]
    assert "of 60 parameters were searched" in text
    assert "nominal" in text
    assert "worst" in text
    rows = found.break_even
    assert [one.other_inputs for one in rows] == ["nominal"] * FIRST + ["worst"] * FIRST
    assert [one.value for one in rows] == pytest.approx([1.45] * len(rows), rel=1e-12)


def test_without_a_limit_there_is_no_break_even() -> None:
    found = study(lambda point: {X: 2.0 * point["a"]}, {"a": 1.0}, (), asked())
    assert found.break_even == ()
    assert found.drivers == ()
    assert found.reasons == {"break-even": "there is no limit"}


def test_a_part_that_fails_leaves_the_others() -> None:
    def evaluate(point: Mapping[str, Any]) -> dict[Any, Any]:
        if float(point["a"]) < 1.0:
            raise ValueError("below what the model covers")
        return {X: 3.0 * float(point["a"])}

    found = study(evaluate, {"a": 1.0}, (("a", 0.5, 1.5),), asked(at_most=6.0))
    assert found.drivers == ()
    assert "below what the model covers" in found.reasons["sensitivities"]
    assert edges(found, "nominal")["a", "above"].value == pytest.approx(2.0, rel=1e-12)


def test_what_the_analysis_raises_at_the_inputs_goes_through() -> None:
    def evaluate(point: Mapping[str, Any]) -> dict[Any, Any]:
        raise ZeroDivisionError(point)

    with pytest.raises(ZeroDivisionError):
        study(evaluate, {"a": 1.0}, (), asked(at_least=1.0))


def test_an_absent_case_has_no_derivation() -> None:
    def evaluate(_: Mapping[str, Any]) -> dict[Any, Any]:
        return {X: absent("never rises")}

    found = study(evaluate, {"a": 1.0}, (("a", 0.5, 1.5),), asked(at_least=1.0))
    assert found.lines == ()
    assert found.symbolic


def test_the_same_twice() -> None:
    box = (("speed", 1.9, 2.1), ("time", 4.5, 5.5))
    first, second = (
        study(march, {"speed": 2.0, "time": 5.0}, box, asked(at_least=8.0)) for _ in range(2)
    )
    assert first == second


def test_the_others_are_at_worst_where_the_criterion_turns() -> None:
    # x = (a - 2) b >= -0.5 at a = 3, b = 1 +/- 0.1: b is worst at 0.9 while a is above 2 and at 1.1
    # below it, so it turns at a = 2 - 0.5/1.1.
    found = study(
        lambda point: {X: (point["a"] - 2.0) * point["b"]},
        {"a": 3.0, "b": 1.0},
        (("b", 0.9, 1.1),),
        asked(at_least=-0.5, corner=[["b", 0.9]]),
    )
    worst = edges(found, "worst")
    assert worst["a", "below"].value == pytest.approx(2.0 - 0.5 / 1.1, rel=1e-12)
    assert edges(found, "nominal")["a", "below"].value == pytest.approx(1.5, rel=1e-12)


def test_other_cases_cost_the_root_sum_square_of_one_nothing() -> None:
    # Each case has corners of its own, and a march pays for each of them.
    def counted(cases: int) -> int:
        count = 0

        def evaluate(point: Mapping[str, Any]) -> dict[tuple[str, str | None], Any]:
            nonlocal count
            count += 1
            a, b = float(point["a"]), float(point["b"])
            return {("x", str(case)): (-1) ** case * a + b for case in range(cases)}

        found = study(
            evaluate, {"a": 2.0, "b": 3.0}, (("a", 1.8, 2.2), ("b", 2.9, 3.1)),
            asked(case="0", at_least=1.0),
        )  # fmt: skip
        assert found.root_sum_square is not None
        return count

    assert counted(2) == counted(1)
