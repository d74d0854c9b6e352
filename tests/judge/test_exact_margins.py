"""Limits and required margins: one exact computation from the text, the same for each use."""

from __future__ import annotations

from fractions import Fraction
from random import Random

import pytest

from closeout.graph import bounds_in
from closeout.graph.bounds import exact_in, rounded
from closeout.graph.model_uncertainty import ModelUncertainty
from closeout.graph.required import RequiredMargin
from closeout.judge.findings.evidence import thin_margins
from closeout.judge.limits import compare
from closeout.measure import UnitError
from closeout.model.amount import read_amount
from closeout.model.answer import Bounds
from closeout.model.criterion import Limits
from closeout.model.dossier import State
from closeout.model.records import MarginPolicy
from tests.graph.projects import UNITS, answer, build, extent, only_entry, requirement, spec
from tests.graph.projects import requirements as section

# Criterion's unit, quantity's unit, and one of the first in the second: exact, by definition.
PAIRS = [
    ("min", "h", Fraction(1, 60)),
    ("kJ", "W h", Fraction(10, 36)),
    ("%", "1", Fraction(1, 100)),
    ("km/h", "m/s", Fraction(10, 36)),
    ("mbar", "kPa", Fraction(1, 10)),
]


def required(percent: str, of: str) -> RequiredMargin:
    amount = read_amount(percent)
    return RequiredMargin(MarginPolicy("x", of, (("AR", amount),), True), "AR", amount)


def decimal(random: Random) -> str:
    digits = random.randint(1, 4)
    sign = "-" if random.random() < 0.2 else ""
    return f"{sign}{random.randint(1, 9999)}e-{digits}" if digits > 3 else (
        f"{sign}{random.randint(1, 999) / 10**digits:.{digits}f}"
    )  # fmt: skip


def threshold(limit: Fraction, share: Fraction, of: str, sign: int) -> Fraction:
    """Return the least value (times the sign) that has the margin, by hand."""
    if of == "limit":
        return limit + sign * share * abs(limit)
    wanted = sign * limit
    return sign * wanted / (1 - share if wanted > 0 else 1 + share)


def test_ten_thousand_limits_and_margins_without_a_contradiction() -> None:
    random = Random(20)
    for _ in range(10_000):
        unit, own, ratio = random.choice(PAIRS)
        sign, of = random.choice([1, -1]), random.choice(["limit", "value"])
        number, percent = decimal(random), random.randint(0, 40)
        limit = read_amount(f"{number} {unit}")
        limits = Limits(at_least=limit) if sign > 0 else Limits(at_most=limit)
        # Of a limit in % a margin in % is so many points; ppm of it is a share.
        margin = f"{percent * 10_000} ppm" if unit == "%" else f"{percent} %"
        bounds = rounded(required(margin, of).on(limits, own, UNITS))
        exact = threshold(limit.number, Fraction(percent, 100), of, sign)
        bound = bounds.at_least if sign > 0 else bounds.at_most
        assert bound == float(exact * ratio)
        # A value that is written as the least that has the margin has it; further in, too, and one
        # that is less by a part in 10^12 has not.
        for step, met in ((0, True), (1, True), (-1, False)):
            value = exact + sign * step * abs(exact) / 10**12
            if not value and step:
                continue
            found = float(value * ratio)
            state = compare(found, found, bounds).state
            assert (state is State.MET) is met
        # A margin of nothing is the limit itself.
        none = required("0 %", of).on(limits, own, UNITS)
        assert rounded(none) == bounds_in(limits, own, UNITS)


