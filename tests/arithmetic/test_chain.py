"""Analyses composed into one function: conversions in each arithmetic, and what a chain refuses."""

from __future__ import annotations

from fractions import Fraction
from math import pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from closeout import Absent
from closeout.arithmetic.chain import InputFailed, composed, converted, variables
from closeout.arithmetic.gradient.gradient import Gradient, seed
from closeout.arithmetic.interval.interval import Interval
from closeout.measure import Units
from closeout.model.question import Chain, Conversion, Linked, Member, Output, Take

UNITS = Units()
# Exact by definition (SI Brochure, 9th edition; ISO 80000-3); pi to the last double.
PAIRS = [
    ("min", "s", lambda x: 60 * x),
    ("degC", "K", lambda x: x + 273.15),
    ("degF", "degC", lambda x: (x - 32) * 5 / 9),
    ("dBm", "dBW", lambda x: x - 30),
    ("deg", "rad", lambda x: x * pi / 180),
    ("%", "1", lambda x: x / 100),
    ("d", "h", lambda x: 24 * x),
    ("m^3/h", "m^3/s", lambda x: x / 3600),
]
NUMBERS = st.floats(-1e6, 1e6, allow_nan=False)


def conversion(one: str, other: str) -> Conversion:
    factor, offset = UNITS.conversion(one, other)
    return Conversion(factor.as_integer_ratio(), offset.as_integer_ratio())


@pytest.mark.parametrize(("one", "other", "by_hand"), PAIRS, ids=[f"{a}-{b}" for a, b, _ in PAIRS])
@given(x=NUMBERS)
def test_a_number_is_converted_exactly_and_rounded_once(one: str, other: str, by_hand, x) -> None:  # type: ignore[no-untyped-def]
    found = converted(x, conversion(one, other))
    factor, offset = UNITS.conversion(one, other)
    assert found == float(Fraction(x) * factor + offset)
    assert found == pytest.approx(by_hand(x), rel=1e-12, abs=1e-9)


@pytest.mark.parametrize(("one", "other"), [pair[:2] for pair in PAIRS])
@given(ends=st.tuples(NUMBERS, NUMBERS), share=st.floats(0, 1))
def test_a_range_holds_every_number_in_it(one: str, other: str, ends, share: float) -> None:  # type: ignore[no-untyped-def]
    low, high = sorted(ends)
    inside = min(max(low + share * (high - low), low), high)
    by = conversion(one, other)
    found = converted(Interval(low, high), by)
    assert found.low <= converted(inside, by) <= found.high
    assert found.low <= converted(low, by)
    assert converted(high, by) <= found.high
    sloped = converted(seed(Interval(low, high), 0), by)
    assert isinstance(sloped, Gradient)
    least, most = sloped.slopes[0]
    factor = UNITS.conversion(one, other)[0]
    assert least <= factor <= most
    assert most - least <= 1e-12 * abs(most)


def _chain(output: Output, place: str | None = None, outputs: int = 1) -> Chain:
    member = Member("below", "m", "below", (Take("x", "x"),))
    linked = Linked("y", (output,) * outputs, place)
    return Chain((member,), (linked,), (Take("y", "y"),))


def test_each_member_is_evaluated_once() -> None:
    calls = []

    def below(point):  # type: ignore[no-untyped-def]
        calls.append(point)
        return {("q", None): 2.0 * point["x"]}

    chain = Chain(
        (Member("below", "m", "below", (Take("x", "x"),)),),
        (Linked("y", (Output(0, "q"),)), Linked("z", (Output(0, "q"),))),
        (Take("y", "y"), Take("z", "z")),
    )
    whole = composed(chain, [below], lambda point: {("w", None): point["y"] * point["z"]})
    assert whole({"x": 3.0}) == {("w", None): 36.0}
    assert calls == [{"x": 3.0}]


@pytest.mark.parametrize(("place", "value"), [(0.0, 1.0), (0.25, 2.0), (1.0, 5.0)])
def test_every_case_is_a_range(place: float, value: float) -> None:
    cases = {("q", "a"): 3.0, ("q", "b"): 1.0, ("q", "c"): 5.0}
    chain = _chain(Output(0, "q", every_case=True), "place")
    assert variables(chain, [lambda _: cases], {"x": 0.0, "place": place})["y"] == value


def test_what_the_model_is_off_is_a_difference_and_a_share() -> None:
    """-10 +/- (0.5 + 10 % of 10) = -10 +/- 1.5."""
    output = Output(0, "q", off="e", difference=(1, 2), share=(1, 10))
    chain = _chain(output)
    for e, expected in ((-1.0, -11.5), (0.0, -10.0), (1.0, -8.5)):
        point = {"x": 0.0, "e": e}
        assert variables(chain, [lambda _: {("q", None): -10.0}], point)["y"] == expected


def test_what_has_no_value_names_the_member() -> None:
    chain = _chain(Output(0, "q", "North"))
    values = {("q", "North"): Absent("never rises"), ("q", "South"): 1.0}
    with pytest.raises(InputFailed, match=r"below: q\[North\] has no value: never rises"):
        variables(chain, [lambda _: values], {"x": 0.0})
    with pytest.raises(InputFailed, match="below: q has no case East; it has North, South"):
        variables(_chain(Output(0, "q", "East")), [lambda _: values], {"x": 0.0})
