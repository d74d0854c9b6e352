"""Compliance codes: criteria of a requirement, and requirements by what is derived from them."""

from __future__ import annotations

from itertools import combinations

import pytest

from closeout.judge.findings.evidence import contradictions
from closeout.model.answer import Extent
from closeout.model.dossier import Compliance, RequirementResult
from closeout.model.problem import Severity
from tests.graph.projects import (
    UNITS,
    answer,
    build,
    extent,
    failed,
    requirement,
    requirements,
    result,
    spec,
)

C, PC, NC, NA, OPEN = (
    Compliance.C, Compliance.PC, Compliance.NC, Compliance.NA, Compliance.OPEN,
)  # fmt: skip

F = spec("f", {"h": "d"}, {"x": "W", "y": "V"})
ANSWERS = {"f": answer(x=extent(3, 5), y=extent(10, 12))}
PARAMETERS = "parameters: {h: {value: 28 d, condition: declared}}\n"
RECORDS = """\
records:
  - {id: PASS, method: test, date: 2026-01-01, measured: {x: 9 W +/- 1 W (k = 2)}}
  - {id: FAIL, method: test, date: 2026-01-01, measured: {x: 1 W +/- 0.1 W (k = 2)}}
  - {id: PLAN, method: test}
  - {id: GOOD, method: inspection, date: 2026-01-01, outcome: met}
  - {id: BAD, method: inspection, date: 2026-01-01, outcome: not met}
nonconformances: [{id: N, found_by: BAD}]
"""


def x(limit: str = "at_least: 3 W", given: str = "") -> str:
    conditions = f", given: {{{given}}}" if given else ""
    return f"method: analysis, analysis: f, quantity: x, {limit}{conditions}"


def y(limit: str = "at_least: 9 V") -> str:
    return f"method: analysis, analysis: f, quantity: y, {limit}"


def by_test(record: str, limit: str = "at_least: 3 W", given: str = "") -> str:
    conditions = f", given: {{{given}}}" if given else ""
    return f"method: test, records: [{record}], quantity: x, {limit}{conditions}"


def seen(record: str) -> str:
    return f"method: inspection, records: [{record}]"


def code(*verifications: str) -> Compliance:
    text = requirements(requirement("R-1", *verifications)) + RECORDS + PARAMETERS
    return result(build(text, F, clean=True).judge(ANSWERS), "R-1").compliance


@pytest.mark.parametrize(
    ("expected", "verifications"),
    [
        (C, [x()]),
        (NC, [x("at_least: 4 W")]),
        (C, [x(), y()]),
        # A criterion fails if any of its evidence is not met: the failed test beats the analysis.
        (NC, [x(), by_test("FAIL")]),
        (NC, [by_test("FAIL"), x()]),
        (NC, [x("at_least: 4 W"), by_test("PASS", "at_least: 4 W")]),
        # The same criterion in other words.
        (NC, [x("at_least: 3000 mW"), by_test("FAIL")]),
        (NC, [x(), by_test("FAIL", "at_least: 0.003 kW")]),
        # Any failure: partly compliant where another criterion holds.
        (PC, [x("at_least: 4 W"), y()]),
        (PC, [x(), y("at_least: 11 V")]),
        (PC, [x(), x("at_most: 4 W")]),
        (NC, [x("at_least: 4 W"), y("at_least: 11 V")]),
        # Another criterion that is open does not hold.
        (NC, [x("at_least: 4 W"), "method: test, quantity: y, at_least: 9 V"]),
        (NC, [x("at_least: 4 W"), y(), "method: test, quantity: y, at_least: 9 V"]),
        # Open: no failure, anything open.
        (OPEN, [x(), by_test("PLAN")]),
        (OPEN, [x(), "method: test, quantity: y, at_least: 9 V"]),
        (C, [x(), by_test("PASS")]),
        # Bad news is never hidden by open, and open never by good news.
        (NC, [x("at_least: 4 W"), by_test("PLAN", "at_least: 4 W")]),
        (NC, [by_test("PLAN"), by_test("FAIL")]),
        (OPEN, [by_test("PLAN"), by_test("PASS"), x(), y()]),
        # Conditions are part of a criterion.
        (PC, [x(given="h: 28 d"), x("at_least: 4 W", "h: 28 d")]),
        (C, [x(given="h: 28 d"), x(given="h: 14 d")]),
        # A test without conditions speaks of its criterion under every condition.
        (NC, [x(given="h: 28 d"), x(given="h: 14 d"), by_test("FAIL")]),
        (OPEN, [x(given="h: 28 d"), by_test("PLAN")]),
        # What has no quantity is one criterion: the statement itself.
        (C, [seen("GOOD")]),
        (NC, [seen("BAD")]),
        (NC, [seen("BAD"), seen("GOOD")]),
        (PC, [seen("BAD"), x()]),
        (PC, [seen("GOOD"), x("at_least: 4 W")]),
        (OPEN, [seen("GOOD"), "method: review of design"]),
        (OPEN, ["method: test"]),
    ],
)
def test_codes_of_criteria(expected: Compliance, verifications: list[str]):
    assert code(*verifications) is expected


