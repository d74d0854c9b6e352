"""What records measured beside what analyses predict of it, as programs and commands get it.

All projects are invented. The model of most is a battery's energy, voltage times charge, less one
hundredth for each kelvin below 20 degC. By hand, at 20 degC: voltage 11.5 V to 12.5 V, charge
4.75 A h to 5.25 A h, so 60 W h at the inputs, and 54.625 W h to 65.625 W h over the tolerances.
"""

from __future__ import annotations

import json
import math
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from uncertainties import ufloat

from closeout.model.compared import Compared, Standing
from closeout.model.dossier import Dossier
from closeout.model.problem import Severity
from closeout.run import Project
from tests.cli.project import Project as Files
from tests.cli.project import environment, make

CHARTER = """\
project:
  name: Lantern
  note: Invented for a test.
  reviews: [SRR, CDR, QR]
  next_review: CDR
articles:
  - {id: BAT, title: Battery, model: flight, build: FM-3}
"""

MODEL = '''\
"""Energy in a battery."""
from typing import NamedTuple

from closeout import analysis
from closeout.units import A_h, V, W_h, degC


class Energy(NamedTuple):
    energy: W_h


@analysis(validated_by="tests/test_all.py")
def energy(voltage: V, charge: A_h, cell_temperature: degC) -> Energy:
    """Energy of a battery: voltage times charge, less 1 % for each kelvin below 20 degC."""
    return Energy(voltage * charge * (1 - 0.01 * (20 - cell_temperature)))
'''

PARAMETERS = """\
parameters:
  voltage: {value: 12 V, tolerance: 0.5 V, source: Invented}
  charge: {value: 5 A h, tolerance: 5 %, source: Invented}
  cell_temperature: {value: 20 degC, condition: true, source: Invented}
"""

ITEM = """\
requirements:
  - id: PWR-010
    title: Energy of the battery
    statement: The battery shall hold at least 40 W h at 20 degC.
    source: Invented
    verification:
      - {method: analysis, stage: qualification, review: CDR, analysis: energy, quantity: energy,
         at_least: 40 W h, given: {cell_temperature: 20 degC}, risk: Invented}
      - {method: test, review: CDR, quantity: energy, at_least: 40 W h, records: [TR-1]}
"""


def record(
    name: str = "TR-1",
    measured: str = "energy: 58 W h +/- 1 W h (k = 2)",
    *,
    day: str = "2026-03-02",
    conditions: str = "cell_temperature: 20 degC",
    more: str = "",
) -> str:
    return (
        f"  - {{id: {name}, method: test, date: {day}, article: {{BAT: FM-3}},"
        f" judged: {{PWR-010: A}}, conditions: {{{conditions}}}, measured: {{{measured}}}{more}}}\n"
    )


def files(*records: str, **changed: str) -> dict[str, str | bytes]:
    content: dict[str, str | bytes] = {
        "requirements/project.yaml": CHARTER,
        "requirements/power.yaml": ITEM,
        "requirements/records.yaml": "records:\n" + "".join(records or (record(),)),
        "analyses/parameters.yaml": PARAMETERS,
        "analyses/energy.py": MODEL,
        "tests/test_all.py": "def test_nothing() -> None: ...\n",
    }
    return content | dict(changed)


def verified(folder: Path, content: dict[str, str | bytes], **asked: Any) -> Dossier:
    return Project(make(folder / "p", content).path, jobs=1).verify(**asked)


def only(dossier: Dossier) -> Compared:
    (one,) = dossier.compared
    return one


def rules(dossier: Dossier, *names: str) -> list[tuple[str, str]]:
    known = names or (
        "outside-prediction", "unexplained-difference", "not-correlated", "coarse-prediction",
        "normalised-error",
    )  # fmt: skip
    return [(p.rule, p.severity.value) for p in dossier.problems if p.rule in known]


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


# ---- findings, and that no verdict depends on them

