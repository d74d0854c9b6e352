"""Reviews: what is due, what is later, what is outstanding, and the exit status by its cause."""

from __future__ import annotations

import pytest

from closeout.model.dossier import Compliance, Dossier, State
from tests.graph.projects import (
    answer,
    build,
    extent,
    failed,
    requirement,
    requirements,
    result,
    spec,
)

C, PC, NC, OPEN = Compliance.C, Compliance.PC, Compliance.NC, Compliance.OPEN
BY_F = "method: analysis, analysis: f, quantity: x, at_least: 3 W"


def judged(
    *items: str, review: str | None, x: float = 3, more: str = "", broken: bool = False
) -> Dossier:
    built = build(requirements(*items) + more, spec("f"), clean=True)
    return built.judge({"f": failed() if broken else answer(x=extent(x))}, review)


def test_analysis_met_and_test_due_later_is_c_and_not_closed_then_open():
    """The example of the contract: C and not closed at CDR, open at AR."""
    item = requirement("R-1", BY_F + ", review: CDR", "method: test, review: AR")
    at_cdr = judged(item, review="CDR")
    one = result(at_cdr, "R-1")
    assert (one.compliance, one.closed, one.due, one.outstanding) == (C, False, True, False)
    assert [e.due for e in one.evidence] == [True, False]
    assert one.evidence[1].message == "planned, due at AR"
    assert one.why == "test open: planned, due at AR"
    assert at_cdr.exit_status == 0
    at_ar = judged(item, review="AR")
    one = result(at_ar, "R-1")
    assert (one.compliance, one.closed, one.due, one.outstanding) == (OPEN, False, True, True)
    assert at_ar.exit_status == 1


@pytest.mark.parametrize(
    ("due_at", "review", "due"),
    [
        ("PDR", "PDR", True), ("PDR", "CDR", True), ("PDR", "AR", True), ("CDR", "PDR", False),
        ("CDR", "CDR", True), ("AR", "CDR", False), ("AR", None, True), ("CDR", None, True),
    ],
)  # fmt: skip
def test_judged_is_what_is_due_at_or_before_the_review(due_at: str, review: str | None, due: bool):
    dossier = judged(requirement("R-1", f"{BY_F}, review: {due_at}"), review=review, x=1)
    one = result(dossier, "R-1")
    assert (one.evidence[0].due, one.due, one.outstanding) == (due, due, due)
    assert one.evidence[0].state is State.NOT_MET  # shown, early or not
    assert one.compliance is (NC if due else OPEN)
    assert dossier.exit_status == (1 if due else 0)


def test_a_verification_without_a_review_is_always_due():
    dossier = judged(requirement("R-1", "method: test"), review="PDR")
    assert dossier.requirements[0].outstanding


def test_next_review_is_taken_where_none_is_asked_for():
    charter = "project: {name: L, reviews: [PDR, CDR, AR], next_review: PDR}\n"
    text = requirements(requirement("R-1", "method: test, review: CDR"))
    built = build(text, charter=charter)
    assert built.judge().exit_status == 0
    assert built.judge().review == "PDR"
    assert built.judge(review="CDR").exit_status == 1


def test_without_reviews_everything_is_due():
    built = build(requirements(requirement("R-1", "method: test")), charter="project: {name: L}\n")
    assert built.judge().exit_status == 1


def test_an_early_shortfall_is_shown_and_does_not_count():
    item = requirement("R-1", "method: inspection, records: [I]", BY_F + ", review: AR")
    record = "records: [{id: I, method: inspection, date: 2026-01-01, outcome: met}]\n"
    dossier = judged(item, review="CDR", x=1, more=record)
    one = result(dossier, "R-1")
    assert (one.compliance, one.closed, one.outstanding) == (C, False, False)
    assert one.why == "x by analysis not met, not yet due (AR) against at least 3 W"
    assert dossier.exit_status == 0
    assert result(judged(item, review="AR", x=1, more=record), "R-1").compliance is PC


def test_what_is_due_is_the_reason_before_what_is_early():
    item = requirement("R-1", BY_F + ", review: AR", BY_F.replace("3 W", "2 W") + ", review: PDR")
    one = result(judged(item, review="CDR", x=1), "R-1")
    assert one.why.startswith("x by analysis not met against at least 2 W")


def test_closed_speaks_of_the_whole_life():
    item = requirement("R-1", BY_F + ", review: PDR", BY_F.replace("3 W", "2 W") + ", review: AR")
    for review in ("PDR", "CDR", "AR", None):
        assert result(judged(item, review=review), "R-1").closed
        assert not result(judged(item, review=review, x=2.5), "R-1").closed


def test_a_parent_that_is_open_only_because_of_later_reviews_is_not_outstanding():
    items = [
        requirement("S-1"),
        requirement("R-1", BY_F + ", review: CDR", more="derived_from: [S-1]"),
        requirement("R-2", "method: test, review: AR", more="derived_from: [S-1]"),
    ]
    dossier = judged(*items, review="CDR")
    parent = result(dossier, "S-1")
    assert (parent.compliance, parent.due, parent.outstanding) == (OPEN, True, False)
    assert dossier.exit_status == 0
    dossier = judged(*items, review="PDR")
    parent = result(dossier, "S-1")
    assert (parent.due, parent.outstanding) == (False, False)
    dossier = judged(*items, review="AR")
    assert result(dossier, "S-1").outstanding
    assert dossier.exit_status == 1


