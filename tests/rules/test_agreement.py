"""The numbers of a statement beside those of its criterion. Statements are invented.

Which amounts are equal is the SI's: 1 W h = 3600 J, 0 degC = 273.15 K, 1 bar = 100 kPa (SI
Brochure, 9th edition); a week has seven days.
"""

from __future__ import annotations

import pytest

from closeout.measure import Units
from closeout.rules.wording.sentence import masked
from closeout.rules.wording.stated import Direction, numbers
from tests.effort import processor_time
from tests.rules.corpus import Case, findings_of

UNITS = Units()


def found(text: str, criterion: dict[str, object]) -> list[tuple[str, str, str]]:
    """Return rule, the text that each finding points at, and the message."""
    (findings,) = findings_of([Case(text, frozenset(), criterion, 1)], UNITS)
    return [(f.rule, text[f.offset or 0 :], f.message) for f in findings]


def limit(key: str, amount: str, **more: object) -> dict[str, object]:
    return {"quantity": "energy", key: amount, **more}


SAME = [
    ("hold at least 52 W h of energy", "at_least", "187.2 kJ"),
    ("hold at least 52 watt hours of energy", "at_least", "52 W h"),
    ("hold at least fifty-two watt-hours", "at_least", "52 W h"),
    ("hold not less than 52 W h", "at_least", "52 W h"),
    ("hold a minimum energy of 52 W h", "at_least", "52 W h"),
    ("hold 52 W h or more", "at_least", "52 W h"),
    ("stay above 0 degC", "at_least", "273.15 K"),
    ("stay at or below 45 degrees Celsius", "at_most", "45 degC"),
    ("lose at most 5 percent", "at_most", "0.05"),
    ("lose at most 5 per cent", "at_most", "5 %"),
    ("last at least four weeks", "at_least", "28 d"),
    ("last at least twenty-eight days", "at_least", "28 d"),
    ("answer within two hundred milliseconds", "at_most", "0.2 s"),
    ("answer within 1.5 hours", "at_most", "90 min"),
    ("turn at up to 6 degrees per second", "at_most", "6 deg/s"),
    ("store at least 16 gigabytes", "at_least", "16 GB"),
    ("store at least 1 000 000 byte", "at_least", "1 MB"),
    ("store at least 1,000,000 byte", "at_least", "1 MB"),
    ("draw at most 5 x 10^-3 A", "at_most", "5 mA"),
    ("draw no more than 5e-3 A", "at_most", "5 mA"),
    ("keep a level of at most -125 dBW/m2", "at_most", "-125 dB(W/m^2)"),
    ("keep its pressure between 0.95 and 1.05 bar", "at_most", "105 kPa"),
    ("keep its pressure from 95 to 105 kPa", "at_least", "95 kPa"),
    ("keep at least two barriers", "at_least", "2 count"),
    ("keep a margin of at least 0 dB", "at_least", "0 dB"),
    ("draw 60 W from a 12-V supply", "equal_to", "12 V"),
    # Nothing here could be the limit.
    ("hold the energy of one mission", "at_least", "52 W h"),
    ("hold the energy of issue 2, chapter 5", "at_least", "3 count"),
    ("film the release, at a discharge of up to 60 W", "at_most", "55 W"),
    ("film the release, at a supply from 11 V to 17 V", "at_most", "50 mV"),
    # A condition that a thing must bear is no limit of what it does.
    ("withstand a load of up to 20 m/s2", "at_least", "20 m/s2"),
    ("stay asleep at each gust that lasts up to 1.8 s", "at_least", "1.8 s"),
    ("open where its voltage is below 2.5 V", "at_least", "2.5 V"),
]


@pytest.mark.parametrize(("said", "key", "amount"), SAME)
def test_the_same_number_is_no_finding(said: str, key: str, amount: str) -> None:
    more = {"within": "1 V"} if key == "equal_to" else {}
    assert found(f"The unit shall {said}.", limit(key, amount, **more)) == []


