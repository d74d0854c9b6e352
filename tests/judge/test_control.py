"""Verification control: decision rules, re-verification, reports, waivers, margins, budgets.

Clauses: ECSS-E-ST-10-02C Rev.1, 5.4.3 (re-verification); JCGM 106:2012, 8.2 and 8.3 (decision
rules). Everything in the projects is invented.
"""

from __future__ import annotations

import pytest

from closeout.judge import findings_of
from closeout.judge.findings.waivers import void
from closeout.model.answer import Assurance, Extent
from closeout.model.dossier import Compliance, Dossier, Evidence, State
from closeout.model.problem import Severity
from tests.graph.projects import (
    UNITS,
    Built,
    answer,
    build,
    extent,
    requirement,
    requirements,
    result,
    spec,
)

C, PC, NC, OPEN = Compliance.C, Compliance.PC, Compliance.NC, Compliance.OPEN
MET, NOT_MET, WAITS = State.MET, State.NOT_MET, State.OPEN
TEST = "method: test, stage: qualification, quantity: x, at_least: 3 W, records: [T-1]"
BY_F = "method: analysis, analysis: f, quantity: x, at_least: 3 W"
DATED = "{id: T-1, method: test, date: 2026-01-01, "


def charter(policy: str = "", more: str = "") -> str:
    text = "project:\n  name: Lantern (invented)\n  reviews: [PDR, CDR, AR]\n"
    return text + (f"  policy: {policy}\n" if policy else "") + more


def judged(
    record: str, verification: str = TEST, *, policy: str = "", more: str = "", of: str = ""
) -> tuple[Evidence, Dossier, Built]:
    text = requirements(requirement("R-1", verification, more=of))
    text += f"records: [{record}]\n{more}"
    built = build(text, charter=charter(policy))
    dossier = built.judge()
    return result(dossier, "R-1").evidence[0], dossier, built


def told(built: Built, dossier: Dossier) -> list[str]:
    """Return the rules that found something in what was judged, sorted."""
    return sorted(finding.rule for finding in findings_of(dossier, built.index, UNITS))


# decision rules


@pytest.mark.parametrize(
    ("value", "guarded", "simple"),
    [
        ("3.2 W +/- 0.1 W (k = 2)", MET, MET),
        ("3.05 W +/- 0.1 W (k = 2)", WAITS, MET),
        ("2.95 W +/- 0.1 W (k = 2)", WAITS, NOT_MET),
        ("2.8 W +/- 0.1 W (k = 2)", NOT_MET, NOT_MET),
        ("3.1 W +/- 0.1 W (k = 2)", MET, MET),
        ("3 W", State.ERROR, MET),
    ],
)
def test_the_projects_decision_rule_decides(value: str, guarded: State, simple: State) -> None:
    record = f"{DATED}measured: {{x: {value}}}}}"
    assert judged(record)[0].state is guarded
    entry, *_ = judged(record, policy="{acceptance: simple}")
    assert entry.state is simple
    assert "simple acceptance" in str(entry.message)
    assert judged(record, policy="{acceptance: guarded}")[0].state is guarded


# re-verification

GOOD = "measured: {x: 4 W +/- 0.1 W (k = 2)}"
SWAP = "articles: [{id: BAT, title: Battery, model: flight, build: FM-3}]\n"


@pytest.mark.parametrize(
    ("stage", "same_design", "state"),
    [
        ("acceptance", "", WAITS),
        ("acceptance", ", same_design: One drawing.", WAITS),
        ("pre-launch", ", same_design: One drawing.", WAITS),
        ("qualification", "", WAITS),
        ("qualification", ", same_design: One drawing.", MET),
    ],
)
def test_a_record_of_another_build(stage: str, same_design: str, state: State) -> None:
    verification = TEST.replace("qualification", stage)
    entry, *_ = judged(
        f"{DATED}{GOOD}, article: {{BAT: FM-2}}{same_design}}}", verification, more=SWAP
    )
    assert entry.state is state
    if state is WAITS:
        assert str(entry.message).startswith(
            "re-opened: T-1 was made on BAT build FM-2, BAT is at build FM-3"
        )


def test_every_reason_is_told_at_once() -> None:
    record = f"{DATED}{GOOD}, judged: {{R-1: A}}, article: {{BAT: FM-2}}, conditions: {{h: 20 d}}}}"
    more = SWAP + "parameters: {h: {value: 28 d, condition: true}}\n"
    entry, *_ = judged(record, more=more, of="issue: B")
    message = str(entry.message)
    assert "judged issue A, the requirement is at B" in message
    assert "was made on BAT build FM-2" in message
    assert "was made at h = 20 d, the project has 28 d" in message


@pytest.mark.parametrize(
    ("parameter", "state"),
    [
        ("value: 55 kPa", MET),
        ("value: 550 hPa", MET),
        ("value: 54 kPa", WAITS),
        # A design value that moved is another one, however wide its tolerance.
        ("value: 54 kPa, tolerance: 1 kPa", WAITS),
        ("value: 54 kPa, tolerance: 1 kPa, condition: true", MET),
        ("value: 54 kPa, tolerance: 0.5 kPa, condition: true", WAITS),
    ],
)
def test_a_threshold_that_changed_after_its_test_reopens_it(parameter: str, state: State) -> None:
    entry, *_ = judged(
        f"{DATED}{GOOD}, conditions: {{threshold: 55 kPa}}}}",
        more=f"parameters: {{threshold: {{{parameter}, source: Invented}}}}\n",
    )
    assert entry.state is state


def test_only_what_rests_on_a_build_is_reopened() -> None:
    text = requirements(
        requirement("R-1", TEST),
        requirement("R-2", TEST.replace("T-1", "T-2")),
        requirement("R-3", TEST.replace("T-1", "T-3")),
    )
    text += (
        "records:\n"
        f"  - {DATED}{GOOD}, article: {{BAT: FM-2}}}}\n"
        f"  - {DATED.replace('T-1', 'T-2')}{GOOD}, article: {{REC: EM-1}}}}\n"
        f"  - {DATED.replace('T-1', 'T-3')}{GOOD}}}\n"
    )
    articles = (
        "articles:\n  - {{id: BAT, title: Battery, model: flight, build: {}}}\n"
        "  - {{id: REC, title: Recorder, model: flight, build: EM-1}}\n"
    )
    before = build(text + articles.format("FM-2"), clean=True).judge()
    after = build(text + articles.format("FM-3"), clean=True).judge()
    assert [r.compliance for r in before.requirements] == [C, C, C]
    assert [r.compliance for r in after.requirements] == [OPEN, C, C]


