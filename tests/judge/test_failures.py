"""Failures that fall out of sight, that nobody reports, and that are revived: none of it happens.

Each project is written to disk, under git where its history tells, and judged as a command does it.
Everything is invented.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import pytest

from closeout.judge import findings_of
from closeout.model.dossier import Compliance, Dossier, State
from closeout.run.options import Options
from closeout.run.pipeline import assess
from closeout.snapshot import open_tree
from closeout.store.database import open_store
from tests.graph.projects import UNITS, answer, build, extent, requirements, result, spec
from tests.graph.projects import requirement as item
from tests.rules.story import FILE, Story

C, NC, OPEN = Compliance.C, Compliance.NC, Compliance.OPEN
REPORTS = "requirements/reports.yaml"
CLOSING = "disposition: rework, retest: [T-2], closed_by: T-2"
RETEST = {"day": "2026-01-20", "build": "QM-2"}

R_1 = """\
requirements:
  - id: R-1
    issue: A
    title: Energy
    statement: The lantern shall hold energy.
    verification:
      - {method: test, stage: qualification, review: CDR, quantity: energy, at_least: 3 W h,
         records: [T-1]}
"""
ARTICLES = "articles: [{id: BAT, title: Battery, model: qualification, build: QM-2}]\n"


def record(
    name: str = "T-1", value: str = "1 W h", *, day: str = "2026-01-05", build: str = "QM-1",
    more: str = "judged: {R-1: A}",
) -> str:  # fmt: skip
    """Return a record of a test that measured an energy."""
    said = f"id: {name}, method: test, date: {day}, article: {{BAT: {build}}}"
    measured = f"measured: {{energy: {value} +/- 0.1 W h (k = 2)}}"
    return f"  - {{{said}, {measured}{', ' + more if more else ''}}}\n"


def records(*items: str) -> str:
    return "records:\n" + "".join(items or (record(),))


def report(more: str = "", *, found_by: str = "T-1") -> str:
    more = f", {more}" if more else ""
    return (
        f"nonconformances:\n  - {{id: NCR-001, found_by: {found_by}, requirements: [R-1],"
        f" article: {{BAT: QM-1}}{more}}}\n"
    )


@pytest.fixture
def story(tmp_path: Path) -> Story:
    return Story(tmp_path / "a story")


def judged(story: Story, day: str | None = None) -> Dossier:
    with open_tree(story.folder) as snapshot, open_store(None) as store:
        return assess(snapshot, store, Options(jobs=1, today=day)).dossier


def told(story: Story, rule: str = "failure-out-of-sight") -> list[str]:
    return [problem.message for problem in judged(story).problems if problem.rule == rule]


def code(story: Story) -> tuple[Compliance, bool, str]:
    found = result(judged(story), "R-1")
    return found.compliance, found.closed, found.why


# a failure that nobody reports


@pytest.mark.parametrize("more", ["judged: {R-1: A}", ""])
@pytest.mark.parametrize("waived", [False, True])
def test_a_measured_failure_needs_a_nonconformance(story: Story, more: str, waived: bool) -> None:
    waiver = (
        "waivers:\n  - {id: RFW-1, kind: waiver, requirement: R-1, accepts: {quantity: energy,"
        " at_least: 0.5 W h}, approved_by: board, date: 2026-02-01}\n"
    )
    text = R_1 + records(record(build="QM-2", more=more)) + ARTICLES
    story.commit(text + (waiver if waived else ""), day="2026-03-01")
    dossier = judged(story)
    (problem,) = [one for one in dossier.problems if one.rule == "nonconformance-missing"]
    assert dossier.exit_status == 2
    assert problem.message == ("T-1 found energy of R-1 not met, and has no nonconformance")
    found = result(dossier, "R-1")
    assert (found.compliance, found.covered) == (NC, waived)
    # What the cure says is put into a file as it is, and that is all.
    match = re.search(r"nonconformances: \[\{.*\}\]", problem.cure)
    assert match is not None
    assert "id: NCR-001, found_by: T-1, article: {BAT: QM-2}, requirements: [R-1]" in match[0]
    story.write({REPORTS: match[0] + "\n"})
    dossier = judged(story)
    assert [one for one in dossier.problems if one.severity == "error"] == []
    found = result(dossier, "R-1")
    assert (found.compliance, found.closed) == (NC, False)


@pytest.mark.parametrize(
    ("value", "is_failure"), [("2.8 W h", True), ("2.95 W h", False), ("3.2 W h", False)]
)
def test_what_the_decision_rule_calls_not_met_is_the_failure(
    story: Story, value: str, is_failure: bool
) -> None:
    story.write(R_1 + records(record(value=value, build="QM-2")) + ARTICLES)
    assert bool(told(story, "nonconformance-missing")) is is_failure


def test_each_of_two_failures_gets_an_identifier_of_its_own(story: Story) -> None:
    outcome = (
        "  - {id: T-3, method: test, date: 2026-01-06, article: {BAT: QM-2}, outcome: not met}\n"
    )
    failed = records(record(), record("T-2", "2 W h"), outcome)
    story.write({FILE: R_1.replace("[T-1]", "[T-1, T-2, T-3]") + failed + ARTICLES})
    cures = [one.cure for one in judged(story).problems if one.rule == "nonconformance-missing"]
    pasted = [re.search(r"\{id: (NCR-\d+)", cure) for cure in cures]
    assert sorted(one[1] for one in pasted if one) == ["NCR-001", "NCR-002", "NCR-003"]


def test_what_stands_in_a_file_that_cannot_be_read_is_not_deleted(story: Story) -> None:
    """As between the marks of a merge conflict."""
    story.write({FILE: R_1 + ARTICLES, REPORTS: records(record()) + report()})
    story.commit()
    story.write({REPORTS: "<<<<<<< ours\n" + records(record()) + report()})
    rules = {problem.rule for problem in judged(story).problems}
    assert not rules & {"failed-record-deleted", "nonconformance-deleted"}
    story.write({REPORTS: "records: []\n"})
    rules = {problem.rule for problem in judged(story).problems}
    assert {"failed-record-deleted", "nonconformance-deleted"} <= rules


def test_the_next_identifier_is_free(story: Story) -> None:
    story.write(
        R_1 + records() + ARTICLES + "nonconformances: [{id: GAN-NC-09}, {id: GAN-NC-10}]\n"
    )
    cures = [p.cure for p in judged(story).problems if p.rule == "nonconformance-missing"]
    assert "{id: GAN-NC-11, found_by: T-1" in cures[0]


def test_a_failure_that_an_analysis_finds_in_a_log_needs_one_too() -> None:
    by_log = "method: test, quantity: x, at_least: 3 W, analysis: f, records: [T-1]"
    text = requirements(item("R-1", by_log)) + (
        "records: [{id: T-1, method: test, date: 2026-01-01, outcome: met, data: d.csv}]\n"
    )
    reports = "nonconformances: [{id: N-1, found_by: T-1}]\n"
    for low, more, expected in ((2.0, "", 1), (4.0, "", 0), (2.0, reports, 0)):
        built = build(text + more, spec("f"))
        dossier = built.judge({"f": answer(x=extent(low, 9))})
        rules = [finding.rule for finding in findings_of(dossier, built.index, UNITS)]
        assert rules.count("nonconformance-missing") == expected


LOWER = R_1.replace("issue: A\n", "issue: B\n").replace("at_least: 3 W h", "at_least: 0.5 W h")
AGAIN = record("T-2", "4 W h", day="2026-01-20", build="QM-2", more="judged: {R-1: B}")


@pytest.mark.parametrize("raised", [LOWER, R_1.replace("issue: A\n", "issue: B\n")])
@pytest.mark.parametrize("together", [False, True])
def test_a_raised_issue_reports_no_failure(story: Story, raised: str, together: bool) -> None:
    """What failed the issue that it judged did so, whatever the requirement says today."""
    first = R_1 + ARTICLES + ("" if together else records())
    story.commit(first, day="2026-01-02" if together else "2026-02-01")
    text = raised.replace("[T-1]", "[T-2]") + records(record(), AGAIN) + ARTICLES
    story.commit(text, day="2026-02-02")
    assert told(story, "nonconformance-missing") == [
        "T-1 found energy of R-1 not met, and has no nonconformance"
    ]
    story.write({REPORTS: report()})
    assert told(story, "nonconformance-missing") == []
    assert code(story)[1] is False


def test_a_limit_that_was_mended_before_the_test_is_no_failure(story: Story) -> None:
    story.commit(R_1.replace("at_least: 3 W h", "at_least: 30 W h") + ARTICLES, day="2026-01-01")
    story.commit(R_1 + ARTICLES, day="2026-01-03")
    met = records(record(value="4 W h"), AGAIN)
    story.commit(LOWER.replace("[T-1]", "[T-2]") + met + ARTICLES, day="2026-02-02")
    assert told(story, "nonconformance-missing") == []


@pytest.mark.parametrize("issue", ["0", "C"])
def test_no_invented_issue_hides_a_failure(story: Story, issue: str) -> None:
    failed = record(more=f"judged: {{R-1: {issue}}}")
    retest = record("T-2", "4 W h", more="judged: {R-1: A}, replaces: T-1", **RETEST)
    text = R_1.replace("[T-1]", "[T-1, T-2]") + records(failed, retest) + ARTICLES
    story.commit(text, day="2026-02-01")
    assert told(story, "failed-at-unknown-issue") == [
        f"T-1 judged issue {issue} of R-1, which is in no commit of this history, and does not"
        " meet issue A"
    ]
    story.write({REPORTS: report(CLOSING)})
    assert told(story, "failed-at-unknown-issue") == []


R_2 = """\
  - id: R-2
    issue: A
    title: Power
    statement: The lantern shall give power.
    verification:
      - {method: test, stage: qualification, review: CDR, quantity: power, at_least: 3 W,
         records: [T-5]}
