"""States of a verification: by analysis, by cases, by records; every sentence of the contract."""

from __future__ import annotations

from math import isclose

import pytest

from closeout.model.answer import Extent
from closeout.model.dossier import Compliance, Evidence, State
from closeout.model.problem import Severity
from tests.graph.projects import (
    CHARTER,
    Built,
    answer,
    build,
    extent,
    failed,
    only_entry,
    requirement,
    requirements,
    result,
    spec,
)

C, PC, NC, OPEN = Compliance.C, Compliance.PC, Compliance.NC, Compliance.OPEN
DATED = "date: 2026-01-01, "
BY_F = "method: analysis, analysis: f, quantity: x, at_least: 3 W"


# by analysis


def test_met_and_not_met_rest_on_the_worst_end():
    built = build(requirements(requirement("R-1", BY_F)), spec("f"), clean=True)
    entry = only_entry(built.judge({"f": answer(x=extent(3, 5))}))
    assert (entry.state, entry.margin, entry.counterexample) == (State.MET, 0, ())
    entry = only_entry(built.judge({"f": answer(x=Extent(4.0, 2.5, 5.0))}))
    assert (entry.state, entry.margin) == (State.NOT_MET, -0.5)


def test_the_counterexample_is_the_corner_of_the_failing_end_with_units():
    text = (
        requirements(
            requirement("R-1", BY_F.replace("at_least: 3 W", "at_least: 1 W, at_most: 4 W"))
        )
        + "parameters: {p: {value: 1 mW, tolerance: 0.5 mW}}\n"
    )
    built = build(text, spec("f", {"p": "W"}), clean=True)
    wide = Extent(2.0, 1.5, 5.0, low_at=(("p", 0.0005),), high_at=(("p", 0.0015),))
    entry = only_entry(built.judge({"f": answer(x=wide)}))
    assert entry.counterexample == entry.at == (("p", "0.0015 W exactly"),)


@pytest.mark.parametrize(
    ("kind", "message", "told"),
    [
        ("raised", "ZeroDivisionError: by zero\nmore", "ZeroDivisionError: by zero"),
        ("timed out", "it ran longer than 60 s", "it ran longer than 60 s"),
        ("killed", "by SIGKILL", "killed: by SIGKILL"),
        ("bad result", "x is nan", "bad result: x is nan"),
    ],
)  # fmt: skip
def test_a_failed_analysis_is_an_error_neither_met_nor_not_met(kind: str, message: str, told: str):
    built = build(requirements(requirement("R-1", BY_F)), spec("f"), clean=True)
    dossier = built.judge({"f": failed(kind, message)})
    assert (only_entry(dossier).state, only_entry(dossier).message) == (State.ERROR, told)
    assert result(dossier, "R-1").compliance is OPEN
    assert not result(dossier, "R-1").closed
    assert dossier.exit_status == 2


def test_an_answer_without_the_quantity_is_an_error_and_no_silence():
    built = build(requirements(requirement("R-1", "method: test, records: [T]", BY_F))
                  + "records: [{id: T, method: test, date: 2026-01-01, outcome: met}]\n",
                  spec("f"), clean=True)  # fmt: skip
    dossier = built.judge({"f": answer()})
    assert [e.state for e in result(dossier, "R-1").evidence] == [State.MET, State.ERROR]
    assert result(dossier, "R-1").compliance is OPEN


def test_an_analysis_that_is_to_be_written_is_planned():
    built = build(requirements(requirement("R-1", "method: analysis, review: AR")), clean=True)
    entry = only_entry(built.judge(review="PDR"))
    assert (entry.state, entry.due) == (State.OPEN, False)
    assert entry.message == "planned, due at AR; the analysis is to be written"
    assert only_entry(build(requirements(requirement("R-1", "method: test"))).judge()).message == (
        "planned"
    )


# by cases