@pytest.mark.parametrize(
    ("good_for", "review", "state"),
    [("180 d", "CDR", MET), ("100 d", "CDR", WAITS), ("180 d", "AR", WAITS), ("1 a", "AR", MET)],
)
def test_how_long_a_record_is_good_counts_to_the_review(
    good_for: str, review: str, state: State
) -> None:
    # 2026-01-01 to 2026-05-01 are 120 days, to 2026-12-01 334 days.
    text = requirements(requirement("R-1", TEST))
    text += f"records: [{DATED}{GOOD}, good_for: {good_for}}}]\n"
    dates = "  review_dates: {CDR: 2026-05-01, AR: 2026-12-01}\n"
    dossier = build(text, charter=charter(more=dates), clean=True).judge(review=review)
    assert result(dossier, "R-1").evidence[0].state is state
    unknown = build(text, charter=charter(), clean=True).judge(review=review)
    assert result(unknown, "R-1").evidence[0].state is WAITS


@pytest.mark.parametrize(
    ("stage", "judged_as", "kind", "state"),
    [
        ("qualification", "R-1: A", "similarity", MET),
        ("acceptance", "R-1: A", "similarity", WAITS),
        ("pre-launch", "R-1: A", "similarity", WAITS),
    ],
)
def test_similarity_is_an_analysis_and_no_evidence_of_acceptance(
    stage: str, judged_as: str, kind: str, state: State
) -> None:
    record = f"{{id: S-1, method: {kind}, date: 2026-01-01, judged: {{{judged_as}}}, outcome: met}}"
    entry, *_ = judged(record, f"method: analysis, stage: {stage}, records: [S-1]")
    assert entry.state is state


@pytest.mark.parametrize(
    ("judged_as", "state"),
    [("judged: {R-1: A}, ", MET), ("judged: {R-2: A}, ", WAITS), ("", WAITS)],
)
def test_an_analogue_counts_for_what_it_names(judged_as: str, state: State) -> None:
    record = f"{DATED}{judged_as}differs: the harness, {GOOD}}}"
    entry, *_ = judged(record)
    assert entry.state is state
    if state is MET:
        assert entry.message == "tested on a non-flight article; differences: the harness"
    # It counts for no quantity that it does not measure.
    entry, *_ = judged(record, TEST.replace("quantity: x", "quantity: y"))
    assert entry.state is WAITS


# nonconformances

BAD = f"{DATED}measured: {{x: 1 W +/- 0.1 W (k = 2)}}, article: {{BAT: FM-2}}}}"
AGAIN = (
    "{id: T-2, method: test, date: 2026-03-01, replaces: T-1, article: {BAT: FM-3}, " + GOOD + "}"
)
BOTH = TEST.replace("[T-1]", "[T-1, T-2]")


@pytest.mark.parametrize(
    ("closed_by", "state", "code", "closed"),
    [(", closed_by: T-2", MET, C, True), ("", NOT_MET, NC, False)],
)
def test_a_failed_record_counts_until_it_is_replaced_and_its_report_is_closed(
    closed_by: str, state: State, code: Compliance, closed: bool
) -> None:
    report = (
        "nonconformances:\n  - {id: NCR-7, found_by: T-1, requirements: [R-1],"
        f" disposition: rework, retest: [T-2]{closed_by}}}\n"
    )
    entry, dossier, _ = judged(f"{BAD}, {AGAIN}", BOTH, more=SWAP + report)
    assert (entry.state, result(dossier, "R-1").compliance) == (state, code)
    assert result(dossier, "R-1").closed is closed


def test_a_failure_stays_one_though_the_build_has_changed() -> None:
    entry, dossier, _ = judged(BAD, more=SWAP)
    assert entry.state is NOT_MET
    assert "was made on BAT build FM-2" in str(entry.message)
    assert result(dossier, "R-1").compliance is NC


@pytest.mark.parametrize(
    ("disposition", "waiver", "closed"),
    [
        ("rework", "", True),
        ("use as is", "", False),
        ("repair", "", False),
        ("use as is", "approved_by: me, date: 2026-02-01", True),
    ],
)
def test_use_as_is_and_repair_need_a_waiver(disposition: str, waiver: str, closed: bool) -> None:
    more = (
        "nonconformances:\n  - {id: NCR-7, requirements: [R-1], closed_by: T-1,"
        f" disposition: {disposition}, retest: [T-1]}}\n"
    )
    if waiver:
        more += f"waivers: [{{id: W-1, kind: waiver, requirement: R-1, {waiver}}}]\n"
    _, dossier, built = judged(f"{DATED}{GOOD}}}", more=more)
    assert result(dossier, "R-1").closed is closed
    assert ("disposition-without-waiver" in built.rules) is not closed
    assert dossier.exit_status == (0 if closed else 1)


@pytest.mark.parametrize(("accepts", "closed"), [("x", True), ("y", False)])
def test_a_waiver_of_another_quantity_is_not_about_what_was_found(
    accepts: str, closed: bool
) -> None:
    more = (
        "nonconformances:\n  - {id: NCR-7, requirements: [R-1], found_by: T-0, closed_by: T-1,"
        " disposition: use as is}\n"
        f"waivers: [{{id: W-1, kind: waiver, requirement: R-1, accepts: {{quantity: {accepts},"
        " at_least: 1 W}, approved_by: me, date: 2026-02-01}]\n"
    )
    found = "{id: T-0, method: test, date: 2026-01-01, measured: {x: 1 W +/- 0.1 W (k = 2)}}"
    text = requirements(
        requirement("R-1", TEST, "method: inspection, quantity: y, at_least: 1 W, records: [I-1]")
    )
    text += (
        f"records: [{found}, {DATED}replaces: T-0, {GOOD}}}, {{id: I-1, method: inspection, date:"
        " 2026-01-01, measured: {y: 2 W +/- 0.1 W (k = 2)}}]\n"
    )
    dossier = build(text + more, charter=charter()).judge()
    assert result(dossier, "R-1").closed is closed