@pytest.mark.parametrize("of", ["limit", "value"])
@pytest.mark.parametrize(("unit", "own", "ratio"), PAIRS, ids=[pair[0] for pair in PAIRS])
def test_what_is_enforced_is_what_is_found_thin(
    unit: str, own: str, ratio: Fraction, of: str
) -> None:
    random = Random(3)
    for _ in range(12):
        limit = Fraction(random.randint(1, 400), 1000)
        share = Fraction(random.randint(1, 30), 100)
        exact = threshold(limit, share, of, 1)
        margin = f"{int(share * 10**6)} ppm" if unit == "%" else f"{int(share * 100)} %"
        value = float((exact + random.choice([0, 0, 1, -1]) * exact / 10**15) * ratio)
        states, told = [], []
        for enforce in ("true", "false"):
            policy = f"{{quantity: x, of: {of}, required: {{AR: {margin}}}, enforce: {enforce}}}"
            built = build(
                section(requirement("R-1", "method: analysis, analysis: f, quantity: x, at_least: "
                                    f"{float(limit)} {unit}")),
                spec("f", fields={"x": own}),
                charter=f"project: {{name: P, reviews: [AR], margins: [{policy}]}}",
                clean=True,
            )  # fmt: skip
            dossier = built.judge({"f": answer(x=extent(value, value))})
            states.append(only_entry(dossier).state)
            told.append(len(list(thin_margins(dossier, built.index))))
        short = value < float(exact * ratio)
        assert states == [State.NOT_MET if short else State.MET, State.MET]
        assert told == [0, int(short)]


def test_a_margin_in_another_unit_is_met_exactly() -> None:
    """0.1 min and 10 % of it are 0.11 min, in hours too."""
    limits = Limits(at_least=read_amount("0.1 min"))
    assert rounded(required("10 %", "limit").on(limits, "h", UNITS)) == Bounds(
        float(Fraction(11, 6000))
    )


def test_a_share_of_the_value_may_be_all_of_it_where_the_value_is_to_be_small() -> None:
    """A load with a margin of 100 % of itself is at most half the limit; none is twice itself."""
    margin = required("100 %", "value")
    assert rounded(margin.on(Limits(at_most=read_amount("3 kN")), "N", UNITS)) == Bounds(
        None, 1500.0
    )
    with pytest.raises(UnitError, match="all of it"):
        margin.on(Limits(at_least=read_amount("3 kN")), "N", UNITS)


def test_both_ends_of_a_value_with_its_width() -> None:
    limits = Limits(equal_to=read_amount("0.3 min"), within=read_amount("0.1 min"))
    found = required("10 %", "limit").on(limits, "s", UNITS)
    assert rounded(found) == Bounds(float(Fraction(132, 10)), float(Fraction(216, 10)))


def test_the_uncertainty_of_a_model_is_taken_off_exactly_and_rounded_once() -> None:
    """A limit of 0.1 min with 10 % of the value, and with 0.02 min: 1/540 h and 1/500 h."""
    limits = exact_in(Limits(at_least=read_amount("0.1 min")), "h", UNITS)
    share = ModelUncertainty("10 %", Fraction(0), Fraction(1, 10))
    width = ModelUncertainty("0.02 min", Fraction(2, 6000), Fraction(0))
    assert rounded(share.tightened(limits)) == Bounds(float(Fraction(1, 540)))
    assert rounded(width.tightened(limits)) == Bounds(float(Fraction(1, 500)))
    # Of a margin of 10 % of the limit and the share together: 0.11 min / 0.9.
    both = share.tightened(required("10 %", "limit").on(Limits(at_least=read_amount("0.1 min")),
                                                        "h", UNITS))  # fmt: skip
    assert rounded(both) == Bounds(float(Fraction(11, 5400)))


def test_ten_thousand_ends_are_moved_by_the_uncertainty_of_a_model_as_fractions_say() -> None:
    random = Random(21)
    for _ in range(10_000):
        number = float(Fraction(decimal(random)))
        amount = Fraction(random.randint(0, 400), 1000)
        by_share = random.random() < 0.5
        model = ModelUncertainty(
            "", *((Fraction(0), amount) if by_share else (amount, Fraction(0)))
        )
        wide = model.widened(extent(number, number))
        off = amount * abs(Fraction(number)) if by_share else amount
        assert wide.low == float(Fraction(number) - off)
        assert wide.high == float(Fraction(number) + off)