def test_the_same_conditions_in_other_words_are_the_same_criterion():
    # 28 d is 672 h: one criterion of two evidences, of which one fails.
    verifications = (x(given="h: 28 d"), by_test("LATE", given="h: 672 h"))
    late = (
        "  - {id: LATE, method: test, date: 2026-01-01, conditions: {h: 28 d},\n"
        "     measured: {x: 1 W +/- 0.1 W (k = 2)}}\n"
    )
    text = requirements(requirement("R-1", *verifications)) + f"records:\n{late}" + PARAMETERS
    assert result(build(text, F, clean=True).judge(ANSWERS), "R-1").compliance is NC


def test_an_error_counts_as_open():
    text = requirements(
        requirement("R-1", x()),
        requirement("R-2", x(), by_test("FAIL")),
        requirement("R-3", x(), by_test("PASS")),
    )
    dossier = build(text + RECORDS + PARAMETERS, F, clean=True).judge({"f": failed()})
    assert [r.compliance for r in dossier.requirements] == [OPEN, NC, OPEN]
    assert [r.closed for r in dossier.requirements] == [False] * 3


def test_na_has_its_reason_and_whether_it_is_agreed():
    charter = """\
        project:
          name: Lantern (invented)
          authorities: {LSA: launch authority, default: board}
        """
    text = requirements(
        requirement("R-1", more="source: {document: LSA}\nnot_applicable: {reason: No mast., "
                    "agreed_by: launch authority, document: MOM-3}"),
        requirement("R-2", more="not_applicable: {reason: No mast., agreed_by: board}"),
        requirement("R-3", more="not_applicable: {reason: No mast.}"),
        requirement("R-4", more="source: {document: LSA}\n"
                    "not_applicable: {reason: No mast., agreed_by: board}"),
        requirement("R-5", x("at_least: 9 W"), more="not_applicable: {reason: No mast.}"),
    )  # fmt: skip
    dossier = build(text + PARAMETERS, F, charter=charter, clean=True).judge(ANSWERS)
    assert [r.compliance for r in dossier.requirements] == [NA, NA, NA, OPEN, NA]
    assert [r.closed for r in dossier.requirements] == [True, True, False, False, False]
    assert [r.why for r in dossier.requirements] == [
        "No mast., agreed by launch authority (MOM-3)",
        "No mast., agreed by board",
        "No mast., not agreed yet",
        "proposed as not applicable: No mast., not agreed yet by its authority (board agreed)",
        "No mast., not agreed yet",
    ]
    # A proposal against an outside requirement counts as open until it is agreed.
    assert [r.due for r in dossier.requirements] == [False, False, False, True, False]
    assert [r.outstanding for r in dossier.requirements] == [False, False, False, True, False]
    assert not any(r.evidence for r in dossier.requirements)
    assert dossier.exit_status == 1


# Derived requirements. The rule, written out a second time as a table for each set of codes below:
# all C is C; any PC or NC is NC if none is C or PC, else PC; else any open is open; none left is
# open.
TABLE = {
    "NA": OPEN, "C": C, "PC": PC, "NC": NC, "open": OPEN,
    "C PC": PC, "C NC": PC, "C NA": C, "C open": OPEN, "PC NC": PC, "PC NA": PC, "PC open": PC,
    "NC NA": NC, "NC open": NC, "NA open": OPEN,
    "C PC NC": PC, "C PC NA": PC, "C PC open": PC, "C NC NA": PC, "C NC open": PC,
    "C NA open": OPEN, "PC NC NA": PC, "PC NC open": PC, "PC NA open": PC, "NC NA open": NC,
    "C PC NC NA": PC, "C PC NC open": PC, "C PC NA open": PC, "C NC NA open": PC,
    "PC NC NA open": PC,
    "C PC NC NA open": PC,
}  # fmt: skip
CHILD = {
    "C": (x(),),
    "PC": (x(), y("at_least: 11 V")),
    "NC": (x("at_least: 4 W"),),
    "open": ("method: test",),
    "NA": (),
}