def test_an_open_report_keeps_its_requirement_open() -> None:
    more = "nonconformances: [{id: NCR-7, requirements: [R-1], disposition: rework}]\n"
    _, dossier, built = judged(f"{DATED}{GOOD}}}", more=more)
    found = result(dossier, "R-1")
    assert (found.compliance, found.closed, found.outstanding) == (C, False, True)
    assert found.why == "NCR-7 is open: no record closes it"
    assert "rework-without-retest" in built.rules
    tested = more.replace("rework}", "rework, closed_by: T-1}")
    assert "rework-without-retest" not in judged(f"{DATED}{GOOD}}}", more=tested)[2].rules


def test_a_report_is_not_closed_by_the_record_that_found_it() -> None:
    more = (
        "nonconformances:\n  - {id: NCR-7, found_by: T-1, requirements: [R-1], closed_by: T-1,"
        " disposition: rework}\n"
    )
    _, dossier, _ = judged(f"{DATED}{GOOD}}}", more=more)
    assert result(dossier, "R-1").why == "NCR-7 is open: it cannot be closed by T-1, which found it"


def test_a_failed_record_without_a_report_is_an_error_of_the_data() -> None:
    _, _, built = judged(f"{DATED}outcome: not met}}", "method: test, records: [T-1]")
    (problem,) = [p for p in built.problems if p.rule == "nonconformance-missing"]
    assert problem.severity is Severity.ERROR


# a test that is judged by an analysis

BY_BOTH = TEST.replace("records", "analysis: f, records")


@pytest.mark.parametrize(
    ("record", "low", "state"),
    [
        (f"{DATED}outcome: met, data: analyses/data/x.csv}}", 4.0, MET),
        (f"{DATED}outcome: met, data: analyses/data/x.csv}}", 2.0, NOT_MET),
        ("{id: T-1, method: test}", 4.0, WAITS),
        (f"{DATED}outcome: met, data: analyses/data/x.csv, article: {{BAT: FM-2}}}}", 4.0, WAITS),
    ],
)
def test_the_record_says_that_a_test_took_place_and_the_analysis_what_it_shows(
    record: str, low: float, state: State
) -> None:
    text = requirements(requirement("R-1", BY_BOTH)) + f"records: [{record}]\n" + SWAP
    dossier = build(text, spec("f"), clean=True).judge({"f": answer(x=extent(low, 9))})
    (entry,) = result(dossier, "R-1").evidence
    assert (entry.state, entry.record, entry.analysis) == (state, "T-1", "f")
    assert entry.method == "test"


# waivers

SHORT = {"f": answer(x=extent(2, 9))}
WAIVER = "waivers:\n  - {{id: W-1, kind: waiver, requirement: R-1, {}}}\n"
NAMED = "  authorities: {default: board}\n"


@pytest.mark.parametrize(
    ("said", "review", "rules"),
    [
        ("accepts: {quantity: x, at_least: 1.8 W}, approved_by: board, date: 2026-01-01",
         "CDR", []),
        ("accepts: {quantity: x, at_least: 0.5 W}, approved_by: board, date: 2026-01-01",
         "CDR", ["waiver-too-wide"]),
        ("accepts: {quantity: x, at_least: 2.5 W}, approved_by: board, date: 2026-01-01",
         "CDR", ["waiver-short"]),
        ("accepts: {quantity: x, at_least: 1.8 W}, approved_by: me, date: 2026-01-01",
         "CDR", ["waiver-authority"]),
        ("accepts: {quantity: x, at_least: 1.8 W}, approved_by: board, date: 2026-01-01,"
         " expires: PDR", "CDR", ["waiver-expired"]),
        ("accepts: {quantity: x, at_least: 1.8 W}", "CDR", ["waiver-not-approved"]),
    ],
)  # fmt: skip
def test_what_is_wrong_with_a_waiver_is_told(said: str, review: str, rules: list[str]) -> None:
    text = requirements(requirement("R-1", BY_F)) + WAIVER.format(said)
    built = build(text, spec("f"), charter=charter(more=NAMED), clean=True)
    dossier = built.judge(SHORT, review=review)
    assert told(built, dossier) == rules
    covered = result(dossier, "R-1").covered
    assert covered is (rules in ([], ["waiver-too-wide"]))
    assert result(dossier, "R-1").compliance is NC


def test_a_waiver_that_is_not_needed_any_more_is_told() -> None:
    said = "accepts: {quantity: x, at_least: 1.8 W}, approved_by: board, date: 2026-01-01"
    text = requirements(requirement("R-1", BY_F)) + WAIVER.format(said)
    built = build(text, spec("f"), charter=charter(more=NAMED), clean=True)
    assert told(built, built.judge({"f": answer(x=extent(4, 9))})) == ["waiver-not-needed"]


def test_a_waiver_of_another_build_is_not_said_to_be_too_small() -> None:
    """1 W measured and 0.5 W accepted, of FM-2; the article is at FM-3."""
    said = "accepts: {quantity: x, at_least: 0.5 W}, approved_by: board, date: 2026-01-05"
    _, dossier, built = judged(BAD, more=SWAP + WAIVER.format(said))
    (message,) = [one.message for one in findings_of(dossier, built.index, UNITS)
                  if one.rule == "waiver-short"]  # fmt: skip
    assert "was given for another build, issue or condition of R-1" in message
    assert "does not reach" not in message


def test_a_waiver_of_a_later_day_has_not_run_out() -> None:
    said = "accepts: {quantity: x, at_least: 1.8 W}, approved_by: board, date: 2026-04-01"
    text = requirements(requirement("R-1", BY_F)) + WAIVER.format(f"{said}, expires: AR")
    dates = NAMED + "  review_dates: {CDR: 2026-03-01}\n"
    built = build(text, spec("f"), charter=charter(more=dates), clean=True)
    dossier = built.judge(SHORT, review="CDR")
    (waiver,) = built.index.project.waivers
    (why,) = void(waiver, result(dossier, "R-1"), built.index, "CDR")
    assert (why.rule, "until" in why.message) == ("dated-after-review", False)


# agreements


