"""What was judged once is not judged again: what the hook judged is known when it is HEAD."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from closeout.model.dossier import Dossier
from closeout.rules.catalogue import RULES
from closeout.rules.rule import Example
from closeout.run.options import Options
from closeout.run.runs import dossier_of, key_of_run, recall
from closeout.snapshot import open_commit, open_index
from closeout.store.database import open_store
from tests.cli.project import Project, base, environment, power, repository
from tests.cli.project import requirement as item
from tests.effort import BACKSTOP
from tests.rules.examples import files_of, write

JUDGING = {"assess", "judge", "check_project", "plan", "answer"}
# Counts, by the commit or index that is judged, how often the steps of a run are called.
PROBE = """
import collections, json, sys
sys.argv = ["closeout", *sys.argv[1:]]
called = collections.Counter()
HOME = {"assess": "closeout.run.pipeline", "judge": "closeout.judge.dossier",
        "check_project": "closeout.run.inspection", "plan": "closeout.graph.questions",
        "answer": "closeout.evaluate.engine"}
def seen(frame, event, _):
    name = frame.f_code.co_name
    if event == "call" and name in HOME and HOME[name] == frame.f_globals.get("__name__"):
        called[name] += 1
sys.setprofile(seen)
try:
    from closeout.cli import main
    main()
finally:
    sys.setprofile(None)
    print("\\nCALLED", json.dumps(called))
"""


def called(project: Project, *arguments: str) -> tuple[dict[str, int], int]:
    """Return how often each step of a run was taken by a command, and its exit status."""
    done = subprocess.run(
        [sys.executable, "-c", PROBE, *arguments],
        cwd=project.path,
        env=environment(),
        capture_output=True,
        text=True,
        timeout=BACKSTOP,
        check=False,
    )
    assert "Traceback" not in done.stderr, done.stderr
    return json.loads(done.stdout.rpartition("\nCALLED")[2]), done.returncode


@pytest.fixture
def judged(tmp_path: Path) -> Project:
    """A repository of which HEAD was judged by the hook, when it was staged."""
    project = repository(tmp_path / "p")
    project.write({"requirements/power.yaml": power(item(title="Energy that is left"))})
    project.git("add", "--all")
    assert project.run("hook", "run").status == 0
    project.commit("second")
    return project


ONCE = dict.fromkeys(JUDGING, 1)


def test_the_hook_judges_the_staged_state_alone_where_head_was_judged(judged: Project) -> None:
    judged.write({"requirements/power.yaml": power(item(title="Energy"))})
    judged.git("add", "--all")
    assert called(judged, "hook", "run") == (ONCE, 0)


@pytest.mark.slow
def test_a_head_that_nobody_judged_is_judged_by_the_hook(judged: Project) -> None:
    judged.write({"requirements/power.yaml": power(item(title="Energy"))})
    judged.commit("third")
    judged.write({"requirements/power.yaml": power(item(title="Energy of it"))})
    judged.git("add", "--all")
    assert called(judged, "hook", "run") == (dict.fromkeys(JUDGING, 2), 0)


@pytest.mark.slow
def test_a_recalled_head_still_blocks_what_it_loses(judged: Project) -> None:
    judged.write({"requirements/power.yaml": power(item(limit="at_least: 199 MJ"))})
    judged.git("add", "--all")
    assert called(judged, "hook", "run") == (ONCE, 1)


def test_a_judged_commit_is_shown_at_once(judged: Project) -> None:
    assert called(judged, "verify", "--at", "HEAD") == ({}, 0)
    assert called(judged, "verify") == ({}, 0)  # the clean working tree holds the same
    judged.git("commit", "--quiet", "--amend", "--allow-empty", "--no-verify", "-m", "reworded")
    assert called(judged, "verify", "--at", "HEAD") == ({}, 0)


@pytest.mark.slow
def test_what_the_working_tree_was_found_to_be_is_known_when_it_is_staged(judged: Project) -> None:
    judged.write({"requirements/power.yaml": power(item(title="Energy"))})
    assert called(judged, "verify") == (ONCE, 0)
    judged.git("add", "--all")
    assert called(judged, "hook", "run") == ({}, 0)


@pytest.mark.slow
def test_a_rebased_or_merged_commit_is_judged(judged: Project) -> None:
    judged.git("checkout", "--quiet", "-b", "side", "HEAD~1")
    judged.write({"notes.md": "Invented.\n"})
    judged.commit("beside")
    judged.git("checkout", "--quiet", "main")
    judged.git("rebase", "--quiet", "side")
    assert called(judged, "verify", "--at", "HEAD") == (ONCE, 0)
    judged.git("checkout", "--quiet", "-b", "other", "HEAD~1")
    judged.write({"more.md": "Invented.\n"})
    judged.commit("more")
    judged.git("merge", "--quiet", "--no-ff", "--no-verify", "-m", "merge", "main")
    assert called(judged, "verify", "--at", "HEAD") == (ONCE, 0)


@pytest.mark.slow
def test_what_an_analysis_read_and_has_changed_is_computed_again(judged: Project) -> None:
    judged.replace("analyses/parameters.yaml", "value: 12 V", "value: 12.1 V")
    assert called(judged, "verify") == (ONCE, 0)


@pytest.mark.slow
def test_whose_identity_it_is_is_put_in_when_it_is_read(judged: Project) -> None:
    staged = json.loads(judged.verify("--at", "HEAD").stdout)
    assert staged["snapshot"]["kind"] == "commit"
    assert staged["snapshot"]["dirty"] is False
    tree = json.loads(judged.verify().stdout)
    assert tree["snapshot"]["kind"] == "tree"
    assert staged["snapshot"]["commit"] == tree["snapshot"]["commit"]


RECORD = """\
records:
  - id: TR-001
    method: test
    title: Bench soak
    date: 2026-05-10
    document: TN-001
    judged: {PWR-010: A}
    measured: {energy: 200 kJ +/- 1 kJ (k = 2)}