"""
T_5 = (
    "  - {id: T-5, method: test, date: 2026-01-09, article: {BAT: QM-2}, outcome: met,"
    " measured: {power: 5 W +/- 0.1 W (k = 2)}, judged: {R-2: A}}\n"
)
OF_T_5 = "disposition: rework, retest: [T-5], closed_by: T-5"


@pytest.mark.parametrize("said", [True, False])
def test_a_report_of_another_requirement_reports_nothing(story: Story, said: bool) -> None:
    more = "judged: {R-1: A}" if said else ""
    retest = record("T-2", "4 W h", more="judged: {R-1: A}, replaces: T-1", **RETEST)
    of = report(OF_T_5).replace("[R-1]", "[R-2]")
    text = R_1.replace("[T-1]", "[T-1, T-2]") + R_2 + records(record(more=more), retest, T_5)
    story.commit(text + ARTICLES + of, day="2026-02-01")
    assert told(story, "nonconformance-missing") == [
        "T-1 found energy of R-1 not met, and has no nonconformance"
    ]
    assert code(story)[0] is NC


@pytest.mark.parametrize("deleted", [False, True])
def test_a_report_that_names_no_requirement_is_closed_by_what_is_about_it(
    story: Story, deleted: bool
) -> None:
    retest = record("T-2", "4 W h", more="judged: {R-1: A}, replaces: T-1", **RETEST)
    of = report(OF_T_5).replace(" requirements: [R-1],", "")
    kept = records(record(more=""), retest, T_5) + ARTICLES + of
    text = R_1.replace("[T-1]", "[T-1, T-2]") + R_2 + kept
    story.commit(text, day="2026-02-01")
    assert code(story)[0] is NC
    if deleted:
        story.write("requirements:\n" + R_2 + kept.replace("{R-1: A}", "{R-2: A}"))
        assert told(story) == [
            "T-1 found energy of R-1 not met, and no present verification covers it"
        ]


def test_a_report_of_another_article_is_not_closed_on_that(story: Story) -> None:
    retest = record("T-2", "4 W h", more="judged: {R-1: A}, replaces: T-1", day="2026-01-20")
    of = report(CLOSING).replace("article: {BAT: QM-1}", "article: {LAMP: QM-1}")
    text = R_1.replace("[T-1]", "[T-1, T-2]")
    text += records(record(), retest.replace("{BAT:", "{LAMP:")) + of
    other = "{id: LAMP, title: Lamp, model: flight, build: QM-1}"
    story.commit(text + ARTICLES.replace("}]", f"}}, {other}]"), day="2026-02-01")
    found = result(judged(story), "R-1")
    assert found.compliance is NC
    assert "T-2 was not made on BAT" in dict(found.reported)["NCR-001"]
    assert "NCR-001 is open (T-2 was not made on BAT), so it still counts" in found.why


# a failure that falls out of sight

RENAMED = R_1.replace("issue: A", "issue: B").replace("quantity: energy", "quantity: reserve")
BY_OUTCOME = R_1.replace("quantity: energy, at_least: 3 W h,", "plan: VP 1,")
NO_MORE = R_1[: R_1.index("    verification")] + (
    "    verification: [{method: analysis, review: AR, quantity: other, at_least: 1 W h}]\n"
)
HIDING = {
    "its verification is dropped": NO_MORE,
    "it is not named": R_1.replace(",\n         records: [T-1]", ""),
    "its quantity has another name": RENAMED,
    "its test is judged by outcome": BY_OUTCOME.replace("issue: A", "issue: B"),
    "its requirement has no verification": R_1[: R_1.index("    verification")],
    "its requirement is deleted": R_1.replace("id: R-1", "id: R-2").replace("[T-1]", "[T-9]"),
}


@pytest.mark.parametrize("way", HIDING)
@pytest.mark.parametrize("more", ["judged: {R-1: A}", ""])
@pytest.mark.parametrize("committed", [False, True])
def test_no_way_leads_a_failure_out_of_sight(
    story: Story, way: str, more: str, committed: bool
) -> None:
    kept = records(record(more=more)) + ARTICLES
    story.commit(R_1 + kept, day="2026-02-01")
    assert code(story)[0] is NC
    story.write(HIDING[way] + kept)
    if committed:
        story.commit(day="2026-02-02")
        story.git("commit", "--quiet", "--allow-empty", "--message", "another", day="2026-02-03")
    seen = told(story)
    if way == "it is not named" and more:
        assert code(story)[0] is NC  # its requirement still has a verification of it
        assert seen == []
        return
    assert [message.split(",")[0] for message in seen] == ["T-1 found energy of R-1 not met"]
    # It ends with a nonconformance that is closed, and not before.
    retest = record("T-2", "4 W h", day="2026-01-20", build="QM-2", more=more)
    story.write({FILE: HIDING[way] + records(record(more=more), retest) + ARTICLES})
    story.write({REPORTS: report()})
    assert len(told(story)) == 1
    if more:
        story.write({REPORTS: report(CLOSING)})
        assert told(story) == []


def test_an_outcome_that_nothing_speaks_of_is_told_without_git(tmp_path: Path) -> None:
    story = Story(tmp_path / "bare")
    failed = (
        "records: [{id: T-1, method: inspection, date: 2026-01-05, outcome: not met}]\n"
        "nonconformances: [{id: N-1, found_by: T-1}]\n"
    )
    story.write(R_1.replace("records: [T-1]", "plan: VP 1") + failed)
    assert told(story) == [
        "T-1 found what it judged not met, and no present verification covers it"
    ]


@pytest.mark.parametrize("more", ["judged: {R-1: A}", ""])
def test_what_does_not_apply_hides_no_failure(story: Story, more: str) -> None:
    away = R_1.replace(
        "    verification", "    not_applicable: {reason: Never lit.}\n    verification"
    )
    story.write(away + records(record(more=more)) + ARTICLES)
    assert len(told(story, "failed-and-set-aside")) == 1
    assert told(story) == []


@pytest.mark.parametrize(
    ("old", "new", "rule"),
    [
        ("date: 2026-01-05, ", "", "result-without-date"),
        ("2026-01-05", "2099-01-01", "result-without-date"),
        ("2026-01-05", "2099-01-01", "failed-record-edited"),
        ("2026-01-05", "2026-01-06", "failed-record-edited"),
    ],
)
def test_no_date_hides_a_failure(story: Story, old: str, new: str, rule: str) -> None:
    text = R_1 + records() + ARTICLES + report()
    story.commit(text, day="2026-02-01")
    assert told(story, rule) == []
    story.write(text.replace(old, new))
    assert len(told(story, rule)) == 1


# a failure that was superseded

WAYS = {
    "the issue is raised": ("issue: A\n    title", "issue: B\n    title"),
    "the article is built again": ("build: QM-2}]", "build: QM-3}]"),
    "the limit is raised too": ("at_least: 3 W h", "at_least: 5 W h"),
}


def superseded(*changes: str, named: str = "[T-1, T-2]", **retest: str) -> str:
    text = R_1.replace("[T-1]", named)
    text += records(
        record(), record("T-2", "4 W h", more="judged: {R-1: A}, replaces: T-1", **RETEST | retest)
    )
    text += ARTICLES + report(CLOSING)
    for change in changes:
        old, new = WAYS[change]
        assert old in text
        text = text.replace(old, new, 1)
    return text


@pytest.mark.parametrize("named", ["[T-1, T-2]", "[T-2]"])
@pytest.mark.parametrize(
    "ways",
    [
        ("the issue is raised",),
        ("the article is built again",),
        ("the issue is raised", "the article is built again"),
        ("the issue is raised", "the limit is raised too"),
    ],
)
def test_what_re_opens_a_requirement_revives_no_failure(
    story: Story, named: str, ways: Sequence[str]
) -> None:
    story.commit(superseded(named=named), day="2026-02-01")
    assert code(story)[:2] == (C, True)
    story.commit(superseded(*ways, named=named), day="2026-02-02")
    dossier = judged(story)
    found = result(dossier, "R-1")
    assert (found.compliance, found.closed) == (OPEN, False)
    assert "re-opened: T-2" in found.why
    assert [p.rule for p in dossier.problems if p.severity == "error"] == []
    assert told(story) == []


def test_what_is_short_of_a_raised_limit_is_told_and_no_failure(story: Story) -> None:
    story.commit(superseded(), day="2026-02-01")
    ways = ("the issue is raised", "the limit is raised too")
    story.commit(superseded(*ways), day="2026-02-02")
    (entry,) = result(judged(story), "R-1").evidence
    assert entry.state is State.OPEN
    assert "what it measured does not meet issue B" in str(entry.message)


@pytest.mark.parametrize(
    ("failed", "retest"),
    [
        # The failure is of the present build, what replaces it of an older one.
        ({"build": "QM-2"}, {"build": "QM-1"}),
        # The failure judged the present issue, what replaces it an older one.
        ({"more": "judged: {R-1: B}"}, {}),
    ],
)
def test_what_is_further_from_the_present_supersedes_nothing(
    story: Story, failed: dict[str, str], retest: dict[str, str]
) -> None:
    text = superseded(**retest).replace(record(), record(**failed))
    if failed.get("more"):
        text = text.replace("issue: A\n    title", "issue: B\n    title")
    story.commit(text, day="2026-02-01")
    assert code(story)[0] is NC


def test_a_failure_that_nothing_superseded_stays_one_at_a_raised_issue(story: Story) -> None:
    text = (R_1 + records() + ARTICLES + report()).replace("issue: A\n", "issue: B\n")
    story.commit(text, day="2026-02-01")
    assert code(story)[0] is NC


# what closes


@pytest.mark.parametrize(
    ("issue", "git", "expected"),
    [("A", True, C), ("B", True, OPEN), ("B", False, C), ("2", True, OPEN)],
)
def test_a_record_without_an_issue_closes_nothing_above_the_first(
    tmp_path: Path, issue: str, git: bool, expected: Compliance
) -> None:
    text = R_1.replace("issue: A", f"issue: {issue}") + ARTICLES
    text += records(record(value="4 W h", build="QM-2", more=""))
    story = Story(tmp_path / "a story")
    if git:
        story.commit(text, day="2026-02-01")
    else:
        story.write(text)
        (story.folder / ".git").rename(tmp_path / "elsewhere")
    found, closed, why = code(story)
    assert (found, closed) == (expected, expected is C)
    if expected is OPEN:
        assert f"T-1 does not name the issue that it judged, the requirement is at {issue}" in why


def test_a_failure_without_an_issue_counts_at_each(story: Story) -> None:
    text = R_1.replace("issue: A", "issue: B") + ARTICLES + records(record(more="")) + report()
    story.commit(text, day="2026-02-01")
    assert code(story)[0] is NC


CLOSERS = [
    ("article: {BAT: QM-2}, judged: {R-1: A}", None),
    ("article: {BAT: QM-2}", None),  # the requirement names it
    ("article: {LAMP: QM-1}, judged: {R-1: A}", "T-2 was not made on BAT"),
    ("judged: {R-1: A}", "T-2 was not made on BAT"),
    ("article: {BAT: QM-2}, judged: {R-9: A}", "no closing record judged R-1"),
]


@pytest.mark.parametrize(("said", "left"), CLOSERS)
@pytest.mark.parametrize("of_report", [True, False])
def test_a_nonconformance_is_closed_by_what_is_about_it(
    story: Story, said: str, left: str | None, of_report: bool
) -> None:
    retest = (
        f"  - {{id: T-2, method: test, date: 2026-01-20, replaces: T-1, {said},"
        " measured: {energy: 4 W h +/- 0.1 W h (k = 2)}}\n"
    )
    of = report(CLOSING)
    if not of_report:  # what found it says on what
        of = of.replace(" article: {BAT: QM-1},", "")
    text = R_1.replace("[T-1]", "[T-1, T-2]") + records(record(), retest) + of
    other = "{id: LAMP, title: Lamp, model: flight, build: QM-1}"
    story.commit(text + ARTICLES.replace("}]", f"}}, {other}]"), day="2026-02-01")
    found = result(judged(story), "R-1")
    assert (found.compliance is C, found.closed) == (left is None, left is None)
    if left is not None:
        assert found.compliance is NC
        assert left in dict(found.reported)["NCR-001"]


def test_one_that_names_nothing_that_the_report_is_about_does_not_close_it(story: Story) -> None:
    """Another record of the retest judged the requirement; the one that closes judged nothing."""
    retest = record("T-2", "4 W h", more="judged: {R-1: A}, replaces: T-1", **RETEST)
    other = record("T-3", "4 W h", more="judged: {R-9: A}", **RETEST)
    text = R_1.replace("[T-1]", "[T-1, T-2]") + records(record(), retest, other) + ARTICLES
    story.write(text + report(CLOSING.replace("closed_by: T-2", "closed_by: T-3")))
    assert (
        "T-3 judged none of its requirements"
        in dict(result(judged(story), "R-1").reported)["NCR-001"]
    )


def test_a_date_that_was_moved_can_be_brought_back(story: Story) -> None:
    text = R_1 + records(record(value="4 W h", build="QM-2")) + ARTICLES
    moved = text.replace("2026-01-05", "2026-01-09")
    story.commit(text, day="2026-02-01")
    story.commit(moved, day="2026-02-02")
    assert told(story, "record-edited") == [
        "the record T-1 stated date 2026-01-05 on 2026-02-01, and does not now"
    ]
    story.commit(text, day="2026-02-03")
    assert told(story, "record-edited") == []
