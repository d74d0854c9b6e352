"""``verify --json -``: keys and values of a project whose numbers are computed by hand here."""

from __future__ import annotations

import json
import math
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from tests.cli.project import Project, base, by_id, make, power
from tests.cli.project import requirement as item

SCHEMA = json.loads((files("closeout.render") / "verify.schema.json").read_bytes())

ANALYSES = '''\
"""Quantities that are known without a computer."""
from collections.abc import Mapping
from typing import Annotated, NamedTuple

from closeout import absent, analysis
from closeout.units import K, Unit


class Sums(NamedTuple):
    tenth: K
    tenths: K
    levels: Annotated[Mapping[str, float], Unit("dB")]


@analysis
def sums(factor: Annotated[float, Unit("1")]) -> Sums:
    """A tenth, a sum of tenths, and levels by station."""
    levels = {"Isle": 3.0 * factor, "Cape": absent("never rises"), "Moor": 0.5 * factor}
    return Sums(0.1, 0.1 + 0.2, levels)
'''


def criterion(identifier: str, analysis: str, quantity: str, limit: str, more: str = "") -> str:
    return f"""\
  - id: {identifier}
    title: {identifier}
    statement: As the limit says.
    source: Invented
    verification:
      - {{method: analysis, level: system, stage: qualification, review: CDR,
         analysis: {analysis}, quantity: {quantity}, {limit}{more}}}
"""


REQUIREMENTS = power(
    item(),
    criterion("LOW", "energy", "energy", "at_least: 197 kJ"),
    criterion("HIGH", "energy", "energy", "at_most: 236 kJ"),
    criterion("BOTH", "energy", "energy", "at_least: 190 kJ, at_most: 240 kJ"),
    criterion("NOMINAL", "energy", "energy", "at_least: 59 W h", ", basis: nominal"),
    criterion("EQUAL", "energy", "energy", "equal_to: 60 W h, within: 6 W h"),
    criterion("TENTH-LEAST", "sums", "tenth", "at_least: 0.1 K"),
    criterion("TENTH-MOST", "sums", "tenth", "at_most: 0.1 K"),
    criterion("TENTH-MILLI", "sums", "tenth", "at_least: 100 mK"),
    criterion("TENTHS", "sums", "tenths", "at_most: 0.3 K"),
    criterion("CASES", "sums", "levels", "at_least: 1 dB"),
    criterion("SOME", "sums", "levels", "at_least: 1 dB", ", cases: at least 1"),
    criterion("TOO-FEW", "sums", "levels", "at_least: 1 dB", ", cases: at least 2"),
    """\
  - id: TEST
    title: On the bench
    statement: The battery shall hold 56 W h.
    source: Invented
    verification:
      - {method: test, level: system, stage: acceptance, review: CDR, quantity: energy,
         at_least: 201.6 kJ, records: [TR-001]}
      - {method: test, level: system, stage: acceptance, review: AR, quantity: energy,
         at_least: 201.6 kJ}
  - id: NONE
    title: No wings
    statement: The wings shall fold.
    source: Invented
    not_applicable: {reason: It has no wings., agreed_by: launch authority, document: MOM-3}
""",
)
RECORDS = """\
articles: [{id: BAT, title: Battery, model: flight, build: FM-3}]
records:
  - {id: TR-001, method: test, title: Bench, document: D, date: 2026-01-02, article: {BAT: FM-3},
     measured: {energy: 57.1 W h +/- 0.4 W h (k = 2)}}
"""


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Project:
    parameters = "parameters:\n  factor: {value: 1, source: Invented}\n"
    more = {
        "requirements/records.yaml": RECORDS,
        "analyses/sums.py": ANALYSES,
        "analyses/factor.yaml": parameters,
    }
    return make(tmp_path_factory.mktemp("json") / "p", base(power=REQUIREMENTS) | more)


@pytest.fixture(scope="module")
def document(project: Project) -> Any:
    run = project.verify()
    assert run.stderr == ""
    return run.json


def only(document: Any, identifier: str) -> Any:
    (entry,) = by_id(document)[identifier]["verification"]
    return entry


def test_the_document_follows_its_schema(document: Any) -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    jsonschema.Draft202012Validator(SCHEMA).validate(document)


