"""What files say arrives as typed records, text for text."""

from __future__ import annotations

from fractions import Fraction

import pytest

from closeout.load import load
from closeout.model.amount import Amount, Measured
from closeout.model.criterion import Condition
from closeout.model.problem import Pointer
from closeout.model.records import (
    Allocation,
    BasisKind,
    Charter,
    ConditionKind,
    MarginPolicy,
    Method,
    Project,
    Source,
)
from tests.load.memory import PROJECT, Memory, load_text, places

# Invented, as all of the scenario.
CHARTER = """\
project:
  name: Gannet
  note: An invented mission.
  reviews: [SRR, PDR, CDR, QR, AR, FRR]
  next_review: CDR
  authorities: {LSA: launch authority, default: verification control board}
  margins:
    - {quantity: usable_energy, of: limit, required: {PDR: 20 %, CDR: 10 %, AR: 0 %}, enforce: true}
documents:
  - {id: LSA, title: Launch service agreement, issue: 2, date: 2026-01-20}
articles:
  - {id: BAT, title: Battery, model: flight, build: FM-3}
"""
REQUIREMENTS = """\
requirements:
  - id: PWR-020
    issue: B
    title: Energy left after the pad hold
    statement: >-
      The recorder shall hold at least 52 W h of usable battery energy, at a cell
      temperature of 5 degC.
    rationale: The active phase needs 40 W h; the launch may slip for four weeks.
    source: {document: LSA, clause: "4.3"}
    derived_from: [SYS-030]
    owner: power
    type: functional
    safety: critical
    allocates: {quantity: mass, rule: sum}
    verification:
      - method: analysis
        level: subsystem
        stage: qualification
        review: CDR
        analysis: pad_hold_energy
        quantity: usable_energy
        at_least: 52 W h
        given: {hold_duration: 28 d, cell_temperature: [5 degC, 20 degC]}
        basis: worst case
        plan: VP 4.2
        risk: RA-3
      - method: test
        level: subsystem
        stage: acceptance
        review: AR
        records: [TR-PWR-004]
        quantity: usable_energy
        at_least: 52 W h
      - method: analysis
        analysis: links.margin
        quantity: link_margin
        equal_to: 3 dB
        within: 0.5 dB
        cases: at least 2
        basis: {probability: 0.99, confidence: 9e-1}
      - {method: review of design, review: PDR}
  - id: PWR-021
    title: Pyrotechnics
    statement: The recorder shall disarm its pyrotechnic devices.
    source: plain words
    not_applicable:
      {reason: No pyrotechnic device on board., agreed_by: launch authority, document: LSA-MOM-3}
"""
PARAMETERS = """\
parameters:
  hold_duration: {value: 28 d, condition: true, source: LSA 4.3}
  sleep_current: {value: 95 uA, tolerance: 10 uA, source: "Log, 3 March", maturity: measured}
  cell_capacity:
    {value: 3.35 A h, range: [3.20 A h, 3.45 A h], distribution: triangular, group: cells}
  shunt:         {value: 10 mohm, tolerance: {initial: 1 %, temperature: 0.5 %, ageing: 0.5 %}}
  antenna_gain:  {value: 5.0 dBi, sigma: 0.4 dB}
"""
EVIDENCE = """\
records:
  - id: TR-PWR-004
    method: test
    title: Bench soak of the flight battery
    document: GAN-TR-014 issue 1
    date: 2026-09-14
    article: {BAT: FM-3}
    conditions: {hold_duration: 28 d}
    judged: {PWR-020: B}
    measured: {usable_energy: 57.1 W h +/- 0.4 W h (k = 2)}
    outcome: met
    data: analyses/data/soak.csv
    replaces: TR-PWR-003
    same_design: Drawing GAN-D-7 issue 2
    differs: [no cover, other connector]
    good_for: 24 month
nonconformances:
  - {id: NCR-007, article: {BAT: FM-2}, found_by: TR-PWR-003, requirements: [PWR-020], class: major,
     disposition: rework, cause: dirt, corrective_action: clean, closed_by: TR-PWR-004}
waivers:
  - id: RFW-003
    kind: waiver
    requirement: COM-040
    accepts: {quantity: link_margin, at_least: 1 dB, cases: [north, south]}
    approved_by: launch authority
    date: 2026-08-30
    document: GAN-RFW-003
    expires: FRR
agreements:
  - {review: PDR, date: 2026-03-01, by: control board, document: M-2, requirements: [PWR-020]}
"""


