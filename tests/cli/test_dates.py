"""The day of a state at the command line: what is dated after it is planned, on any day of judging.

The clock is moved by a module that Python loads at its start; git is told the days of commits.
Everything is invented.
"""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import Any

import pytest

from tests.cli.project import Files, Run, base, by_id, environment, make, power

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

DAY, LATER, FAR = "2026-05-04", "2026-08-20", "2099-01-01"

MASS = """\
  - id: STR-010
    title: Mass
    statement: The lantern shall have a mass of at most 2 kg.
    derived_from: [SYS-010]
    rationale: Invented
    source: Invented
    verification:
      - {method: test, level: system, stage: qualification, review: CDR, quantity: mass,
         at_most: 2 kg, records: [TR-001]}
"""
RECORD = """\
records:
  - {id: TR-001, method: test, date: %s, judged: {STR-010: A},
     measured: {mass: 1.9 kg +/- 0.01 kg (k = 2)}}
"""
CLOCK = """\
import datetime, os, time

class Moved(datetime.datetime):
    @classmethod
    def now(cls, tz=None):
        return cls.fromisoformat(os.environ["DAY_OF_THE_TEST"] + "T12:00:00+00:00")

datetime.datetime = Moved
time.time = lambda: Moved.now().timestamp()
"""
FILE = "requirements/records.yaml"


class Dated:
    """A project, judged and committed on days of one's choice."""

    def __init__(self, path: Path, clock: Path, files: Files, *, whole: bool = False) -> None:
        """Write files beside a small project, or into a folder that holds a whole one."""
        self.clock = clock
        first = {} if whole else base()
        self.project = make(path, {**first, ".gitignore": ".closeout\n", **files})

    def commit(self, day: str) -> Dated:
        if not (self.project.path / ".git").exists():
            self.project.git("init", "--quiet", "--initial-branch=main")
        self.project.git("add", "--all")
        when = f"{day}T12:00:00+0000"
        subprocess.run(
            ["git", "commit", "--quiet", "--no-verify", "--allow-empty", "--message", "x"],
            cwd=self.project.path,
            env=environment(GIT_COMMITTER_DATE=when, GIT_AUTHOR_DATE=when),
            check=True,
        )
        return self

    def run(self, *arguments: str, on: str = LATER, **more: Any) -> Run:
        moved = environment(PYTHONPATH=str(self.clock), DAY_OF_THE_TEST=on)
        return self.project.run(*arguments, env=moved, **more)

    def verify(self, *arguments: str, on: str = LATER) -> Any:
        run = self.run("verify", "--json", "-", *arguments, on=on)
        assert run.status in (0, 1), run.said
        return run.json


def mass(document: Any) -> tuple[str, bool, str | None]:
    """Return code, whether closed, and message of the requirement that a record verifies."""
    found = by_id(document)["STR-010"]
    return found["compliance"], found["closed"], found["verification"][0]["message"]


