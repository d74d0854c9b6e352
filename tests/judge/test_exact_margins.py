"""Limits and required margins: one exact computation from the text, the same for each use."""

from __future__ import annotations

from fractions import Fraction
from math import nextafter
from random import Random

import pytest

from closeout.graph import acceptance, bounds_in
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
        held = acceptance(required(margin, of).on(limits, own, UNITS))
        exact = threshold(limit.number, Fraction(percent, 100), of, sign)
        bound = held.bounds.at_least if sign > 0 else held.bounds.at_most
        assert bound == float(exact * ratio)
        # A value that is written as the least that has the margin has it; further in, too, and one
        # that is less by a part in 10^12 has not.
        for step, met in ((0, True), (1, True), (-1, False)):
            value = exact + sign * step * abs(exact) / 10**12
            if not value and step:
                continue
            found = float(value * ratio)
            state = compare(found, found, held).state
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


def test_a_waiver_reaches_the_least_value_that_keeps_it_with_what_its_model_may_be_off() -> None:
    """Of A min with a share s off: the double nearest to A / 60 (1 - s) h, and none below."""
    random, items, waivers, specs, replies = Random(22), [], [], [], {}
    covered = []
    for number in range(300):
        accepted, percent = Fraction(random.randint(1, 999), 10), random.randint(1, 40)
        least = float(accepted / 60 / (1 - Fraction(percent, 100)))
        covered.append(random.random() < 0.5)
        value = least if covered[-1] else nextafter(least, 0.0)
        asks = f"method: analysis, analysis: f{number}, quantity: x, at_least: 100 h"
        items.append(requirement(f"R-{number}", asks))
        waivers.append(
            f"  - {{id: W-{number}, kind: waiver, requirement: R-{number}, reason: Invented.,"
            f" accepts: {{quantity: x, at_least: {float(accepted)} min}}, approved_by: board,"
            " date: 2026-03-09}\n"
        )
        model = (("x", f"{percent} %"),)
        specs.append(spec(f"f{number}", fields={"x": "h"})._replace(model_uncertainty=model))
        replies[f"f{number}"] = answer(x=extent(value, value + 1.0))
    built = build(section(*items) + "waivers:\n" + "".join(waivers), *specs, clean=True)
    dossier = built.judge(replies)
    found = [only_entry(dossier, f"R-{n}").covered_by for n in range(300)]
    assert [by is not None for by in found] == covered


@pytest.mark.parametrize(("off", "state"), [(0.9, State.MET), (1.1, State.OPEN)])
def test_straight_lines_may_be_off_by_what_lies_between_an_end_and_its_limit(
    off: float, state: State
) -> None:
    """At least -3 W with half the value off: -2 W and no less; 0.9 W of -1 W is left, and not 1.1.

    With the half off on it the end lies 1.5 W inside of the limit, so no margin is spoken of.
    """
    built = build(
        section(requirement("R-1", "method: analysis, analysis: f, quantity: x, at_least: -3 W,"
                                   " basis: root sum square")),
        spec("f")._replace(model_uncertainty=(("x", "50 %"),)),
        clean=True,
    )  # fmt: skip
    lines = extent(-1.0, 0.0)._replace(off=off, unproved=f"linearisation error up to {off} W")
    entry = only_entry(built.judge({"f": answer(x=lines)}))
    assert (entry.state, entry.margin, entry.judged_low) == (state, 1.5, -1.5)
    assert "more than the margin" not in (entry.message or "")