BY_CASE = "method: analysis, analysis: g, quantity: gain, at_least: 3 dB"
G = spec("g", {}, {"gain": "dB"}, by_case=["gain"])


def cases(more: str, *records: str, **extents: Extent) -> tuple[Compliance, list[Evidence], int]:
    verifications = [BY_CASE + more]
    text = requirements(requirement("R-1", *verifications, *records)) + (
        "records:\n"
        f"  - {{id: FAILED, method: test, {DATED}measured: {{gain: 1 dB +/- 1 dB (k = 2)}}}}\n"
        f"  - {{id: PASSED, method: test, {DATED}measured: {{gain: 9 dB +/- 1 dB (k = 2)}}}}\n"
    )
    built = build(text, G, clean=True)
    dossier = built.judge({"g": answer(gain=extents)})
    return (
        result(dossier, "R-1").compliance,
        list(result(dossier, "R-1").evidence),
        (dossier.exit_status),
    )


ABSENT = Extent(None, absent="never rises")


def test_a_criterion_must_hold_in_each_case():
    code, entries, status = cases("", a=extent(4, 5), b=extent(3, 4))
    assert (code, [e.case for e in entries], status) == (C, ["a", "b"], 0)
    code, entries, status = cases("", a=extent(4, 5), b=extent(2, 4))
    assert (code, [e.state for e in entries], status) == (PC, [State.MET, State.NOT_MET], 1)
    assert cases("", a=extent(1, 5), b=extent(2, 4))[0] is NC


def test_an_absent_case_is_not_met_and_says_why():
    code, entries, _ = cases("", a=extent(4, 5), b=ABSENT)
    assert code is PC
    assert (entries[1].state, entries[1].value, entries[1].margin) == (State.NOT_MET, None, None)
    assert entries[1].message == "no value: never rises"
    assert cases("", b=ABSENT)[0] is NC
    at_a_corner = Extent(7.0, low_at=(), absent="sets")
    code, entries, _ = cases("", a=at_a_corner)
    assert (code, entries[0].value) == (NC, 7)


@pytest.mark.parametrize(
    ("wanted", "code", "states"),
    [
        (1, C, ["met", "met", "met", "met"]),
        (2, C, ["met", "met", "met", "met"]),
        (3, PC, ["met", "met", "not met", "not met"]),
        (4, PC, ["met", "met", "not met", "not met"]),
    ],
)
def test_at_least_n_cases(wanted: int, code: Compliance, states: list[str]):
    found, entries, status = cases(
        f", cases: at least {wanted}",
        a=extent(4, 5), b=extent(3, 4), c=extent(1, 9), d=ABSENT,
    )  # fmt: skip
    assert (found, [e.state.value for e in entries]) == (code, states)
    assert status == (0 if code is C else 1)
    assert all(f"{wanted} of 4 cases required, 2 met" in str(e.message) for e in entries)
    assert {e.cases_wanted for e in entries} == {wanted}
    # A case that is let go has no margin, so that no number contradicts its state.
    assert all(e.margin is None or (e.margin >= 0) is (e.state is State.MET) for e in entries)


def test_more_cases_asked_than_there_are_is_a_shortfall_though_each_is_met():
    code, entries, status = cases(", cases: at least 3", a=extent(4, 5), b=extent(3, 4))
    assert (code, status) == (PC, 1)
    assert [(e.case, e.state) for e in entries] == [
        ("a", State.MET), ("b", State.MET), (None, State.NOT_MET),
    ]  # fmt: skip
    assert entries[2].message == "3 of 2 cases required, 2 met"
    assert cases(", cases: at least 1", a=extent(1, 2))[0] is NC


def test_a_failed_test_speaks_of_every_case():
    test = "method: test, quantity: gain, at_least: 3 dB, records: [{}]"
    good = {"a": extent(4, 5), "b": extent(3, 4)}
    assert cases("", test.format("PASSED"), **good)[0] is C
    assert cases("", test.format("FAILED"), **good)[0] is NC
    mixed = {"a": extent(4, 5), "b": extent(1, 4)}
    assert cases("", test.format("PASSED"), **mixed)[0] is PC
    assert cases("", "method: test, quantity: gain, at_least: 3 dB", **mixed)[0] is NC