def family(children: list[str], *own: str) -> RequirementResult:
    """Return the result of a requirement with children of the given codes."""
    items = [
        requirement(
            f"K-{n}",
            *CHILD[name],
            more="derived_from: [S-1]"
            + ("\nnot_applicable: {reason: No., agreed_by: me}" if name == "NA" else ""),
        )
        for n, name in enumerate(children)
    ]
    text = requirements(requirement("S-1", *own), *items) + PARAMETERS + RECORDS
    dossier = build(text, F, clean=True).judge(ANSWERS)
    assert [r.compliance.value for r in dossier.requirements[1:]] == children
    return dossier.requirements[0]


def test_the_table_is_whole():
    order = ["C", "PC", "NC", "NA", "open"]
    subsets = [" ".join(some) for n in range(1, 6) for some in combinations(order, n)]
    assert len(subsets) == 31
    assert sorted(TABLE) == sorted(subsets)


@pytest.mark.parametrize("children", list(TABLE))
def test_a_requirement_without_verifications_is_judged_by_its_derived_ones(children: str):
    assert family(children.split()).compliance is TABLE[children]
    assert family([*reversed(children.split())]).compliance is TABLE[children]
    assert family(children.split() * 2).compliance is TABLE[children]


def test_all_children_not_applicable_is_open_and_outstanding_with_a_finding():
    parent = family(["NA", "NA"])
    assert (parent.compliance, parent.closed, parent.due, parent.outstanding) == (
        OPEN, False, True, True,
    )  # fmt: skip
    assert parent.why == "no verification"


def test_a_parent_is_closed_when_its_derived_ones_are():
    assert family(["C", "NA"]).closed
    assert not family(["C", "open"]).closed
    assert family(["C", "open"]).why == "not closed: K-1"
    assert not family(["C", "NC"]).closed


def test_a_parent_with_its_own_keeps_its_code_and_is_not_closed_before_they_are():
    for children, closed in ((["C"], True), (["NC"], False), (["open"], False), (["NA"], True)):
        parent = family(children, x())
        assert (parent.compliance, parent.closed) == (C, closed)
    parent = family(["C"], x("at_least: 4 W"))
    assert (parent.compliance, parent.closed) == (NC, False)
    assert family(["open"], x()).why == "not closed: K-0"


def test_grandchildren_reach_the_top():
    text = requirements(
        requirement("S-1"),
        requirement("M-1", more="derived_from: [S-1]"),
        requirement("R-1", x("at_least: 4 W"), more="derived_from: [M-1]"),
        requirement("R-2", "method: test", more="derived_from: [M-1]"),
    )
    dossier = build(text + PARAMETERS, F, clean=True).judge(ANSWERS)
    assert [r.compliance for r in dossier.requirements] == [NC, NC, NC, OPEN]


def test_a_circle_is_open_and_not_closed_whatever_the_order():
    items = [
        requirement("A", more="derived_from: [B]"),
        requirement("B", x(), more="derived_from: [A]"),
        requirement("T"),
        requirement("L", x(), more="derived_from: [A, T]"),
        requirement("A2", more="derived_from: [T]"),
        requirement("L2", x(), more="derived_from: [A2]"),
    ]
    for order in (items, items[::-1]):
        built = build(requirements(*order) + PARAMETERS, F)
        dossier = built.judge(ANSWERS)
        by_name = {r.id: (r.compliance, r.closed) for r in dossier.requirements}
        assert by_name == {
            "A": (OPEN, False), "B": (C, False), "T": (C, True), "L": (C, True), "A2": (C, True),
            "L2": (C, True),
        }  # fmt: skip
        assert result(dossier, "B").why in ("not closed: A", "it is derived from itself")
        assert dossier.exit_status == 2


def test_a_failure_inside_a_circle_does_not_depend_on_where_one_begins():
    for name in ("A", "C"):
        items = [
            requirement(name, more="derived_from: [B]"),
            requirement("B", x("at_least: 4 W"), more=f"derived_from: [{name}]"),
        ]
        dossier = build(requirements(*items) + PARAMETERS, F).judge(ANSWERS)
        assert [r.compliance for r in dossier.requirements] == [OPEN, NC]


