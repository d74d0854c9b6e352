"""What a what-if sets, and texts of doubles that are read as the very same doubles."""

from __future__ import annotations

import json
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

import closeout.units as names
from closeout.graph.chances import spreads_of
from closeout.measure import Units
from closeout.model.amount import AmountError, read_amount
from closeout.model.records import Spread
from closeout.model.setting import Setting, exactly, read_setting
from tests.graph.projects import build, requirement, requirements, spec

UNITS = Units()
# Every unit that an author of an analysis may name.
KNOWN = sorted(
    {
        part.text
        for name in dir(names)
        for part in getattr(getattr(names, name), "__metadata__", ())
        if isinstance(part, names.Unit)
    }
)


@pytest.mark.parametrize("text", ["40 N", "40N", " 40 N ", "4e1 N", "40"])
def test_an_amount_keeps_the_declared_spread(text: str) -> None:
    assert read_setting(text) == Setting(text.strip(), read_amount(text), None)


@pytest.mark.parametrize("text", ["40 N exactly", "40N exactly", "40 N  exactly", " 40 N exactly "])
def test_exactly_is_no_spread(text: str) -> None:
    found = read_setting(text)
    assert found.value == read_amount(text.replace("exactly", ""))
    assert found.spread == Spread()


@pytest.mark.parametrize("text", ["40 N +/- 2 N", "40 N+/-2 N", "40 N ± 2 N", "40 N±2 N"])
def test_a_tolerance(text: str) -> None:
    found = read_setting(text)
    assert found.value == read_amount("40 N")
    assert found.spread is not None
    ((_, width),) = found.spread.tolerance
    assert (width.number, width.unit) == (2, "N")


@pytest.mark.parametrize("text", ["38 N to 42 N", "38 N  to  42 N"])
def test_two_ends(text: str) -> None:
    found = read_setting(text)
    assert found.value is None
    assert found.ends == (read_amount("38 N"), read_amount("42 N"))


@pytest.mark.parametrize(
    "text",
    [
        "", "exactly", "to", "+/-", "40 N +/-", "+/- 2 N", "38 N to", "to 42 N", "38 N to N",
        "40 N +/- 2 N exactly", "38 N to 42 N exactly", "38 N to 40 N to 42 N", "40 N exactly 3",
        "40 N exactly exactly", "40 N +/- -2 N", "40 N +/- two", "forty N",
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_told_with_a_cure(text: str) -> None:
    with pytest.raises(AmountError) as told:
        read_setting(text)
    assert told.value.message
    assert told.value.cure


# A number is refused beyond 300 digits, before or behind the point.
NUMBERS = st.floats(min_value=1e-200, max_value=1e200)


@given(st.one_of(st.just(0.0), NUMBERS, NUMBERS.map(float.__neg__)), st.sampled_from(KNOWN))
def test_a_double_is_read_as_itself_in_every_unit(number: float, unit: str) -> None:
    assert len(KNOWN) > 50
    found = read_setting(exactly(number, unit))
    assert found.spread == Spread()
    assert found.value is not None
    assert UNITS.nearest(found.value, unit) == number


def test_whole_numbers_are_short() -> None:
    assert exactly(40.0, "N") == "40 N exactly"
    assert exactly(0.1, "1") == "0.1 exactly"
    assert Fraction(exactly(1e22, "").split()[0]) == Fraction(10) ** 22


@pytest.mark.parametrize(
    ("setting", "sigma"),
    [(None, 1.0), ("50 N", 1.0), ("50 N +/- 6 N", None), ("44 N to 56 N", None)],
)
def test_a_spread_that_is_set_is_no_longer_normal(setting: str | None, sigma: float | None) -> None:
    text = "method: analysis, analysis: f, quantity: x, at_least: 1 W"
    chance = f"{text}, basis: {{probability: 0.9, confidence: 0.9}}"
    items = requirements(requirement("R-1", chance))
    built = build(
        items + "parameters:\n  p: {value: 50 N, sigma: 1 N}\n",
        spec("f", {"p": "N"}),
        settings={} if setting is None else {"p": setting},
    )
    drawn = spreads_of(built.plan.requests["R-1", 0].inputs, built.index.parameters)["drawn"]
    assert drawn["p"] == [sigma, None, None]
    assert json.loads(built.question("R-1").detail)["drawn"]["p"] == [sigma, None, None]