"""
TESTED = """\
      - method: test
        level: system
        stage: qualification
        review: CDR
        quantity: energy
        at_least: 190 kJ
        records: [TR-001]
"""


def with_test(limit: str = "190 kJ") -> dict[str, str]:
    """Return files of a requirement that a record of 2026-05-10 judged."""
    text = power(item(limit=f"at_least: {limit}")) + TESTED.replace("190 kJ", limit)
    return {"requirements/power.yaml": text, "requirements/records.yaml": RECORD}


def anew(project: Project, *arguments: str) -> Any:
    """Return the dossier that ``verify`` shows, as an empty store makes it."""
    folder, aside = project.path / ".closeout", project.path.parent / "aside"
    folder.rename(aside)
    try:
        return shown(project, *arguments)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        aside.rename(folder)


def shown(project: Project, *arguments: str) -> Any:
    found = json.loads(project.verify(*arguments).stdout)
    del found["scale"]  # how much came from the store
    return found


def rules(dossier: Any) -> list[str]:
    return sorted(problem["rule"] for problem in dossier["problems"])


@pytest.mark.slow
def test_texts_of_two_days_are_distinguished(tmp_path: Path) -> None:
    project = repository(tmp_path / "p")
    project.write(with_test())
    before, after = ("--today", "2026-05-01"), ("--today", "2026-05-20")
    assert "planned" in project.verify(*before).stdout
    project.run("verify", *after)
    assert shown(project, *after) == anew(project, *after)
    assert shown(project, *before) == anew(project, *before)


def dated(project: Project, author: str, committer: str) -> None:
    """Commit what there is, with the days of its author and its committer."""
    days = {
        "GIT_AUTHOR_DATE": f"{author}T12:00:00Z",
        "GIT_COMMITTER_DATE": f"{committer}T12:00:00Z",
    }
    subprocess.run(["git", "add", "--all"], cwd=project.path, check=True)
    command = ["git", "commit", "--quiet", "--no-verify", "--allow-empty", "--message", "change"]
    subprocess.run(command, cwd=project.path, env=environment(**days), check=True)


@pytest.mark.slow
def test_a_change_is_as_old_as_its_author_made_it_whoever_looks(tmp_path: Path) -> None:
    # Limit changed in April, tested in May, rebased in June: the change was first.
    project = repository(tmp_path / "p", committed=False)
    project.write({**with_test("189 kJ"), "requirements/records.yaml": "records: []\n"})
    dated(project, "2026-03-01", "2026-03-01")
    project.write(with_test())
    dated(project, "2026-04-01", "2026-06-01")
    for arguments in ((), ("--today", "2026-06-20")):
        assert "judged-before-change" not in rules(shown(project, *arguments))
    project.write({"notes.md": "Invented.\n"})
    assert "judged-before-change" not in rules(shown(project))
    dated(project, "2026-06-02", "2026-06-02")
    assert "judged-before-change" not in rules(shown(project))


@pytest.mark.slow
def test_the_users_configuration_of_git_is_no_matter(tmp_path: Path) -> None:
    project = repository(tmp_path / "p")
    project.write({"requirements/power.yaml": power(item(limit="at_least: 180 kJ"))})
    project.commit("second")
    project.write({"notes.md": "Invented.\n"})
    project.commit("third")
    found = rules(shown(project))
    assert "issue-not-raised" in found
    project.git("config", "log.showRoot", "false")
    assert rules(anew(project)) == found


@pytest.mark.slow
def test_a_project_that_is_moved_has_the_history_of_its_place(tmp_path: Path) -> None:
    repository_ = repository(tmp_path / "p", {}, committed=False)
    folder = repository_.path / "one"
    project = Project(folder)
    for name, content in base().items():
        project.write({name: content})
    repository_.commit("first")
    project.write({"requirements/power.yaml": power(item(limit="at_least: 180 kJ"))})
    assert "issue-not-raised" in rules(shown(project))
    moved = Project(folder.rename(repository_.path / "two"))
    assert rules(shown(moved)) == rules(anew(moved))


@pytest.mark.slow
def test_an_error_that_head_has_too_is_known_wherever_it_was_exported(tmp_path: Path) -> None:
    project = repository(tmp_path / "p")
    reading = "from pathlib import Path\nTABLE = Path(__file__).parent / 'absent.txt'\n"
    project.write({"analyses/table.py": f'"""An analysis."""\n{reading}open(TABLE)\n'})
    project.commit("broken")
    project.write({"analyses/table.py": f'"""An analysis, again."""\n{reading}open(TABLE)\n'})
    project.git("add", "--all")
    run = project.run("hook", "run")
    assert (run.status, "1 error also in HEAD" in run.stdout) == (0, True), run.said


def _undated(dossier: Dossier, like: Dossier) -> Dossier:
    evaluations = tuple(replace(one, from_store=False) for one in dossier.evaluations)
    return replace(dossier, evaluations=evaluations, scale=like.scale)


EXAMPLES = [
    pytest.param(example, id=f"{rule.name}-{which}")
    for rule in RULES.values()
    for which, example in (("breaks", rule.breaks), ("keeps", rule.keeps))
    if len(example.states) > 1
]


@pytest.mark.slow  # some sixty repositories
@pytest.mark.parametrize("example", EXAMPLES)
def test_what_is_recalled_of_a_commit_is_what_judging_it_anew_finds(
    example: Example, tmp_path: Path
) -> None:
    options = Options(jobs=1)
    project = Project(tmp_path)
    project.git("init", "--quiet", "--initial-branch=main")
    before = None
    with open_store(None) as store:
        for files in map(files_of, example.states):
            write(tmp_path, files)
            project.git("add", "--all")
            with open_index(tmp_path) as staged:
                dossier_of(staged, store, options, whole=False)
            project.git("commit", "--quiet", "--allow-empty", "--message", "change")
            with open_commit(tmp_path, "HEAD") as commit, open_store(None) as nothing:
                key = key_of_run(commit, store, options, whole=False)
                known = recall(commit, store, key, options) is not None
                found = dossier_of(commit, store, options, whole=False)
                anew = dossier_of(commit, nothing, options, whole=False)
            assert _undated(found, anew) == _undated(anew, anew)
            # The first commit follows none, and an empty one is no staged state.
            assert known == (before not in (None, files))
            before = files
