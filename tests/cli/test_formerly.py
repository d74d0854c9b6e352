"""Renames through real commits: what git knows goes with them, and nothing hides behind them."""

from __future__ import annotations

import re
from pathlib import Path
from shutil import copytree

import pytest

from tests.cli.project import CHARTER, Project, by_id, environment, repository
from tests.cli.test_hook_news import commit

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

POWER, BENCH = "requirements/power.yaml", "requirements/bench.yaml"
INPUTS, HOME = "analyses/parameters.yaml", "requirements/project.yaml"
REQUIREMENTS = """\
documents:
  - {id: LSA, title: Launch service agreement, issue: 2, date: 2025-12-01}
requirements:
  - id: SYS-010
    title: Light
    statement: The lantern shall give light.
    source: Invented
  - id: PWR-012
    issue: A
    title: Usable energy
    statement: The battery shall hold at least 52 W h of usable energy.
    source: {document: LSA, clause: "4.3", issue: 2}
    derived_from: [SYS-010]
    rationale: Invented
    verification:
      - {method: test, level: equipment, stage: acceptance, review: CDR, records: [TR-001, TR-002],
         quantity: usable_energy, at_least: 52 W h, given: {cell_temperature: 20 degC},
         within: {cell_temperature: 2 K}, risk: Invented}
  - id: PWR-013
    issue: A
    title: Label
    statement: The battery shall carry a label that names PWR-012.
    source: Invented
    derived_from: [SYS-010]
    rationale: Invented
    verification:
      - {method: inspection, level: equipment, stage: acceptance, review: CDR, records: [IN-001],
         risk: Invented}
"""
RECORDS = """\
articles:
  - id: BAT-1
    title: Battery
    model: flight
    build: FM-2
    date: 2025-11-03
records:
  - id: TR-001
    method: test
    title: Bench discharge
    document: LAN-DR-1
    date: 2026-01-12
    article: {BAT-1: FM-2}
    conditions: {cell_temperature: 20 degC +/- 0.2 K (k = 2)}
    judged: {PWR-012: A}
    measured: {usable_energy: 49.5 W h +/- 0.4 W h (k = 2)}
  - id: TR-002
    method: test
    title: Bench discharge once more
    document: LAN-DR-2
    date: 2026-02-16
    article: {BAT-1: FM-2}
    conditions: {cell_temperature: 20 degC +/- 0.2 K (k = 2)}
    judged: {PWR-012: A}
    measured: {usable_energy: 57.0 W h +/- 0.4 W h (k = 2)}
    replaces: TR-001
  - id: IN-001
    method: inspection
    title: Label
    document: LAN-IR-1
    date: 2026-02-17
    article: {BAT-1: FM-2}
    judged: {PWR-013: A}
    outcome: met
nonconformances:
  - id: NCR-001
    requirements: [PWR-012]
    article: {BAT-1: FM-2}
    found_by: TR-001
    class: major
    cause: a loose connector
    disposition: rework
    corrective_action: the connector is locked
    retest: [TR-002]
    closed_by: TR-002
"""
PARAMETERS = """\
parameters:
  cell_temperature:
    value: 20 degC
    condition: true
    source: Invented
"""
RENAMED = {
    "PWR-012": "PWR-020",
    "TR-001": "TR-BAT-1",
    "TR-002": "TR-BAT-2",
    "NCR-001": "NCR-BAT-1",
    "BAT-1": "BATTERY",
    "cell_temperature": "temperature_of_cells",
}
TOLD = re.compile(r"\[([a-z-]+)\]")


