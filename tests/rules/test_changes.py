"""What changed since a commit, told from what was only written differently."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from closeout.snapshot.dates import today
from tests.rules.story import FILE, Story

POWER = """\
requirements:
  - id: PWR-020
    issue: A
    title: Energy after the hold
    statement: The recorder shall hold at least 52 W h of usable energy after 28 d.
    source: {document: LSA, clause: "4.3"}
    verification:
      - method: analysis
        review: CDR
        quantity: usable_energy
        at_least: 52 W h
        given: {hold_duration: 28 d, cell_temperature: [5 degC, 20 degC]}
      - method: test
        review: AR
        records: [TR-001]
        quantity: usable_energy
        at_least: 52 W h
"""
DOCUMENTS = """\
documents:
  - {id: LSA, title: Launch service agreement, issue: 2, date: 2026-01-20}
"""
RECORD = """\
records:
  - id: TR-001
    method: test
    title: Bench soak
    date: 2026-03-01
    judged: {PWR-020: A}
    measured: {usable_energy: 57 W h +/- 1 W h (k = 2)}
"""
FAILED = RECORD.replace("57 W h", "49 W h")


@pytest.fixture
def story(tmp_path: Path) -> Story:
    return Story(tmp_path / "a story")


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (
            "statement: The recorder shall hold at least 52 W h of",
            "statement: >-\n      The recorder shall\n      hold at least 52 W h   of",
        ),
        ("at_least: 52 W h", "at_least: 52.0 W h"),
        ("at_least: 52 W h", "at_least: 187.2 kJ"),
        ("hold_duration: 28 d", "hold_duration: 672 h"),
        ("[5 degC, 20 degC]", "[278.15 K, 293.15 K]"),
        (
            "{hold_duration: 28 d, cell_temperature: [5 degC, 20 degC]}",
            "{cell_temperature: [5 degC, 20 degC], hold_duration: 28 d}",
        ),
        ("        review: CDR\n", "        review: QR\n        plan: VP 4.2\n"),
        ("title: Energy after the hold", "title: Energy left"),
        ("    source:", "    rationale: The active phase needs it.\n    source:"),
        (
            "        review: CDR\n        quantity: usable_energy\n        at_least: 52 W h\n",
            "        at_least: 52 W h\n        quantity: usable_energy\n        review: CDR\n",
        ),
        (
            "      - method: test\n",
            "      - {method: test, quantity: usable_energy, at_least: 52 W h}\n"
            "      - method: test\n",
        ),
        ("issue: A\n", "issue: A   # as agreed\n"),
    ],
)
def test_what_is_only_written_differently_is_no_change(story: Story, old: str, new: str) -> None:
    assert old in POWER
    story.commit(POWER)
    story.write(POWER.replace(old, new))
    assert story.rules() == []
    story.commit()
    assert story.rules() == []


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("of usable energy", "of energy", "its statement changed"),
        ("at_least: 52 W h", "at_least: 50 W h", "usable_energy at least 52 W h"),
        ("at_least: 52 W h", "at_most: 52 W h", "usable_energy at most 52 W h"),
        ("hold_duration: 28 d", "hold_duration: 30 d", "hold_duration = 30 d"),
        ("[5 degC, 20 degC]", "[0 degC, 20 degC]", "0 degC to 20 degC"),
        ("[5 degC, 20 degC]", "5 degC", "cell_temperature = 5 degC"),
        ("quantity: usable_energy", "quantity: energy", "energy at least 52 W h"),
        ("        given", "        cases: at least 2\n        given", "in 2 cases"),
        ("at_least: 52 W h", "equal_to: 52 W h\n        within: 1 W h", "within 1 W h"),
    ],
)  # fmt: skip
def test_a_changed_statement_or_criterion_asks_for_a_new_issue(
    story: Story, old: str, new: str, told: str
) -> None:
    assert old in POWER
    story.commit(POWER)
    story.write(POWER.replace(old, new))
    (finding,) = story.findings()
    assert finding.rule == "issue-not-raised"
    assert told in finding.message
    assert finding.where.steps[-1] == "issue"
    # It stands after any number of commits; a raised issue, or the old text, ends it at once.
    story.commit(day="2026-02-03")
    assert story.rules() == ["issue-not-raised"]
    story.git("commit", "--quiet", "--allow-empty", "--message", "another")
    story.commit(POWER.replace(old, new).replace("Energy after", "Energy left after"))
    story.git("commit", "--quiet", "--allow-empty", "--message", "another")
    (finding,) = story.findings()
    assert finding.rule == "issue-not-raised"
    assert told in finding.message
    assert "since its text of 2026-01-01" in finding.message
    story.write(POWER.replace(old, new).replace("issue: A", "issue: B"))
    assert story.rules() == []
    story.write(POWER)
    assert story.rules() == []
    story.commit()
    assert story.rules() == []


def test_a_first_criterion_is_told_with_that_change_alone(story: Story) -> None:
    """A requirement grows into its verification; what it asks for is in its statement."""
    story.commit(POWER[: POWER.index("    verification:")])
    story.commit(POWER)
    assert story.rules() == ["issue-not-raised"]
    story.git("commit", "--quiet", "--allow-empty", "--message", "another")
    assert story.rules() == []
    story.commit(POWER.replace("at_least: 52 W h", "at_least: 50 W h"))
    story.git("commit", "--quiet", "--allow-empty", "--message", "another")
    assert story.rules() == ["issue-not-raised"]
    story.commit(POWER.replace("52 W h of", "50 W h of"))
    story.git("commit", "--quiet", "--allow-empty", "--message", "another")
    assert story.rules() == ["issue-not-raised"]


def test_an_issue_that_goes_back_is_not_raised(story: Story) -> None:
    story.commit(POWER.replace("issue: A", "issue: C"))
    story.write(POWER.replace("issue: A", "issue: B").replace("52", "50"))
    (finding,) = story.findings()
    assert "its issue is now B" in finding.message
    assert "raise to issue D" in finding.cure


def test_a_requirement_that_moves_to_another_file_is_still_compared(story: Story) -> None:
    story.commit(POWER)
    story.write({FILE: None, "requirements/moved/b.yaml": POWER})
    assert story.rules() == []
    story.write({"requirements/moved/b.yaml": POWER.replace("52", "50")})
    assert story.rules() == ["issue-not-raised"]


def test_a_merge_is_held_against_its_first_parent(story: Story) -> None:
    story.commit(POWER)
    story.git("checkout", "--quiet", "-b", "side")
    story.commit(POWER.replace("52", "50"))
    story.git("checkout", "--quiet", "main")
    story.git("merge", "--quiet", "--no-ff", "--message", "merge", "side")
    assert story.rules() == ["issue-not-raised"]


def test_line_ends_of_another_system_are_no_change(story: Story) -> None:
    story.commit(POWER)
    story.git("config", "core.autocrlf", "true")
    (story.folder / FILE).unlink()
    story.git("checkout", "--quiet", "--", FILE)
    assert b"\r\n" in (story.folder / FILE).read_bytes()
    story.write({"requirements/b.yaml": "records: []\n"})  # so that it is held against HEAD
    assert story.rules() == []


def test_the_criterion_of_one_quantity_more_is_followed_from_then_on(story: Story) -> None:
    more = "      - {method: analysis, quantity: drained, at_most: 3 W h}\n"
    story.commit(POWER)
    story.commit(POWER + more)
    assert story.rules() == ["issue-not-raised"]
    story.commit({"requirements/other.yaml": "requirements: []\n"})
    assert story.rules() == []
    story.commit(POWER + more.replace("3 W h", "4 W h"))
    story.commit({"requirements/other.yaml": "documents: []\n"})
    (finding,) = story.findings()
    assert "drained at most 3 W h -> drained at most 4 W h" in finding.message
    story.commit(POWER)
    story.commit({"requirements/other.yaml": "requirements: []\n"})
    assert story.rules() == []


OTHER = {"requirements/other.yaml": "requirements: []\n"}


def with_limit(limit: int, issue: str) -> str:
    text = POWER.replace("at_least: 52", f"at_least: {limit}").replace("least 52", f"least {limit}")
    return text.replace("issue: A", f"issue: {issue}")


def test_an_issue_that_was_taken_back_says_no_other_thing_later(story: Story) -> None:
    story.commit(with_limit(52, "A"))
    story.commit(with_limit(50, "B"))
    story.commit(with_limit(52, "A"))  # as by git revert
    assert story.rules() == []
    story.commit(with_limit(40, "B"))
    assert story.rules() == ["issue-not-raised"]
    story.commit(OTHER)
    assert story.rules() == ["issue-not-raised"]
    story.write(with_limit(40, "C"))
    assert story.rules() == []
    story.write(with_limit(50, "B"))
    assert story.rules() == []


def test_a_criterion_that_came_later_is_not_renamed_and_lowered_in_silence(story: Story) -> None:
    bare = POWER[: POWER.index("    verification:")]
    story.commit(bare)
    story.commit(POWER)
    story.write(
        POWER.replace("usable_energy", "energy_left").replace("at_least: 52", "at_least: 30")
    )
    assert story.rules() == ["issue-not-raised"]
    story.commit()
    assert story.rules() == ["issue-not-raised"]
    story.commit(OTHER)
    assert story.rules() == ["issue-not-raised"]


def test_a_criterion_that_is_dropped_again_is_told_with_that_change(story: Story) -> None:
    more = "      - {method: analysis, quantity: drained, at_most: 3 W h}\n"
    story.commit(POWER)
    story.commit(POWER + more)
    story.commit(OTHER)
    story.write(POWER)
    assert story.rules() == ["issue-not-raised"]
    story.commit()
    assert story.rules() == ["issue-not-raised"]
    story.commit({"requirements/other.yaml": "documents: []\n"})
    assert story.rules() == []  # it says again what the issue began with


# an outside document


def test_a_customers_requirement_changes_with_its_document_alone(story: Story) -> None:
    story.commit(DOCUMENTS + POWER)
    raised = POWER.replace("52", "50").replace("issue: A", "issue: B")
    story.write(DOCUMENTS + raised)
    (finding,) = story.findings()
    assert finding.rule == "source-not-raised"
    assert "LSA" in finding.message
    assert "still issue 2" in finding.message
    story.write(DOCUMENTS.replace("2026-01-20", "2026-02-20") + raised)
    assert story.rules() == ["source-not-raised"]
    story.write(DOCUMENTS.replace("issue: 2", "issue: 3") + raised)
    assert story.rules() == []


def test_the_register_may_stand_in_a_file_that_did_not_change(story: Story) -> None:
    story.commit({FILE: POWER, "requirements/d.yaml": DOCUMENTS})
    story.write(POWER.replace("52", "50").replace("issue: A", "issue: B"))
    assert story.rules() == ["source-not-raised"]
    story.write({"requirements/d.yaml": DOCUMENTS.replace("issue: 2", "issue: 3")})
    assert story.rules() == []


def test_a_customers_requirement_stays_told_after_any_number_of_commits(story: Story) -> None:
    raised = POWER.replace("52", "50").replace("issue: A", "issue: B")
    story.commit(DOCUMENTS + POWER)
    story.commit(DOCUMENTS + raised)
    story.commit({"requirements/other.yaml": "requirements: []\n"})
    (finding,) = story.findings()
    assert finding.rule == "source-not-raised"
    assert "since its text of 2026-01-01" in finding.message
    story.write(DOCUMENTS + POWER.replace("issue: A", "issue: C"))
    assert story.rules() == []
    story.write(DOCUMENTS.replace("issue: 2", "issue: 3") + raised)
    assert story.rules() == ["document-raised"]


def test_a_requirement_may_follow_its_document_in_a_later_commit_once(story: Story) -> None:
    third = DOCUMENTS.replace("issue: 2", "issue: 3")
    follows = POWER.replace("52", "50").replace("issue: A", "issue: B")
    again = POWER.replace("52", "48").replace("issue: A", "issue: C")
    story.commit(DOCUMENTS + POWER)
    story.commit(third + POWER)
    story.write(third + follows)
    assert story.rules() == []
    story.commit()
    assert story.rules() == []
    story.write(third + again)
    assert story.rules() == ["source-not-raised"]
    story.commit()
    assert story.rules() == ["source-not-raised"]


@pytest.mark.parametrize("issue", ["issue: 1, ", ""])
def test_a_document_whose_issue_goes_back_is_not_raised(story: Story, issue: str) -> None:
    lowered = DOCUMENTS.replace("issue: 2, ", issue)
    story.commit(DOCUMENTS + POWER)
    story.write(lowered + with_limit(40, "B"))
    assert "source-not-raised" in story.rules()
    story.commit()
    assert "source-not-raised" in story.rules()
    story.commit(DOCUMENTS + with_limit(40, "B"))
    story.commit(OTHER)
    assert story.rules() == ["source-not-raised"]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("title: Energy after", "title: Energy left after"),
        ('clause: "4.3"', 'clause: "4.4"'),
        ("        records: [TR-001]\n", ""),
        ("hold at least 52 W h of", "hold at least\n      52 W h of"),
    ],
)
def test_what_only_looks_different_does_not_use_up_the_following(
    story: Story, old: str, new: str
) -> None:
    third = DOCUMENTS.replace("issue: 2", "issue: 3")
    assert old in POWER
    story.commit(DOCUMENTS + POWER)
    story.commit(third + POWER)
    story.commit(third + POWER.replace(old, new))
    follows = with_limit(40, "B").replace(old.replace("52", "40"), new.replace("52", "40"))
    story.commit(third + follows)
    assert story.rules() == []
    story.commit(OTHER)
    assert story.rules() == []


def test_a_document_may_be_followed_in_two_steps(story: Story) -> None:
    third = DOCUMENTS.replace("issue: 2", "issue: 3")
    story.commit(DOCUMENTS + POWER)
    story.commit(third + POWER)
    story.commit(third + POWER.replace("least 52", "least 40").replace("issue: A", "issue: B"))
    assert story.rules() == []
    story.commit(third + with_limit(40, "C"))
    assert story.rules() == []
    story.commit(third + with_limit(30, "D"))
    assert story.rules() == ["source-not-raised"]


def test_a_new_requirement_of_a_raised_document_is_held_to_it(story: Story) -> None:
    third = DOCUMENTS.replace("issue: 2", "issue: 3")
    story.commit(DOCUMENTS)
    story.commit(third)
    story.commit(third + POWER)
    story.write(third + POWER.replace("52", "50").replace("issue: A", "issue: B"))
    assert story.rules() == ["source-not-raised"]


def test_a_first_criterion_is_no_matter_of_the_customers_document(story: Story) -> None:
    story.commit(DOCUMENTS + POWER[: POWER.index("    verification:")])
    story.write(DOCUMENTS + POWER.replace("issue: A", "issue: B"))
    assert story.rules() == []
    story.commit()
    story.write(DOCUMENTS + POWER.replace("at_least: 52", "at_least: 50").replace("e: A", "e: C"))
    assert story.rules() == ["source-not-raised"]


def test_a_raised_document_lists_what_cites_it_and_did_not_change(story: Story) -> None:
    more = POWER + POWER.removeprefix("requirements:\n").replace("PWR-020", "PWR-030")
    story.commit(DOCUMENTS + more)
    story.write(DOCUMENTS.replace("issue: 2", "issue: 3") + more)
    (finding,) = story.findings()
    assert finding.rule == "document-raised"
    assert "PWR-020, PWR-030" in finding.message
    assert "from issue 2 to 3" in finding.message
    changed = more.replace("52", "50", 3).replace("issue: A", "issue: B", 1)
    story.write(DOCUMENTS.replace("issue: 2", "issue: 3") + changed)
    (finding,) = story.findings()
    assert finding.message.endswith("PWR-030")
    assert "PWR-020" not in finding.message


def test_a_requirement_that_a_nonconformance_named_stays_told(story: Story) -> None:
    report = "nonconformances:\n  - {id: NCR-001, requirements: [PWR-020], cause: a loose plug}\n"
    story.commit(POWER + RECORD + report, day="2026-03-02")
    story.commit(POWER + RECORD + report.replace("requirements: [PWR-020], ", ""))
    story.commit({"requirements/other.yaml": "requirements: []\n"})
    (finding,) = story.findings(["nonconformance-edited"])
    assert "NCR-001 named PWR-020 on 2026-03-02" in finding.message
    story.write(POWER + RECORD + report.replace("loose", "broken"))
    assert story.findings(["nonconformance-edited"]) == []


def test_a_report_that_took_another_number_before_a_merge_is_not_edited(story: Story) -> None:
    def report(number: int, requirement: str) -> str:
        said = f"{{id: NCR-{number}, requirements: [{requirement}], cause: of {requirement}}}"
        return f"nonconformances:\n  - {said}\n"

    two = POWER + POWER.removeprefix("requirements:\n").replace("PWR-020", "PWR-030")
    story.commit(two)
    story.git("checkout", "--quiet", "-b", "side")
    story.commit({"requirements/side.yaml": report(8, "PWR-030")})
    story.commit({"requirements/side.yaml": report(9, "PWR-030")})
    story.git("checkout", "--quiet", "main")
    story.commit({"requirements/main.yaml": report(8, "PWR-020")})
    story.git("merge", "--quiet", "--no-ff", "--message", "merge", "side")
    assert story.findings(["nonconformance-edited"]) == []


# records and days


def test_a_criterion_that_changed_after_its_record_proves_nothing(story: Story) -> None:
    story.commit(POWER.replace("52", "60"), day="2026-02-01")
    story.commit(POWER + RECORD, day="2026-03-02")
    # Later commits do not hide it; a record of a later day is of the new criterion.
    story.commit(POWER.replace("Energy after", "Energy left after") + RECORD, day="2026-04-01")
    (_, finding) = story.findings()
    assert finding.rule == "judged-before-change"
    assert "TR-001 judged PWR-020 on 2026-03-01" in finding.message
    assert "changed on 2026-03-02" in finding.message
    story.write(POWER + RECORD.replace("2026-03-01", "2026-03-02"))
    assert [rule for rule in story.rules() if rule == "judged-before-change"] == []


def test_a_statement_that_changed_after_its_record_stays_told(story: Story) -> None:
    """Not only until the next commit: the record goes on speaking of other words."""
    other = POWER.replace("shall hold", "shall keep")
    story.commit(POWER + RECORD, day="2026-03-02")
    story.commit(other + RECORD, day="2026-03-05")
    story.commit({"requirements/other.yaml": "requirements: []\n"}, day="2026-03-06")
    (earlier, finding) = story.findings()
    assert earlier.rule == "issue-not-raised"
    assert "since its text of 2026-03-02" in earlier.message
    assert finding.rule == "judged-before-change"
    assert "changed on 2026-03-05" in finding.message
    story.write(other.replace("issue: A", "issue: B") + RECORD)
    assert story.rules() == []


def test_a_change_before_the_record_is_none_after_it(story: Story) -> None:
    story.commit(POWER.replace("52", "60"), day="2026-02-01")
    story.commit(POWER, day="2026-02-20")
    story.commit(POWER + RECORD, day="2026-03-02")
    assert story.rules() == ["issue-not-raised"]


def test_another_methods_criterion_is_not_what_the_record_judged(story: Story) -> None:
    story.commit(POWER + RECORD, day="2026-02-01")
    story.commit(POWER.replace("hold_duration: 28 d", "hold_duration: 30 d") + RECORD,
                 day="2026-04-01")  # fmt: skip
    assert story.rules() == ["issue-not-raised"]


def test_a_record_of_another_issue_is_open_anyway(story: Story) -> None:
    story.commit(POWER + RECORD)
    story.write(POWER.replace("52", "50").replace("issue: A", "issue: B") + RECORD)
    assert story.rules() == []


def test_a_record_that_is_new_with_the_change_counts_from_its_own_day(story: Story) -> None:
    story.commit(POWER.replace("52", "60"), day="2026-02-01")
    story.write(POWER + RECORD.replace("2026-03-01", today()))
    assert story.rules() == ["issue-not-raised"]
    # As it is found once it is committed.
    story.write(POWER + RECORD)
    assert story.rules() == ["issue-not-raised", "judged-before-change"]
    story.commit(day="2026-03-05")
    assert story.rules() == ["issue-not-raised", "judged-before-change"]


def test_a_record_without_a_quantity_judges_the_statement(story: Story) -> None:
    plain = """\