# by records

TEST = "method: test, quantity: x, at_least: 3 W, records: [T-1]"


def recorded(
    record: str,
    verification: str = TEST,
    *,
    issue: str = "A",
    more: str = "",
    others: tuple[str, ...] = (),
    specs: tuple[str, ...] = (),
) -> tuple[Evidence, Built]:
    """Return the evidence of a requirement that is verified by the record T-1."""
    text = requirements(requirement("R-1", verification, *others, more=f"issue: {issue}"))
    text += f"records:\n  - {{id: T-1, method: test, {record}}}\n{more}"
    built = build(text, *(spec(name, {"h": "d"}) for name in specs), clean=True)
    dossier = built.judge({name: answer(x=extent(9, 9)) for name in specs})
    return result(dossier, "R-1").evidence[0], built


def test_a_record_without_a_date_is_planned():
    entry, _ = recorded("measured: {x: 4 W +/- 0.1 W (k = 2)}")
    assert (entry.state, entry.message) == (State.OPEN, "T-1 is planned, not yet performed")
    assert entry.record == "T-1"
    entry, _ = recorded("outcome: not met")
    assert entry.state is State.OPEN


@pytest.mark.parametrize(
    ("outcome", "state"),
    [(", outcome: met", State.MET), (", outcome: not met", State.NOT_MET), ("", State.OPEN)],
)
def test_an_outcome_where_nothing_is_measured(outcome: str, state: State):
    report = "nonconformances: [{id: N, found_by: T-1}]\n"
    entry, _ = recorded(f"date: 2026-01-01{outcome}", "method: test, records: [T-1]", more=report)
    assert entry.state is state


# JCGM 106:2012, 8.3.2: with a guard band of one expanded uncertainty the measured value less U must
# reach the lower limit (guarded acceptance). The numbers are worked out by hand.
@pytest.mark.parametrize(
    ("limits", "measured", "state", "margin"),
    [
        ("at_least: 3 W", "3.5 W +/- 0.5 W (k = 2)", State.MET, 0),
        ("at_least: 3 W", "3.5 W +/- 0.51 W (k = 2)", State.OPEN, -0.01),
        ("at_least: 3 W", "{value: 3 W, exact: A count.}", State.MET, 0),
        ("at_least: 3 W", "2.5 W +/- 0.5 W (k = 2)", State.OPEN, -1),
        ("at_least: 3 W", "2.4 W +/- 0.5 W (k = 2)", State.NOT_MET, -1.1),
        ("at_most: 3 W", "2.5 W +/- 0.5 W (k = 2)", State.MET, 0),
        ("at_most: 3 W", "3.2 W +/- 0.5 W (k = 2)", State.OPEN, -0.7),
        ("at_most: 3 W", "3.6 W +/- 0.5 W (k = 2)", State.NOT_MET, -1.1),
        ("at_least: 2 W, at_most: 4 W", "3 W +/- 0.5 W (k = 2)", State.MET, 0.5),
        ("at_least: 2 W, at_most: 4 W", "3 W +/- 1.5 W (k = 2)", State.OPEN, -0.5),
        ("at_least: 2 W, at_most: 4 W", "5 W +/- 0.5 W (k = 2)", State.NOT_MET, -1.5),
        ("equal_to: 3 W, within: 1 W", "3.5 W +/- 0.5 W (k = 2)", State.MET, 0),
        ("equal_to: 3 W, within: 1 W", "3.5 W +/- 0.6 W (k = 2)", State.OPEN, -0.1),
        ("at_least: 3 W", "3500 mW +/- 10 % (k = 2)", State.MET, 0.15),
        ("at_least: 3500 mW", "{value: 3.5 W, exact: A count.}", State.MET, 0),
    ],
)
def test_a_measured_value_is_guarded_by_its_uncertainty(
    limits: str, measured: str, state: State, margin: float
):
    verification = TEST.replace("at_least: 3 W", limits)
    entry, _ = recorded(f"{DATED}measured: {{x: {measured}}}", verification)
    assert entry.state is state
    assert entry.margin is not None
    assert isclose(entry.margin, margin, abs_tol=1e-12)
    assert (entry.margin >= 0) is (state is State.MET)
    assert entry.low is not None
    assert entry.value is not None
    assert entry.high is not None
    assert entry.low <= entry.value <= entry.high
    if state is State.OPEN:
        assert entry.message == "inconclusive: the limit lies inside the uncertainty"