# The range is 11 W h wide: with less than 1.1 W h it would tell little.
FAR = "energy: 80 W h +/- 1.2 W h (k = 2)"
EXPLAINED = ", explained: {text: The cells are of a newer lot., document: TN-7, by: the board}"


def test_no_verdict_depends_on_a_prediction(tmp_path: Path) -> None:
    near, far = (
        verified(tmp_path / name, files(record(measured=measured)))
        for name, measured in (("near", "energy: 58 W h +/- 1.2 W h (k = 2)"), ("far", FAR))
    )
    for one in (near, far):
        (result,) = one.requirements
        assert [(entry.state, entry.due) for entry in result.evidence] == [("met", True)] * 2
        assert result.compliance == "C"
        assert result.closed
    (test,) = [e for e in far.requirements[0].evidence if e.record]
    assert test.margin == pytest.approx(38.8)  # 80 - 1.2 - 40, whatever was predicted
    assert rules(far) == [("outside-prediction", "warning")]
    assert far.exit_status == 0
    assert rules(near) == []


@pytest.mark.parametrize("stage", ["qualification", "acceptance"])
def test_a_record_of_qualification_or_acceptance_has_to_be_explained(
    tmp_path: Path, stage: str
) -> None:
    item = ITEM.replace("{method: test,", f"{{method: test, stage: {stage},")
    far = verified(tmp_path / "a", files(record(measured=FAR), **{"requirements/power.yaml": item}))
    assert rules(far) == [("unexplained-difference", "error")]
    assert far.exit_status == 2
    said = record(measured=FAR, more=EXPLAINED)
    far = verified(tmp_path / "b", files(said, **{"requirements/power.yaml": item}))
    assert rules(far) == []
    assert far.exit_status == 0
    assert only(far).explained is not None


def test_one_of_a_safety_requirement_that_is_due_too(tmp_path: Path) -> None:
    safe = ITEM.replace("    source: Invented\n", "    source: Invented\n    safety: critical\n")
    later = safe.replace("stage: qualification, review: CDR", "stage: qualification, review: QR")
    severities = [
        rules(
            verified(
                tmp_path / name, files(record(measured=FAR), **{"requirements/power.yaml": item})
            )
        )
        for name, item in (("due", safe), ("later", later))
    ]
    assert severities == [
        [("unexplained-difference", "error")],
        [("outside-prediction", "warning")],
    ]


def test_a_replaced_record_is_shown_and_no_finding(tmp_path: Path) -> None:
    newer = record(
        "TR-2", "energy: 58 W h +/- 1.2 W h (k = 2)", day="2026-04-01", more=", replaces: TR-1"
    )
    dossier = verified(tmp_path, files(record(measured=FAR), newer))
    assert [(one.record, one.replaced) for one in dossier.compared] == [
        ("TR-1", True),
        ("TR-2", False),
    ]
    assert rules(dossier) == []


def test_two_values_that_disagree_within_what_is_stated_of_them(tmp_path: Path) -> None:
    # Within the range, and 5.3 W h from 60 W h: E_n = 5.3 / sqrt(1.2^2 + 4.509^2) = 1.136.
    far = verified(tmp_path, files(record(measured="energy: 65.3 W h +/- 1.2 W h (k = 2)")))
    assert only(far).now.standing is Standing.ASTRIDE
    assert only(far).now.normalised_error == pytest.approx(1.1358, abs=1e-3)
    assert rules(far) == [("normalised-error", "warning")]


def test_a_range_of_more_than_ten_uncertainties_tells_little(tmp_path: Path) -> None:
    # The range is 11 W h wide.
    dossiers = {
        half: verified(
            tmp_path / half, files(record(measured=f"energy: 59 W h +/- {half} W h (k = 2)"))
        )
        for half in ("1.2", "1.0")
    }
    assert rules(dossiers["1.2"]) == []
    assert rules(dossiers["1.0"]) == [("coarse-prediction", "warning")]