def test_the_keys_of_version_1(document: Any) -> None:
    assert {
        "format", "project", "snapshot", "review", "requirements", "problems", "totals",
        "exit_status",
    } <= set(document)  # fmt: skip
    assert document["format"] == 1
    assert document["review"] == "CDR"
    for entry in document["requirements"]:
        assert {"id", "title", "compliance", "closed", "covered", "verification"} <= set(entry)
        for found in entry["verification"]:
            assert {
                "method", "analysis", "quantity", "case", "unit", "value", "low", "high",
                "at_least", "at_most", "margin", "basis", "assurance", "state", "message",
                "record", "counterexample", "at", "declared",
            } <= set(found)  # fmt: skip


def test_totals_count_the_requirements(document: Any) -> None:
    codes = [entry["compliance"] for entry in document["requirements"]]
    for code in ("C", "PC", "NC", "NA", "open"):
        assert document["totals"][code] == codes.count(code)
    assert document["totals"]["closed"] == sum(e["closed"] for e in document["requirements"])
    assert document["exit_status"] == 1


# By hand, as in project.py: 60 W h, from 54.625 W h to 65.625 W h; 1 W h = 3.6 kJ. So 216 kJ, from
# 196.65 kJ to 236.25 kJ.
@pytest.mark.parametrize(
    ("identifier", "unit", "value", "at_least", "at_most", "margin", "state", "code"),
    [
        ("PWR-010", "kJ", 216.0, 190.0, None, 6.65, "met", "C"),
        ("LOW", "kJ", 216.0, 197.0, None, -0.35, "not met", "NC"),
        ("HIGH", "kJ", 216.0, None, 236.0, -0.25, "not met", "NC"),
        ("BOTH", "kJ", 216.0, 190.0, 240.0, 3.75, "met", "C"),
        ("EQUAL", "W h", 60.0, 54.0, 66.0, 0.375, "met", "C"),
    ],
)
def test_numbers_are_in_the_unit_of_the_criterion(
    document: Any, identifier: str, unit: str, value: float,
    at_least: float | None, at_most: float | None, margin: float, state: str, code: str,
) -> None:  # fmt: skip
    found = only(document, identifier)
    assert found["method"] == "analysis"
    assert found["analysis"].endswith("energy")
    assert (found["quantity"], found["case"], found["unit"]) == ("energy", None, unit)
    assert found["value"] == pytest.approx(value, rel=1e-12)
    assert found["at_least"] == at_least
    assert found["at_most"] == at_most
    assert found["margin"] == pytest.approx(margin, rel=1e-9)
    assert found["basis"] == "worst case"
    assert found["assurance"] in ("bounded", "searched")
    assert found["state"] == state
    assert found["message"] is None
    assert by_id(document)[identifier]["compliance"] == code


def test_low_and_high_are_the_extent(document: Any) -> None:
    for identifier, factor in (("PWR-010", 3.6), ("BOTH", 3.6), ("EQUAL", 1.0)):
        found = only(document, identifier)
        assert found["low"] == pytest.approx(54.625 * factor, rel=1e-6)
        assert found["high"] == pytest.approx(65.625 * factor, rel=1e-6)


@pytest.mark.parametrize("identifier", ["LOW", "HIGH"])
def test_low_and_high_of_a_shortfall_are_the_extent(document: Any, identifier: str) -> None:
    found = only(document, identifier)
    assert found["low"] == pytest.approx(196.65, rel=1e-6)
    assert found["high"] == pytest.approx(236.25, rel=1e-6)


def test_a_nominal_basis_has_no_ends(document: Any) -> None:
    found = only(document, "NOMINAL")
    assert (found["low"], found["high"]) == (None, None)
    assert found["assurance"] == "nominal"
    assert found["value"] == pytest.approx(60.0)
    assert found["margin"] == pytest.approx(1.0)


def test_one_tenth_reaches_a_limit_of_one_tenth(document: Any) -> None:
    for identifier in ("TENTH-LEAST", "TENTH-MOST", "TENTH-MILLI"):
        found = only(document, identifier)
        assert found["state"] == "met", identifier
        assert found["margin"] == 0.0
    assert only(document, "TENTH-MILLI")["value"] == 100.0


def test_the_double_above_three_tenths_is_above_three_tenths(document: Any) -> None:
    # IEEE 754 binary64: 0.1 + 0.2 is 0.30000000000000004, one step above the nearest to 0.3.
    found = only(document, "TENTHS")
    assert found["state"] == "not met"
    assert found["value"] == 0.1 + 0.2
    assert found["value"] > found["at_most"] == 0.3
    assert -1e-16 < found["margin"] < 0


def test_the_text_does_not_round_across_a_limit(project: Project) -> None:
    line = next(x for x in project.run("verify").stdout.split("\n") if x.startswith("TENTHS "))
    assert " NC " in line
    assert "-5.55e-17 K" in line
    assert "judged 0.3 K" not in project.run("verify").stdout