requirements:
  - id: PWR-020
    title: Label
    statement: The battery shall carry a label.
    verification: [{method: inspection, records: [IN-001]}]
records:
  - {id: IN-001, method: inspection, date: 2026-03-01, judged: {PWR-020: A}, outcome: met}
"""
    story.commit(plain, day="2026-03-01")
    story.commit(plain.replace("a label", "two labels"), day="2026-03-05")
    assert story.rules() == ["issue-not-raised", "judged-before-change"]


# failed records


def test_a_failed_record_that_is_deleted_is_found_whenever_that_was(story: Story) -> None:
    story.commit(POWER + FAILED, day="2026-03-02")
    assert story.rules() == []
    without = POWER.replace("        records: [TR-001]\n", "")
    story.write(without)
    assert story.rules() == ["failed-record-deleted"]
    story.commit()
    story.commit(without.replace("review: CDR", "review: PDR"))
    story.commit(without)
    (finding,) = story.findings()
    assert "TR-001 of 2026-03-01" in finding.message
    assert "usable_energy of PWR-020 at 49 W h +/- 1 W h (k = 2), not met" in finding.message
    assert f"{FILE} on 2026-03-02" in finding.message
    story.write(POWER + FAILED)
    assert story.rules() == []


@pytest.mark.parametrize("trace", ["review: PDR", "review: CDR"])  # also where none is left
def test_a_failed_record_that_came_and_went_on_a_branch_is_found(story: Story, trace: str) -> None:
    without = POWER.replace("        records: [TR-001]\n", "")
    story.commit(without)
    story.git("checkout", "--quiet", "-b", "side")
    story.commit(POWER + FAILED)
    story.commit(without.replace("review: CDR", trace))
    story.git("checkout", "--quiet", "main")
    story.git("merge", "--quiet", "--no-ff", "--message", "merge", "side")
    assert story.rules() == ["failed-record-deleted"]


@pytest.mark.parametrize("how", ["with its limit", "with its requirement", "with its file"])
def test_to_take_away_what_it_failed_hides_nothing(story: Story, how: str) -> None:
    other = POWER.replace("PWR-020", "PWR-030").replace("        records: [TR-001]\n", "")
    story.commit({FILE: other, "requirements/b.yaml": POWER + FAILED})
    left = {
        "with its limit": POWER.replace("        records: [TR-001]\n", "").replace("52", "40"),
        "with its requirement": "requirements: []\n",
        "with its file": None,
    }[how]
    for _ in range(2):
        story.write({"requirements/b.yaml": left})
        assert "failed-record-deleted" in story.rules()
        story.commit()
        assert "failed-record-deleted" in story.rules()
        left = None if left is None else left + "# once more\n"
        if left is None:
            break


@pytest.mark.parametrize(
    "record",
    [
        RECORD,  # it found its limit met
        FAILED.replace("    date: 2026-03-01\n", ""),  # planned: no evidence yet
        FAILED.replace("PWR-020: A", "PWR-020: B"),  # of an issue that set another limit
    ],
)
def test_what_found_nothing_may_be_deleted(story: Story, record: str) -> None:
    story.commit(POWER + record)
    story.write(POWER.replace("        records: [TR-001]\n", ""))
    assert story.rules() == []


def test_a_limit_of_another_method_is_not_what_it_failed(story: Story) -> None:
    stricter = POWER.replace("at_least: 52 W h\n        given", "at_least: 58 W h\n        given")
    story.commit(stricter + RECORD)
    story.write(stricter.replace("        records: [TR-001]\n", ""))
    assert story.rules() == []


def test_an_outcome_counts_as_a_measured_value_does(story: Story) -> None:
    failed = RECORD.replace(
        "    measured: {usable_energy: 57 W h +/- 1 W h (k = 2)}\n", "    outcome: not met\n"
    )
    story.commit(POWER + failed)
    story.write(POWER.replace("        records: [TR-001]\n", ""))
    (finding,) = story.findings()
    assert "found PWR-020 not met" in finding.message


def test_a_record_with_a_fault_of_its_own_is_not_deleted(story: Story) -> None:
    story.commit(POWER + FAILED)
    story.write(POWER + FAILED + "    wether: dry\n")
    assert story.rules() == []


AS_RUN = (
    RECORD
    + """\
    conditions:
      hold_duration: 28 d +/- 1 h (k = 2)
      cell_temperature: [5 degC, 20 degC]
    differs: [no cover, a longer harness]