def test_a_what_if_changes_no_comparison(tmp_path: Path) -> None:
    item = ITEM.replace("{method: test,", "{method: test, stage: qualification,")
    near = record(measured="energy: 58 W h +/- 1.2 W h (k = 2)")
    content = files(near, **{"requirements/power.yaml": item})
    dossier = verified(tmp_path, content, set={"charge": "3.5 A h"})
    assert only(dossier).now.value == 60.0
    assert rules(dossier) == []


CRITERION = "  correlation: [{quantity: energy, within: 1.5 W h, at: QR, source: VP 6.3}]\n"


def test_a_criterion_of_the_project_holds_from_its_review_on(tmp_path: Path) -> None:
    charter = CHARTER.replace("  next_review: CDR\n", "  next_review: CDR\n" + CRITERION)
    content = files(record(measured="energy: 58 W h +/- 1.2 W h (k = 2)"))
    content["requirements/project.yaml"] = charter
    folder = make(tmp_path / "p", content).path
    now, later = (Project(folder, jobs=1).verify(review) for review in ("CDR", "QR"))
    assert [(c.kept, c.due) for c in only(now).correlated] == [(False, False)]
    assert rules(now) == []
    assert rules(later) == [("not-correlated", "warning")]
    analysis, test = later.requirements[0].evidence
    (said,) = analysis.not_correlated
    assert said == (
        "energy is not correlated: TR-1 measured energy -2 W h from what is predicted,"
        " 1.5 W h is allowed (VP 6.3)"
    )
    assert test.not_correlated == ()
    assert analysis.state == "met"
    assert later.exit_status == now.exit_status
    wide = charter.replace("within: 1.5 W h", "within: 2 W h")
    make(tmp_path / "p", {"requirements/project.yaml": wide})
    assert rules(Project(folder, jobs=1).verify("QR")) == []


@pytest.mark.parametrize(
    ("criterion", "rule", "told"),
    [
        ("{quantity: enrgy, within: 1 W h}", "unknown-quantity", "enrgy"),
        ("{quantity: energy, within: 1 K}", "unit", "1 K"),
        ("{quantity: energy, within: 1 W h, at: XR}", "unknown-review", "XR"),
    ],
)
def test_a_criterion_that_means_nothing_is_told(
    tmp_path: Path, criterion: str, rule: str, told: str
) -> None:
    charter = CHARTER.replace("  next", f"  correlation: [{criterion}]\n  next")
    content = files()
    content["requirements/project.yaml"] = charter
    problems = [p for p in verified(tmp_path, content).problems if p.severity is Severity.ERROR]
    assert [p.rule for p in problems] == [rule]
    assert told in problems[0].message


# ---- by the model before the test


def commit(project: Files, day: str) -> str:
    when = f"{day}T12:00:00+0000"
    project.git("add", "--all")
    subprocess.run(
        ["git", "commit", "--quiet", "--no-verify", "--message", "change"],
        cwd=project.path,
        env=environment(GIT_COMMITTER_DATE=when, GIT_AUTHOR_DATE=when),
        check=True,
    )
    return project.git("rev-parse", "HEAD")


def repository(folder: Path, content: dict[str, str | bytes]) -> Files:
    project = make(folder / "p", content)
    project.git("init", "--quiet", "--initial-branch=main")
    return project


def explained(project: Files, name: str = "PWR-010") -> Compared:
    found = Project(project.path, jobs=1).explain(name)
    return only(found.dossier)


def test_a_model_that_was_tuned_after_the_test_shows_it(tmp_path: Path) -> None:
    content = files()
    planned = dict(content) | {"requirements/records.yaml": "records: []\n"}
    planned["requirements/power.yaml"] = ITEM.replace(", records: [TR-1]", "")
    project = repository(tmp_path, planned)
    before = commit(project, "2026-02-01")
    project.write({"analyses/parameters.yaml": PARAMETERS.replace("12 V", "11.6 V")})
    commit(project, "2026-03-02")  # the day of the test: nobody knows whether it is from before
    project.write(content | {"analyses/parameters.yaml": PARAMETERS.replace("12 V", "11.6 V")})
    commit(project, "2026-03-20")
    one = explained(project)
    assert one.now.value == 58.0
    assert one.before is not None
    assert (one.before.commit, one.before.day) == (before, "2026-02-01")
    assert one.before.value == 60.0
    assert one.before.low == pytest.approx(54.625, rel=1e-9)
    assert one.before.difference == -2.0
    assert one.before.normalised_error == pytest.approx(-0.4330, abs=1e-4)
    text = Project(project.path, jobs=1).explain("energy").text
    assert f"of {before[:12]}, 2026-02-01" in text


