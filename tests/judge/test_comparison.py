"""Comparison with limits, against exact rational arithmetic; no number shown contradicts it.

The rule: a limit goes from its decimal text to a fraction, through the exact unit factor, and is
rounded once to the nearest double in the quantity's unit; doubles are compared, limits inclusive.
"""

from __future__ import annotations

import math
import sys
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from closeout.graph import Acceptance
from closeout.judge.limits import compare
from closeout.model.answer import Extent
from closeout.model.dossier import Evidence, State
from tests.graph.projects import answer, build, only_entry, requirement, requirements, spec

# number * factor + offset in the first unit of each row; BIPM, SI Brochure, 9th ed., tables 8 and 4
# (min, h, d, degC), dBm and dBW: ITU-R V.574 (both from memory).
F = Fraction
FAMILIES: list[dict[str, tuple[Fraction, Fraction]]] = [
    {"s": (F(1), F(0)), "ms": (F(1, 1000), F(0)), "min": (F(60), F(0)), "h": (F(3600), F(0)),
     "d": (F(86400), F(0))},
    {"K": (F(1), F(0)), "degC": (F(1), F("273.15"))},
    {"dBW": (F(1), F(0)), "dBm": (F(1), F(-30))},
    {"": (F(1), F(0)), "%": (F(1, 100), F(0)), "ppm": (F(1, 10**6), F(0))},
    {"J": (F(1), F(0)), "W h": (F(3600), F(0)), "kJ": (F(1000), F(0)), "mW h": (F(36, 10), F(0))},
    {"m/s": (F(1), F(0)), "km/h": (F(10, 36), F(0))},
    {"A h": (F(1), F(0)), "mA h": (F(1, 1000), F(0)), "A s": (F(1, 3600), F(0))},
    {"V": (F(1), F(0)), "mV": (F(1, 1000), F(0)), "uV": (F(1, 10**6), F(0))},
]  # fmt: skip
PAIRS = [(a, b, family) for family in FAMILIES for a in family for b in family]

NUMBERS = st.one_of(
    st.decimals(-1000, 1000, allow_nan=False, allow_infinity=False, places=4),
    st.decimals(-10, 10, allow_nan=False, allow_infinity=False, places=17),
    st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**20), max_value=10**20),
    st.integers(-50, 50).map(Decimal),
).filter(lambda number: len(f"{number:f}") < 55)
STEPS = st.one_of(st.integers(-3, 3), st.integers(-1000, 1000))
FREE = st.floats(-1e25, 1e25, allow_nan=False)


def exactly(text: str, unit: str, wanted: str, family: dict[str, tuple[F, F]]) -> Fraction:
    (factor, offset), (other, shift) = family[unit], family[wanted]
    return (Fraction(text) * factor + offset - shift) / other


def stepped(number: float, steps: int) -> float:
    for _ in range(abs(steps)):
        number = math.nextafter(number, math.copysign(math.inf, steps))
    return number


def judged(limit: str, unit: str, extent: Extent) -> Evidence:
    """Return the evidence for a limit (``at_least: 1 W``) on a quantity of a unit."""
    text = requirements(requirement("R-1", f"method: analysis, analysis: f, quantity: x, {limit}"))
    built = build(text, spec("f", {}, {"x": unit}))
    wrong = [one for one in built.findings if one.rule != "kelvin-meets-celsius"]
    assert not wrong, wrong
    return only_entry(built.judge({"f": answer(x=extent)}))


def text_of(number: Decimal, unit: str) -> str:
    return f"{number:f} {unit}".strip()


