"""The hook where inputs are measured: what a record shows is news, what is changed beside it not.

Real commits in a real repository; everything is invented.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.project import CHARTER, Project, Run, repository
from tests.run.test_measured_inputs import ARTICLES, LIFE, record

POWER, RECORDS = "requirements/power.yaml", "requirements/records.yaml"
INPUTS = "analyses/inputs.yaml"
REQUIREMENTS = """\
requirements:
  - id: PWR-020
    title: Lamp time
    statement: The battery shall feed the lamp for at least 15 h.
    source: Invented
    rationale: Invented
    verification:
      - {method: analysis, level: system, stage: qualification, review: CDR, analysis: life,
         quantity: time, at_least: 15 h, risk: Invented}
"""
PARAMETERS = """\
parameters:
  charge: {value: 2 A h, tolerance: 0 A h, source: Invented}
  drain: {from: TR-2.drain}
"""
REPORT = (
    "nonconformances:\n  - {id: NCR-1, found_by: TR-2, requirements: [PWR-020], class: minor,"
    " article: {BAT: FM-3}, cause: a wrong shunt}\n"
)
NEWER = record("TR-7", date="2026-04-01", replaces="TR-2",
               measured="{drain: 150 mA +/- 6 mA (k = 2)}")  # fmt: skip


@pytest.fixture
def hooked(judged: Project, tmp_path: Path) -> Project:
    return judged.copy(tmp_path / "a project")


@pytest.fixture(scope="module")
def judged(tmp_path_factory: pytest.TempPathFactory) -> Project:
    """A committed project, compliant by an analysis of a measured input, with the hooks."""
    files = {
        "requirements/project.yaml": CHARTER,
        POWER: REQUIREMENTS,
        RECORDS: ARTICLES + "records:\n" + record(),
        INPUTS: PARAMETERS,
        "analyses/life.py": LIFE.text,
    }
    project = repository(tmp_path_factory.mktemp("judged") / "a project", files)
    assert project.run("verify").status == 0
    project.run("hook", "install")
    return project


def commit(project: Project) -> Run:
    project.git("add", "--all")
    return project.attempt("commit", "--quiet", "-m", "x")


def append(project: Project, text: str) -> None:
    project.write({RECORDS: (project.path / RECORDS).read_text("utf-8") + text})


def test_a_newer_record_that_shows_a_shortfall_passes_and_is_told(hooked: Project) -> None:
    """2 A h at 150 mA: 13.3 h of 15 h."""
    append(hooked, NEWER)
    run = commit(hooked)
    assert run.status == 0, run.said
    assert "not compliant, found by a record" in run.said
    assert "PWR-020  C -> NC" in run.said
    assert "rests on what TR-7 measured" in run.said


def test_a_new_build_passes_and_opens_what_rests_on_the_old_ones_number(hooked: Project) -> None:
    hooked.replace(RECORDS, "model: flight, build: FM-3", "model: flight, build: FM-4")
    run = commit(hooked)
    assert run.status == 0, run.said
    assert "to be verified again, new build of the article" in run.said
    assert "PWR-020  C -> open" in run.said


def test_a_nonconformance_of_a_record_passes(hooked: Project) -> None:
    append(hooked, REPORT)
    run = commit(hooked)
    assert run.status == 0, run.said
    assert "PWR-020  C -> open" in run.said
    assert "NCR-1" in run.said


@pytest.mark.parametrize(
    ("path", "old", "new"),
    [(POWER, "at_least: 15 h", "at_least: 15.5 h"), (INPUTS, "value: 2 A h", "value: 1.9 A h")],
)
def test_what_is_changed_beside_a_record_blocks(
    hooked: Project, path: str, old: str, new: str
) -> None:
    append(hooked, NEWER)
    hooked.replace(path, old, new)
    run = commit(hooked)
    assert run.status != 0
    assert "loss of compliance" in run.said


@pytest.mark.parametrize("stated", [False, True])
def test_a_function_that_is_changed_beside_a_record_blocks(hooked: Project, stated: bool) -> None:
    """Whether the input was measured before or is from this commit on."""
    if stated:
        value = "{value: 100 mA, tolerance: 4 mA, source: x}"
        hooked.replace(INPUTS, "{from: TR-2.drain}", value)
        hooked.commit()
        hooked.replace(INPUTS, value, "{from: TR-2.drain}")
    append(hooked, NEWER.replace("150 mA", "101 mA"))
    hooked.replace("analyses/life.py", "charge / drain", "0.5 * charge / drain")
    run = commit(hooked)
    assert run.status != 0
    assert "loss of compliance" in run.said


def test_a_comment_and_another_module_beside_a_record_do_not_block(hooked: Project) -> None:
    append(hooked, NEWER)
    hooked.replace("analyses/life.py", "    return", "    # In hours.\n    return")
    hooked.write({"analyses/other.py": LIFE.text.replace("def life", "def other")})
    run = commit(hooked)
    assert run.status == 0, run.said
    assert "PWR-020  C -> NC" in run.said


def test_a_measured_input_that_was_stated_before_is_news_of_its_new_record(
    hooked: Project,
) -> None:
    hooked.replace(INPUTS, "{from: TR-2.drain}", "{value: 100 mA, tolerance: 4 mA, source: x}")
    hooked.commit()
    hooked.replace(INPUTS, "{value: 100 mA, tolerance: 4 mA, source: x}", "{from: TR-2.drain}")
    append(hooked, NEWER)
    run = commit(hooked)
    assert run.status == 0, run.said
    assert "PWR-020  C -> NC" in run.said


def test_a_link_to_an_old_record_blocks(hooked: Project) -> None:
    """What was there all the time is no news."""
    append(hooked, NEWER.replace("replaces: TR-2", "title: Another").replace("title: Bench, ", ""))
    hooked.commit()
    hooked.replace(INPUTS, "TR-2.drain", "TR-7.drain")
    run = commit(hooked)
    assert run.status != 0
    assert "loss of compliance" in run.said
