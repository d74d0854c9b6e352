"""The history of a requirement: a state for each commit that touched what it rests on."""

from __future__ import annotations

from pathlib import Path

import pytest

from closeout.model.margin_history import MarginHistory
from closeout.render.margin_history import history_text
from closeout.render.margin_history_picture import history_svg
from closeout.run import Project, UserError
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


def test_it_may_begin_with_a_commit_or_a_day(told: Repository) -> None:
    assert rows(history(told, since="PDR")) == [("C", 1.0), ("C", 0.5), ("C", 0.5), ("NC", -2.0)]
    assert len(history(told, since="2000-01-01").moments) == 5
    assert history(told, since="2999-01-01").moments == ()


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