def test_what_a_board_agreed_stands_beside_what_is_computed() -> None:
    agreed = (
        "agreements:\n  - {review: CDR, date: 2026-02-01, by: board, document: MOM-3,"
        " requirements: [R-1]}\n"
    )
    text = requirements(requirement("R-1", BY_F)) + agreed
    built = build(text, spec("f"), charter=charter(more=NAMED), clean=True)
    good, bad = built.judge({"f": answer(x=extent(4, 9))}), built.judge(SHORT)
    assert result(good, "R-1").agreed == ("at CDR by board on 2026-02-01 (MOM-3)",)
    assert told(built, good) == []
    assert told(built, bad) == ["agreed-but-open"]
    other = build(text.replace("by: board", "by: me"), spec("f"), charter=charter(more=NAMED))
    assert told(other, other.judge({"f": answer(x=extent(4, 9))})) == ["agreed-by-another"]


# margin policy

POLICY = "  margins: [{{quantity: x, required: {{PDR: 50 %, AR: 10 %}}{}}}]\n"


@pytest.mark.parametrize(
    ("low", "review", "thin"),
    [
        (4.5, "PDR", False),
        (4.4, "PDR", True),
        (4.4, "CDR", False),  # between the two it is the next one that counts
        (3.3, "CDR", False),
        (3.2, "CDR", True),
        (3.2, "AR", True),
    ],
)
def test_a_margin_below_what_the_review_requires(low: float, review: str, thin: bool) -> None:
    text = requirements(requirement("R-1", BY_F))
    for enforce, state in (("", MET), (", enforce: true", NOT_MET if thin else MET)):
        policy = charter(more=POLICY.format(enforce))
        built = build(text, spec("f"), charter=policy, clean=True)
        dossier = built.judge({"f": answer(x=extent(low, 9))}, review=review)
        (entry,) = result(dossier, "R-1").evidence
        assert entry.state is state
        assert told(built, dossier) == (["margin-policy"] if thin and not enforce else [])
        assert (entry.margin is not None and entry.margin < 0) is (state is NOT_MET)


def proved(low: float, high: float, seen: tuple[float, float], *, tight: str = "") -> Extent:
    """Return an extent that is proved from low to high; ``tight`` names the ends that are."""
    value = sum(seen) / 2
    ends = {"proved_low": low, "proved_high": high}
    return Extent(value, *seen, **ends, low_tight="low" in tight, high_tight="high" in tight)


AT_MOST = "method: analysis, analysis: f, quantity: x, at_most: 7 W"
ENFORCED = "  margins: [{quantity: x, required: {AR: 10 %}, enforce: true}]\n"


def test_the_counterexample_of_an_enforced_margin_is_where_that_fails() -> None:
    # The limits alone are met, nearest at the low end; with 10 % of each the high end fails.
    both = AT_MOST.replace("at_most: 7 W", "at_least: 1 W, at_most: 7 W")
    text = requirements(requirement("R-1", both))
    text += "parameters: {p: {value: 1 W, tolerance: 0.5 W}}\n"
    found = Extent(4.0, 1.2, 6.4, low_at=(("p", 0.5),), high_at=(("p", 1.5),))
    for more, state, at in (("", MET, "0.5 W"), (ENFORCED, NOT_MET, "1.5 W")):
        built = build(text, spec("f", {"p": "W"}), charter=charter(more=more), clean=True)
        (entry,) = result(built.judge({"f": answer(x=found)}), "R-1").evidence
        held = (("p", f"{at} exactly"),)
        assert (entry.state, entry.at) == (state, held)
        assert entry.counterexample == (held if state is NOT_MET else ())


@pytest.mark.parametrize(
    ("found", "state", "assurance"),
    [
        (proved(1, 6.2, (2, 5)), MET, Assurance.BOUNDED),
        (proved(1, 6.5, (2, 5)), MET, Assurance.SEARCHED),  # 6.3 lies between
        (proved(1, 6.5, (2, 5), tight="high"), WAITS, Assurance.BOUNDED),
        (proved(1, 6.5, (2, 6.4)), NOT_MET, Assurance.SEARCHED),
        (proved(1, 6.5, (2, 6.499), tight="high"), NOT_MET, Assurance.BOUNDED),
        (proved(1, 9.0, (2, 6.4)), NOT_MET, Assurance.SEARCHED),
    ],
)
def test_an_enforced_margin_is_decided_as_the_limit_is(
    found: Extent, state: State, assurance: Assurance
) -> None:
    text = requirements(requirement("R-1", AT_MOST))
    built = build(text, spec("f"), charter=charter(more=ENFORCED), clean=True)
    (entry,) = result(built.judge({"f": answer(x=found)}), "R-1").evidence
    assert (entry.state, entry.assurance) == (state, assurance)
    assert (entry.margin is not None and entry.margin < 0) is (state is not MET)
    assert (entry.tight is None) is (assurance is Assurance.SEARCHED)


@pytest.mark.parametrize(
    ("verification", "found", "state", "tight"),
    [
        # Each end is held to its own limit, as far as it is known.
        (BY_F, proved(2, 9, (2.1, 4), tight="low"), NOT_MET, True),
        (BY_F, proved(3.5, 99, (3.6, 4)), MET, False),
        (BY_F, proved(3.5, 99, (3.6, 4), tight="low"), MET, True),
        (AT_MOST, proved(-9, 6, (2, 5.9), tight="high"), MET, True),
        (AT_MOST, proved(-9, 8, (2, 7.9), tight="high"), NOT_MET, True),
        (f"{BY_F}, at_most: 7 W", proved(3.5, 6.9, (4, 6.8), tight="high"), MET, True),
        (f"{BY_F}, at_most: 7 W", proved(3.1, 6.5, (4, 6.4), tight="high"), MET, False),
    ],
)
def test_the_end_that_a_limit_is_about_decides(
    verification: str, found: Extent, state: State, tight: bool
) -> None:
    built = build(requirements(requirement("R-1", verification)), spec("f"), clean=True)
    (entry,) = result(built.judge({"f": answer(x=found)}), "R-1").evidence
    assert (entry.state, entry.assurance) == (state, Assurance.BOUNDED)
    assert entry.tight is tight


