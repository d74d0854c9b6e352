"""What a record says of uncertainty and of its conditions as run, and what a verification allows.

Coverage factor: JCGM 100:2008, 6.2 and 7.2. Everything in the projects is invented.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from closeout.load import load
from closeout.model.amount import Amount, Measured
from closeout.model.records import Leeway
from tests.load.memory import Memory, load_text, places


def record(keys: str) -> list[tuple[str, int, int]]:
    return places(load_text(f"records: [{{id: A, method: test, {keys}}}]\n"))


@pytest.mark.parametrize("k", ["1", "1.96", "2", "3"])
def test_a_coverage_factor_of_one_or_more_is_read(k: str) -> None:
    assert record(f"measured: {{q: 57.1 W h +/- 0.4 W h (k = {k})}}") == []


@pytest.mark.parametrize("k", ["0.001", "0.999", "0", "-2"])
@pytest.mark.parametrize("key", ["measured", "conditions"])
def test_a_coverage_factor_below_one_is_refused(k: str, key: str) -> None:
    assert [f[0] for f in record(f"{key}: {{q: 57.1 W +/- 0.4 W (k = {k})}}")] == ["bad-amount"]


@pytest.mark.parametrize(
    ("said", "rule"),
    [
        ("12 +/- 0 (k = 2)", "bad-amount"),
        ("12 W +/- 0.0 W (k = 2)", "bad-amount"),
        ("{value: 12}", "missing-key"),
        ("{exact: counted}", "missing-key"),
        ("{value: 12, exact: ' '}", "empty-text"),
        ("{value: 12, exact: counted, k: 2}", "unknown-key"),
        ("{value: 12 +/- 1 (k = 2), exact: counted}", "bad-amount"),
        ("[12, 13]", "wrong-type"),
    ],
)
def test_no_uncertainty_at_all_needs_its_reason(said: str, rule: str) -> None:
    assert [f[0] for f in record(f"measured: {{q: {said}}}")] == [rule]


def test_what_is_exact_says_why() -> None:
    loaded = load_text(
        "records: [{id: A, method: test, measured: {q: {value: 12, exact: A count.}}}]\n"
    )
    assert loaded.project is not None
    ((_, measured),) = loaded.project.records[0].measured
    zero = Amount("0", Fraction(0), "")
    assert measured == Measured("12", Amount("12", Fraction(12), ""), zero, None, "A count.")


@pytest.mark.parametrize(
    ("said", "rules"),
    [
        ("51.8 W", []),
        ("51.8 W +/- 0.3 W (k = 2)", []),
        ("[51.5 W, 52.1 W]", []),
        ("51.8 W +/- 0.3 W", ["bad-amount"]),
        ("51.8 W +/- 0 W (k = 2)", ["bad-amount"]),
        ("[52 W]", ["wrong-type"]),
        ("[52 W, much]", ["bad-amount"]),
        ("{value: 52 W}", ["wrong-type"]),
    ],
)
def test_conditions_as_run(said: str, rules: list[str]) -> None:
    found = record(f"conditions: {{p: {said}}}")
    assert [rule for rule, *_ in found] == rules


def verification(keys: str) -> tuple[list[str], Leeway | None]:
    text = f"requirements: [{{id: A, title: t, statement: s, verification: [{{{keys}}}]}}]\n"
    loaded = load_text(text)
    assert loaded.project is not None
    one = [v.leeway for _, _, v in loaded.project.verifications()]
    return [rule for rule, *_ in places(loaded)], one[0] if one else None


@pytest.mark.parametrize(
    ("keys", "rules"),
    [
        ("within: {p: 1 W}", []),
        ("within: {p: 2 %}, harsher: {p: higher}", []),
        ("within: {p: -1 W}", ["bad-spread"]),
        ("within: {}", ["empty-mapping"]),
        ("harsher: {p: up}", ["not-allowed"]),
        ("tested_at: {t: 5 degC, reason: The cold end is the worse one.}", []),
        ("tested_at: {t: 5 degC}", ["missing-key"]),
        ("tested_at: {reason: Cold.}", ["missing-key"]),
        ("tested_at: {t: cold, reason: Cold.}", ["bad-amount"]),
        ("within: 1 W", ["bad-limits", "bad-limits"]),
    ],
)
def test_how_a_test_may_differ_from_its_conditions(keys: str, rules: list[str]) -> None:
    assert verification(f"method: test, {keys}")[0] == rules


def test_a_quantity_and_its_conditions_may_both_have_a_distance() -> None:
    rules, leeway = verification(
        "method: test, quantity: q, equal_to: 3 W, within: {q: 10 %, p: 1 W}"
    )
    assert rules == []
    assert leeway == Leeway(within=(("p", Amount("1 W", Fraction(1), "W")),))
    assert verification("method: test, quantity: q, equal_to: 3 W, within: {p: 1 W}")[0] == [
        "bad-limits"
    ]


@pytest.mark.parametrize(
    ("policy", "rules"),
    [
        ("coverage_factor: 2", []),
        ("coverage_factor: 1", []),
        ("coverage_factor: 0.5", ["bad-amount"]),
        ("coverage_factor: two", ["wrong-type"]),
        ("test_tolerances: {discharge_power: 1 W, '*_temperature': 2 K}", []),
        ("test_tolerances: {discharge_power: much}", ["bad-amount"]),
    ],
)
def test_what_a_project_holds_its_tests_to(policy: str, rules: list[str]) -> None:
    files = Memory({"requirements/project.yaml": f"project: {{name: A, policy: {{{policy}}}}}\n"})
    found = places(load(files))
    assert [rule for rule, *_ in found] == rules
