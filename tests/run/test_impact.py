"""What rests on what, in small invented projects: files that were opened, chains, ranges, records.

What is expected follows by hand from the project that is written; of random projects from a closure
that is computed here, without any graph library.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from closeout.model.errors import UserError
from closeout.model.impact import Again, Impact, Kind, Node
from closeout.render.impact import answer, impact_text, unused_text
from closeout.render.impact_json import impact_json, unused_json
from closeout.run import Project
from tests.run.chains import Function, written
from tests.run.test_changes import Repository

SCHEMA = json.loads((files("closeout.render") / "impact.schema.json").read_bytes())
jsonschema.Draft202012Validator.check_schema(SCHEMA)

# u -> a.p -> mid -> b.q -> A-2; w only in c, which reads a table by a helper; a and c share one.
PARAMETERS = """\
u: {value: 2, tolerance: 0.1, source: x}
v: {value: 3, source: x}
w: {value: 4, source: x}
idle: {value: 9, source: x}
mid: {from: a.p}
end: {from: b.q}
floor: {from: A-3.r.at_least}
"""
HELPER = """\
from pathlib import Path


def factor() -> float:
    return float((Path(__file__).parent / "data" / "factor.txt").read_text())
"""
DOUBLE = "def double(x):\n    return x + x\n"
A = Function("a", {"u": "1"}, {"p": "1", "spare": "1"}, "return R(double(u), u)")
B = Function("b", {"mid": "1", "v": "1"}, {"q": "1"}, "return R(mid + v)")
C = Function("c", {"w": "1"}, {"r": "1"}, "return R(factor() * double(w))")
D = Function("d", {"end": "1", "floor": "1"}, {"s": "1"}, "return R(end - 0.0 * floor)")
TOPS = {
    "a": "from analyses.double import double\n",
    "c": "from analyses.double import double\nfrom analyses.table import factor\n",
}
VERIFICATIONS = (
    "analysis: a, quantity: p, at_least: 1",
    "analysis: b, quantity: q, at_least: 1",
    "analysis: c, quantity: r, at_least: 1",
    "analysis: d, quantity: s, at_least: 1",
)
HEAD = (
    "requirements:\n"
    "  - {id: TOP, title: All, statement: It shall be so.,\n"
    "     source: {document: LSA, clause: '4.3', issue: 2}}\n"
)
REGISTER = "documents:\n  - {id: LSA, title: Agreement, issue: 2, date: 2020-01-01}\n"


def with_top(one: Function) -> Function:
    return Function(one.name, one.takes, one.gives, one.body, one.mark, TOPS.get(one.name, ""))


def made(folder: Path, functions: Iterable[Function] = (A, B, C, D)) -> Path:
    """Write the project above; A-1 to A-4 are derived from TOP, which LSA asks for."""
    written(folder, PARAMETERS, [with_top(one) for one in functions], VERIFICATIONS)
    more = {
        "analyses/double.py": DOUBLE,
        "analyses/table.py": HELPER,
        "analyses/data/factor.txt": "1.5\n",
        "analyses/data/lost.txt": "nobody reads this\n",
        "requirements/top.yaml": HEAD + REGISTER,
    }
    for path, text in more.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(text)
    items = folder / "requirements/all.yaml"
    items.write_text(items.read_text().replace("source: invented", "derived_from: [TOP]"))
    return folder


def impact(folder: Path, *names: str, **options: Any) -> Impact:
    found = Project(folder, jobs=2).impact(*names, **options)
    jsonschema.validate(json.loads(impact_json(found)), SCHEMA)
    return found


def names(found: Impact, kind: Kind) -> list[str]:
    return [node.name for node in found.above if node.kind is kind]


def under(found: Impact, kind: Kind) -> list[str]:
    return [node.name for node in found.below if node.kind is kind]


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The project above, which no test changes; nothing has run when the first one asks."""
    return made(tmp_path_factory.mktemp("impact"))


def test_a_helper_of_two_analyses_in_a_project_that_never_ran(project: Path) -> None:
    found = impact(project, "analyses/double.py")
    assert names(found, Kind.ANALYSIS) == ["a", "b", "c", "d"]
    direct = {one.user.name for one in found.edges if one.used == found.roots[0]}
    assert direct == {"a", "c"}  # b and d have it from a
    assert found.requirements == ("A-1", "A-2", "A-3", "A-4", "TOP")
    assert not found.may