@pytest.mark.parametrize("enforce", ["", ", enforce: true"])
@pytest.mark.parametrize(("wanted", "enough"), [(1, True), (2, False)])
def test_where_so_many_cases_are_asked_so_many_have_the_margin(
    enforce: str, wanted: int, enough: bool
) -> None:
    by_case = spec("g", {}, {"x": "W"}, by_case=["x"])
    asked = f"method: analysis, analysis: g, quantity: x, at_most: 7 W, cases: at least {wanted}"
    policy = f"  margins: [{{quantity: x, required: {{AR: 1 W}}{enforce}}}]\n"
    text = requirements(requirement("R-1", asked))
    built = build(text, by_case, charter=charter(more=policy), clean=True)
    cases = {"a": extent(5), "b": extent(6.5), "c": extent(50)}
    dossier = built.judge({"g": answer(x=cases)})
    states = {entry.case: entry.state for entry in result(dossier, "R-1").evidence}
    assert states["a"] is MET
    assert states["b"] is (NOT_MET if enforce and not enough else MET)
    assert told(built, dossier) == (["margin-policy"] if not enforce and not enough else [])
    failing = next(e for e in result(dossier, "R-1").evidence if e.case == "c")
    assert "the limit is met" not in (failing.message or "")


# contingencies


def test_a_contingency_is_applied_once_and_never_to_a_measured_value() -> None:
    policy = "{contingency: [{parameters: ['*_mass'], by_maturity: {estimated: 20 %, new: 1 kg}}]}"
    parameters = (
        "parameters:\n"
        "  a_mass: {value: 10 kg, tolerance: 1 kg, maturity: estimated, source: Invented}\n"
        "  b_mass: {value: 10 kg, maturity: measured, source: Invented}\n"
        "  c_mass: {value: 10 kg, maturity: new, source: Invented}\n"
        "  other: {value: 10 kg, maturity: estimated, source: Invented}\n"
    )
    text = requirements(requirement("R-1", BY_F)) + parameters
    names = ("a_mass", "b_mass", "c_mass", "other")
    one = spec("f", dict.fromkeys(names, "kg"))
    built = build(text, one, charter=charter(policy), clean=True)
    question = built.question("R-1")
    assert dict(question.inputs) == {"a_mass": 12, "b_mass": 10, "c_mass": 11, "other": 10}
    assert question.box == (("a_mass", 11, 13),)
    (evaluation,) = built.judge({"f": answer(x=extent(4, 9))}).evaluations
    assert [used.contingency for used in evaluation.inputs] == [
        "up 20 % for estimated", "", "up 1 kg for new", "",
    ]  # fmt: skip
    # What is set by a what-if stands as it is: a counterexample is found where it was found.
    what_if = build(text, one, charter=charter(policy), settings={"a_mass": "20 kg"})
    assert dict(what_if.question("R-1").inputs)["a_mass"] == 20
    assert {name: (low, high) for name, low, high in what_if.question("R-1").box} == {
        "a_mass": (19, 21)
    }


# budgets


@pytest.mark.parametrize(
    ("rule", "allocated"),
    [("sum", 7.0), ("rss", 5.0), ("max", 4.0), ("min", 3.0)],
)
def test_a_budget_against_what_is_allocated_of_it(rule: str, allocated: float) -> None:
    limit = "method: analysis, analysis: f, quantity: x, at_most: {}"
    text = requirements(
        requirement("S-1", limit.format("6 W"), more=f"allocates: {{quantity: x, rule: {rule}}}"),
        requirement("R-1", limit.format("3 W"), more="derived_from: [S-1]"),
        requirement("R-2", limit.format("4000 mW"), more="derived_from: [S-1]"),
    )
    built = build(text, spec("f"), clean=True)
    dossier = built.judge({"f": answer(x=extent(1, 2))})
    assert result(dossier, "S-1").budget == (
        f"x: {allocated:g} W of 6 W allocated by {rule} (R-1 3, R-2 4), {6 - allocated:g} W"
        " unallocated"
    )
    assert ("allocation" in built.rules) is (allocated > 6)


@pytest.mark.parametrize(
    ("limit", "left"), [("90 %", "0.0025"), ("0.9", "0.0025"), ("95 %", "-0.0475")]
)
def test_a_product_of_shares_is_a_share_again(limit: str, left: str) -> None:
    ratio = spec("f", fields={"x": "1"})
    row = "method: analysis, analysis: f, quantity: x, at_least: {}"
    text = requirements(
        requirement("S-1", row.format(limit), more="allocates: {quantity: x, rule: product}"),
        requirement("R-1", row.format("95 %"), more="derived_from: [S-1]"),
        requirement("R-2", row.format("0.95"), more="derived_from: [S-1]"),
    )
    built = build(text, ratio, clean=True)
    budget = str(result(built.judge({"f": answer(x=extent(1, 1))}), "S-1").budget)
    assert "0.9025" in budget
    assert f"{left}  unallocated" in budget
    assert ("allocation" in built.rules) is left.startswith("-")


def test_budgets_and_enforced_margins_are_decided_in_decimals() -> None:
    limit = "method: analysis, analysis: f, quantity: x, at_most: {}"
    text = requirements(
        requirement("S-1", limit.format("0.3 W"), more="allocates: {quantity: x, rule: sum}"),
        requirement("R-1", limit.format("0.1 W"), more="derived_from: [S-1]"),
        requirement("R-2", limit.format("0.2 W"), more="derived_from: [S-1]"),
    )
    assert "allocation" not in build(text, spec("f")).rules
    policy = charter(more="  margins: [{quantity: x, required: {AR: 10 %}, enforce: true}]\n")
    text = requirements(requirement("R-1", BY_F.replace("3 W", "1.1 W")))
    built = build(text, spec("f"), charter=policy, clean=True)
    dossier = built.judge({"f": answer(x=extent(1.21, 9))})
    assert result(dossier, "R-1").evidence[0].state is MET


@pytest.mark.parametrize("named", ["[T-1, T-2]", "[T-2]"])
def test_a_failure_counts_whether_or_not_it_is_named(named: str) -> None:
    bad = f"{DATED}judged: {{R-1: A}}, measured: {{x: 1 W +/- 0.1 W (k = 2)}}}}"
    good = f"{DATED.replace('T-1', 'T-2')}judged: {{R-1: A}}, {GOOD}}}"
    _, dossier, _ = judged(f"{bad}, {good}", TEST.replace("[T-1]", named))
    assert result(dossier, "R-1").compliance is NC
    # Nor does an analysis that promises better hide it.
    text = requirements(requirement("R-1", BY_F)) + f"records: [{bad}]\n"
    dossier = build(text, spec("f"), clean=True).judge({"f": answer(x=extent(4, 9))})
    assert result(dossier, "R-1").compliance is NC