def agrees(entry: Evidence) -> None:
    """Assert that nothing shown contradicts the state."""
    low = entry.value if entry.low is None else entry.low
    high = entry.value if entry.high is None else entry.high
    assert entry.value is not None
    assert low is not None
    assert high is not None
    assert entry.margin is not None
    assert low <= entry.value <= high
    under = entry.at_least is None or low >= entry.at_least
    over = entry.at_most is None or high <= entry.at_most
    assert (entry.state is State.MET) is (under and over)
    assert (entry.margin >= 0) is (entry.state is State.MET)
    if entry.margin == 0:
        assert low == entry.at_least or high == entry.at_most
    for number in (entry.value, low, high, entry.margin):
        assert math.isfinite(number)


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(PAIRS), NUMBERS, st.one_of(STEPS, FREE), st.booleans())
@example(("", "", FAMILIES[3]), Decimal("0.1"), 0, True)
@example(("h", "s", FAMILIES[0]), Decimal("0.1"), 1, True)
@example(("degC", "K", FAMILIES[1]), Decimal("5.05"), -1, True)
@example(("dBm", "dBW", FAMILIES[2]), Decimal("0.3"), 0, False)
@example(("%", "", FAMILIES[3]), Decimal("29"), 0, False)
def test_a_one_sided_limit(
    pair: tuple[str, str, dict[str, tuple[F, F]]], number: Decimal, at: int | float, least: bool
):
    written, unit, family = pair
    exact = exactly(f"{number:f}", written, unit, family)
    bound = float(exact)
    value = stepped(bound, at) if isinstance(at, int) else at
    key = "at_least" if least else "at_most"
    entry = judged(f"{key}: {text_of(number, written)}", unit, Extent(value))
    met = value >= bound if least else value <= bound
    assert (entry.state is State.MET) is met
    agrees(entry)
    # What is shown is the nearest double, but for the step that keeps it on its side of the limit.
    limit = entry.at_least if least else entry.at_most
    assert limit == float(Fraction(f"{number:f}"))
    (f1, o1), (f2, o2) = family[unit], family[written]
    nearest = float((Fraction(value) * f1 + o1 - o2) / f2)
    beside = (math.nextafter(limit, -math.inf), limit, math.nextafter(limit, math.inf))
    assert entry.value == (value if unit == written else nearest) or entry.value in beside


@settings(max_examples=200, deadline=None)
@given(
    st.sampled_from(PAIRS),
    NUMBERS,
    NUMBERS,
    st.lists(st.tuples(st.booleans(), STEPS), min_size=3, max_size=3),
    st.lists(FREE, max_size=3),
)
def test_extents_between_two_limits(
    pair: tuple[str, str, dict[str, tuple[F, F]]],
    one: Decimal,
    other: Decimal,
    near: list[tuple[bool, int]],
    free: list[float],
):
    written, unit, family = pair
    least, most = sorted((one, other))
    low_bound, high_bound = (float(exactly(f"{n:f}", written, unit, family)) for n in (least, most))
    points = [stepped(low_bound if lower else high_bound, steps) for lower, steps in near]
    low, value, high = sorted([*free, *points][:3])
    limits = f"at_least: {text_of(least, written)}, at_most: {text_of(most, written)}"
    entry = judged(limits, unit, Extent(value, low, high))
    assert (entry.state is State.MET) is (low >= low_bound and high <= high_bound)
    # Where the two limits are the same double in the criterion's unit, none lies between them.
    assume(entry.at_least != entry.at_most or low_bound == high_bound or written == unit)
    agrees(entry)


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from([pair for pair in PAIRS if "degC" not in pair[2] and "dBm" not in pair[2]]),
    NUMBERS,
    NUMBERS.map(abs),
    STEPS,
    st.booleans(),
)
def test_equal_to_within(
    pair: tuple[str, str, dict[str, tuple[F, F]]],
    middle: Decimal,
    within: Decimal,
    steps: int,
    lower: bool,
):
    written, unit, family = pair
    # A number with % beside one without is a share of the value; here both are of one unit.
    ends = [
        float(exactly(str(F(f"{middle:f}") + sign * F(f"{within:f}")), written, unit, family))
        for sign in (-1, 1)
    ]
    value = stepped(ends[0] if lower else ends[1], steps)
    limit = f"equal_to: {text_of(middle, written)}, within: {text_of(within, written)}"
    entry = judged(limit, unit, Extent(value))
    assert (entry.state is State.MET) is (ends[0] <= value <= ends[1])
    assert entry.at_least == float(F(f"{middle:f}") - F(f"{within:f}"))
    assert entry.at_most == float(F(f"{middle:f}") + F(f"{within:f}"))
    assume(entry.at_least != entry.at_most or ends[0] == ends[1])
    agrees(entry)


def test_within_of_a_temperature_and_of_a_level_are_differences():
    assert judged("equal_to: 20 degC, within: 2 K", "K", Extent(295.15)).state is State.MET
    assert judged("equal_to: 20 degC, within: 2 K", "K", Extent(295.2)).state is State.NOT_MET
    assert judged("equal_to: 30 dBm, within: 1 dB", "dBW", Extent(-1.0)).state is State.MET
    assert judged("equal_to: 30 dBm, within: 1 dB", "dBW", Extent(1.01)).state is State.NOT_MET
    assert judged("equal_to: 12 V, within: 5 %", "mV", Extent(12600.0)).state is State.MET
    assert judged("equal_to: 12 V, within: 5 %", "mV", Extent(12601.0)).state is State.NOT_MET