def test_a_data_file_that_a_helper_opens(project: Path) -> None:
    found = impact(project, "analyses/data/factor.txt")
    assert names(found, Kind.ANALYSIS) == ["c"]
    assert found.requirements == ("A-3", "TOP")
    assert found.concerned == {"A-3": (0,), "TOP": ()}
    # Of c: its own module and both helpers, and the table.
    below = impact(project, "A-3")
    opened = ["analyses/c.py", "analyses/double.py", "analyses/table.py"]
    assert under(below, Kind.CODE) == opened
    assert under(below, Kind.DATA) == ["analyses/data/factor.txt"]


def test_a_chain_of_links_upward_and_downward(project: Path) -> None:
    found = impact(project, "u")
    assert names(found, Kind.QUANTITY) == ["a.p", "b.q", "d.s"]
    assert names(found, Kind.PARAMETER) == ["end", "mid"]
    assert found.requirements == ("A-1", "A-2", "A-4", "TOP")
    below = impact(project, "A-2")
    assert under(below, Kind.PARAMETER) == ["mid", "u", "v"]
    text = impact_text(found, colour=False, width=100)
    assert text.splitlines()[0].startswith("4 requirements rest on u; smallest margin: ")
    assert "LSA 4.3" in text
    assert "limit A-3.r.at_least  at least 1" in impact_text(
        impact(project, "floor"), colour=False, width=100
    )
    assert "evaluated again, so that verdicts may change: a, b, d" in text


def test_a_limit_that_others_take_is_not_the_verdict_about_it(project: Path) -> None:
    # floor takes the limit of A-3: so A-4 rests on what A-3 asks, and not on how c finds it.
    assert impact(project, "A-3").requirements == ("A-4", "TOP")
    assert impact(project, "c").requirements == ("A-3", "TOP")
    assert impact(project, "A-3.r.at_least").requirements == ("A-3", "A-4", "TOP")
    assert impact(project, "floor").requirements == ("A-4", "TOP")


def test_a_quantity_that_nothing_takes_a_document_and_a_file_of_yaml(project: Path) -> None:
    spare = impact(project, "a.spare")
    assert spare.above == ()
    assert "u" in under(spare, Kind.PARAMETER)
    assert answer(spare) == "No requirement rests on a.spare."
    document = impact(project, "LSA")
    assert document.requirements == ("TOP",)
    assessed = [one.about for one in document.open_again if one.what is Again.ASSESS]
    assert assessed == ["A-1", "A-2", "A-3", "A-4", "TOP"]
    items = impact(project, "analyses/all.yaml")
    assert {node.name for node in items.roots} == {"u", "v", "w", "idle", "mid", "end", "floor"}
    assert items.asked[0].note == "all items in it"


def test_what_nothing_rests_on(project: Path) -> None:
    found = Project(project, jobs=2).unused()
    jsonschema.validate(json.loads(unused_json(found)), SCHEMA)
    assert [one.node for one in found.idle] == [
        Node(Kind.PARAMETER, "idle"),
        Node(Kind.DATA, "analyses/data/lost.txt"),
    ]
    assert "analyses/data/lost.txt" in unused_text(found, colour=False, width=80)


def test_every_unknown_name_is_told_with_the_nearest(project: Path) -> None:
    with pytest.raises(UserError) as raised:
        Project(project, jobs=2).impact("floot", "analyses/doubel.py", "a.pp")
    text = str(raised.value)
    assert text.count("did you mean") == 3
    for near in ("floor?", "analyses/double.py?", "a.p?"):
        assert near in text


@pytest.mark.parametrize(
    "body",
    [
        'raise ValueError("no")',
        "import os\nos.kill(os.getpid(), 9)",
        'import subprocess\nsubprocess.run(["true"])\nreturn R(mid + v)',
    ],
    ids=["raises", "killed", "not watched"],
)
def test_an_analysis_that_fails_may_rest_on_any_file(tmp_path: Path, body: str) -> None:
    folder = made(tmp_path, (A, Function("b", B.takes, B.gives, body), C, D))
    found = impact(folder, "analyses/data/lost.txt")
    # d takes what b finds, and was not evaluated either.
    failed = {node.name for node in found.may if node.kind is Kind.ANALYSIS}
    assert failed == {"b", "d"}
    assert found.requirements == ("A-2", "A-4", "TOP")
    text = impact_text(found, colour=False, width=100)
    assert "may rest on it" in text
    assert "(3 of them may" in text
    # Of what is known nothing is weakened.
    sure = impact(folder, "analyses/table.py")
    assert Node(Kind.ANALYSIS, "c") not in sure.may
    assert Node(Kind.ANALYSIS, "b") in sure.may


