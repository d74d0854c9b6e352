"""What records measured beside what analyses predict of it: the numbers.

All projects are invented; the numbers of their model stand in :mod:`tests.run.predictions`.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
from uncertainties import ufloat

from closeout.model.compared import Standing
from tests.run.predictions import ITEM, MODEL, PARAMETERS, files, only, record, rules, verified

# ---- the numbers


def test_a_measured_quantity_stands_beside_the_range_that_its_analysis_predicts(
    tmp_path: Path,
) -> None:
    one = only(verified(tmp_path, files()))
    assert (one.record, one.quantity, one.analysis) == ("TR-1", "energy", "energy")
    assert one.requirements == ("PWR-010",)
    now = one.now
    assert now.value == 60.0
    assert now.low == pytest.approx(54.625, rel=1e-9)
    assert now.high == pytest.approx(65.625, rel=1e-9)
    assert now.proved
    assert now.difference == -2.0
    assert now.place == pytest.approx(-2 / (60 - 54.625), rel=1e-9)
    assert now.standing is Standing.INSIDE


def test_the_normalised_error_is_that_of_the_propagated_uncertainties(tmp_path: Path) -> None:
    """JCGM 100:2008, 5.1.2, by the library uncertainties; uniform inputs by 4.3.7 there."""
    voltage, charge = ufloat(12, 0.5 / math.sqrt(3)), ufloat(5, 0.25 / math.sqrt(3))
    predicted = voltage * charge
    now = only(verified(tmp_path, files())).now
    assert now.expanded == pytest.approx(2 * predicted.s, rel=1e-7)
    expected = (58 - predicted.n) / math.hypot(1, 2 * predicted.s)
    assert now.normalised_error == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize(
    ("spread", "u"),
    [
        ("tolerance: 0.5 V", 0.5 / math.sqrt(3)),
        ("tolerance: 0.5 V, distribution: triangular", 0.5 / math.sqrt(6)),
        ("sigma: 0.2 V", 0.2),
        ("range: [11.6 V, 12.8 V]", 0.6 / math.sqrt(3)),
        ("tolerance: 0.6 V, distribution: normal", 0.2),
        ("tolerance: {initial: 0.3 V, ageing: 0.2 V}", 0.5 / math.sqrt(3)),
    ],
)
def test_each_spread_has_its_standard_uncertainty(tmp_path: Path, spread: str, u: float) -> None:
    parameters = PARAMETERS.replace("tolerance: 0.5 V", spread)
    now = only(verified(tmp_path, files(**{"analyses/parameters.yaml": parameters}))).now
    predicted = ufloat(12, u) * ufloat(5, 0.25 / math.sqrt(3))
    assert now.expanded == pytest.approx(2 * predicted.s, rel=1e-7)


def test_a_curved_model_is_taken_by_its_slope(tmp_path: Path) -> None:
    """JCGM 100:2008, 5.1.2, again by the library: the slope at the inputs, not a chord."""
    model = MODEL.replace("voltage * charge *", "voltage ** 3 / charge ** 2 *")
    now = only(verified(tmp_path, files(**{"analyses/energy.py": model}))).now
    voltage, charge = ufloat(12, 0.5 / math.sqrt(3)), ufloat(5, 0.25 / math.sqrt(3))
    assert now.expanded == pytest.approx(2 * (voltage**3 / charge**2).s, rel=1e-6)


def test_it_is_predicted_at_the_conditions_of_the_test(tmp_path: Path) -> None:
    # 10 K colder: nine tenths of it. An uncertain condition is an input with U / k.
    cold = record(conditions="cell_temperature: 10 degC")
    now = only(verified(tmp_path / "a", files(cold))).now
    assert now.value == pytest.approx(54.0, rel=1e-12)
    assert now.low == pytest.approx(0.9 * 54.625, rel=1e-9)
    unsure = record(conditions="cell_temperature: 10 degC +/- 2 K (k = 2)")
    now = only(verified(tmp_path / "b", files(unsure))).now
    assert now.value == pytest.approx(54.0, rel=1e-12)
    assert now.low == pytest.approx(0.88 * 54.625, rel=1e-9)
    assert now.high == pytest.approx(0.92 * 65.625, rel=1e-9)
    voltage, charge = ufloat(12, 0.5 / math.sqrt(3)), ufloat(5, 0.25 / math.sqrt(3))
    predicted = voltage * charge * (1 - 0.01 * (20 - ufloat(10, 1)))
    assert now.expanded == pytest.approx(2 * predicted.s, rel=1e-7)


def test_a_range_that_was_swept_is_no_uncertainty(tmp_path: Path) -> None:
    now = only(verified(tmp_path, files(record(conditions="cell_temperature: [10 degC, 20 degC]"))))
    assert now.now.low == pytest.approx(0.9 * 54.625, rel=1e-9)
    assert now.now.high == pytest.approx(65.625, rel=1e-9)
    assert now.now.normalised_error is None
    assert now.now.no_error == ("cell_temperature went through a range, which is no uncertainty")


def test_a_design_value_as_run_keeps_its_declared_spread(tmp_path: Path) -> None:
    run = record(conditions="cell_temperature: 20 degC, voltage: 13 V")
    now = only(verified(tmp_path, files(run))).now
    assert now.value == 65.0
    assert now.low == pytest.approx(12.5 * 4.75, rel=1e-9)


def test_the_measured_value_is_in_its_own_unit(tmp_path: Path) -> None:
    one = only(verified(tmp_path, files(record(measured="energy: 208.8 kJ +/- 3.6 kJ (k = 2)"))))
    assert (one.unit, one.value, one.uncertainty) == ("kJ", 208.8, 3.6)
    assert one.now.value == pytest.approx(216.0, rel=1e-12)
    assert one.now.expanded == pytest.approx(3.6 * 4.5092, rel=1e-4)


# ---- inputs of the article


def test_inputs_are_those_measured_on_the_same_article(tmp_path: Path) -> None:
    weighed = record("TR-2", "charge: 4.90 A h +/- 0.02 A h (k = 2)")
    (one,) = verified(tmp_path, files(record(), weighed)).compared
    assert one.now.value == pytest.approx(12 * 4.9, rel=1e-12)
    assert one.now.low == pytest.approx(11.5 * 4.88, rel=1e-9)
    assert one.now.measured_inputs == (("charge", "TR-2"),)
    predicted = ufloat(12, 0.5 / math.sqrt(3)) * ufloat(4.9, 0.01)
    assert one.now.expanded == pytest.approx(2 * predicted.s, rel=1e-7)


def test_the_newest_of_them_counts_and_no_other_build(tmp_path: Path) -> None:
    other = record("TR-2", "charge: 4.5 A h +/- 0.02 A h (k = 2)").replace("FM-3", "FM-2")
    older = record("TR-3", "charge: 4.8 A h +/- 0.02 A h (k = 2)", day="2026-03-03")
    newer = record("TR-4", "charge: 4.9 A h +/- 0.02 A h (k = 2)", day="2026-03-05")
    (one,) = verified(tmp_path, files(record(), other, newer, older)).compared
    assert one.now.measured_inputs == (("charge", "TR-4"),)


def test_a_parameter_whose_source_is_a_record_of_the_article_has_its_value(
    tmp_path: Path,
) -> None:
    parameters = PARAMETERS.replace(
        "tolerance: 5 %, source: Invented", "tolerance: 5 %, source: TR-2"
    )
    weighed = record("TR-2", "pack_charge: 4.90 A h +/- 0.02 A h (k = 2)")
    content = files(record(), weighed, **{"analyses/parameters.yaml": parameters})
    (one,) = verified(tmp_path, content).compared
    assert one.now.measured_inputs == (("charge", "TR-2"),)
    assert one.now.value == pytest.approx(12 * 4.9, rel=1e-12)


def test_an_input_from_the_record_itself_is_not_independent(tmp_path: Path) -> None:
    both = record(measured="energy: 58 W h +/- 1 W h (k = 2), charge: 4.9 A h +/- 0.02 A h (k = 2)")
    (one,) = verified(tmp_path / "a", files(both)).compared
    assert one.now.normalised_error is None
    assert one.now.no_error == "charge is from TR-1 itself: the two are not independent"
    parameters = PARAMETERS.replace("5 %, source: Invented", "5 %, source: calibrated by TR-1")
    one = only(verified(tmp_path / "b", files(**{"analyses/parameters.yaml": parameters})))
    assert one.now.normalised_error is None
    assert one.now.standing is Standing.INSIDE


# ---- what cannot be predicted


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        ({"records": record(conditions="")}, "TR-1 does not say at which cell_temperature"),
        ({"model": ("return Energy(", "raise ValueError('no data')\n    return Energy(")},
         "no data"),
        ({"records": record(measured="energy: 58 s +/- 1 s (k = 2)")}, "s"),
    ],
)  # fmt: skip
def test_what_cannot_be_predicted_says_why(
    tmp_path: Path, changed: dict[str, Any], reason: str
) -> None:
    more = {}
    if "model" in changed:
        more["analyses/energy.py"] = MODEL.replace(*changed["model"])
    content = files(changed.get("records", record()), **more)
    one = only(verified(tmp_path, content))
    assert one.now.value is None
    assert one.now.failed is not None
    assert reason in one.now.failed


def test_of_a_quantity_by_case_nothing_is_predicted(tmp_path: Path) -> None:
    model = MODEL.replace("    energy: W_h\n", "    energy: ByMode\n").replace(
        "class Energy", 'ByMode = Annotated[Mapping[str, float], Unit("W h")]\n\n\nclass Energy'
    )
    model = model.replace("import NamedTuple", "import Annotated, NamedTuple").replace(
        "W_h, degC", "Unit, degC"
    )
    model = model.replace(
        "from typing", "from collections.abc import Mapping\nfrom typing", 1
    ).replace("return Energy(", 'return Energy({"slow": voltage, "fast": 1.0} and {"slow": 2 *')
    model = model[: model.rindex(")")] + ', "fast": 1.0 * charge})\n'
    model = model.replace('{"slow": voltage, "fast": 1.0} and ', "")
    one = only(verified(tmp_path, files(**{"analyses/energy.py": model})))
    assert one.now.failed == "it has a value for each of slow, fast, and the record one value"


def test_a_searched_range_gives_a_place_and_no_more(tmp_path: Path) -> None:
    model = MODEL.replace(
        "    return Energy(",
        "    charge = charge if voltage > 12 else charge + 0.0\n    return Energy(",
    )
    far = record(measured="energy: 90 W h +/- 1 W h (k = 2)")
    dossier = verified(tmp_path, files(far, **{"analyses/energy.py": model}))
    now = only(dossier).now
    assert not now.proved
    assert now.place == pytest.approx(30 / 5.625, rel=1e-6)
    assert now.standing is None
    assert now.normalised_error is None
    assert now.no_error == "the range is searched and not proved"
    assert rules(dossier, "outside-prediction", "unexplained-difference") == []


def test_without_an_uncertainty_there_is_a_place_alone(tmp_path: Path) -> None:
    count = record(measured="energy: {value: 58 W h, exact: counted}")
    now = only(verified(tmp_path / "exact", files(count))).now
    assert now.standing is Standing.INSIDE
    assert now.no_error == "the measured value has no expanded uncertainty"
    more = record(measured="energy: 58 W h +/- 1.5 W h (k = 3)")
    now = only(verified(tmp_path / "k", files(more))).now
    assert now.no_error == "the measured value is stated with k = 3, not 2"
    fewer = record(measured="energy: 58 W h +/- 0.5 W h (k = 1)")
    one = only(verified(tmp_path / "raised", files(fewer)))
    assert one.uncertainty == 1.0
    assert one.now.normalised_error == pytest.approx(-0.4330, abs=1e-4)


def test_correlated_inputs_have_no_normalised_error(tmp_path: Path) -> None:
    parameters = PARAMETERS.replace("source: Invented}", "source: Invented, group: cells}", 2)
    now = only(verified(tmp_path, files(**{"analyses/parameters.yaml": parameters}))).now
    assert now.no_error == "voltage and charge are correlated (group cells)"


def test_the_analysis_of_the_requirement_goes_before_another_one(tmp_path: Path) -> None:
    other = MODEL.replace("def energy(", "def other(").replace(
        "voltage * charge", "charge * voltage"
    )
    item = """\
requirements:
  - id: PWR-020
    title: Another
    statement: The battery shall hold at least 30 W h at 20 degC.
    source: Invented
    verification:
      - {method: analysis, review: CDR, analysis: other, quantity: energy, at_least: 30 W h,
         given: {cell_temperature: 20 degC}, risk: Invented}
"""
    more = {"analyses/other.py": other, "requirements/other.yaml": item}
    dossier = verified(tmp_path / "a", files(**more))
    assert [one.analysis for one in dossier.compared] == ["energy"]
    # A record of a requirement that no analysis verifies is predicted by each that gives it.
    alone = (
        ITEM
        + """\
  - id: PWR-030
    title: A test alone
    statement: The battery shall hold at least 30 W h at 15 degC.
    source: Invented
    verification: [{method: test, review: CDR, quantity: energy, at_least: 30 W h, records: [TR-9]}]
"""
    )
    of_another = record("TR-9", conditions="cell_temperature: 15 degC").replace(
        "PWR-010", "PWR-030"
    )
    more["requirements/power.yaml"] = alone
    dossier = verified(tmp_path / "b", files(of_another, **more))
    assert [one.analysis for one in dossier.compared] == ["other", "energy"]
    assert [one.now.value for one in dossier.compared] == [57.0, 57.0]