OTHER = [
    ("hold at least 50 W h of energy", "at_least", "52 W h", "50 W h"),
    ("hold fifty watt hours of energy", "at_least", "52 W h", "fifty watt hours"),
    ("hold 50 W h, at a discharge of 60 W", "at_least", "52 W h", "50 W h"),
    ("hold at least 52 kJ", "at_least", "52 W h", "52 kJ"),
    ("stay above 5 degC", "at_least", "0 degC", None),
    ("stay above 0 degC", "at_least", "5 degC", "0 degC"),
    ("lose at most 6 percent", "at_most", "5 %", "6 percent"),
    ("last at least four weeks", "at_least", "30 d", "four weeks"),
    ("answer within 250 ms", "at_most", "0.2 s", "250 ms"),
    ("keep its pressure from 95 to 110 kPa", "at_most", "105 kPa", "110 kPa"),
    ("keep at least two barriers", "at_least", "3 count", "two"),
    ("keep a probability of at most 0.001", "at_most", "0.0005", "0.001"),
]


@pytest.mark.parametrize(("said", "key", "amount", "other"), OTHER)
def test_another_number_is_a_finding_that_names_both(
    said: str, key: str, amount: str, other: str | None
) -> None:
    findings = found(f"The unit shall {said}.", limit(key, amount))
    if other is None:  # a limit of zero may be one of a margin: only a plain limit contradicts it
        assert findings == []
        return
    ((rule, at, message),) = findings
    assert rule == "limit-differs"
    assert at.startswith(other)
    assert f"'{other}'" in message
    assert f"{key}: {amount}" in message


DIRECTIONS = [
    ("hold at most 52 W h", "at_least", "at most"),
    ("hold up to 52 W h", "at_least", "up to"),
    ("hold not more than 52 W h", "at_least", "not more than"),
    ("hold 52 W h or less", "at_least", "or less"),
    ("hold a maximum of 52 W h", "at_least", "maximum"),
    ("take at least 52 W h", "at_most", "at least"),
    ("take not less than 52 W h", "at_most", "not less than"),
    ("not exceed 52 W h", "at_least", "not exceed"),
]


@pytest.mark.parametrize(("said", "key", "word"), DIRECTIONS)
def test_a_limit_on_the_other_side(said: str, key: str, word: str) -> None:
    ((rule, at, message),) = found(f"The unit shall {said}.", limit(key, "52 W h"))
    assert rule == "limit-direction"
    assert at.startswith(word)
    assert "52 W h" in message
    right = "at_most" if key == "at_least" else "at_least"
    assert found(f"The unit shall {said}.", limit(right, "52 W h")) == []


@pytest.mark.parametrize(
    ("said", "given", "other"),
    [
        ("28 d after the charge", {"hold_duration": "28 d"}, None),
        ("thirty days after the charge", {"hold_duration": "28 d"}, "thirty days"),
        ("30 days after the charge", {"hold_duration": "28 d"}, "30 days"),
        ("after a hold of up to 672 h", {"hold_duration": "28 d"}, None),
        ("10 ms after the reset", {"hold_duration": "28 d"}, None),
        ("from 5 degC to 20 degC", {"cell_temperature": ["5 degC", "20 degC"]}, None),
        ("from 278.15 K to 293.15 K", {"cell_temperature": ["5 degC", "20 degC"]}, None),
        ("from 5 to 35 degC", {"cell_temperature": ["5 degC", "20 degC"]}, "35 degC"),
        ("between 0 and 20 degC", {"cell_temperature": ["5 degC", "20 degC"]}, "0 and"),
        ("at 10 degC", {"cell_temperature": ["5 degC", "20 degC"]}, None),
        ("at 40 degC", {"cell_temperature": ["5 degC", "20 degC"]}, "40 degC"),
        ("25 K below to 25 K above the mean", {"offset": ["-25 K", "25 K"]}, None),
        ("within +/- 25 K of the mean", {"offset": ["-25 K", "25 K"]}, None),
        ("30 K below to 30 K above the mean", {"offset": ["-25 K", "25 K"]}, "30 K"),
        ("at a discharge of 60 W", {"hold_duration": "28 d"}, None),
    ],
)
def test_conditions(said: str, given: dict[str, object], other: str | None) -> None:
    findings = found(
        f"The unit shall hold at least 52 W h, {said}.", limit("at_least", "52 W h", given=given)
    )
    if other is None:
        assert findings == []
        return
    ((rule, at, message),) = findings
    assert rule == "condition-differs"
    assert at.startswith(other)
    assert next(iter(given)) in message