def test_a_module_that_cannot_be_imported_may_rest_on_any_file(tmp_path: Path) -> None:
    folder = made(tmp_path)
    (folder / "analyses/c.py").write_text("import nothing_of_that_name\n" + C.text)
    found = impact(folder, "analyses/data/factor.txt")
    assert names(found, Kind.ANALYSIS) == ["c"]
    assert found.may == {Node(Kind.ANALYSIS, "c"), Node(Kind.REQUIREMENT, "A-3"),
                         Node(Kind.REQUIREMENT, "TOP")}  # fmt: skip
    # That its own module is one of its files is known.
    assert not impact(folder, "analyses/c.py").may


def test_a_file_that_only_what_no_verification_asks_opens(tmp_path: Path) -> None:
    lone = Function("lone", {"w": "1"}, {"r": "1"}, "return R(factor() * w)")
    folder = made(tmp_path, (A, B, C, D))
    text = lone.text.replace("\nclass R", "from analyses.table import factor\n\nclass R")
    (folder / "analyses/lone.py").write_text(text)
    found = impact(folder, "analyses/table.py")
    assert names(found, Kind.ANALYSIS) == ["c", "lone"]
    assert Node(Kind.ANALYSIS, "lone") in [one.node for one in Project(folder).unused().idle]


# ---- a range of commits


def test_a_range_of_commits(tmp_path: Path) -> None:
    made(tmp_path)
    repository = Repository(tmp_path)
    repository.commit()
    repository.commit(
        ("analyses/all.yaml", "v: {value: 3", "\n  v: {value: 5"),
        ("analyses/all.yaml", "  idle: {value: 9, source: x}\n", ""),
        ("analyses/table.py", "float(", "1.0 * float("),
    )
    (tmp_path / "notes.txt").write_text("beside\n")
    repository.commit(("requirements/project.yaml", "reviews: [CDR]", "reviews: [CDR, AR]"))
    found = impact(tmp_path, "HEAD~2..HEAD")
    assert set(found.roots) == {
        Node(Kind.PARAMETER, "v"), Node(Kind.CODE, "analyses/table.py"),
    }  # fmt: skip
    assert [one.note for one in found.asked] == ["changed", "changed"]
    assert found.requirements == ("A-2", "A-3", "A-4", "TOP")
    assert found.gone == ("idle",)
    assert found.others == ("notes.txt",)
    assert found.dossier.snapshot.kind == "commit"
    assert found.recharted
    text = impact_text(found, colour=False, width=100)
    assert "what changed since HEAD~2 (2 items)" in text
    assert "removed: idle" in text
    # Other places in the files are no change; nor are commits of which none touched an item.
    assert impact(tmp_path, "HEAD~1..HEAD").roots == ()
    with pytest.raises(UserError, match="one state is judged"):
        Project(tmp_path).impact("HEAD~2..HEAD", at="HEAD~1")


def test_a_rename_in_a_range_removes_nothing(tmp_path: Path) -> None:
    lone = Function("lone", {"kept": "1"}, {"r": "1"}, "return R(kept)")
    made(tmp_path, (A, B, C, D, lone))
    file = tmp_path / "analyses/all.yaml"
    file.write_text(file.read_text() + "  kept: {value: 1, source: x}\n")
    repository = Repository(tmp_path)
    repository.commit()
    repository.commit(
        ("analyses/all.yaml", "kept: {value: 1,", "new: {value: 1, formerly: kept,"),
        ("analyses/lone.py", "kept", "new"),
    )
    found = impact(tmp_path, "HEAD~1..")
    assert found.gone == ()
    assert [one.text for one in found.asked] == ["new", "analyses/lone.py"]


def test_the_file_of_the_charter_is_what_every_verdict_rests_on(project: Path) -> None:
    found = impact(project, "requirements/project.yaml")
    assert found.roots == ()
    assert found.recharted
    text = impact_text(found, colour=False, width=200)
    assert "every verdict rests on the key project:" in text


def test_a_notebook_shows_a_figure(project: Path) -> None:
    found = impact(project, "u")
    assert found._repr_svg_().startswith("<?xml")  # type: ignore[attr-defined]


def test_an_earlier_identifier_leads_to_that_of_today(tmp_path: Path) -> None:
    made(tmp_path)
    file = tmp_path / "analyses/all.yaml"
    file.write_text(file.read_text().replace("v: {value: 3,", "v: {value: 3, formerly: old,"))
    found = impact(tmp_path, "old")
    assert found.roots == (Node(Kind.PARAMETER, "v"),)
    assert "formerly old" in impact_text(found, colour=False, width=100)