def test_code_that_was_tuned_shows_it_too(tmp_path: Path) -> None:
    content = files()
    project = repository(tmp_path, content)
    commit(project, "2026-02-01")
    project.replace("analyses/energy.py", "voltage * charge *", "0.97 * voltage * charge *")
    commit(project, "2026-03-20")
    one = explained(project)
    assert one.before is not None
    assert (one.before.value, one.now.value) == (60.0, pytest.approx(58.2))


def test_without_git_there_is_one_prediction_with_the_reason(tmp_path: Path) -> None:
    one = explained(make(tmp_path / "p", files()))
    assert one.now.value == 60.0
    assert one.before is None
    assert one.no_before == "the project is in no commit, so its model before the test is not known"


def test_before_the_first_commit_there_is_no_model(tmp_path: Path) -> None:
    project = repository(tmp_path, files())
    commit(project, "2026-03-20")
    one = explained(project)
    assert one.no_before == "no commit is from before 2026-03-02; the first is of 2026-03-20"


def test_a_model_that_did_not_give_the_quantity_says_so(tmp_path: Path) -> None:
    content = files()
    project = repository(tmp_path, {"requirements/project.yaml": CHARTER})
    commit(project, "2026-02-01")
    project.write(content)
    commit(project, "2026-03-20")
    one = explained(project)
    assert one.before is not None
    assert one.before.failed == "there is no analysis energy"


def test_a_renamed_parameter_is_still_the_condition_of_the_test(tmp_path: Path) -> None:
    old = {
        name: text.replace("cell_temperature", "temperature") if isinstance(text, str) else text
        for name, text in files().items()
    }
    old["requirements/records.yaml"] = "records: []\n"
    project = repository(tmp_path, old)
    commit(project, "2026-02-01")
    cold = files(record(conditions="cell_temperature: 10 degC"))
    renamed = PARAMETERS.replace("condition: true", "condition: true, formerly: temperature")
    project.write(cold | {"analyses/parameters.yaml": renamed})
    commit(project, "2026-03-20")
    one = explained(project)
    assert one.before is not None
    assert one.before.value == pytest.approx(54.0)


def test_verify_asks_no_earlier_model(tmp_path: Path) -> None:
    project = repository(tmp_path, files())
    commit(project, "2026-02-01")
    project.replace("analyses/energy.py", "voltage * charge *", "0.97 * voltage * charge *")
    one = only(Project(project.path, jobs=1).verify())
    assert (one.before, one.no_before) == (None, None)


# ---- shown


def test_explain_shows_it_for_people_and_for_programs(tmp_path: Path) -> None:
    project = make(tmp_path / "p", files(record(measured=FAR, more=EXPLAINED)))
    run = project.run("explain", "PWR-010")
    assert run.status == 0
    lines = run.stdout.splitlines()
    start = lines.index("Predicted against measured")
    assert all(len(line) <= 100 for line in lines[start:])
    text = "\n".join(lines[start:])
    assert "TR-1  energy = 80 W h +/- 1.2 W h (k = 2) on 2026-03-02, by energy" in text
    assert "60 W h   54.62 W h  65.63 W h  +20 W h     3.56   outside   4.29" in text
    assert "explained: The cells are of a newer lot. (TN-7, the board)" in text
    assert "made at cell_temperature = 20 degC" in text
    run = project.run("explain", "PWR-010", "--json", "-")
    (said,) = run.json["predicted_and_measured"]
    assert said["value"] == 80.0
    assert said["predicted"]["nominal"] == 60.0
    assert said["predicted"]["in_range"] == "outside"
    assert said["predicted_before"] is None
    assert said["explained"] == {
        "text": "The cells are of a newer lot.", "document": "TN-7", "by": "the board"
    }  # fmt: skip


