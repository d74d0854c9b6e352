"""The history of a requirement: a state for each commit that touched what it rests on."""

from __future__ import annotations

from pathlib import Path

import pytest

from closeout.model.margin_history import MarginHistory
from closeout.render.margin_history import history_text
from closeout.render.margin_history_picture import history_svg
from closeout.run import Project, UserError
from tests.cli.project import Project as Command
from tests.run.chains import Function, written
from tests.run.test_changes import Repository, value

PARAMETERS = """\
u: {value: 2, source: x}
w: {value: 4, source: x}
other: {value: 1, source: x}
power: {from: prod.power}
"""
PROD = Function(
    "prod", {"u": "1"}, {"power": "1"}, "return R(SCALE * u)",
    top="from analyses.helper import SCALE\n",
)  # fmt: skip
LEFT = Function("left", {"power": "1", "w": "1"}, {"rest": "1"}, "return R(power - w)")
OTHER = Function("apart", {"other": "1"}, {"much": "1"}, "return R(other)")
VERIFICATIONS = (
    "analysis: left, quantity: rest, at_least: 0",
    "analysis: apart, quantity: much, at_least: 0",
)
REQUIREMENTS = "requirements/all.yaml"


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Repository:
    """Seven commits: by hand, the rest is SCALE u - w."""
    folder = written(
        tmp_path_factory.mktemp("history"), PARAMETERS, [PROD, LEFT, OTHER], VERIFICATIONS
    )
    (folder / "analyses/helper.py").write_text("SCALE = 3.0\n")
    repository = Repository(folder)
    repository.commit()  # 3 x 2 - 4
    repository.git("tag", "first")
    repository.commit(value("other", "1", "2"))  # nothing of A-1
    repository.commit(("analyses/helper.py", "3.0", "2.5"))  # 2.5 x 2 - 4
    repository.git("tag", "PDR")
    repository.commit((REQUIREMENTS, "rest, at_least: 0}", "rest, at_least: 0.5}"))
    repository.commit((REQUIREMENTS, "id: A-1", "id: A-9\n    formerly: [A-1]"))
    repository.commit(value("u", "2", "1"))  # 2.5 - 4 - 0.5
    (folder / "README.md").write_text("Invented.\n")
    repository.commit()
    return repository


def history(told: Repository, name: str = "A-9", since: str | None = None) -> MarginHistory:
    return Project(told.folder, jobs=1).history(name, since=since)


def rows(found: MarginHistory) -> list[tuple[str, float | None]]:
    return [
        (one.result.compliance.value, next(iter(one.lines.values())).margin)
        for one in found.moments
        if one.result is not None
    ]


def test_each_commit_that_touched_it_and_no_other(told: Repository) -> None:
    found = history(told)
    # By hand, the oldest first; the rename touches the file in which it stands.
    assert rows(found) == [("C", 2.0), ("C", 1.0), ("C", 0.5), ("C", 0.5), ("NC", -2.0)]
    assert [one.tags for one in found.moments] == [("first",), ("PDR",), (), (), ()]
    text = history_text(found, colour=False, width=100)
    assert text.startswith("A-9 is NC since ")
    assert "limit at least 0 -> at least 0.5" in text
    assert "[PDR]" in text
    picture = history_svg(found)
    assert picture.count("<svg ") == 1
    assert "PDR" in picture


def test_limit_and_verdict_are_told_and_tags_are_seen_on_a_narrow_screen(told: Repository) -> None:
    text = history_text(history(told), colour=False, width=80)
    assert "limit at least 0\n" in text
    assert "verdict C -> NC" in text
    assert "[PDR]" in text
    assert "[first]" in text
    assert max(map(len, text.splitlines())) <= 80
    assert "limit at least 0.5" in history_svg(history(told))


def test_the_required_margin_is_a_mark_and_a_line(tmp_path: Path) -> None:
    folder = written(tmp_path, "other: {value: 10, source: x}", [OTHER],
                     ["analysis: apart, quantity: much, at_least: 8"])  # fmt: skip
    charter = folder / "requirements/project.yaml"
    policy = "margins: [{quantity: much, of: limit, required: {CDR: 10 %}}]"
    charter.write_text(
        charter.read_text().replace("next_review: CDR", f"next_review: CDR, {policy}")
    )
    repository = Repository(folder)
    repository.commit()
    found = history(repository, "A-1")
    # By hand: a tenth of 8.
    assert list(found.moments[0].required.values()) == [pytest.approx(0.8)]
    assert " |---------:" in history_text(found, colour=False, width=100)
    assert "stroke-dasharray" in history_svg(found)