def test_the_two_ends_of_a_measured_value_are_shown_as_they_are():
    entry, _ = recorded(f"{DATED}measured: {{x: 2.9 W +/- 0.4 W (k = 2)}}")
    assert (entry.low, entry.value, entry.high) == (2.5, 2.9, 3.3)


def test_without_an_uncertainty_a_measured_value_cannot_be_judged():
    entry, built = recorded(f"{DATED}measured: {{x: 9 W}}")
    assert entry.state is State.ERROR
    assert "gives no uncertainty of x" in str(entry.message)
    assert built.judge().exit_status == 2


def test_a_record_that_measures_something_else_is_open():
    entry, _ = recorded(f"{DATED}measured: {{y: 9 W +/- 1 W (k = 2)}}")
    assert (entry.state, entry.message) == (State.OPEN, "T-1 measures no x")
    entry, _ = recorded(f"{DATED}outcome: met")
    assert entry.state is State.OPEN


def test_an_outcome_of_not_met_is_not_hidden_by_a_good_number():
    report = "nonconformances: [{id: N, found_by: T-1}]\n"
    bad = f"{DATED}outcome: not met, measured: {{x: 9 W +/- 1 W (k = 2)}}"
    entry, _ = recorded(bad, more=report)
    assert entry.state is State.NOT_MET
    assert entry.margin is None
    entry, _ = recorded(f"{DATED}outcome: met, measured: {{x: 1 W +/- 1 W (k = 2)}}")
    assert entry.state is State.NOT_MET


GOOD = f"{DATED}measured: {{x: 9 W +/- 1 W (k = 2)}}"


@pytest.mark.parametrize(
    ("judged", "issue", "told"),
    [
        ("", "C", None),
        (", judged: {R-1: B}", "B", None),
        (", judged: {R-1: A}", "B", "re-opened: T-1 judged issue A, the requirement is at B"),
        (", judged: {R-1: C}", "B", "re-opened: T-1 judged issue C, the requirement is at B"),
        (", judged: {R-9: B}", "B", "T-1 does not name R-1 as judged"),
    ],
)
def test_another_issue_re_opens_and_names_both(judged: str, issue: str, told: str | None):
    more = "" if "R-9" not in judged else "waivers: []\n"
    text = requirements(
        requirement("R-1", TEST, more=f"issue: {issue}"), requirement("R-9", "method: test")
    )
    text += f"records:\n  - {{id: T-1, method: test, {GOOD}{judged}}}\n{more}"
    entry = only_entry(build(text, clean=True).judge())
    assert (entry.state, entry.message) == (
        (State.MET, None) if told is None else (State.OPEN, told)
    )


@pytest.mark.parametrize(
    ("article", "told"),
    [
        ("article: {BAT: FM-3}", None),
        ("article: {BAT: FM-2}", "re-opened: T-1 was made on BAT build FM-2, BAT is at build FM-3"),
        ("article: {BAT: FM-2}, same_design: Only the label differs.", None),
        ("article: {LAMP: X}", None),  # the register gives no build of it
    ],
)
def test_another_build_of_the_article_re_opens(article: str, told: str | None):
    entry, _ = recorded(
        f"{GOOD}, {article}",
        more="articles:\n  - {id: BAT, title: Battery, model: flight, build: FM-3}\n"
        "  - {id: LAMP, title: Lamp, model: flight}\n",
    )
    assert (entry.state, entry.message) == (
        (State.MET, None) if told is None else (State.OPEN, told)
    )