def test_the_package_has_one_table_of_it_with_a_picture(tmp_path: Path) -> None:
    project = make(
        tmp_path / "p", files(record(), record("TR-2", "pressure: 3 kPa +/- 1 Pa (k = 2)"))
    )
    assert project.run("package", "-o", "out").status == 0
    out = project.path / "out"
    page = (out / "predicted-and-measured.md").read_text("utf-8")
    row = (
        "| TR-1 | energy | 58 W h +/- 1 W h (k = 2) | energy | now | 60 W h | 54.62 W h | 65.63 W h"
        " | -2 W h | -0.372 | inside | -0.433 |"
    )
    assert page.count(row) == 1
    assert "- TR-2 pressure: 3 kPa +/- 1 Pa (k = 2)" in page
    html = (out / "predicted-and-measured.html").read_text("utf-8")
    assert "<title>Predicted ranges and measured values</title>" in html
    assert html.count("<circle") == 1
    report = (out / "analyses" / "energy.md").read_text("utf-8")
    assert row in report
    assert "predicted-and-measured.md" in (out / "index.md").read_text("utf-8")
    (said,) = json.loads((out / "dossier.json").read_text("utf-8"))["predicted_and_measured"]
    assert said["record"] == "TR-1"


def test_a_run_that_is_kept_has_it_too(tmp_path: Path) -> None:
    project = make(tmp_path / "p", files())
    first = Project(project.path, jobs=1).verify()
    again = Project(project.path, jobs=1).verify()
    assert first.compared == again.compared
    assert again.scale.evaluated == 0
    assert first.requirements == again.requirements
    assert replace(first, scale=again.scale).compared


def test_nothing_is_asked_where_no_record_matches(tmp_path: Path) -> None:
    dossier = verified(tmp_path, files(record(measured="colour: 3 +/- 1 (k = 2)")))
    assert dossier.compared == ()
    assert dossier.scale.evaluated == 1


# ---- through a chain

CELLS = '''\
"""Charge of cells in parallel."""
from typing import NamedTuple

from closeout import analysis
from closeout.units import A_h, count, degC


class Cells(NamedTuple):
    pack_charge: A_h


@analysis(validated_by="tests/test_all.py")
def cells(cell_charge: A_h, cells_in_parallel: count, pack_temperature: degC) -> Cells:
    """Charge of cells in parallel, less 2 % for each kelvin below 20 degC."""
    cold = 20 - pack_temperature
    return Cells(cell_charge * cells_in_parallel * (1 - 0.02 * cold))
'''

LINKED = """\
parameters:
  voltage: {value: 12 V, tolerance: 0.5 V, source: Invented}
  charge: {from: cells.pack_charge}
  cell_charge: {value: 2.5 A h, tolerance: 5 %, source: Invented}
  cells_in_parallel: {value: 2 count, tolerance: 0 count, source: Invented}
  cell_temperature: {value: 20 degC, condition: true, source: Invented}
  pack_temperature: {value: 20 degC, condition: true, source: Invented}
"""
AT = "cell_temperature: 20 degC, pack_temperature: 20 degC"


def chain(*records: str, criterion: str = "") -> dict[str, str | bytes]:
    item = ITEM.replace("given: {cell_temperature: 20 degC}", f"given: {{{AT}}}")
    content = files(*(records or (record(conditions=AT),)))
    charter = CHARTER.replace("  next_review: CDR\n", f"  next_review: CDR\n{criterion}")
    return content | {
        "requirements/project.yaml": charter,
        "requirements/power.yaml": item
        + """\
  - id: PWR-020
    title: Charge of the pack
    statement: The battery shall hold at least 3 A h at 20 degC.
    source: Invented
    verification:
      - {method: analysis, review: CDR, analysis: cells, quantity: pack_charge, at_least: 3 A h,
         given: {pack_temperature: 20 degC}, risk: Invented}
""",
        "analyses/parameters.yaml": LINKED,
        "analyses/cells.py": CELLS,
    }