@pytest.mark.parametrize("named", ["[T-1, T-2]", "[T-2]", None])
def test_a_retest_ends_a_failure_where_an_analysis_promises_the_same(named: str | None) -> None:
    """Whether a verification by test names the failure, its retest alone, or there is none."""
    bad = f"{DATED}judged: {{R-1: A}}, measured: {{x: 1 W +/- 0.1 W (k = 2)}}}}"
    again = f"{{id: T-2, method: test, date: 2026-03-01, judged: {{R-1: A}}, {GOOD}}}"
    report = "nonconformances: [{id: N, found_by: T-1, requirements: [R-1], disposition: rework"
    by_test = [] if named is None else [TEST.replace("[T-1]", named)]

    def code(again: str, closed: str) -> tuple[Compliance, bool]:
        text = requirements(requirement("R-1", BY_F, *by_test))
        text += f"records: [{bad}, {again}]\n{report}{closed}}}]\n"
        dossier = build(text, spec("f")).judge({"f": answer(x=extent(4, 9))})
        return result(dossier, "R-1").compliance, result(dossier, "R-1").closed

    replaced = again.replace("judged", "replaces: T-1, judged")
    assert code(replaced, ", closed_by: T-2") == (C, True)
    assert code(replaced, "")[0] in (NC, PC)  # its report is open
    assert code(again, ", closed_by: T-2") == (C, True)  # the record that closes it says so too
    assert code(again, ", closed_by: T-3")[0] in (NC, PC)  # nothing takes its place
    short = replaced.replace("{x: 4", "{x: 2")
    assert code(short, ", closed_by: T-2")[0] in (NC, PC)


def test_a_failure_of_a_stricter_analysis_is_not_hidden_by_a_milder_test() -> None:
    """2 W by test: enough for the 1.5 W that the test asks, not for the 3 W of the analysis."""
    found = f"{DATED}judged: {{R-1: A}}, measured: {{x: 2 W +/- 0.1 W (k = 2)}}}}"
    milder = TEST.replace("at_least: 3 W", "at_least: 1.5 W").replace(", records: [T-1]", "")
    text = requirements(requirement("R-1", BY_F, milder)) + f"records: [{found}]\n"
    dossier = build(text, spec("f")).judge({"f": answer(x=extent(4, 9))})
    assert result(dossier, "R-1").compliance in (NC, PC)


@pytest.mark.parametrize(
    ("newer", "report", "code"),
    [
        ("method: test, date: 2026-03-01", "closed_by: T-2, disposition: rework", C),
        ("method: test, date: 2026-03-01", "", NC),
        ("method: test, date: 2025-03-01", "closed_by: T-2, disposition: rework", NC),
        ("method: inspection, date: 2026-03-01", "closed_by: T-2, disposition: rework", NC),
    ],
)
def test_what_takes_the_place_of_a_failure(newer: str, report: str, code: Compliance) -> None:
    bad = f"{DATED}judged: {{R-1: A}}, measured: {{x: 1 W +/- 0.1 W (k = 2)}}}}"
    good = f"{{id: T-2, {newer}, judged: {{R-1: A}}, replaces: T-1, {GOOD}}}"
    more = ""
    if report:
        more = f"nonconformances: [{{id: N, found_by: T-1, requirements: [R-1], {report}}}]\n"
    _, dossier, _ = judged(f"{bad}, {good}", TEST.replace("[T-1]", "[T-1, T-2]"), more=more)
    assert result(dossier, "R-1").compliance is code


def test_what_was_accepted_of_one_build_is_not_of_another() -> None:
    waiver = (
        "waivers:\n  - {id: W-1, kind: waiver, requirement: R-1, approved_by: me, date: 2026-01-05,"
        " accepts: {quantity: x, at_least: 0.5 W}}\n"
    )
    _, dossier, _ = judged(BAD, more=SWAP + waiver)
    assert (result(dossier, "R-1").covered, result(dossier, "R-1").closed) == (False, False)
    _, dossier, _ = judged(BAD, more=SWAP.replace("FM-3", "FM-2") + waiver)
    assert result(dossier, "R-1").covered


def test_the_shares_may_have_a_name_of_their_own() -> None:
    text = requirements(
        requirement(
            "S-1", BY_F.replace("at_least", "at_most"),
            more="allocates: {quantity: x, shares: part, rule: sum}",
        ),
        requirement(
            "R-1", "method: test, quantity: part, at_most: 1 W", more="derived_from: [S-1]"
        ),
    )  # fmt: skip
    dossier = build(text, spec("f"), clean=True).judge({"f": answer(x=extent(1, 2))})
    assert str(result(dossier, "S-1").budget).startswith("x: 1 W of 3 W allocated by sum (R-1 1)")


def test_a_waiver_that_has_run_out_and_is_not_needed_is_closed() -> None:
    said = (
        "accepts: {quantity: x, at_least: 1.8 W}, approved_by: board, date: 2026-01-01,"
        " expires: PDR"
    )
    text = requirements(requirement("R-1", BY_F)) + WAIVER.format(said)
    built = build(text, spec("f"), charter=charter(more=NAMED), clean=True)
    assert told(built, built.judge({"f": answer(x=extent(4, 9))}, review="CDR")) == []


def test_a_derived_requirement_without_a_share_is_told() -> None:
    limit = "method: analysis, analysis: f, quantity: x, at_most: 6 W"
    text = requirements(
        requirement("S-1", limit, more="allocates: {quantity: x, rule: sum}"),
        requirement("R-1", "method: inspection", more="derived_from: [S-1]"),
        requirement("S-2", "method: inspection", more="allocates: {quantity: x, rule: sum}"),
    )
    assert build(text, spec("f")).rules == ["allocation", "allocation"]