def test_a_counterexample_fails_again_when_it_is_set(project: Project, document: Any) -> None:
    for identifier, wanted in (
        ("LOW", {"voltage": "11.5 V exactly", "charge": "4.75 A h exactly"}),
        ("HIGH", {"voltage": "12.5 V exactly", "charge": "5.25 A h exactly"}),
    ):
        example = only(document, identifier)["counterexample"]
        assert {name: text.split()[1:] for name, text in example.items()} == {
            name: text.split()[1:] for name, text in wanted.items()
        }
        for name, text in example.items():
            assert float(text.split()[0]) == pytest.approx(float(wanted[name].split()[0]))
        settings = [f"--set={name}={text}" for name, text in example.items()]
        run = project.verify("--only", identifier, *settings)
        assert run.status == 1
        found = only(run.json, identifier)
        assert found["state"] == "not met"
        # At the very point the value itself lies beyond the limit.
        limits = (found["at_least"] or -math.inf, found["at_most"] or math.inf)
        assert not limits[0] <= found["value"] <= limits[1]
    assert only(document, "PWR-010")["counterexample"] == {}


def test_one_entry_a_case(document: Any) -> None:
    entries = by_id(document)["CASES"]["verification"]
    assert [entry["case"] for entry in entries] == ["Isle", "Cape", "Moor"]
    assert [entry["state"] for entry in entries] == ["met", "not met", "not met"]
    assert [entry["value"] for entry in entries] == [3.0, None, 0.5]
    assert [entry["margin"] for entry in entries] == [2.0, None, -0.5]
    assert "never rises" in entries[1]["message"]
    assert by_id(document)["CASES"]["compliance"] == "PC"


def test_cases_at_least(document: Any) -> None:
    some, few = by_id(document)["SOME"], by_id(document)["TOO-FEW"]
    assert (some["compliance"], some["closed"]) == ("C", True)
    assert len(some["verification"]) == 3
    assert few["compliance"] == "PC"
    assert any(
        "2 of 3 cases required, 1 met" in entry["message"]
        for entry in few["verification"]
        if entry["message"]
    )


def test_a_record_is_judged_less_its_uncertainty(document: Any) -> None:
    # By hand: 57.1 W h = 205.56 kJ; 56.7 W h = 204.12 kJ; 57.5 W h = 207 kJ; 204.12 - 201.6 = 2.52.
    entry = by_id(document)["TEST"]
    early, late = entry["verification"]
    assert (early["method"], early["record"], early["analysis"]) == ("test", "TR-001", None)
    assert early["unit"] == "kJ"
    assert early["value"] == pytest.approx(205.56)
    assert early["low"] == pytest.approx(204.12)
    assert early["high"] == pytest.approx(207.0)
    assert early["margin"] == pytest.approx(2.52)
    assert early["assurance"] is None
    assert early["state"] == "met"
    assert (late["state"], late["record"], late["value"]) == ("open", None, None)
    assert (entry["compliance"], entry["closed"]) == ("C", False)


def test_what_is_not_applicable(document: Any) -> None:
    entry = by_id(document)["NONE"]
    assert (entry["compliance"], entry["closed"], entry["verification"]) == ("NA", True, [])
    assert "no wings" in entry["why"]
    assert "launch authority" in entry["why"]


def test_a_parent_is_judged_by_what_is_derived(document: Any) -> None:
    entry = by_id(document)["SYS-010"]
    assert entry["verification"] == []
    assert entry["derived"] == ["THM-010", "PWR-010"]
    assert entry["compliance"] == "C"


@pytest.mark.parametrize(
    ("limit", "code"), [("at_least: 197 kJ", "PC"), ("at_least: 217 kJ", "PC")]
)
def test_a_parent_of_good_and_bad_is_partial(tmp_path: Path, limit: str, code: str) -> None:
    document = make(tmp_path, base(power=power(item(limit=limit)))).verify().json
    assert by_id(document)["SYS-010"]["compliance"] == code
    bad = make(tmp_path / "bad", base(power=power(item(limit=limit)), frost=None))
    assert by_id(bad.verify().json)["SYS-010"]["compliance"] == "NC"


def test_a_parent_is_not_compliant_while_a_child_cannot_be_read(tmp_path: Path) -> None:
    broken = power(item().replace("    title:", "    titel:"))
    run = make(tmp_path, base(power=broken)).verify()
    assert run.status == 2
    entry = by_id(run.json)["SYS-010"]
    assert (entry["compliance"], entry["closed"]) == ("open", False)