HOLD = "parameters: {h: {value: 20 d, condition: true}}\n"


@pytest.mark.parametrize(
    ("given", "conditions", "told"),
    [
        ("28 d", "h: 28 d", None),
        ("28 d", "h: 672 h", None),
        ("28 d", "h: 27 d", "re-opened: T-1 was made at h = 27 d, the criterion applies at 28 d"
         ", and no test tolerance is stated (within:)"),
        ("[20 d, 28 d]", "h: 24 d",
         "h: tested at 24 d; the criterion applies from 20 d to 28 d"
         "; test both ends, or state another point with its reason (tested_at:)"),
        ("[20 d, 28 d]", "h: [20 d, 28 d]", None),
        ("[20 d, 28 d]", "h: 29 d",
         "re-opened: T-1 was made at h = 29 d, the criterion applies from 20 d to 28 d"
         ", and no test tolerance is stated (within:)"),
        ("28 d", "", "T-1 does not state h"),
    ],
)  # fmt: skip
def test_the_conditions_of_a_test_must_be_those_of_its_verification(
    given: str, conditions: str, told: str | None
):
    record = f"{GOOD}, conditions: {{{conditions}}}" if conditions else GOOD
    entry, _ = recorded(record, f"{TEST}, given: {{h: {given}}}", more=HOLD)
    assert (entry.state, entry.message) == (
        (State.MET, None) if told is None else (State.OPEN, told)
    )


@pytest.mark.parametrize(
    ("conditions", "limit", "told"),
    [
        ("h: 28 d", "at_least: 3 W", None),
        ("h: 28 d", "at_least: 3000 mW", None),
        ("h: 27 d", "at_least: 3000 mW",
         "re-opened: T-1 was made at h = 27 d, the criterion applies at 28 d"
         ", and no test tolerance is stated (within:)"),
        # Of another criterion; so it is held against what the project has.
        ("h: 27 d", "at_least: 4 W",
         "re-opened: T-1 was made at h = 27 d, the project has 20 d"),
        ("h: 20 d", "at_least: 4 W", None),
    ],
)  # fmt: skip
def test_a_test_without_conditions_is_held_against_those_of_the_same_criterion(
    conditions: str, limit: str, told: str | None
):
    entry, _ = recorded(
        f"{GOOD}, conditions: {{{conditions}}}",
        others=(f"method: analysis, analysis: f, quantity: x, {limit}, given: {{h: 28 d}}",),
        more=HOLD,
        specs=("f",),
    )
    assert (entry.state, entry.message) == (
        (State.MET, None) if told is None else (State.OPEN, told)
    )


FAILED = f"{DATED}measured: {{x: 1 W +/- 0.1 W (k = 2)}}"


def several(names: str, *records: str) -> Evidence:
    text = requirements(requirement("R-1", TEST.replace("T-1", names))) + "records:\n"
    text += "".join(f"  - {{method: test, {record}}}\n" for record in records)
    return only_entry(build(text, clean=True).judge())


def test_a_record_that_is_replaced_does_not_count():
    newer = f"id: T-2, {GOOD}, replaces: T-1"
    older = f"id: T-1, {GOOD.replace('9 W', '8 W')}"
    assert several("T-1, T-2", older, newer).record == "T-2"
    assert several("T-1, T-2", older, newer).state is State.MET
    # A failure counts on, until its nonconformance is closed: here nobody has written one.
    failed = several("T-1, T-2", f"id: T-1, {FAILED}", newer)
    assert (failed.state, failed.record) == (State.NOT_MET, "T-1")
    assert failed.message == "it has no nonconformance, so it still counts"
    assert several("T-2", f"id: T-1, {FAILED}", newer).state is State.MET
    # Planned only, it replaces nothing yet.
    planned = "id: T-2, replaces: T-1"
    assert several("T-1, T-2", f"id: T-1, {FAILED}", planned).state is State.NOT_MET
    assert several("T-1, T-2", f"id: T-1, {GOOD}", planned).state is State.OPEN