def test_outstanding_rises_over_requirements_with_their_own_verifications():
    items = [
        requirement("S-1", BY_F),
        requirement("M-1", BY_F, more="derived_from: [S-1]"),
        requirement("R-1", "method: test, review: CDR", more="derived_from: [M-1]"),
    ]
    assert [r.outstanding for r in judged(*items, review="CDR").requirements] == [True] * 3
    assert [r.outstanding for r in judged(*items, review="PDR").requirements] == [False] * 3
    assert [r.compliance for r in judged(*items, review="CDR").requirements] == [C, C, OPEN]


TEST = "method: test, records: [T], quantity: x, at_least: 3 W"


@pytest.mark.parametrize(
    ("name", "items", "more", "x", "status"),
    [
        ("all met", [requirement("R-1", BY_F)], "", 3, 0),
        ("not met", [requirement("R-1", BY_F)], "", 2, 1),
        ("planned", [requirement("R-1", BY_F, "method: test")], "", 3, 1),
        ("inside the guard band", [requirement("R-1", TEST)],
         "records: [{id: T, method: test, date: 2026-01-01, measured: {x: 3 W +/- 1 W (k = 2)}}]\n",
         3, 1),
        ("re-opened", [requirement("R-1", TEST, more="issue: B")],
         "records: [{id: T, method: test, date: 2026-01-01, judged: {R-1: A},"
         " measured: {x: 9 W +/- 1 W (k = 2)}}]\n", 3, 1),
        ("no uncertainty", [requirement("R-1", TEST)],
         "records: [{id: T, method: test, date: 2026-01-01, measured: {x: 9 W}}]\n", 3, 2),
        ("covered", [requirement("R-1", BY_F)],
         "waivers: [{id: W, kind: waiver, requirement: R-1, accepts: {quantity: x, at_least: 1 W},"
         " approved_by: me, date: 2026-01-01}]\n", 2, 0),
        ("all below not applicable",
         [requirement("S-1"),
          requirement("R-1", more="derived_from: [S-1]\nnot_applicable: {reason: No.}")],
         "", 3, 1),
        ("not applicable", [requirement("R-1", more="not_applicable: {reason: No.}")], "", 3, 0),
        ("nothing", [], "", 3, 0),
    ],
)  # fmt: skip
def test_exit_status_by_cause(name: str, items: list[str], more: str, x: float, status: int):
    text = (requirements(*items) if items else "") + more
    built = build(text, spec("f"), clean=True)
    assert built.judge({"f": answer(x=extent(x))}).exit_status == status


def test_an_analysis_error_makes_two_where_it_is_due_and_not_before():
    """Decided here: an error of a later review waits for its turn, as an early shortfall does."""
    item = requirement("R-1", "method: inspection, records: [I]", BY_F + ", review: AR")
    record = "records: [{id: I, method: inspection, date: 2026-01-01, outcome: met}]\n"
    early = judged(item, review="CDR", broken=True, more=record)
    assert early.exit_status == 0
    assert not result(early, "R-1").closed
    assert "could not be evaluated, not yet due (AR)" in result(early, "R-1").why
    assert judged(item, review="AR", broken=True, more=record).exit_status == 2


def test_the_highest_status_applies():
    items = [requirement("R-1", BY_F), requirement("R-2", "method: test")]
    assert judged(*items, review=None, broken=True).exit_status == 2
    assert judged(*items, review=None).exit_status == 1


def test_a_broken_trace_makes_two_though_all_is_met():
    text = requirements(requirement("R-1", BY_F, more="derived_from: [S-9]"))
    dossier = build(text, spec("f")).judge({"f": answer(x=extent(3))})
    assert dossier.requirements[0].compliance is C
    assert dossier.exit_status == 2


def test_a_warning_changes_no_status():
    text = requirements(requirement("R-1", BY_F)) + "parameters: {spare: {value: 1 W}}\n"
    built = build(text, spec("f"))
    assert built.rules == ["unused-parameter"]
    assert built.judge({"f": answer(x=extent(3))}).exit_status == 0


def test_only_some_requirements_are_judged_with_what_is_derived_from_them():
    items = [
        requirement("S-1"),
        requirement("R-1", BY_F, more="derived_from: [S-1]"),
        requirement("S-2", "method: test"),
        requirement("R-2", "method: analysis, analysis: g, quantity: x, at_least: 9 W"),
    ]
    built = build(requirements(*items), spec("f"), spec("g"), clean=True)
    dossier = built.judge({"f": answer(x=extent(3))}, only=["S-1"])  # g is not asked
    assert [(r.id, r.compliance, r.closed) for r in dossier.requirements] == [
        ("S-1", C, True), ("R-1", C, True),
    ]  # fmt: skip
    assert dossier.exit_status == 0
    assert dossier.totals["C"] == 2
    assert built.judge({}, only=["S-2"]).exit_status == 1


def test_a_what_if_is_told_in_the_dossier_and_in_its_evaluation():
    text = requirements(requirement("R-1", BY_F)) + "parameters: {p: {value: 1 W}}\n"
    built = build(text, spec("f", {"p": "W"}), settings={"p": "2 W"}, clean=True)
    dossier = built.judge({"f": lambda question: answer(x=extent(dict(question.inputs)["p"] + 1))})
    assert dossier.settings == (("p", "2 W"),)
    assert dossier.draft
    assert dossier.requirements[0].evidence[0].value == 3
    assert dossier.evaluations[0].inputs[0].origin == "set"