@pytest.fixture(scope="module")
def clock(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("clock")
    (folder / "sitecustomize.py").write_text(CLOCK)
    return folder


def project(path: Path, clock: Path, *, date: str = DAY, **files: str) -> Dated:
    more = {"requirements/mass.yaml": power(MASS), FILE: RECORD % date}
    return Dated(path / "lantern", clock, more | files)


def test_what_is_dated_after_the_state_is_planned(tmp_path: Path, clock: Path) -> None:
    dated = project(tmp_path, clock, date=FAR)
    document = dated.verify()
    code, closed, message = mass(document)
    assert (code, closed) == ("open", False)
    assert f"TR-001 is planned for {FAR}, after the date of this state" in str(message)
    assert document["snapshot"]["date"] == LATER
    assert document["exit_status"] == 1
    # The day has come, or is said to have: it counts.
    assert mass(dated.verify(on=FAR))[:2] == ("C", True)
    document = dated.verify("--today", FAR)
    assert mass(document)[:2] == ("C", True)
    assert (document["snapshot"]["date"], document["draft"]) == (FAR, True)
    assert f"as of {LATER}" in dated.run("verify").stdout


def test_a_commit_is_judged_at_its_own_day_whatever_the_clock_says(
    tmp_path: Path, clock: Path
) -> None:
    """The committed record is of a day to come when it is committed, and has come since."""
    dated = project(tmp_path, clock, date="2026-06-01").commit(DAY)
    for at in ((), ("--at", "HEAD")):
        dated.verify(*at)  # that the answers are kept
        texts = {dated.run("verify", "--json", "-", *at, on=on).stdout for on in (DAY, LATER, FAR)}
        assert len(texts) == 1
    for on in (DAY, LATER):
        document = dated.verify(on=on)
        assert document["snapshot"]["date"] == DAY
        assert mass(document)[:2] == ("open", False)
    # A commit of a later day is judged at that.
    assert mass(dated.commit("2026-06-02").verify())[:2] == ("C", True)


def test_a_clone_without_its_history_gives_the_same_verdicts(tmp_path: Path, clock: Path) -> None:
    dated = project(tmp_path, clock, date="2026-06-01").commit("2026-04-01").commit(DAY)
    source = f"file://{dated.project.path}"
    subprocess.run(
        ["git", "clone", "--quiet", "--depth", "1", source, str(tmp_path / "shallow")],
        env=environment(),
        check=True,
    )
    shallow = Dated(tmp_path / "shallow", clock, {}, whole=True)
    here, there = dated.verify(), shallow.verify(on=FAR)
    told = [{problem["rule"] for problem in one["problems"]} for one in (here, there)]
    assert told[1] - told[0] == {"history-cut-off"}
    for document in (here, there):
        del document["problems"], document["scale"]["evaluated"], document["scale"]["from_store"]
    assert here == there


def test_a_changed_tree_is_of_today(tmp_path: Path, clock: Path) -> None:
    dated = project(tmp_path, clock, date="2026-06-01").commit(DAY)
    dated.project.write({"README.md": "Invented.\n"})
    assert dated.verify()["snapshot"]["date"] == DAY
    dated.project.replace("requirements/mass.yaml", "title: Mass", "title: Whole mass")
    document = dated.verify()
    assert (document["snapshot"]["date"], document["draft"]) == (LATER, True)
    assert mass(document)[:2] == ("C", True)


READS = '''\
"""Energy that a table gives."""
from pathlib import Path
from typing import NamedTuple

from closeout import analysis
from closeout.units import V, W_h


class Energy(NamedTuple):
    energy: W_h


@analysis(validated_by="tests/test_all.py")
def energy(voltage: V) -> Energy:
    """Energy from a table."""
    return Energy(float(Path("table.csv").read_text()) + 0.0 * voltage)
'''


@pytest.mark.slow
@pytest.mark.parametrize("more", ["", "    subprocess.run(['true'], check=True)\n"])
def test_what_is_read_outside_the_judged_folders_counts_as_well(
    tmp_path: Path, clock: Path, more: str
) -> None:
    """It is known only once the analysis has run: the rules and the verdicts are of that day.

    Also of an analysis of which no answer is kept, as of one that starts a process.
    """
    reads = READS.replace("    return", f"{more}    return")
    if more:
        reads = reads.replace("from pathlib", "import subprocess\nfrom pathlib")
    files = {"analyses/energy.py": reads, "table.csv": "60\n"}
    dated = project(tmp_path, clock, date="2026-06-01", **files)
    dated.project.replace(
        "analyses/parameters.yaml",
        "  charge: {value: 5 A h, tolerance: 5 %, source: Invented}\n",
        "",
    )
    dated.commit(DAY)
    assert mass(dated.verify())[:2] == ("open", False)
    dated.project.write({"table.csv": "61\n"})
    for _ in range(2):  # the second is kept
        document = dated.verify()
        assert document["snapshot"]["date"] == LATER
        assert mass(document)[:2] == ("C", True)
    dated.project.write({"table.csv": "60\n"})
    assert dated.verify()["snapshot"]["date"] == DAY


def test_a_kept_run_holds_while_no_date_of_the_project_lies_between(
    tmp_path: Path, clock: Path
) -> None:
    dated = project(tmp_path, clock, date="2026-06-01")
    runs = {
        on: dated.run("verify", on=on) for on in ("2026-03-01", "2026-05-31", "2026-06-01", FAR)
    }
    for on, run in runs.items():
        assert f"as of {on}" in run.stdout
        assert ("TR-001 is planned" in run.stdout) is (on < "2026-06-01")
        assert (run.status == 0) is (on >= "2026-06-01")
    store = dated.project.path / ".closeout"
    before = {path: path.stat().st_mtime_ns for path in store.rglob("*") if path.is_file()}
    # Nothing is read but what tells one state from another.
    dated.run("verify", on="2030-01-01")
    after = {path: path.stat().st_mtime_ns for path in store.rglob("*") if path.is_file()}
    assert set(before) == set(after)
    text = runs[FAR].stdout.replace(FAR, "2030-01-01")
    assert dated.run("verify", on="2030-01-01").stdout == text


@pytest.mark.slow
@pytest.mark.parametrize("wrong", ["tomorrow", "20260820", "2026-02-30", "2026-8-20", ""])
def test_what_is_no_day_is_refused(tmp_path: Path, clock: Path, wrong: str) -> None:
    dated = project(tmp_path, clock)
    for command in (["verify"], ["lint"], ["matrix", "-o", "m.md"], ["explain", "STR-010"]):
        run = dated.run(*command, "--today", wrong)
        assert run.status == 2
        assert "write it as 2026-11-30" in run.stderr


@pytest.mark.slow
def test_every_output_says_at_which_day(tmp_path: Path, clock: Path) -> None:
    dated = project(tmp_path, clock).commit(DAY)
    for form in ("md", "html", "json"):
        assert dated.run("matrix", "-o", f"m.{form}").status == 0
        assert DAY in (dated.project.path / f"m.{form}").read_text("utf-8")


# the findings about the day of the commit


def rules(dated: Dated, **options: Any) -> list[str]:
    run = dated.run("verify", "--json", "-", **options)
    return [problem["rule"] for problem in run.json["problems"]]


def test_a_commit_of_a_day_that_has_not_come_is_a_finding(tmp_path: Path, clock: Path) -> None:
    dated = project(tmp_path, clock).commit(FAR)
    assert rules(dated) == ["commit-date"]
    assert rules(dated) == ["commit-date"]  # from the store
    assert rules(dated, on=FAR) == []
    run = dated.run("lint")
    assert f"the commit is dated {FAR}, in the future" in run.stdout


@pytest.mark.slow
def test_a_commit_of_a_day_before_its_parent_is_a_finding(tmp_path: Path, clock: Path) -> None:
    dated = project(tmp_path, clock).commit("2026-07-01").commit(DAY)
    assert rules(dated) == ["commit-date"]
    assert f"the commit is dated {DAY}, before its parent of 2026-07-01" in dated.run("lint").stdout
    assert rules(dated.commit("2026-07-02")) == []


# the hook

HEAVY = """\
  - {id: TR-002, method: test, date: 2026-06-01, judged: {STR-010: A},
     measured: {mass: 2.4 kg +/- 0.01 kg (k = 2)}}
nonconformances:
  - {id: NCR-001, found_by: TR-002, requirements: [STR-010]}
"""


def test_no_commit_is_blamed_for_a_day_that_has_passed(tmp_path: Path, clock: Path) -> None:
    """HEAD was made before the test that failed, which counts by now: in HEAD as in the index."""
    more = {FILE: RECORD % DAY + HEAVY, "requirements/mass.yaml": power(MASS)}
    dated = Dated(tmp_path / "lantern", clock, more)
    dated.project.replace("requirements/mass.yaml", "[TR-001]", "[TR-001, TR-002]")
    dated.commit(DAY)
    dated.project.write({"README.md": "Invented.\n"})
    dated.project.git("add", "--all")
    run = dated.run("hook", "run", on=LATER)
    assert (run.status, "no longer" in run.stdout) == (0, False), run.said
    # At the day of HEAD the one is met; a commit that brings the failure in is told.
    assert mass(dated.verify("--today", DAY))[0] == "open"
    assert mass(dated.verify("--at", "HEAD", "--today", LATER))[0] == "NC"