def test_a_parent_is_open_while_something_could_not_be_read():
    good = requirement("R-1", x(), more="derived_from: [S-1]")
    broken = requirement("R-2", x(), more="derived_from: [S-1]").replace("title:", "titel:")
    built = build(
        requirements(requirement("S-1"), requirement("S-2", x()), good, broken) + PARAMETERS, F
    )
    dossier = built.judge(ANSWERS)
    parent = result(dossier, "S-1")
    assert (parent.compliance, parent.closed) == (OPEN, False)
    assert parent.why == "lower-level requirements may be missing: not all files could be read"
    assert result(dossier, "S-2").closed
    assert result(dossier, "R-1").closed
    assert dossier.exit_status == 2
    # A failure stays one.
    bad = good.replace("at_least: 3 W", "at_least: 4 W")
    built = build(requirements(requirement("S-1"), bad, broken) + PARAMETERS, F)
    assert result(built.judge(ANSWERS), "S-1").compliance is NC


def test_totals_and_scale_count_what_was_judged():
    text = requirements(
        requirement("R-1", x(), y()), requirement("R-2", x("at_least: 4 W")),
        requirement("R-3", "method: test"),
        requirement("R-4", more="not_applicable: {reason: No., agreed_by: me}"),
        requirement("R-5", x(), y("at_least: 11 V")),
    )  # fmt: skip
    dossier = build(text + PARAMETERS, F, clean=True).judge(ANSWERS)
    assert dossier.totals == {"C": 1, "PC": 1, "NC": 1, "NA": 1, "open": 1, "closed": 2}
    scale = dossier.scale
    assert (scale.requirements, scale.verifications, scale.parameters, scale.analyses) == (
        5, 6, 1, 1,
    )  # fmt: skip
    assert (scale.evaluated, scale.from_store) == (1, 0)
    (evaluation,) = dossier.evaluations
    assert evaluation.serves == ("R-1", "R-2", "R-5")
    assert [(q.name, q.low, q.high) for q in evaluation.found] == [("x", 3, 5), ("y", 10, 12)]


def test_one_case_of_a_quantity_among_evidence_of_two_analyses():
    # Case a holds by one analysis and fails by the other; case b holds by both.
    specs = [spec(name, {}, {"gain": "dB"}, by_case=["gain"]) for name in ("f", "g")]
    verification = "method: analysis, analysis: {}, quantity: gain, at_least: 3 dB"
    text = requirements(requirement("R-1", *(verification.format(name) for name in ("f", "g"))))
    built = build(text, *specs, clean=True)

    def found(f: dict[str, Extent], g: dict[str, Extent]) -> Compliance:
        return built.judge({"f": answer(gain=f), "g": answer(gain=g)}).requirements[0].compliance

    good, bad = extent(4), extent(1)
    assert found({"a": good, "b": good}, {"a": bad, "b": good}) is PC
    assert found({"a": good, "b": bad}, {"a": bad, "b": good}) is NC
    assert found({"a": good, "b": good}, {"a": good, "b": good}) is C


@pytest.mark.parametrize(
    ("verifications", "told"),
    [
        ([x(), by_test("FAIL")], True),
        ([x("at_least: 3000 mW"), by_test("FAIL")], True),
        ([x(given="h: 28 d"), by_test("FAIL")], True),
        ([x(), by_test("PASS")], False),
        ([x("at_least: 4 W"), by_test("FAIL", "at_least: 4 W")], False),  # the analysis said so
        ([x("at_least: 2 W"), by_test("FAIL")], False),  # another criterion
        ([by_test("FAIL")], False),
    ],
)
def test_a_test_that_fails_against_its_analysis_is_a_finding(verifications: list[str], told: bool):
    text = requirements(requirement("R-1", *verifications)) + RECORDS + PARAMETERS
    built = build(text, F, clean=True)
    found = contradictions(built.judge(ANSWERS), built.index, UNITS)
    assert len(found) == int(told)
    for finding in found:
        assert (finding.rule, finding.severity) == ("test-against-analysis", Severity.WARNING)
        assert finding.where.steps == ("requirements", 0, "verification", 1)
        assert "FAIL found x of R-1 not met, the analysis f finds it met" in finding.message
