"""Units of intermediate values: declared by functions, or following from units alone.

The expected units are those of the SI Brochure (9th edition, 2019, 2.3.4, products and quotients of
units) and of ISO 80000-1 (quantity calculus), both from memory; levels by the practice of link
budgets (common practice, no source).
"""

from __future__ import annotations

from typing import Any, NamedTuple

import pytest

from closeout import math
from closeout.arithmetic.recorded.watched import record
from closeout.arithmetic.study.derivation import derivation
from closeout.arithmetic.study.helpers import helpers
from closeout.arithmetic.symbol.symbolic import Symbolic, symbolic
from closeout.measure import Units
from closeout.units import A, V, W, W_h, dB, dBi, dBW, degC, hour, m_s, ratio, s


def _all(
    power: W, time: hour, seconds: s, speed: m_s, share: ratio, level: dBW, other: dBW, loss: dB,
    gain: dBi, cold: degC, warm: degC, voltage: V, current: A,
) -> Any:  # fmt: skip
    return {
        "W h": power * time, "1/h": share / time, "m^2/s^2": speed**2, "W": maximum(power),
        "dB": level - other, "dBW": level - loss + gain, "K": warm - cold, "1": power / power,
        "V A h": voltage * current * time, "m": speed * seconds, "m/s": math.sqrt(speed * speed),
        "degC": cold + (warm - cold), "W/(V A)": power / (voltage * current), "s^-": 1.0 / seconds,
        "rad": math.atan2(power, power), "bare": 3600.0 * time, "minutes": time * 60.0,
        "levels": level + other, "points": cold + warm, "mixed": power + time,
        "kelvin": cold + 273.15,
        "milli": level + 30.0, "part": 1.0 - share, "root": math.sqrt(power),
    }  # fmt: skip


def maximum(power: Any) -> Any:
    return math.maximum(power, 0.0)


def form_of(function: Any, inputs: dict[str, float]) -> Symbolic:
    def evaluate(point: Any) -> Any:
        return {(name, None): value for name, value in function(**point).items()}

    return symbolic(evaluate, inputs)


@pytest.fixture(scope="module")
def units() -> dict[str, str]:
    names = _all.__code__.co_varnames[: _all.__code__.co_argcount]
    inputs = {name: 2.0 + 0.5 * i for i, name in enumerate(names)}
    return {line.quantity: line.unit for line in derivation(form_of(_all, inputs), {})}


@pytest.mark.parametrize(
    "name",
    ["W h", "1/h", "m^2/s^2", "W", "dB", "dBW", "K", "1", "V A h", "m", "m/s", "degC", "W/(V A)",
     "rad"],
)  # fmt: skip
def test_units_that_follow(units: dict[str, str], name: str) -> None:
    """Each is read by the project's own reader of units as what it is called here."""
    read = Units()
    assert read.scale(units[name]) == read.scale(name)


def test_one_over_a_unit_and_a_share_of_one(units: dict[str, str]) -> None:
    assert units["s^-"] == "1/s"
    assert units["part"] == "1"


@pytest.mark.parametrize(
    "name", ["bare", "minutes", "levels", "points", "mixed", "kelvin", "milli", "root"]
)
def test_what_a_bare_number_may_change_has_none(units: dict[str, str], name: str) -> None:
    assert units[name] == ""


class Cell(NamedTuple):
    """A cell."""

    voltage: V
    current: A


def rested(cell: Cell, time: hour) -> Cell:
    """Return the cell after some time.

    Invented for a test.
    """
    return cell._replace(voltage=cell.voltage - 0.01 * time)


def energy_of(cell: Cell, time: hour) -> W_h:
    return cell.voltage * cell.current * time


def taken_as_power(energy: W) -> float:
    return 2.0 * energy


def _with_helpers(start: V, current: A, time: hour) -> dict[str, Any]:
    cell = rested(Cell(start, current), time)
    energy = energy_of(cell, time)
    return {"whole": energy + energy, "twice": taken_as_power(energy)}


def _plain(start: V, current: A, time: hour) -> dict[str, Any]:
    energy = energy_of(Cell(start, current), time)
    return {"whole": energy + energy}


def test_functions_declare_what_they_take_and_give() -> None:
    form = form_of(_with_helpers, {"start": 16.0, "current": 2.0, "time": 3.0})
    called = helpers(form, ("whole", None))
    assert [one.name for one in called] == ["rested", "energy_of"]
    first, second = called
    assert [(part.name, part.unit) for part in first.took] == [
        ("cell.voltage", "V"), ("cell.current", "A"), ("time", "h"),
    ]  # fmt: skip
    assert [(part.name, part.unit) for part in first.gave] == [("voltage", "V"), ("current", "A")]
    assert "Return the cell after some time." in first.doc
    assert [(part.name, part.value, part.unit) for part in second.gave] == [
        ("", (16.0 - 0.01 * 3.0) * 2.0 * 3.0, "W h")
    ]
    assert second.path.endswith("test_unit_rules.py")
    assert second.line > first.line


def test_a_value_of_which_two_units_are_declared_has_none() -> None:
    form = form_of(_with_helpers, {"start": 16.0, "current": 2.0, "time": 3.0})
    (whole,) = (one for one in derivation(form, {}, ("whole", None)) if one.quantity == "whole")
    assert whole.unit == ""  # its terms are W h by one function and W by another


def test_without_a_second_declaration_it_has_its_own() -> None:
    form = form_of(_plain, {"start": 16.0, "current": 2.0, "time": 3.0})
    assert [one.unit for one in derivation(form, {}, ("whole", None))][-1] == "W h"


def _odd(x: NoSuchName, y: V) -> NoSuchName:  # type: ignore[name-defined]  # noqa: F821
    return x * y


def _even(x: V) -> V:
    return x * 2.0


def test_a_hint_that_cannot_be_read_declares_nothing_and_breaks_nothing() -> None:
    odd = record(lambda at: {("y", None): _odd(at["x"], at["y"])}, {"x": 1.0, "y": 2.0})
    assert odd.units == {}
    even = record(lambda at: {("y", None): _even(at["x"])}, {"x": 1.0})
    assert set(even.units.values()) == {"V"}
