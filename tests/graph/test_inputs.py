"""Inputs of analyses: who beats whom, and how far each kind of spread reaches.

Expected values are worked out by hand from the amounts in the text.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from closeout.graph.inputs import SIGMAS
from closeout.model.inputs_used import InputUsed
from tests.graph.projects import Built, build, requirement, requirements, spec

ANALYSIS = "method: analysis, analysis: f, quantity: x, at_least: 1 W"


def used(
    parameter: str,
    unit: str = "mA",
    more: str = "",
    settings: dict[str, str] | None = None,
    analysis: str = ANALYSIS,
) -> InputUsed:
    """Return the one input of f, whose parameter p is given in YAML."""
    built = taken(parameter, unit, more, settings, analysis)
    # That K meets degC is told, and is what some of these are about.
    wrong = [one for one in built.findings if one.rule != "kelvin-meets-celsius"]
    assert wrong == [], wrong
    (one,) = built.plan.requests["R-1", 0].inputs
    return one


def taken(
    parameter: str,
    unit: str = "mA",
    more: str = "",
    settings: dict[str, str] | None = None,
    analysis: str = ANALYSIS,
) -> Built:
    text = (
        requirements(requirement("R-1", analysis + more)) + f"parameters:\n  p: {{{parameter}}}\n"
    )
    return build(text, spec("f", {"p": unit}), settings=settings)


@pytest.mark.parametrize(
    ("parameter", "unit", "value", "low", "high"),
    [
        ("value: 95 uA", "mA", 0.095, None, None),
        ("value: 95 uA, tolerance: 10 uA", "uA", 95, 85, 105),
        ("value: 95 uA, tolerance: 10 uA", "mA", 0.095, 0.085, 0.105),
        # Parts of a composed tolerance add up (extreme value, ECSS-Q-HB-30-01A): 1 + 0.5 + 0.5 %.
        ("value: 10 mA, tolerance: {initial: 1 %, temperature: 0.5 %, ageing: 0.5 %}", "mA",
         10, 9.8, 10.2),
        ("value: 10 mA, tolerance: {initial: 1 %, ageing: 300 uA}", "mA", 10, 9.6, 10.4),
        ("value: -10 mA, tolerance: 2 %", "mA", -10, -10.2, -9.8),
        ("value: 3.35 mA, range: [3.20 mA, 3450 uA]", "mA", 3.35, 3.2, 3.45),
        ("value: 5 mA, sigma: 0.4 mA", "mA", 5, 3.8, 6.2),
        ("value: 5 mA, sigma: 4 %", "mA", 5, 4.4, 5.6),
        ("value: 90 %, tolerance: 1 %", "", 0.9, 0.89, 0.91),  # written in %: a percentage point
        ("value: 0.9, tolerance: 1 %", "", 0.9, 0.891, 0.909),  # a share of the value
        # Levels and temperatures take differences: 1 dB, 2 K; 20 degC is 293.15 K.
        ("value: 5.0 dBi, tolerance: 1 dB", "dBi", 5, 4, 6),
        ("value: 30 dBm, tolerance: 1 dB", "dBW", 0, -1, 1),
        ("value: 5.0 dBi, sigma: 0.4 dB", "dBi", 5, 3.8, 6.2),
        ("value: 20 degC, tolerance: 2 K", "degC", 20, 18, 22),
        ("value: 20 degC, tolerance: 2 K", "K", 293.15, 291.15, 295.15),
        ("value: 20 degC, range: [278.15 K, 35 degC]", "degC", 20, 5, 35),
    ],
)  # fmt: skip
def test_spreads_in_the_unit_of_the_argument(
    parameter: str, unit: str, value: float, low: float | None, high: float | None
):
    one = used(parameter, unit)
    assert (one.value, one.low, one.high) == (value, low, high)
    assert one.origin == "parameter"


def test_three_standard_deviations_are_the_worst_case():
    # ECSS-Q-HB-30-01A works with three; common practice beside it.
    assert SIGMAS == 3


@pytest.mark.parametrize(
    ("parameter", "setting", "value", "low", "high"),
    [
        ("value: 10 mA, tolerance: 1 mA", "12 mA", 12, 11, 13),
        ("value: 10 mA, tolerance: 10 %", "20 mA", 20, 18, 22),  # a share of the set value
        ("value: 10 mA, range: [9 mA, 12 mA]", "20 mA", 20, 19, 22),  # its distances stay
        ("value: 10 mA, range: [9 mA, 12 mA]", "20000 uA", 20, 19, 22),
        ("value: 10 mA, sigma: 1 mA", "20 mA", 20, 17, 23),
        ("value: 10 mA", "0.02 A", 20, None, None),
    ],
)
def test_a_setting_moves_the_spread(
    parameter: str, setting: str, value: float, low: float | None, high: float | None
):
    one = used(parameter, settings={"p": setting})
    assert (one.value, one.low, one.high) == (value, low, high)
    assert (one.origin, one.text) == ("set", setting)


def test_a_setting_of_a_temperature_moves_a_range_in_kelvin():
    one = used("value: 20 degC, range: [15 degC, 30 degC]", "K", settings={"p": "0 degC"})
    assert (one.value, one.low, one.high) == (273.15, 268.15, 283.15)


@pytest.mark.parametrize(
    ("parameter", "unit", "setting", "value", "low", "high"),
    [
        # The declared spread is replaced, and one comes to be where none was declared.
        ("value: 40 N, tolerance: 5 N", "N", "40 N +/- 2 N", 40, 38, 42),
        ("value: 40 N", "N", "50 N +/- 2 N", 50, 48, 52),
        ("value: 40 N", "kN", "50 N +/- 2000 mN", 0.05, 0.048, 0.052),
        ("value: 40 N, sigma: 1 N", "N", "40 N ± 10 %", 40, 36, 44),
        ("value: 40 N, tolerance: {initial: 1 N, ageing: 1 %}", "N", "0.05 kN +/- 1 N", 50, 49, 51),
        ("value: 40 N, range: [39 N, 44 N]", "N", "41 N +/- 0 N", 41, 41, 41),
        # Of two ends the value stays where it is, or goes to the nearer end.
        ("value: 40 N, tolerance: 5 N", "N", "38 N to 42 N", 40, 38, 42),
        ("value: 40 N, range: [39 N, 44 N]", "N", "0.05 kN to 60 N", 50, 50, 60),
        ("value: 40 N", "N", "-3 N to 4 N", 4, -3, 4),
        # Exactly.
        ("value: 40 N, tolerance: 5 N", "N", "41 N exactly", 41, None, None),
        ("value: 40 N, range: [39 N, 44 N]", "N", "99 N exactly", 99, None, None),
        ("value: 40 N, sigma: 1 N", "N", "0.04kN exactly", 40, None, None),
        # Levels, temperatures and shares.
        ("value: 5.0 dBi, sigma: 0.4 dB", "dBi", "3.8 dBi exactly", 3.8, None, None),
        ("value: 30 dBm, tolerance: 1 dB", "dBW", "33 dBm +/- 2 dB", 3, 1, 5),
        ("value: 20 degC, tolerance: 2 K", "K", "0 degC +/- 5 K", 273.15, 268.15, 278.15),
        ("value: 20 degC, tolerance: 2 K", "K", "0 degC to 303.15 K", 293.15, 273.15, 303.15),
        ("value: 90 %, tolerance: 1 %", "", "80 % +/- 2 %", 0.8, 0.78, 0.82),
        ("value: 90 %, tolerance: 1 %", "", "0.8 +/- 5 %", 0.8, 0.76, 0.84),
        ("value: 90 %, tolerance: 1 %", "", "0.91 exactly", 0.91, None, None),
    ],
)  # fmt: skip
def test_a_setting_with_a_spread_replaces_the_declared_one(
    parameter: str, unit: str, setting: str, value: float, low: float | None, high: float | None
):
    one = used(parameter, unit, settings={"p": setting})
    assert (one.value, one.low, one.high) == (value, low, high)
    assert one.origin == "set"


def test_a_setting_tells_its_spread_as_it_was_written():
    tolerance = "value: 40 N, tolerance: 5 N"
    told = [used(tolerance, "N", settings={"p": text}) for text in (
        "41 N", "41 N +/- 2 N", "38 N to 42 N", "41 N exactly",
    )]  # fmt: skip
    assert [(one.text, one.spread) for one in told] == [
        ("41 N", "+/- 5 N"), ("41 N", "+/- 2 N"), ("40 N", "38 N to 42 N"), ("41 N exactly", ""),
    ]  # fmt: skip


@pytest.mark.parametrize("text", ["40 N", "40 N +/- 2 N", "38 N to 42 N", "40 N exactly"])
def test_a_setting_has_no_contingency(text: str):
    policy = """\
        project:
          name: Lantern
          reviews: [CDR]
          policy:
            contingency: [{parameters: ["*"], by_maturity: {estimated: 20 %}}]
        """
    items = requirements(requirement("R-1", ANALYSIS))
    parameter = "parameters:\n  p: {value: 40 N, tolerance: 5 N, maturity: estimated}\n"
    built = build(items + parameter, spec("f", {"p": "N"}), charter=policy, settings={"p": text})
    (one,) = built.plan.requests["R-1", 0].inputs
    assert one.value == 40
    assert one.contingency == "none added: value set by --set"


def test_a_range_in_place_of_a_given_condition_is_no_chance():
    chance = f"{ANALYSIS}, basis: {{probability: 0.9, confidence: 0.9}}"
    given = used(CONDITION, "h", ", given: {p: [1 d, 2 d]}", analysis=chance)
    over = used(CONDITION, "h", ", given: {p: [1 d, 2 d]}", {"p": "20 h to 30 h"}, analysis=chance)
    declared = used(CONDITION, "h", settings={"p": "20 h to 30 h"}, analysis=chance)
    assert (given.side, over.side, declared.side) == (True, True, False)
    nominal = used(CONDITION, "h", ", basis: nominal, given: {p: 1 d}", {"p": "20 h to 30 h"})
    assert (nominal.low, nominal.high) == (20, 30)


CONDITION = "value: 24 h, tolerance: 1 h, condition: declared"


def test_given_beats_the_parameter_and_its_spread():
    one = used(CONDITION, "h", ", given: {p: 2 d}")
    assert (one.value, one.low, one.high, one.origin) == (48, None, None, "given")
    assert one.text == "2 d"


@pytest.mark.parametrize(
    ("pair", "value", "low", "high"),
    [
        ("[20 h, 30 h]", 24, 20, 30),
        ("[1 d, 2 d]", 24, 24, 48),
        ("[30 h, 2 d]", 30, 30, 48),  # the value is the nearest point of the pair
        ("[1 h, 2 h]", 2, 1, 2),
        ("[24 h, 1 d]", 24, 24, 24),
    ],
)
def test_a_pair_is_a_side_of_the_box(pair: str, value: float, low: float, high: float):
    one = used(CONDITION, "h", f", given: {{p: {pair}}}")
    assert (one.value, one.low, one.high, one.origin) == (value, low, high, "given")
    assert one.spread == ""


@pytest.mark.parametrize("given", ["2 d", "[1 d, 2 d]"])
def test_set_beats_given_and_says_so(given: str):
    one = used(CONDITION, "h", f", given: {{p: {given}}}", {"p": "45 h"})
    assert (one.value, one.low, one.high) == (45, 44, 46)
    assert (one.origin, one.text) == ("set", "45 h")


def test_a_nominal_basis_has_no_box_but_for_a_pair():
    nominal = ", basis: nominal"
    one = used(CONDITION, "h", nominal)
    assert (one.value, one.low, one.high) == (24, None, None)
    one = used(CONDITION, "h", f"{nominal}, given: {{p: [1 d, 2 d]}}")
    assert (one.low, one.high) == (24, 48)
    one = used(CONDITION, "h", f"{nominal}, given: {{p: [1 d, 2 d]}}", {"p": "45 h"})
    assert (one.value, one.low, one.high) == (45, None, None)


def test_a_nominal_basis_covers_the_pair_only():
    text = (
        requirements(requirement("R-1", ANALYSIS + ", basis: nominal, given: {p: [1 d, 2 d]}"))
        + "parameters:\n  p: {value: 24 h, condition: true}\n  q: {value: 1 W, tolerance: 0.5 W}\n"
    )
    built = build(text, spec("f", {"p": "h", "q": "W"}), clean=True)
    assert built.question("R-1").box == (("p", 24.0, 48.0),)
    assert built.question("R-1").inputs == (("p", 24.0), ("q", 1.0))


def test_verifications_under_the_same_conditions_share_a_question():
    text = (
        requirements(
            requirement("R-1", ANALYSIS, ANALYSIS + ", given: {p: 24 h}"),
            requirement("R-2", ANALYSIS.replace("1 W", "2 W"), ANALYSIS + ", basis: nominal"),
        )
        + "parameters:\n  p: {value: 24 h, tolerance: 1 h, condition: declared}\n"
    )
    built = build(text, spec("f", {"p": "h"}), clean=True)
    assert len(built.plan.questions) == 2
    assert built.question("R-1", 0) == built.question("R-2", 0)
    # At the same point without a box a nominal and a worst case ask the same.
    assert built.question("R-1", 1) == built.question("R-2", 1)


def test_inputs_are_rounded_once_from_the_exact_amount():
    one = used("value: 0.1 h, tolerance: 1 s", "d")
    hour = Fraction(1, 24)
    assert one.value == float(hour / 10)
    assert one.low == float(hour / 10 - Fraction(1, 86400))


def test_a_wrong_given_blames_the_condition_and_not_the_parameter():
    built = taken(CONDITION, "h", ", given: {p: 3 V}")
    (finding,) = built.findings
    assert finding.rule == "unit"
    assert finding.where.steps[-2:] == ("given", "p")
    assert "V" in (built.plan.requests["R-1", 0].fault or "")


def test_a_wrong_tolerance_is_told_once():
    built = taken("value: 20 degC, tolerance: 2 degC", "degC")
    (finding,) = built.findings
    assert finding.where.steps[-1] == "tolerance"
    assert built.plan.requests["R-1", 0].fault


def test_the_second_of_two_requirements_with_one_name_asks_nothing():
    text = requirements(
        requirement("R-1", ANALYSIS),
        requirement("R-1", ANALYSIS.replace("analysis: f", "analysis: g")),
    )
    built = build(text, spec("f"), spec("g"))
    assert built.question("R-1").analysis == "f"
    assert built.rules == ["duplicate-identifier"]
