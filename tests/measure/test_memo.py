"""The memo of readings, and what is imported when."""

from __future__ import annotations

import json
import subprocess
import sys
from fractions import Fraction

import pytest

from closeout.measure import UnitError, Units
from closeout.model.amount import read_amount

# None of them is in the table of usual units, which needs no memo.
TEXTS = ["W h/min", "J d", "dB(W/m^2/8kHz)", "ppm/month", "Nm", "W/m^2 K", "deg/month", "rad h"]


def filled() -> dict[str, str]:
    memo: dict[str, str] = {}
    units = Units(memo)
    for text in TEXTS:
        try:
            units.scale(text)
        except UnitError:
            continue
    return memo


def outcome(units: Units, text: str) -> object:
    try:
        return units.scale(text)
    except UnitError as error:
        return error.message, error.cure


def test_memo_holds_every_reading_and_refusal():
    memo = filled()
    assert sorted(memo) == sorted(TEXTS)
    again, fresh = Units(dict(memo)), Units()
    assert [outcome(again, text) for text in TEXTS] == [outcome(fresh, text) for text in TEXTS]


def test_memo_is_text_of_json():
    entry = json.loads(filled()["W h/min"])
    assert (entry["factor"], entry["kind"]) == ("60", "linear")


@pytest.mark.parametrize(
    "broken",
    ["", "{", "[]", "null", "3", '{"factor": "1"}', '{"edition": "other", "factor": "7"}'],
)
def test_a_broken_or_foreign_entry_is_read_again(broken):
    memo = {"W h/min": broken}
    assert Units(memo).scale("W h/min").factor == 60
    assert memo["W h/min"] == filled()["W h/min"]


@pytest.mark.parametrize("kind", ["reading", "refusal"])
def test_an_entry_of_another_edition_is_read_again(kind):
    """It is well formed and says something else, as after a change of the tables."""
    entry = json.loads(filled()["W h/min"]) | {"edition": "of other rules", "factor": "61"}
    if kind == "refusal":
        entry = {"edition": "of other rules", "message": "no unit", "cure": "none"}
    assert Units({"W h/min": json.dumps(entry)}).scale("W h/min").factor == 60


@pytest.mark.parametrize("change", [("factor", "1/0"), ("factor", "x"), ("offset", None)])
def test_an_entry_with_a_wrong_number_is_read_again(change):
    entry = json.loads(filled()["W h/min"])
    entry[change[0]] = change[1]
    assert Units({"W h/min": json.dumps(entry)}).scale("W h/min").factor == 60


def test_a_text_of_bad_shape_is_not_kept():
    memo: dict[str, str] = {}
    for text in ("m" * 81, "m\n"):
        with pytest.raises(UnitError):
            Units(memo).scale(text)
    assert memo == {}


PROGRAM = """
import json, sys
from closeout.measure import Units, UnitError
from closeout.model.amount import read_amount
memo = json.loads(sys.stdin.read())
units = Units(memo)
for text in memo:
    try:
        units.scale(text)
    except UnitError:
        pass
assert units.convert(read_amount("1 W h/min"), "W") == 60
assert "pint" not in sys.modules, "a full memo needs no pint"
units.scale("N m s")
assert "pint" in sys.modules, "and an empty one does"
"""


def test_a_full_memo_makes_pint_unnecessary():
    subprocess.run(
        [sys.executable, "-c", PROGRAM], input=json.dumps(filled()), text=True, check=True
    )


def test_ten_thousand_conversions_are_exact():
    units = Units()
    amounts = [read_amount(f"{i}.25 mA h") for i in range(10_000)]
    total = sum(units.convert(amount, "A h") for amount in amounts)
    assert total == Fraction(sum(range(10_000)) * 4 + 10_000, 4000)