"""
)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("28 d +/- 1 h", "672 h +/- 1 h", "conditions hold_duration = 28 d +/- 1 h (k = 2)"),
        ("28 d +/- 1 h (k = 2)", "28 d", "conditions hold_duration = 28 d +/- 1 h (k = 2)"),
        ("1 h (k = 2)", "1 h (k = 3)", "conditions hold_duration = 28 d +/- 1 h (k = 2)"),
        ("[5 degC, 20 degC]", "5 degC", "conditions cell_temperature = 5 degC to 20 degC"),
        ("[5 degC, 20 degC]", "[2 degC, 20 degC]", "conditions cell_temperature = 5 degC to 20"),
        ("no cover, a", "a", "differs no cover"),
        ("28 d +/- 1 h", "28.0 d +/- 1.0 h", None),
        ("[no cover, a longer harness]", "[a longer harness, a lamp, no cover]", None),
    ],
)
def test_what_a_test_was_run_at_is_not_made_to_fit(
    story: Story, old: str, new: str, told: str | None
) -> None:
    story.commit(POWER + AS_RUN)
    story.write(POWER + AS_RUN.replace(old, new))
    found = story.findings(["record-edited"])
    assert [told in f.message for f in found if told] == ([] if told is None else [True])
    assert len(found) == (0 if told is None else 1)


# identifiers


def test_an_identifier_with_another_meaning_is_reused(story: Story) -> None:
    story.commit(POWER, day="2026-01-05")
    story.commit("requirements: []\n", day="2026-01-07")
    other = POWER.replace("hold at least 52 W h of usable energy after 28 d", "carry a label")
    story.write(other)
    (finding,) = story.findings()
    assert finding.rule == "identifier-reused"
    assert "until 2026-01-07 the requirement PWR-020" in finding.message
    assert "The recorder shall hold at least 52 W h" in finding.message
    # It stays reused, however many commits are made.
    story.commit()
    story.commit(other.replace("review: CDR", "review: PDR"))
    assert story.rules() == ["identifier-reused"]


def test_what_is_brought_back_or_moved_is_not_reused(story: Story) -> None:
    story.commit(POWER)
    story.commit("requirements: []\n")
    story.commit({FILE: None, "requirements/b.yaml": POWER.replace("hold at", "hold  at")})
    assert story.rules() == []
    story.commit({FILE: POWER, "requirements/b.yaml": None})
    assert story.rules() == []


def test_a_file_that_could_not_be_read_for_a_while_took_nothing_away(story: Story) -> None:
    story.commit(POWER)
    story.commit(POWER + "    : :\n  bad\n")
    story.commit(POWER + "    unknown: key\n")
    story.commit(POWER)
    assert story.rules() == []
    # One that stood there with a fault was not gone: its text may have changed since.
    story.commit(POWER + "    unknown: key\n")
    story.commit(POWER.replace("usable energy", "energy").replace("issue: A", "issue: B"))
    assert story.rules() == []


def test_records_waivers_and_reports_are_not_reused_either(story: Story) -> None:
    items = {
        "records": ("{id: X-1, method: test, title: %s}", "record"),
        "waivers": ("{id: X-1, kind: waiver, requirement: PWR-020, document: %s}", "waiver"),
        "nonconformances": ("{id: X-1, cause: %s}", "nonconformance"),
    }
    for section, (item, kind) in items.items():
        path = f"requirements/{section}.yaml"
        story.commit({path: f"{section}:\n  - {item % 'one'}\n"})
        story.commit({path: f"{section}: []\n"})
        story.write({path: f"{section}:\n  - {item % 'one'}\n"})
        assert story.rules() == []
        story.write({path: f"{section}:\n  - {item % 'another'}\n"})
        (finding,) = story.findings()
        assert f"the {kind} X-1" in finding.message
        story.write({path: f"{section}: []\n"})


# what is not there


def test_without_git_nothing_is_told(tmp_path: Path) -> None:
    story = Story(tmp_path / "a story")
    story.write(POWER)
    _, history = story.history()
    assert history is None
    assert story.rules() == []


def test_a_shallow_clone_is_quiet_about_what_it_does_not_know(story: Story, tmp_path: Path) -> None:
    story.commit(POWER + FAILED)
    story.commit(POWER.replace("        records: [TR-001]\n", "").replace("52", "50"))
    assert story.rules() == ["failed-record-deleted", "issue-not-raised"]
    clone = tmp_path / "clone"
    story.git("clone", "--quiet", "--depth", "1", f"file://{story.folder}", str(clone))
    again = Story(clone)
    again.git("checkout", "--quiet", "--", ".")
    assert again.rules() == []
    again.git("fetch", "--quiet", "--unshallow")
    assert again.rules() == ["failed-record-deleted", "issue-not-raised"]


def test_a_blob_is_parsed_once(story: Story, monkeypatch: pytest.MonkeyPatch) -> None:
    for number in range(4):
        story.commit(POWER.replace("52", str(50 + number)))
    story.rules()
    kept = dict(story.store)
    story.commit(POWER.replace("52", "60"))
    # Were an old blob read again, git would not know it: its objects are gone.
    for old in story.git("rev-list", "HEAD~2").split():
        name = story.git("rev-parse", f"{old}:{FILE}")
        (story.folder / ".git/objects" / name[:2] / name[2:]).unlink()
    assert story.rules() == ["issue-not-raised"]
    assert set(kept) < set(story.store)
    with pytest.raises(subprocess.CalledProcessError):
        story.git("show", f"HEAD~2:{FILE}")