def test_a_number_of_another_condition_is_left_alone() -> None:
    given = {"low": "200 km", "high": "500 km"}
    text = "The unit shall hold at least 52 W h from 200 km to 500 km."
    assert found(text, limit("at_least", "52 W h", given=given)) == []


def test_a_limit_without_unit_beside_a_margin() -> None:
    text = "The unit shall have a mass of at most 3.2 kg."
    assert found(text, {"quantity": "mass_margin", "at_least": "0 kg"}) == []
    assert found(text, {"quantity": "mass_margin", "at_least": "0.2 kg"}) == []


@pytest.mark.parametrize(
    ("said", "rule"),
    [
        ("with a period of 0.5 s +/- 0.025 s", None),
        ("with a period of 500 ms ± 5 %", None),
        ("with a period of 0.5 s +/- 0.05 s", "limit-differs"),
        ("with a period of 0.6 s", "limit-differs"),
    ],
)
def test_a_value_with_its_tolerance(said: str, rule: str | None) -> None:
    criterion = {"quantity": "period", "equal_to": "0.5 s", "within": "0.025 s"}
    findings = found(f"The unit shall sample {said}.", criterion)
    assert [name for name, _, _ in findings] == ([rule] if rule else [])


@pytest.mark.parametrize(
    ("said", "other"),
    [
        ("a probability of at least 0.99", None),
        ("a probability of 99 percent at 90 % confidence", None),
        ("a probability of 0.95", "0.95"),
        ("a 99 % probability at 95 % confidence", "95 %"),
    ],
)
def test_probability_and_confidence(said: str, other: str | None) -> None:
    basis = {"probability": 0.99, "confidence": 0.9}
    findings = found(f"The unit shall last with {said}.", limit("at_least", "52 W h", basis=basis))
    assert [(rule, at[: len(other or "")]) for rule, at, _ in findings] == (
        [("probability-differs", other)] if other else []
    )


def test_what_is_quoted_gives_no_number() -> None:
    text = "The unit shall show 'at least 50 W h' while charged."
    assert found(text, limit("at_least", "52 W h")) == []


def test_reading_of_numbers() -> None:
    text = "The unit shall hold at least 2 300.5 W h, Table 21-4, 0,5 V, 38.3.5 and −5 to 20 degC."
    read = [(one.text, float(one.number), one.unit, one.end_of_range) for one in numbers(text)]
    assert read == [
        ("2 300.5 W h", 2300.5, "W h", 0),
        ("21", 21.0, "", 0),
        ("4", 4.0, "", 0),
        ("0,5 V", 0.5, "V", 0),
        ("−5 degC", -5.0, "degC", 1),
        ("20 degC", 20.0, "degC", 2),
    ]
    assert numbers(masked(text))[0].direction is Direction.LOWER


@pytest.mark.parametrize("part", ["5 to 6 W ", "not 5 W ", "1 000 ", "at least one of "])
def test_a_long_statement_takes_no_long_time(part: str) -> None:
    text = "The unit shall hold " + part * (50_000 // len(part))
    with processor_time(60):  # about 1 s; once minutes, for four times the length
        found(text, limit("at_least", "7 W", given={"hold": ["1 W", "9 W"]}))