def test_what_is_above_counts_where_it_keeps_the_requirement_open(tmp_path: Path) -> None:
    folder = written(tmp_path, "other: {value: 10, source: x}", [OTHER],
                     ["analysis: apart, quantity: much, at_least: 8"])  # fmt: skip
    charter = folder / "requirements/project.yaml"
    register = "documents:\n  - {id: LSA, title: Agreement, issue: 2, date: 2026-01-20}\n"
    charter.write_text(charter.read_text() + register)
    above = "requirements:\n  - id: S-1\n    title: Above\n    statement: It shall.\n"
    (folder / "requirements/above.yaml").write_text(
        f'{above}    source: {{document: LSA, clause: "4", issue: 2}}\n'
    )
    item = folder / "requirements/all.yaml"
    item.write_text(item.read_text().replace("source: invented", "derived_from: [S-1]"))
    repository = Repository(folder)
    repository.commit()
    repository.commit(("requirements/project.yaml", "issue: 2", "issue: 3"))
    repository.commit(("requirements/above.yaml", "issue: 2", "issue: 3"))
    found = history(repository, "A-1")
    assert [one.result.closed for one in found.moments if one.result] == [True, False, True]


def test_a_shallow_clone_says_that_older_commits_are_missing(
    told: Repository, tmp_path: Path
) -> None:
    clone = tmp_path / "clone"
    told.git("clone", "-q", "--depth", "3", f"file://{told.folder}", str(clone))
    found = Project(clone, jobs=1).history("A-9")
    assert not found.whole
    assert "git fetch --unshallow" in history_text(found, colour=False, width=100)


def test_the_command_prints_and_writes_it(told: Repository, tmp_path: Path) -> None:
    project = Command(told.folder)
    picture = tmp_path / "a.svg"
    run = project.run("explain", "A-9", "--history", "-o", str(picture))
    assert (run.status, run.stdout.startswith("A-9 is NC since ")) == (0, True)
    assert picture.read_text().startswith("<?xml")
    moments = project.run("explain", "A-9", "--history", "--json", "-").json["history"]
    assert [one["verification"][0]["margin"] for one in moments] == [2.0, 1.0, 0.5, 0.5, -2.0]
    assert moments[1]["tags"] == ["PDR"]
    assert moments[-1]["compliance"] == "NC"
    assert moments[-1]["verification"][0]["limit"] == "at least 0.5"
    run = project.run("explain", "A-9", "--since", "PDR")
    assert (run.status, "add --history" in run.stderr) == (2, True)


def test_it_may_begin_with_a_commit_or_a_day(told: Repository) -> None:
    assert rows(history(told, since="PDR")) == [("C", 1.0), ("C", 0.5), ("C", 0.5), ("NC", -2.0)]
    assert len(history(told, since="2000-01-01").moments) == 5
    (now,) = history(told, since="2999-01-01").moments
    assert now.result is not None
    found = history(told, since="2999-01-01")
    assert history_text(found, colour=False, width=100).startswith("A-9 is NC")
    assert "A-9 is NC" in history_svg(found)


def test_what_is_not_committed_comes_last(told: Repository) -> None:
    path = told.folder / "analyses/all.yaml"
    before = path.read_text()
    path.write_text(before.replace("w: {value: 4", "w: {value: 1"))
    try:
        found = history(told)
    finally:
        path.write_text(before)
    assert (found.moments[-1].commit, rows(found)[-2:]) == (None, [("NC", -2.0), ("C", 1.0)])
    assert "not committed" in history_text(found, colour=False, width=100)


def test_who_has_no_history(told: Repository, tmp_path: Path) -> None:
    with pytest.raises(UserError, match="there is no requirement A-7"):
        history(told, "A-7")
    with pytest.raises(UserError, match="no commit of this repository"):
        history(told, since="v9")
    folder = written(tmp_path, "other: {value: 1, source: x}", [OTHER], VERIFICATIONS[1:])
    with pytest.raises(UserError, match="in no commit"):
        Project(folder).history("A-1")


def test_a_commit_that_cannot_be_read_is_a_row_that_says_so(tmp_path: Path) -> None:
    folder = written(tmp_path, "other: {value: 1, source: x}", [OTHER], VERIFICATIONS[1:])
    repository = Repository(folder)
    repository.commit()
    charter = folder / "requirements/project.yaml"
    whole = charter.read_text()
    charter.write_text("project: [\n")
    repository.commit()
    charter.write_text(whole)
    repository.commit(value("other", "1", "3"))
    found = history(repository, "A-1")
    assert [one.result is None for one in found.moments] == [False, True, False]
    assert "cannot be read" in found.moments[1].problem
    assert rows(found) == [("C", 1.0), ("C", 3.0)]