@pytest.fixture(scope="module")
def project() -> Project:
    loaded = load(
        Memory(
            {
                "requirements/project.yaml": CHARTER,
                "requirements/deep/down/power.yaml": REQUIREMENTS,
                "analyses/parameters.yaml": PARAMETERS,
                "requirements/evidence.yaml": EVIDENCE,
            }
        )
    )
    assert loaded.problems == ()
    assert loaded.files == 4
    assert loaded.project is not None
    return loaded.project


def amount(number: str, unit: str, text: str) -> Amount:
    return Amount(text, Fraction(number), unit)


def test_charter(project: Project) -> None:
    assert project.charter == Charter(
        where=Pointer("requirements/project.yaml", ("project",)),
        name="Gannet",
        reviews=("SRR", "PDR", "CDR", "QR", "AR", "FRR"),
        next_review="CDR",
        authorities={"LSA": "launch authority", "default": "verification control board"},
        margins=(
            MarginPolicy(
                "usable_energy",
                "limit",
                (
                    ("PDR", amount("20", "%", "20 %")),
                    ("CDR", amount("10", "%", "10 %")),
                    ("AR", amount("0", "%", "0 %")),
                ),
                enforce=True,
            ),
        ),
        note="An invented mission.",
    )
    (document,), (article,) = project.documents, project.articles
    assert (document.id, document.issue, document.date) == ("LSA", "2", "2026-01-20")
    assert (article.id, article.model, article.build) == ("BAT", "flight", "FM-3")


def test_requirement(project: Project) -> None:
    power, pyro = project.requirements
    assert power.where == Pointer("requirements/deep/down/power.yaml", ("requirements", 0))
    assert power.statement == (
        "The recorder shall hold at least 52 W h of usable battery energy, at a cell "
        "temperature of 5 degC."
    )
    assert power.source == Source("LSA", "4.3", None)
    assert (power.issue, power.derived_from, power.owner) == ("B", ("SYS-030",), "power")
    assert (power.type, power.safety) == ("functional", "critical")
    assert power.allocates == Allocation("mass", "sum")
    assert pyro.issue == "A"
    assert pyro.source == Source(None, None, "plain words")
    assert pyro.not_applicable is not None
    assert pyro.not_applicable.agreed_by == "launch authority"
    assert pyro.not_applicable.document == "LSA-MOM-3"


def test_verification(project: Project) -> None:
    analysis, test, equality, review = project.requirements[0].verification
    assert equality.where.steps == ("requirements", 0, "verification", 2)
    assert (analysis.method, test.method, review.method) == (
        Method.ANALYSIS,
        Method.TEST,
        Method.REVIEW_OF_DESIGN,
    )
    assert analysis.criterion.limits.at_least == amount("52", "W h", "52 W h")
    assert analysis.criterion.given == (
        ("hold_duration", Condition((amount("28", "d", "28 d"),))),
        (
            "cell_temperature",
            Condition((amount("5", "degC", "5 degC"), amount("20", "degC", "20 degC"))),
        ),
    )
    assert analysis.basis.kind is BasisKind.WORST_CASE
    assert (analysis.plan, analysis.risk, test.records) == ("VP 4.2", "RA-3", ("TR-PWR-004",))
    assert equality.analysis == "links.margin"
    assert equality.criterion.limits.within == amount("0.5", "dB", "0.5 dB")
    assert equality.criterion.cases_at_least == 2
    assert equality.basis.kind is BasisKind.PROBABILITY
    assert equality.basis.probability == Fraction(99, 100)
    assert equality.basis.confidence == Fraction(9, 10)


@pytest.mark.parametrize(
    ("text", "condition"),
    [
        ("condition: true", ConditionKind.GIVEN),
        ("condition: True", ConditionKind.GIVEN),
        ("condition: declared", ConditionKind.DECLARED),
        ("condition: false", None),
        ("source: Invented", None),
    ],
)
def test_a_condition_is_given_by_criteria_or_holds_as_declared(
    text: str, condition: ConditionKind | None
) -> None:
    loaded = load_text(f"parameters:\n  a: {{value: 28 d, {text}}}\n")
    assert loaded.problems == ()
    assert loaded.project is not None
    assert [one.condition for one in loaded.project.parameters] == [condition]


