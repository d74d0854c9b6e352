"""Values of one record that do not go together."""

from __future__ import annotations

import pytest

from tests.load.memory import load_text, places


def verification(keys: str) -> list[tuple[str, int]]:
    text = f"requirements:\n- id: A\n  title: t\n  statement: s\n  verification: [{{{keys}}}]\n"
    found = places(load_text(text))
    assert all(line == 5 for _, line, _ in found)
    start = len("  verification: [{") + 1
    return [(rule, column - start) for rule, _, column in found]


@pytest.mark.parametrize(
    ("keys", "rules"),
    [
        ("method: analysis", []),  # planned
        ("method: analysis, quantity: q, at_least: 3 W", []),
        ("method: analysis, quantity: q, at_least: 3 W, at_most: 3 W", []),
        # Whether a value is between them is looked at where units are known.
        ("method: analysis, quantity: q, at_least: 3 W, at_most: 2 W", []),
        ("method: analysis, quantity: q, equal_to: 3 W, within: 0 W", []),
        ("method: analysis, quantity: q", ["q"]),
        ("method: test, quantity: q", ["q"]),
        ("method: analysis, at_least: 3 W", ["3 W"]),
        ("method: analysis, quantity: q, equal_to: 3 W", ["3 W"]),
        ("method: analysis, quantity: q, within: 3 W", ["3 W"]),
        ("method: analysis, quantity: q, equal_to: 3 W, within: -1 W", ["-1 W"]),
        ("method: analysis, quantity: q, equal_to: 3 W, within: 1 W, at_most: 9 W", ["9 W"]),
    ],
)  # fmt: skip
def test_limits(keys: str, rules: list[str]) -> None:
    expected = [("bad-limits", keys.index(f": {text}") + 2) for text in rules]
    assert verification(keys) == expected


def test_given_side_from_high_to_low() -> None:
    keys = "method: analysis, given: {a: [3 W, 2 W], b: [2 W, 3 W], c: [3 W, 2 kW]}"
    assert verification(keys) == [("bad-spread", keys.index("3 W"))]


@pytest.mark.parametrize(
    "share", ["0", "1", "-0.1", "1.5", "yes", "0x1", ".nan", "'0.5'", "1e-999"]
)
def test_probability_must_lie_between_0_and_1(share: str) -> None:
    keys = f"method: analysis, basis: {{probability: {share}, confidence: 0.9}}"
    ((rule, column),) = verification(keys)
    assert rule in ("not-allowed", "wrong-type")
    assert column == keys.index(share)


@pytest.mark.parametrize(
    "limit",
    ["2*26 W h", "__import__('os').system('true')", "1e999999999 W", "9" * 61, "W h", "52 W h; 3",
     "1_000 W", "52 W h +/- 1 W h", "5 = 5", "{}", "nan W", "inf", "- 3 W"],
)  # fmt: skip
def test_expressions_are_no_amounts(limit: str) -> None:
    keys = f'method: analysis, quantity: q, at_least: "{limit}"'
    assert verification(keys) == [("bad-amount", keys.index('"'))]


@pytest.mark.parametrize(
    "limit",
    ["52 W h", "-3.5dB", "0", "1 1/s", "2 %/month", "5 degC", "0.16 g0^2/Hz", "3 dB(W/m^2)",
     "7 m s^-1", "10 µm", "3 Ω", "2 N*m", "4 °", "4.0e-3 kg m²", "3 1/month"],
)  # fmt: skip
def test_amounts(limit: str) -> None:
    assert verification(f'method: analysis, quantity: q, at_least: "{limit}"') == []


@pytest.mark.parametrize(
    ("keys", "wrong"),
    [
        ("value: 3 W, tolerance: 0 W", None),
        ("value: 3 W, tolerance: -1 W", "-1 W"),
        ("value: 3 W, tolerance: {x: 1 %, y: -1 %}", "-1 %"),
        ("value: 3 W, sigma: 0 W", "0 W"),
        ("value: 3 W, sigma: -1 W", "-1 W"),
        ("value: 3 W, range: [4 W, 2 W]", "4 W"),
        ("value: 3 W, range: [4 W, 2 kW]", None),
        ("value: 3 W, range: [3 W, 3 W]", None),
        ("value: 3 W, tolerance: 1 W, sigma: 7 W", "7 W"),
        ("value: 3 W, range: [2 W, 4 W], sigma: 7 W", "7 W"),
    ],
)
def test_spread(keys: str, wrong: str | None) -> None:
    found = places(load_text(f"parameters:\n  a: {{{keys}}}\n"))
    expected = [] if wrong is None else [("bad-spread", 2, 7 + keys.index(wrong))]
    assert found == expected


@pytest.mark.parametrize(
    ("text", "good"),
    [
        ("57.1 W h +/- 0.4 W h (k = 2)", True),
        ("57.1 W h", True),
        ("57.1 W h ± 0.4 W h (k=1.96)", True),
        ("57.1 W h +/- 0.4 W h", False),
        ("57.1 W h +/- -0.4 W h (k = 2)", False),
        ("57.1 W h +/- 0.4 W h (k = 0)", False),
        ("57.1 W h +/- 2*2 W h (k = 2)", False),
        ("about 57", False),
    ],
)
def test_measured(text: str, good: bool) -> None:
    keys = f"records: [{{id: A, method: test, measured: {{q: {text}}}}}]\n"
    assert places(load_text(keys)) == ([] if good else [("bad-amount", 1, keys.index(text) + 1)])


def test_accepted_shortfall_has_a_limit() -> None:
    text = "waivers: [{id: A, kind: waiver, requirement: R, accepts: {quantity: q}}]\n"
    assert places(load_text(text)) == [("bad-limits", 1, text.index("q}") + 1)]


def test_what_does_not_go_together_is_told_beside_a_fault_of_form() -> None:
    loaded = load_text(
        """\
        requirements:
        - id: A
          titel: t
          verification:
            - {method: test, quantity: q}
            - {method: tset}
        parameters:
          a: {tolerance: -1, sorce: x}
        waivers:
        - {id: W, accepts: {at_least: 1}}
        """
    )
    assert {(rule, line) for rule, line, _ in places(loaded)} == {
        ("missing-key", 2),
        ("unknown-key", 3),
        ("bad-limits", 5),
        ("not-allowed", 6),
        ("missing-key", 8),
        ("bad-spread", 8),
        ("unknown-key", 8),
        ("missing-key", 10),
        ("bad-limits", 10),
    }
