"""An old measurement that is judged against a raised issue, through the command line."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.project import CHARTER, Project, by_id, environment, repository
from tests.cli.test_hook_news import BENCH, POWER, RECORDS, REQUIREMENTS

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

ANEW = "PWR-012: {issue: B, date: 2026-05-01}"
RULES = ("judged-before-change", "record-edited", "failed-record-edited", "issue-not-raised")


def on(project: Project, day: str) -> None:
    """Commit everything, past the hook, on a day."""
    when = f"{day}T12:00:00+0000"
    project.git("add", "--all")
    project.git("-c", "core.hooksPath=/dev/null", "commit", "--quiet", f"--date={when}", "-m", "x")


@pytest.fixture
def tested(tmp_path: Path) -> Project:
    """A project of January whose requirement was raised to issue B, at least 55 W h, in April."""
    files = {"requirements/project.yaml": CHARTER, POWER: REQUIREMENTS, BENCH: RECORDS}
    project = repository(tmp_path / "p", files, committed=False)
    on(project, "2026-01-20")
    project.replace(POWER, "issue: A", "issue: B")
    project.replace(POWER, "52 W h", "55 W h")
    on(project, "2026-04-20")
    return project


def state(project: Project, *options: str) -> dict[str, str]:
    result = by_id(project.verify(*options).json)["PWR-012"]
    return {"compliance": result["compliance"], "why": str(result["verification"][0]["message"])}


def told(project: Project, *options: str) -> set[str]:
    text = project.run("lint", *options).said
    return {rule for rule in (*RULES, "judged-before-made") if f"[{rule}]" in text}


def test_it_counts_for_the_raised_issue_without_a_finding(tested: Project) -> None:
    assert state(tested)["compliance"] == "open"
    tested.replace(BENCH, "PWR-012: A", ANEW)
    assert state(tested)["compliance"] == "C"  # 57 W h less 0.4 W h, by hand
    assert told(tested) == set()
    on(tested, "2026-05-02")
    assert told(tested) == set()


def test_without_its_day_the_record_is_edited_and_judged_too_early(tested: Project) -> None:
    tested.replace(BENCH, "PWR-012: A", "PWR-012: B")
    assert told(tested) == {"record-edited", "judged-before-change"}
    run = tested.run("lint")
    assert "date: ...}" in run.said
    on(tested, "2026-05-02")
    tested.replace(BENCH, "PWR-012: B", ANEW)  # as the cure says
    assert told(tested) == set()


def test_a_judgement_of_a_day_before_the_change_is_told(tested: Project) -> None:
    tested.replace(BENCH, "PWR-012: A", ANEW.replace("05-01", "04-19"))
    assert told(tested) == {"judged-before-change"}


def test_a_judgement_of_a_day_to_come_is_planned(tested: Project) -> None:
    tested.replace(BENCH, "PWR-012: A", ANEW)
    before, after = "2026-04-30", "2026-05-01"
    found = state(tested, "--today", before)
    assert found["compliance"] == "open"
    assert "again on 2026-05-01, after the date of this state" in found["why"]
    assert state(tested, "--today", after)["compliance"] == "C"
    assert state(tested, "--today", before)["compliance"] == "open"  # from the store


def test_what_falls_short_of_the_new_issue_is_no_failure_before_it_is_judged(
    tested: Project,
) -> None:
    tested.replace(POWER, "55 W h", "58 W h")
    tested.replace(BENCH, "PWR-012: A", ANEW)
    assert state(tested, "--today", "2026-04-30")["compliance"] == "open"
    assert state(tested, "--today", "2026-05-01")["compliance"] == "NC"


@pytest.mark.slow
def test_a_day_that_is_moved_is_told(tested: Project) -> None:
    tested.replace(BENCH, "PWR-012: A", ANEW)
    on(tested, "2026-05-02")
    tested.replace(BENCH, "2026-05-01", "2026-05-15")
    assert told(tested) == {"record-edited"}
    assert "judged PWR-012 on 2026-05-01" in tested.run("lint").said


@pytest.mark.slow
def test_an_issue_that_goes_back_is_no_judgement_anew(tested: Project) -> None:
    tested.replace(BENCH, "PWR-012: A", "PWR-012: {issue: '-', date: 2026-05-01}")
    assert "record-edited" in told(tested)


def test_a_failure_that_nobody_reported_is_not_judged_away(tested: Project) -> None:
    tested.replace(BENCH, "57.0 W h", "50.0 W h")
    on(tested, "2026-04-21")
    tested.replace(POWER, "issue: B", "issue: C")
    tested.replace(POWER, "55 W h", "49 W h")
    on(tested, "2026-04-22")
    tested.replace(BENCH, "PWR-012: A", ANEW.replace("B", "C"))
    assert "failed-record-edited" in told(tested)


@pytest.mark.slow
def test_before_it_was_made_is_told(tested: Project) -> None:
    tested.replace(BENCH, "PWR-012: A", ANEW.replace("2026-05-01", "2025-12-01"))
    assert "judged-before-made" in told(tested)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("said", "place"),
    [
        ("{issue: B}", "date"),
        ("{date: 2026-05-01}", "issue"),
        ("{issue: B, date: tomorrow}", "tomorrow"),
        ("{issue: B, date: 2026-05-01, by: me}", "by"),
        ("[B]", "must be text or an issue and day"),
    ],
)
def test_a_form_that_is_none_is_refused_with_its_place(
    tested: Project, said: str, place: str
) -> None:
    tested.replace(BENCH, "PWR-012: A", f"PWR-012: {said}")
    run = tested.run("lint", env=environment(COLUMNS="200"))
    assert run.status == 2
    assert "requirements/bench.yaml:10" in run.said
    assert place in run.said