@pytest.mark.parametrize(
    ("parent", "first", "second", "left"),
    [
        # Both ends of a range are allocated.
        ("at_least: 5 W, at_most: 8 W", "at_least: 2 W, at_most: 3 W",
         "at_least: 3 W, at_most: 4 W", [1.0, 0.0]),
        ("at_least: 5 W, at_most: 8 W", "at_least: 1 W, at_most: 3 W",
         "at_least: 3 W, at_most: 4 W", [1.0, -1.0]),
        ("equal_to: 6 W, within: 1 W", "equal_to: 2 W, within: 0.5 W",
         "equal_to: 4 W, within: 0.25 W", [0.25, 0.25]),
    ],
)  # fmt: skip
def test_each_side_of_a_limit_is_a_budget(
    parent: str, first: str, second: str, left: list[float]
) -> None:
    row = "method: analysis, analysis: f, quantity: x, {}"
    text = requirements(
        requirement("S-1", row.format(parent), more="allocates: {quantity: x, rule: sum}"),
        requirement("R-1", row.format(first), more="derived_from: [S-1]"),
        requirement("R-2", row.format(second), more="derived_from: [S-1]"),
    )
    built = build(text, spec("f"), clean=True)
    budget = str(result(built.judge({"f": answer(x=extent(6, 6))}), "S-1").budget)
    for one, part in zip(left, budget.split("; "), strict=True):
        assert f" {one:g} W unallocated" in part
    assert ("allocation" in built.rules) is (min(left) < 0)


@pytest.mark.parametrize(("rule", "told"), [("sum", True), ("max", False)])
def test_levels_do_not_add_up(rule: str, told: bool) -> None:
    """20 dBm and 20 dBm are 23 dBm: powers add, levels do not."""
    row = "method: test, quantity: x, at_most: {} dBm"
    text = requirements(
        requirement("S-1", row.format(43), more=f"allocates: {{quantity: x, rule: {rule}}}"),
        requirement("R-1", row.format(20), more="derived_from: [S-1]"),
        requirement("R-2", row.format(20), more="derived_from: [S-1]"),
    )
    built = build(text)
    assert ("allocation" in built.rules) is told
    assert ("levels" in str(built.findings)) is told


# what a record must say


def test_a_record_states_each_condition_of_its_criterion() -> None:
    """A test without given speaks of the criterion under every condition that others give."""
    more = "parameters: {h: {value: 28 d, condition: true}}\n"
    text = requirements(
        requirement("R-1", TEST, "method: analysis, quantity: x, at_least: 3 W, given: {h: 28 d}")
    )
    for said, state in (("conditions: {h: 28 d}, ", MET), ("", WAITS)):
        built = build(f"{text}records: [{DATED}{said}{GOOD}}}]\n{more}")
        entry = result(built.judge(), "R-1").evidence[0]
        assert entry.state is state
        assert ("T-1 does not state h" in str(entry.message)) is (state is WAITS)


@pytest.mark.parametrize(
    ("of", "settings", "state"),
    [
        ("", {}, MET),
        ("", {"h": "45 d"}, WAITS),
        ("", {"h": "28 d"}, MET),
        (", given: {h: 28 d}", {"h": "45 d"}, WAITS),
        (", given: {h: 28 d}", {"h": "28 d"}, MET),
        ("", {"other": "2 W"}, MET),
    ],
)
def test_a_what_if_re_opens_what_was_tested_under_another_condition(
    of: str, settings: dict[str, str], state: State
) -> None:
    more = "parameters: {h: {value: 28 d, condition: true}, other: {value: 1 W}}\n"
    text = requirements(requirement("R-1", TEST + of))
    text += f"records: [{DATED}conditions: {{h: 28 d}}, {GOOD}}}]\n{more}"
    entry = result(build(text, settings=settings).judge(), "R-1").evidence[0]
    assert entry.state is state
    if state is WAITS:
        assert "T-1 was made at h = 28 d" in str(entry.message)
        assert "45 d" in str(entry.message)


def test_a_record_of_another_method_is_no_evidence() -> None:
    record = "{id: T-1, method: inspection, date: 2026-01-01, outcome: met}"
    entry, _, built = judged(record, "method: test, records: [T-1]")
    assert "record-method" in built.rules
    assert (entry.state, entry.message) == (WAITS, "T-1 is a record of inspection")


def test_one_of_two_requirements_with_one_name_is_not_closed() -> None:
    text = requirements(requirement("R-1", TEST), requirement("R-1", TEST))
    text += f"records: [{DATED}{GOOD}}}]\n"
    only = build(text).judge().requirements[0]
    assert (only.compliance, only.closed) == (OPEN, False)
    assert only.why == "duplicate identifier"


def test_what_is_closed_above_names_the_waiver_below() -> None:
    waived = (
        "waivers: [{id: RFW-7, kind: waiver, requirement: R-1, accepts: {quantity: x, at_least:"
        " 1 W}, approved_by: board, date: 2026-02-01}]\n"
    )
    text = requirements(requirement("S-1"), requirement("R-1", TEST, more="derived_from: [S-1]"))
    text += f"records: [{DATED}measured: {{x: 2 W +/- 0.1 W (k = 2)}}}}]\n{waived}"
    above = result(build(text).judge(), "S-1")
    assert above.closed
    assert above.compliance is NC
    assert above.why == "all lower-level requirements are closed; R-1: not met, under waiver RFW-7"


# failures that somebody would rather not see

LOW, HIGH = (f"measured: {{x: {value} W +/- 0.1 W (k = 2)}}" for value in (1, 4))
CLOSED = "disposition: rework, retest: [{0}], closed_by: {0}"


def code_of(records: list[str], reports: str = "", verification: str = TEST) -> Compliance:
    rows = "".join(f"  - {{method: test, date: 2026-0{i + 1}-01, {one}}}\n"
                   for i, one in enumerate(records))  # fmt: skip
    text = requirements(requirement("R-1", verification), requirement("R-2", BY_F))
    text += f"records:\n{rows}"
    text += f"nonconformances:\n  - {{id: N-1, found_by: T-0, {reports}}}\n" if reports else ""
    return result(build(text, spec("f"), clean=True).judge({"f": answer(x=extent(9))}),
                  "R-1").compliance  # fmt: skip


def test_a_failed_outcome_that_no_verification_names_still_counts() -> None:
    failed = "id: T-0, judged: {R-1: A}, outcome: not met"
    good = f"id: T-1, judged: {{R-1: A}}, {HIGH}"
    report = f"requirements: [R-1], {CLOSED.format('T-1')}"
    # What closes its nonconformance takes its place, as what says that it replaces it.
    assert code_of([failed, good], report) is C
    assert code_of([failed, good], report.replace("closed_by: T-1", "cause: unknown")) is NC
    assert code_of([failed, f"{good}, replaces: T-0"], report) is C