@pytest.fixture(scope="module")
def once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A committed project, compliant by a test that replaces a failed one, with the hooks."""
    files = {HOME: CHARTER, POWER: REQUIREMENTS, BENCH: RECORDS, INPUTS: PARAMETERS}
    project = repository(tmp_path_factory.mktemp("formerly") / "p", files, committed=False)
    project.git("add", "--all")
    project.git("commit", "--quiet", "--date=2026-02-20T12:00:00+0000", "-m", "first")
    assert told(project) == set()
    assert verdicts(project) == {"SYS-010": "C", "PWR-012": "C", "PWR-013": "C"}
    assert project.run("hook", "install").status == 0
    return project.path


@pytest.fixture
def tested(once: Path, tmp_path: Path) -> Project:
    """The same project, which a test may change."""
    return Project(copytree(once, tmp_path / "p", symlinks=True))


def told(project: Project) -> set[str]:
    """Return the rules that find something."""
    return set(TOLD.findall(project.run("lint").said))


def verdicts(project: Project) -> dict[str, str]:
    return {name: one["compliance"] for name, one in by_id(project.verify().json).items()}


def rename(project: Project, names: dict[str, str], formerly: dict[str, str] | None = None) -> None:
    """Give items other identifiers wherever they stand, with ``formerly`` unless it says else."""
    for path in (POWER, BENCH, INPUTS):
        text = (project.path / path).read_text("utf-8")
        for old, new in names.items():
            text = re.sub(rf"(?<![\w-]){old}(?![\w-])", new, text)
            said = (formerly or {}).get(old, old)
            place = rf"(  - id: {new}\n|(?m:^)  {new}:\n)"
            text = re.sub(place, rf"\1    formerly: {said}\n", text) if said else text
        project.write({path: text})


def whole(project: Project, old: str, new: str) -> None:
    """Replace a text in whatever file holds it."""
    paths = [p for p in (POWER, BENCH, INPUTS) if old in (project.path / p).read_text("utf-8")]
    assert paths, old
    for path in paths:
        project.replace(path, old, new)


# -- a rename alone


def test_a_rename_of_everything_is_told_once_and_finds_nothing(tested: Project) -> None:
    rename(tested, RENAMED)
    assert told(tested) == set()
    run = commit(tested)
    assert run.status == 0, run.said
    said = [line for line in run.said.splitlines() if not line.startswith("closeout: staged")]
    (line,) = said
    assert line.startswith("closeout: renamed: ")
    for old, new in RENAMED.items():
        assert f"{old} -> {new}" in line
    assert told(tested) == set()
    tested.write({"README.md": "Invented."})
    run = commit(tested)
    assert (run.status, run.said) == (0, "")
    assert told(tested) == set()
    assert verdicts(tested) == {"SYS-010": "C", "PWR-020": "C", "PWR-013": "C"}


@pytest.mark.slow
@pytest.mark.parametrize("old", RENAMED)
def test_each_kind_by_itself(tested: Project, old: str) -> None:
    rename(tested, {old: RENAMED[old]})
    assert told(tested) == set()
    tested.commit()
    assert told(tested) == set()


def test_without_formerly_the_findings_come_and_stay(tested: Project) -> None:
    rename(tested, RENAMED)
    tested.commit()
    for path in (POWER, BENCH, INPUTS):
        text = (tested.path / path).read_text("utf-8")
        tested.write({path: re.sub(r" +formerly: .*\n", "", text)})
    wanted = {"failed-record-deleted", "record-edited", "nonconformance-deleted"}
    wanted |= {"issue-not-raised"}  # a statement names PWR-020, and named PWR-012
    assert wanted <= told(tested)
    tested.commit()
    assert wanted <= told(tested)


def test_a_text_that_still_speaks_of_the_old_identifier_has_not_changed(tested: Project) -> None:
    rename(tested, {"PWR-012": "PWR-020"})
    tested.replace(POWER, "names PWR-020", "names PWR-012")
    assert told(tested) == set()


# -- several renames after each other


@pytest.mark.parametrize(
    "formerly", ["PWR-020", pytest.param("[PWR-012, PWR-020]", marks=pytest.mark.slow)]
)
def test_a_chain_goes_by_its_last_name_or_by_all(tested: Project, formerly: str) -> None:
    rename(tested, {"PWR-012": "PWR-020", "TR-001": "TR-011"})
    assert commit(tested).status == 0
    for path in (POWER, BENCH):
        text = (tested.path / path).read_text("utf-8")
        tested.write({path: re.sub(r" +formerly: .*\n", "", text)})
    last = {"PWR-020": "PWR-030", "TR-011": "TR-021"}
    rename(tested, last, {"PWR-020": formerly, "TR-011": "TR-011"})
    assert told(tested) == set()
    run = commit(tested)
    assert run.status == 0, run.said
    assert "renamed: PWR-020 -> PWR-030, TR-011 -> TR-021" in run.said
    assert "deleted" not in run.said
    assert told(tested) == set()


def test_a_chain_of_which_no_commit_says_the_first_part_needs_it(tested: Project) -> None:
    rename(tested, {"TR-001": "TR-011"}, {"TR-001": ""})
    tested.commit()
    rename(tested, {"TR-011": "TR-021"})
    assert told(tested) == {"failed-record-deleted"}
    tested.replace(BENCH, "formerly: TR-011", "formerly: [TR-011, TR-001]")
    assert told(tested) == set()


def test_a_name_that_comes_back_is_the_same(tested: Project) -> None:
    rename(tested, {"TR-001": "TR-011"})
    tested.commit()
    tested.replace(BENCH, "    formerly: TR-001\n", "")
    rename(tested, {"TR-011": "TR-001"})
    assert told(tested) == set()
    tested.commit()
    assert told(tested) == set()


def test_a_branch_that_still_writes_the_old_identifier(tested: Project) -> None:
    tested.git("checkout", "--quiet", "-b", "side")
    tested.replace(BENCH, "title: Bench discharge\n", "title: First discharge\n")
    tested.commit()
    tested.git("checkout", "--quiet", "main")
    rename(tested, RENAMED)
    tested.commit()
    tested.git("merge", "--quiet", "--no-verify", "--no-edit", "side")
    assert told(tested) == set()


@pytest.mark.slow
def test_a_merge_of_a_rename_passes_the_hook(tested: Project) -> None:
    tested.git("checkout", "--quiet", "-b", "side")
    rename(tested, RENAMED)
    assert commit(tested).status == 0
    tested.git("checkout", "--quiet", "main")
    tested.write({"README.md": "Invented."})
    assert commit(tested).status == 0
    run = tested.attempt("merge", "--no-edit", "side")
    assert run.status == 0, run.said
    assert "renamed: PWR-012 -> PWR-020" in run.said
    assert "deleted" not in run.said
    assert told(tested) == set()


# -- what is edited behind a rename


@pytest.mark.parametrize(
    ("names", "edits", "rules"),
    [
        (
            {"TR-001": "TR-011"},
            [("usable_energy: 49.5 W h", "usable_energy: 57.5 W h")],
            {"failed-record-edited"},
        ),
        (
            {"TR-002": "TR-012"},
            [("02-16\n    article: {BAT-1: FM-2}", "02-16\n    article: {BAT-1: FM-1}")],
            {"record-edited"},
        ),
        ({"TR-002": "TR-012"}, [("2026-02-16", "2026-02-19")], {"record-edited"}),
        (
            {"PWR-012": "PWR-020"},
            [("at_least: 52 W h", "at_least: 50 W h")],
            {"issue-not-raised", "source-not-raised", "judged-before-change"},
        ),
        (
            {"PWR-012": "PWR-020"},
            [("issue: A\n    title: Usable", "issue: B\n    title: Usable"),
             ("at_least: 52 W h", "at_least: 50 W h")],
            {"source-not-raised"},
        ),
        (
            {"cell_temperature": "temperature_of_cells"},
            [("given: {temperature_of_cells: 20 degC}", "given: {temperature_of_cells: 21 degC}")],
            {"issue-not-raised", "source-not-raised", "judged-before-change"},
        ),
        (
            {"NCR-001": "NCR-011"},
            [("requirements: [PWR-012]", "requirements: [PWR-013]")],
            {"nonconformance-edited"},
        ),
        (
            {"BAT-1": "BATTERY"},
            [("02-17\n    article: {BATTERY: FM-2}", "02-17\n    article: {BATTERY: FM-1}")],
            {"record-edited"},
        ),
    ],
)  # fmt: skip
def test_what_is_edited_behind_a_rename_is_found(
    tested: Project, names: dict[str, str], edits: list[tuple[str, str]], rules: set[str]
) -> None:
    rename(tested, names)
    for old, new in edits:
        whole(tested, old, new)
    assert rules <= told(tested)


def test_a_failed_outcome_behind_a_rename_is_found(tested: Project) -> None:
    tested.replace(BENCH, "outcome: met", "outcome: not met")
    tested.commit()
    rename(tested, {"IN-001": "IN-011"})
    tested.replace(BENCH, "outcome: not met", "outcome: met")
    assert "failed-record-edited" in told(tested)
    tested.commit()
    assert "failed-record-edited" in told(tested)


def test_a_failed_record_that_goes_with_a_rename_of_another_is_found(tested: Project) -> None:
    text = (tested.path / BENCH).read_text("utf-8")
    start, end = text.index("  - id: TR-001"), text.index("  - id: TR-002")
    text = text[:start] + text[end:].replace("    replaces: TR-001\n", "")
    text = text.replace("    found_by: TR-001\n", "")
    tested.write({BENCH: text.replace("- id: TR-002\n", "- id: TR-002\n    formerly: TR-001\n")})
    tested.replace(POWER, "[TR-001, TR-002]", "[TR-002]")
    assert {"formerly-beside", "failed-record-deleted"} <= told(tested)


def test_an_identifier_that_stood_for_something_else_is_reused(tested: Project) -> None:
    label = (tested.path / POWER).read_text("utf-8")
    tested.write({POWER: label.replace("id: PWR-013", "id: PWR-014")})
    tested.replace(BENCH, "PWR-013: A", "PWR-014: A")
    tested.commit()
    rename(tested, {"PWR-012": "PWR-013"})
    assert "identifier-reused" in told(tested)


def test_a_lost_verdict_blocks_behind_a_rename(tested: Project) -> None:
    rename(tested, RENAMED)
    tested.replace(POWER, "at_least: 52 W h", "at_least: 58 W h")
    run = commit(tested)
    assert run.status != 0
    assert "loss of compliance" in run.said
    assert "PWR-020  C -> " in run.said
    assert "new:" not in run.said


def test_an_error_that_head_has_is_known_by_its_new_name(tested: Project) -> None:
    tested.replace(POWER, "derived_from: [SYS-010]\n    rationale: Invented\n    verification:\n"
                   "      - {method: test", "derived_from: [PWR-012]\n    rationale: Invented\n"
                   "    verification:\n      - {method: test")  # fmt: skip
    tested.commit()
    rename(tested, {"PWR-012": "PWR-020"})
    run = commit(tested)
    assert run.status == 0, run.said
    assert "1 error also in HEAD" in run.said


# -- what cannot be, and what leads to a new name


@pytest.mark.parametrize(
    ("old", "new", "rule"),
    [
        ("id: PWR-012\n", "id: PWR-012\n    formerly: PWR-012\n", "formerly-in-use"),
        ("id: PWR-012\n", "id: PWR-012\n    formerly: [PWR-013]\n", "formerly-in-use"),
        ("id: PWR-012\n", "id: PWR-012\n    formerly: PWR-002\n", "formerly-unknown"),
        ("id: BAT-1\n", "id: BAT-1\n    formerly: BAT-0\n", "formerly-unknown"),
        ("  cell_temperature:\n", "  cell_temperature:\n    formerly: cell_temp\n",
         "formerly-unknown"),
    ],
)  # fmt: skip
def test_a_formerly_that_cannot_be(tested: Project, old: str, new: str, rule: str) -> None:
    whole(tested, old, new)
    assert told(tested) == {rule}


def test_a_renamed_item_with_a_fault_is_not_lost(tested: Project) -> None:
    rename(tested, {"TR-001": "TR-011", "NCR-001": "NCR-011"})
    tested.replace(BENCH, "2026-01-12", "2026-13-12")
    tested.replace(BENCH, "disposition: rework", "disposition: mend")
    assert told(tested) == {"bad-date", "not-allowed"}


def test_two_that_were_the_same(tested: Project) -> None:
    rename(tested, {"TR-001": "TR-011", "TR-002": "TR-012"}, {"TR-002": "TR-001"})
    assert "formerly-shared" in told(tested)


def test_a_shallow_clone_does_not_know_whether_it_stood(tested: Project, tmp_path: Path) -> None:
    whole(tested, "id: PWR-012\n", "id: PWR-012\n    formerly: PWR-002\n")
    tested.commit()
    tested.git("clone", "--quiet", "--depth", "1", f"file://{tested.path}", str(tmp_path / "c"))
    assert told(Project(tmp_path / "c")) == {"history-cut-off"}


def test_an_old_name_that_was_left_is_told_with_the_new_one(tested: Project) -> None:
    rename(tested, RENAMED)
    tested.replace(BENCH, "judged: {PWR-020: A}", "judged: {PWR-012: A}")
    tested.replace(POWER, "given: {temperature_of_cells", "given: {cell_temperature")
    said = " ".join(tested.run("lint", env=environment(COLUMNS="200")).said.split())
    assert "did you mean PWR-020 (formerly PWR-012)?" in said
    assert "did you mean temperature_of_cells (formerly cell_temperature)?" in said


def test_an_option_with_an_old_name(tested: Project) -> None:
    rename(tested, RENAMED)
    requirement = "did you mean PWR-020 (formerly PWR-012)?"
    parameter = "did you mean temperature_of_cells (formerly cell_temperature)?"
    for arguments, cure in (
        (("verify", "--set", "cell_temperature=5 degC"), parameter),
        (("verify", "--only", "PWR-012"), requirement),
        (("explain", "PWR-012"), requirement),
        (("explain", "cell_temperature"), parameter),
    ):
        run = tested.run(*arguments)
        assert run.status == 2
        assert cure in " ".join(run.said.split())


def test_keys_are_listed(tested: Project) -> None:
    said = tested.run("lint", "--keys").stdout
    assert said.count("formerly: ") >= 6
    assert "formerly: PWR-012" in said