def test_a_verification_that_names_only_a_replaced_record_is_open():
    entry = several("T-1", f"id: T-1, {GOOD}", f"id: T-2, {FAILED}, replaces: T-1")
    assert entry.state is State.OPEN
    assert entry.message == "T-1 is replaced by T-2, which is not named in this verification"


@pytest.mark.parametrize(
    ("records", "worst", "state"),
    [
        ((f"id: T-1, {GOOD}", f"id: T-2, {FAILED}"), "T-2", State.NOT_MET),
        ((f"id: T-1, {FAILED}", f"id: T-2, {GOOD}"), "T-1", State.NOT_MET),
        ((f"id: T-1, {GOOD}", "id: T-2"), "T-2", State.OPEN),
        (("id: T-1", f"id: T-2, {FAILED}"), "T-2", State.NOT_MET),
        (("id: T-1", f"id: T-2, {DATED}measured: {{x: 9 W}}"), "T-2", State.ERROR),
        ((f"id: T-1, {GOOD}", f"id: T-2, {GOOD.replace('9 W', '8 W')}"), "T-2", State.MET),
    ],
)
def test_the_worst_record_decides(records: tuple[str, ...], worst: str, state: State):
    entry = several("T-1, T-2", *records)
    assert (entry.record, entry.state) == (worst, state)


def test_a_covered_failure_does_not_hide_one_that_is_not_covered():
    text = requirements(
        requirement(
            "R-1", "method: test, quantity: x, at_least: 3 W, at_most: 5 W, records: [T-1, T-2]"
        )
    )
    text += (
        "records:\n"
        f"  - {{id: T-1, method: test, {DATED}measured: {{x: {{value: 1 W, exact: A count.}}}}}}\n"
        f"  - {{id: T-2, method: test, {DATED}measured: {{x: {{value: 6 W, exact: A count.}}}}}}\n"
        "waivers:\n"
        "  - {id: W, kind: waiver, requirement: R-1, approved_by: board, date: 2026-01-01,\n"
        "     accepts: {quantity: x, at_least: 1 W}}\n"
    )
    entry = only_entry(build(text, clean=True).judge())
    assert (entry.record, entry.covered_by) == ("T-2", None)


def test_an_analysis_is_never_recorded():
    # No verdict on an analysis is typed by hand: its record is refused, and nothing is met by it.
    record = "records: [{id: T-1, method: analysis, date: 2026-01-01, outcome: met}]\n"
    by_hand = "method: analysis, review: CDR, records: [T-1]"
    built = build(requirements(requirement("R-1", by_hand)) + record, charter=CHARTER)
    assert [p.rule for p in built.problems if p.severity is Severity.ERROR] == ["not-allowed"]
    assert only_entry(built.judge({})).state is State.OPEN


def test_a_test_cannot_be_closed_by_an_analysis():
    text = requirements(requirement("R-1", BY_F.replace("method: analysis", "method: test")))
    built = build(text, spec("f"), charter=CHARTER)
    assert built.judge({"f": answer(x=extent(9))}).exit_status == 2


def test_the_second_of_two_requirements_with_one_name_has_no_say():
    text = requirements(
        requirement("R-1", BY_F), requirement("R-1", BY_F.replace("3 W", "1 W"), BY_F)
    )
    built = build(text, spec("f"))
    dossier = built.judge({"f": answer(x=extent(2))})
    assert [r.compliance for r in dossier.requirements] == [NC]
    assert only_entry(dossier).at_least == 3