def test_a_failure_counts_where_its_test_has_no_record_yet() -> None:
    planned = "method: test, quantity: x, at_least: 3 W"
    assert code_of([f"id: T-0, judged: {{R-1: A}}, {LOW}"], verification=planned) is NC
    assert code_of([f"id: T-0, judged: {{R-1: A}}, {HIGH}"], verification=planned) is OPEN


@pytest.mark.parametrize(
    ("newer", "code"),
    [
        (f"judged: {{R-1: A}}, {HIGH}", C),
        ("judged: {R-1: A}, measured: {x: 3.05 W +/- 1 W (k = 2)}", NC),  # inconclusive
        ("judged: {R-1: A}", NC),  # shows nothing
        ("judged: {R-1: A}, measured: {leak: 1 W +/- 0.1 W (k = 2)}", NC),
        (f"judged: {{R-2: A}}, {HIGH}", NC),  # of another requirement
    ],
)
def test_what_replaces_a_failure_shows_it_met(newer: str, code: Compliance) -> None:
    failed = f"id: T-0, judged: {{R-1: A}}, {LOW}"
    older = f"id: T-1, judged: {{R-1: A}}, {HIGH}"
    report = f"requirements: [R-1], {CLOSED.format('T-9')}"
    names = TEST.replace("[T-1]", "[T-0, T-1]")
    records = [older, failed, f"id: T-9, replaces: T-0, {newer}"]
    assert code_of(records, report, names) is code


def test_a_failure_of_the_log_is_no_open_test() -> None:
    """Of a test that an analysis judges: what its records say of themselves is never hidden."""
    judged_by_f = BY_F.replace("method: analysis", "method: test") + ", records: [T-0, T-1]"
    bad = "id: T-0, judged: {R-1: A}, outcome: not met, data: analyses/data/x.csv"
    good = "id: T-1, judged: {R-1: A}, outcome: met, data: analyses/data/x.csv"
    report = f"requirements: [R-1], {CLOSED.format('T-1')}"
    assert code_of([bad, good], report, judged_by_f) is NC
    low = f"id: T-0, judged: {{R-1: A}}, {LOW}"
    assert code_of([low, "id: T-1, judged: {R-1: A}, data: d.csv"], report, judged_by_f) is NC


def test_a_waiver_covers_from_its_date_on() -> None:
    given = "approved_by: me, date: {}"
    for day, is_covered in (("2026-02-01", True), ("2030-01-01", False)):
        text = requirements(requirement("R-1", TEST)) + (
            f"records: [{DATED}{LOW}}}]\n"
            "waivers: [{id: W-1, kind: waiver, requirement: R-1, accepts: {quantity: x, at_least:"
            f" 0.5 W}}, {given.format(day)}}}]\n"
        )
        built = build(text, charter=charter(more="  review_dates: {AR: 2026-12-01}\n"))
        dossier = built.judge()
        assert (result(dossier, "R-1").evidence[0].covered_by == "W-1") is is_covered
        assert "waiver-expired" not in told(built, dossier)


def test_what_does_not_apply_stays_open_under_an_open_report() -> None:
    more = "not_applicable: {reason: Never used., agreed_by: me}"
    text = requirements(requirement("R-1", more=more))
    report = "nonconformances: [{id: N-1, requirements: [R-1]}]\n"
    for said, closed in (("", True), (report, False)):
        found = result(build(text + said).judge(), "R-1")
        assert (found.compliance, found.closed, found.outstanding) == (
            Compliance.NA, closed, not closed,
        )  # fmt: skip


def test_a_report_without_requirements_speaks_of_those_its_record_judged() -> None:
    text = requirements(requirement("R-1", TEST))
    text += f"records: [{DATED}judged: {{R-1: A}}, {HIGH}}}]\n"
    text += "nonconformances: [{id: N-1, found_by: T-1}]\n"
    assert not result(build(text).judge(), "R-1").closed


# a record of two requirements


def two(*retests: str, reports: str, named: str) -> tuple[Compliance, Compliance]:
    """Return the codes of R-1 and R-2, which T-1 judged together: x failed, y met."""
    first = (
        "{id: T-1, method: test, date: 2026-01-01, judged: {R-1: A, R-2: A},"
        " measured: {x: 1 W +/- 0.1 W (k = 2), y: 9 W +/- 0.1 W (k = 2)}}"
    )
    of_x = f"method: test, quantity: x, at_least: 3 W, records: [{named}]"
    of_y = "method: test, quantity: y, at_least: 3 W, records: [T-1]"
    text = requirements(requirement("R-1", of_x), requirement("R-2", of_y))
    text += f"records: [{', '.join([first, *retests])}]\nnonconformances: [{reports}]\n"
    dossier = build(text, clean=True).judge()
    return result(dossier, "R-1").compliance, result(dossier, "R-2").compliance


def again(name: str, day: int, judged: str, measured: str, more: str = "replaces: T-1") -> str:
    return (
        f"{{id: {name}, method: test, date: 2026-02-{day:02}, {more}, judged: {{{judged}: A}},"
        f" measured: {{{measured} +/- 0.1 W (k = 2)}}}}"
    )


@pytest.mark.parametrize("named", ["T-1, T-2", "T-2"])
@pytest.mark.parametrize("more", ["replaces: T-1", "title: Again"])
def test_a_retest_counts_for_what_it_judged_and_the_rest_stays(named: str, more: str) -> None:
    closed = "{id: N, found_by: T-1, requirements: [R-1], disposition: rework, closed_by: T-2}"
    retest = again("T-2", 1, "R-1", "x: 4 W", more)
    assert two(retest, reports=closed, named=named) == (C, C)
    still = closed.replace(", closed_by: T-2", "")
    assert two(retest, reports=still, named=named)[0] in (NC, PC)
    short = again("T-2", 1, "R-1", "x: 2 W", more)
    both = f"{closed}, {{id: M, found_by: T-2, requirements: [R-1], disposition: scrap}}"
    assert two(short, reports=both, named=named) == (NC, C)


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_two_retests_of_one_record_each_speak_of_their_own(order: tuple[int, int]) -> None:
    """In whatever order they stand, and whichever is the later one."""
    tests = (again("T-2", 1, "R-1", "x: 4 W"), again("T-3", 2, "R-2", "y: 8 W"))
    closed = "{id: N, found_by: T-1, requirements: [R-1], disposition: rework, closed_by: T-2}"
    found = two(*(tests[n] for n in order), reports=closed, named="T-2")
    assert found[0] is C