@settings(max_examples=80, deadline=None)
@given(
    st.sampled_from(PAIRS), NUMBERS, st.lists(st.one_of(STEPS, FREE), min_size=2, max_size=8),
    st.booleans(),
)  # fmt: skip
def test_the_verdict_and_what_is_shown_are_monotone_in_the_value(
    pair: tuple[str, str, dict[str, tuple[F, F]]],
    number: Decimal,
    at: list[int | float],
    least: bool,
):
    written, unit, family = pair
    bound = float(exactly(f"{number:f}", written, unit, family))
    values = sorted(stepped(bound, one) if isinstance(one, int) else one for one in at)
    key = "at_least" if least else "at_most"
    limit = f"{key}: {text_of(number, written)}"
    entries = [judged(limit, unit, Extent(value)) for value in values]
    for below, above in pairwise(entries):
        assert below.value is not None
        assert above.value is not None
        assert below.margin is not None
        assert above.margin is not None
        assert below.value <= above.value
        better, worse = (above, below) if least else (below, above)
        assert better.margin >= worse.margin
        assert not (worse.state is State.MET and better.state is State.NOT_MET)


def test_an_analysis_that_returns_a_tenth_meets_its_limit_of_a_tenth():
    assert judged("at_least: 0.1", "", Extent(0.1)).state is State.MET
    assert judged("at_most: 0.1", "", Extent(0.1)).state is State.MET
    assert judged("at_least: 0.1", "", Extent(0.1)).margin == 0
    # 0.1 + 0.2 is 0.30000000000000004 in doubles, and above 0.3.
    assert judged("at_most: 0.3", "", Extent(0.1 + 0.2)).state is State.NOT_MET


def test_the_far_end_is_shown_as_it_is_where_the_near_end_fails():
    entry = judged("at_least: 3 dB", "dB", Extent(5.7, 1.9, 9.4))
    assert (entry.low, entry.value, entry.high, entry.margin) == (1.9, 5.7, 9.4, 1.9 - 3)
    entry = judged("at_most: 3 h", "s", Extent(3600.0, 1800.0, 36000.0))
    assert (entry.low, entry.value, entry.high, entry.margin) == (0.5, 1, 10, -7)


@pytest.mark.parametrize(
    ("limits", "low", "high", "margin"),
    [
        ("at_least: 2 W", 3, 7, 1),
        ("at_most: 8 W", 3, 7, 1),
        ("at_least: 1 W, at_most: 8 W", 3, 7, 1),  # the nearer of the two
        ("at_least: 2 W, at_most: 20 W", 3, 7, 1),
        ("at_least: 5 W, at_most: 6 W", 3, 7, -2),
        ("at_least: 3 W, at_most: 5 W", 3, 7, -2),
        ("equal_to: 5 W, within: 3 W", 3, 7, 1),  # within less the distance: 3 - 2
        ("equal_to: 5 W, within: 1 W", 3, 7, -1),
        ("equal_to: 5000 mW, within: 1 W", 3, 7, -1000),
    ],
)
def test_margin_is_from_the_bad_end_to_the_nearest_limit(
    limits: str, low: float, high: float, margin: float
):
    assert judged(limits, "W", Extent(5.0, low, high)).margin == margin


def test_margins_beyond_the_doubles_stay_numbers():
    huge = sys.float_info.max
    entry = judged("at_most: -1e300 W", "W", Extent(huge))
    assert entry.margin == -huge
    agrees(entry)
    entry = judged("at_most: -1 fW", "W", Extent(huge))  # 1.8e308 W is no double in fW
    assert entry.value == huge
    agrees(entry)
    entry = judged("at_least: 1 MW", "fW", Extent(5e-324))
    agrees(entry)
    entry = judged("at_least: 0 MW", "fW", Extent(-5e-324))
    assert entry.margin is not None
    assert entry.margin < 0
    agrees(entry)


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_a_number_that_is_none_is_an_error(number: float):
    for extent in (Extent(number), Extent(1.0, number, 2.0), Extent(1.0, 0.0, number)):
        assert judged("at_least: 0 W", "W", extent).state is State.ERROR


def test_a_plain_number_is_shown_as_a_plain_number():
    entry = judged("at_least: 0.29", "%", Extent(29.0))
    assert (entry.value, entry.at_least, entry.unit, entry.margin) == (0.29, 0.29, "", 0)


def test_without_a_limit_nothing_is_met():
    judged_without = compare(1.0, 2.0, Acceptance())
    assert (judged_without.state, judged_without.margin) == (State.NOT_MET, None)