def test_parameters(project: Project) -> None:
    hold, sleep, capacity, shunt, gain = project.parameters
    assert (hold.id, hold.condition, sleep.condition) == (
        "hold_duration",
        ConditionKind.GIVEN,
        None,
    )
    assert sleep.spread.tolerance == (("", amount("10", "uA", "10 uA")),)
    assert capacity.spread.range == (
        amount("3.2", "A h", "3.20 A h"),
        amount("3.45", "A h", "3.45 A h"),
    )
    assert (capacity.distribution, capacity.group) == ("triangular", "cells")
    assert [name for name, _ in shunt.spread.tolerance] == ["initial", "temperature", "ageing"]
    assert gain.spread.sigma == amount("0.4", "dB", "0.4 dB")


def test_evidence(project: Project) -> None:
    (record,) = project.records
    ((name, measured),) = record.measured
    assert (name, measured.value.number, measured.k) == ("usable_energy", Fraction("57.1"), 2)
    assert record.article == (("BAT", "FM-3"),)
    assert record.judged == (("PWR-020", "B"),)
    as_run = Measured("28 d", amount("28", "d", "28 d"), None, None)
    assert record.conditions == (("hold_duration", Condition((as_run.value,), as_run)),)
    assert record.same_design == "Drawing GAN-D-7 issue 2"
    assert record.differs == ("no cover", "other connector")
    assert record.good_for == amount("24", "month", "24 month")
    (ncr,), (waiver,), (agreement,) = project.nonconformances, project.waivers, project.agreements
    assert (ncr.klass, ncr.disposition, ncr.closed_by) == ("major", "rework", "TR-PWR-004")
    assert waiver.limits.at_least == amount("1", "dB", "1 dB")
    assert waiver.cases == ("north", "south")
    assert agreement.requirements == ("PWR-020",)


# PyYAML reads these as float, int 8, int 90, bool, date and None (yaml/pyyaml#173 and its like);
# a field that is a string takes the text.
@pytest.mark.parametrize(
    "text", ["1e3", "010", "1:30", "NO", "2026-01-20", "2", "12345678", "1234e567", "true", "0x1F"]
)
def test_string_field_takes_the_text(text: str) -> None:
    project = load_text(f"documents: [{{id: A, title: {text}, issue: '{text}'}}]\n").project
    assert project is not None
    (document,) = project.documents
    assert (document.title, document.issue) == (text, text)
    assert type(document.title) is str


@pytest.mark.parametrize(
    ("text", "value"), [("1e-3", "0.001"), ("+1.5E3", "1500"), ("010", "10"), (".5", "0.5")]
)
def test_amount_is_the_number_of_its_text(text: str, value: str) -> None:
    project = load_text(f"parameters: {{a: {{value: {text}}}}}\n").project
    assert project is not None
    assert project.parameters[0].value.number == Fraction(value)


def test_sexagesimal_is_no_number() -> None:
    assert places(load_text("parameters: {a: {value: 1:30}}\n")) == [("bad-amount", 1, 25)]


# Keys that PyYAML makes an int, a date, a bool or None of (seen in another tool's YAML reader).
@pytest.mark.parametrize("key", ["1", "2026-01-20", "NO", "true", "null", "1e3"])
def test_key_is_its_text(key: str) -> None:
    loaded = load_text(f"documents:\n- {{id: A, title: t, {key}: u}}\n")
    assert places(loaded) == [("unknown-key", 2, 21)]
    assert f"'{key}'" in loaded.problems[0].message


def test_records_keep_the_order_of_files_and_repeated_identifiers() -> None:
    one = "documents: [{id: B, title: one}, {id: A, title: two}]\n"
    loaded = load(
        Memory(
            {
                "requirements/z.yaml": one,
                "requirements/b/a.yaml": one,
                "requirements/project.yaml": PROJECT,
            }
        )
    )
    assert loaded.project is not None
    assert [(d.where.path, d.where.steps[1], d.id) for d in loaded.project.documents] == [
        ("requirements/b/a.yaml", 0, "B"),
        ("requirements/b/a.yaml", 1, "A"),
        ("requirements/z.yaml", 0, "B"),
        ("requirements/z.yaml", 1, "A"),
    ]