def test_a_chain_is_predicted_over_its_inputs_below(tmp_path: Path) -> None:
    # The same numbers as without the chain.
    one = only(verified(tmp_path / "a", chain()))
    assert one.now.value == 60.0
    assert one.now.low == pytest.approx(54.625, rel=1e-9)
    assert one.now.proved
    assert one.now.normalised_error == pytest.approx(-0.4330, abs=1e-4)
    # A condition of the test reaches the analysis below: 10 K colder are 20 % less charge there.
    cold = record(conditions="cell_temperature: 20 degC, pack_temperature: 10 degC")
    one = only(verified(tmp_path / "b", chain(cold)))
    assert one.now.value == pytest.approx(48.0, rel=1e-12)


def test_an_input_below_is_that_measured_on_the_article(tmp_path: Path) -> None:
    weighed = record("TR-2", "cell_charge: 2.4 A h +/- 0.01 A h (k = 2)", conditions="")
    one = only(verified(tmp_path / "a", chain(record(conditions=AT), weighed)))
    assert one.now.value == pytest.approx(12 * 4.8, rel=1e-12)
    predicted = ufloat(12, 0.5 / math.sqrt(3)) * 2 * ufloat(2.4, 0.005)
    assert one.now.expanded == pytest.approx(2 * predicted.s, rel=1e-7)
    # What is computed may be measured too; then nothing below it counts.
    pack = record("TR-2", "charge: 4.9 A h +/- 0.02 A h (k = 2)", conditions="")
    one = only(verified(tmp_path / "b", chain(record(conditions=AT), pack)))
    assert one.now.value == pytest.approx(12 * 4.9, rel=1e-12)


def test_what_rests_on_a_model_that_is_not_correlated_says_so(tmp_path: Path) -> None:
    criterion = "  correlation: [{quantity: pack_charge, within: 0.1 A h}]\n"
    off = record(
        "TR-2", "pack_charge: 4.8 A h +/- 0.05 A h (k = 2)", conditions="pack_temperature: 20 degC"
    )
    dossier = verified(tmp_path, chain(record(conditions=AT), off, criterion=criterion))
    said = {
        (result.id, entry.method): len(entry.not_correlated)
        for result in dossier.requirements
        for entry in result.evidence
    }
    assert said == {("PWR-010", "analysis"): 1, ("PWR-010", "test"): 0, ("PWR-020", "analysis"): 1}


def test_below_an_agreed_range_nothing_is_asked_for(tmp_path: Path) -> None:
    agreed = "charge: {range: [4 A h, 6 A h], estimate: cells.pack_charge, source: ICD 3}"
    content = chain(record(conditions=AT))
    content["analyses/parameters.yaml"] = LINKED.replace(
        "charge: {from: cells.pack_charge}", agreed, 1
    )
    content["requirements/power.yaml"] = str(content["requirements/power.yaml"]).replace(
        f"given: {{{AT}}}", "given: {cell_temperature: 20 degC}"
    )
    one = only(verified(tmp_path, content))
    assert one.now.low == pytest.approx(11.5 * 4, rel=1e-9)
    assert one.now.failed is None


def test_what_a_model_below_may_be_off_is_no_uncertainty(tmp_path: Path) -> None:
    content = chain()
    content["analyses/cells.py"] = CELLS.replace(
        'validated_by="tests/test_all.py"',
        'validated_by="tests/test_all.py", model_uncertainty={"pack_charge": "0.1 A h"}',
    )
    one = only(verified(tmp_path, content))
    assert one.now.low == pytest.approx(11.5 * 4.65, rel=1e-9)
    assert one.now.normalised_error is None
    assert one.now.no_error == "cells.pack_charge, model uncertainty: bounds are no uncertainty"
