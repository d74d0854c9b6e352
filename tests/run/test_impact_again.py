"""What a change opens again, held against the verdicts that follow once it has been made.

The change is written into the files of an invented project, which is then judged: what was closed
by a record and is open by then is what ``closeout impact`` has to have named before.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

import pytest

from closeout.model.dossier import State
from closeout.model.impact import Again, Impact, Kind, OpenAgain
from closeout.render.impact import impact_text
from closeout.run import Project
from tests.run.chains import Function, judged, written
from tests.run.test_changes import Repository

LIFE = Function("life", {"drain": "mA", "charge": "A h"}, {"time": "h"},
                "return R(charge / drain * 1000.0)",
                mark='@analysis(validated_by="tests/test_life.py")')  # fmt: skip
PARAMETERS = """
    charge: {value: 2 A h, source: "LSA 4.3"}
    drain: {from: TR-2.drain}
    threshold: {value: 40 kPa, source: x}
    temperature: {value: 20 degC, condition: true, source: x}
"""
LOG = "time,drain\n0,100\n"
DIGEST = hashlib.sha256(LOG.encode()).hexdigest()
RECORDS = f"""\
documents:
  - {{id: LSA, title: Agreement, issue: 2, date: 2020-01-01}}
articles:
  - {{id: BAT, title: Battery, model: flight, build: FM-3}}
  - {{id: BOX, title: Box, model: flight, build: BX-1}}
records:
  - {{id: TR-2, method: test, title: Drain, document: TN-2, date: 2026-03-03,
     article: {{BAT: FM-3}}, measured: {{drain: 100 mA +/- 4 mA (k = 2)}}}}
  - {{id: TR-3, method: test, title: Soak, document: TN-3, date: 2026-03-04,
     article: {{BAT: FM-3}}, conditions: {{temperature: 5 degC, threshold: 40 kPa}},
     judged: {{T-1: B}}, outcome: met, data: analyses/data/soak.csv, data_sha256: {DIGEST}}}
  - {{id: TR-4, method: test, title: Box, document: TN-4, date: 2026-03-04, article: {{BOX: BX-1}},
     judged: {{T-1: B, T-2: A}}, outcome: met, data: analyses/data/box.csv}}
"""
TESTED = """\
requirements:
  - {id: T-1, issue: B, title: Soaked, statement: It shall last., rationale: x,
     source: {document: LSA, issue: 2},
     verification: [
       {method: test, level: system, stage: acceptance, review: CDR, records: [TR-3],
        given: {temperature: 5 degC}},
       {method: test, level: system, stage: acceptance, review: CDR, records: [TR-4]}]}
  - {id: T-2, title: Boxed, statement: It shall fit., rationale: x, source: x, derived_from: [T-1],
     verification: [
       {method: test, level: system, stage: acceptance, review: CDR, records: [TR-4]}]}
"""


@pytest.fixture
def project(tmp_path: Path) -> Path:
    folder = written(
        tmp_path, PARAMETERS, [LIFE], ["analysis: life, quantity: time, at_least: 15 h"]
    )
    more = {
        "requirements/records.yaml": RECORDS,
        "requirements/tested.yaml": TESTED,
        "analyses/data/soak.csv": LOG,
        "analyses/data/box.csv": LOG,
        "tests/test_life.py": "def test_nothing() -> None: ...\n",
    }
    for path, text in more.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(text)
    return folder


def impact(folder: Path, *names: str) -> Impact:
    return Project(folder, jobs=1).impact(*names)


def closed(folder: Path) -> set[tuple[str, int]]:
    """Return the verifications that are met, by requirement and number."""
    return {
        (result.id, entry.number)
        for result in judged(folder).requirements
        for entry in result.evidence
        if entry.state is State.MET
    }


def lost(folder: Path, path: str, old: str, new: str) -> set[tuple[str, int]]:
    """Return what is met no longer once a text of a file is another."""
    before, file = closed(folder), folder / path
    text = file.read_text()
    assert old in text
    file.write_text(text.replace(old, new))
    return before - closed(folder)


def said(found: Impact, what: Again = Again.REOPENED) -> list[OpenAgain]:
    return [one for one in found.open_again if one.what is what]


RECORDS_FILE, TESTED_FILE, PARAMETERS_FILE = (
    "requirements/records.yaml", "requirements/tested.yaml", "analyses/all.yaml",
)  # fmt: skip
CHANGES = {
    "BAT": (RECORDS_FILE, "build: FM-3}", "build: FM-4}"),
    "BOX": (RECORDS_FILE, "build: BX-1}", "build: BX-2}"),
    "T-1": (TESTED_FILE, "issue: B", "issue: C"),
    "T-2": (TESTED_FILE, "id: T-2,", "id: T-2, issue: B,"),
    "threshold": (PARAMETERS_FILE, "value: 40 kPa", "value: 60 kPa"),
    "temperature": (PARAMETERS_FILE, "value: 20 degC", "value: 90 degC"),
    "analyses/data/soak.csv": ("analyses/data/soak.csv", "0,100", "0,101"),
    "analyses/data/box.csv": ("analyses/data/box.csv", "0,100", "0,101"),
}
EXPECTED = {
    "BAT": {("T-1", 0), ("A-1", 0)},  # A-1 by its measured input
    "BOX": {("T-1", 1), ("T-2", 0)},
    "T-1": {("T-1", 0), ("T-1", 1)},
    "T-2": {("T-2", 0)},
    "threshold": {("T-1", 0)},
    "temperature": set(),  # the criterion gives its own
    "analyses/data/soak.csv": {("T-1", 0)},
    "analyses/data/box.csv": set(),  # no digest is kept
}


@pytest.mark.parametrize("name", CHANGES)
def test_what_is_named_is_what_is_lost(project: Path, name: str) -> None:
    found = impact(project, name)
    named = {(one.requirement or "", one.number or 0) for one in said(found)}
    if waiting := said(found, Again.WAITING):
        assert [one.about for one in waiting] == ["drain"]
        named |= {(r, n) for r, some in found.concerned.items() for n in some if r == "A-1"}
    assert named == EXPECTED[name]
    assert lost(project, *CHANGES[name]) == EXPECTED[name]


def shows(texts: dict[str, list[str]]) -> list[tuple[str, str]]:
    return [(name, text) for name, some in texts.items() for text in some]


@pytest.mark.parametrize(
    ("name", "text"),
    shows(
        {
            "BAT": [
                "a new build of BAT would re-open: T-1 verification 1 (test, system, acceptance,"
                " CDR) by TR-3, made on build FM-3",
                "a new build of BAT would leave without a value: drain (TR-2 made on build FM-3)",
            ],
            "T-1": ["T-1 verification 2 (test, system, acceptance, CDR) by TR-4, judged issue B"],
            "threshold": ["by TR-3, run at 40 kPa"],
            "analyses/data/box.csv": [
                "TR-4 keeps no digest of analyses/data/box.csv: a change would not be noticed"
            ],
            "LSA": ["to be assessed against a new issue of LSA: T-1",
                    "to be assessed against a new issue of LSA, with what is derived: T-2"],
            "TR-3": ["judged again with another content of TR-3: T-1 verification 1"],
            "charge": ["evaluated again, so that verdicts may change: life",
                       "tests of validation to be repeated: tests/test_life.py"],
            "TR-2": ["evaluated again, so that verdicts may change: life"],
        }
    ),
)  # fmt: skip
def test_what_is_open_again_in_words(project: Path, name: str, text: str) -> None:
    assert text in impact_text(impact(project, name), colour=False, width=400)


def test_what_a_new_issue_of_a_document_leaves_to_be_assessed(project: Path) -> None:
    found = impact(project, "LSA")
    assert [one.about for one in said(found, Again.ASSESS)] == ["T-1", "T-2"]
    edit(project / RECORDS_FILE, lambda text: text.replace("issue: 2, date", "issue: 3, date"))
    told = {one.id: one.why for one in judged(project).requirements if "assessed" in one.why}
    assert told.keys() == {"T-1", "T-2"}
    after = impact(project, "LSA")
    assert not said(after, Again.ASSESS)  # they are by now, as the lines of these say
    text = impact_text(after, colour=False, width=400)
    assert "Soaked  to be assessed against LSA issue 3  source: LSA (issue 2)" in text
    # Where a source says no issue, nothing tells of a new one.
    edit(project / TESTED_FILE, lambda text: text.replace("{document: LSA, issue: 2}", "LSA 4.3"))
    unsaid = impact(project, "LSA")
    assert [one.about for one in said(unsaid, Again.UNNOTICED)] == ["T-1"]
    assert "a new issue of LSA would not be noticed, since no issue is said: T-1" in impact_text(
        unsaid, colour=False, width=400
    )


def test_a_document_is_the_source_of_numbers_too(project: Path) -> None:
    found = impact(project, "LSA")
    assert [node.name for node in found.above if node.kind is Kind.PARAMETER] == ["charge"]
    assert found.requirements == ("A-1", "T-1")
    assert found.concerned == {"A-1": (0,), "T-1": (0, 1)}


def test_what_a_range_of_commits_has_left_open(project: Path) -> None:
    repository = Repository(project)
    repository.commit()
    repository.commit(CHANGES["BAT"])
    found = Project(project, jobs=1).impact("HEAD~1..HEAD")
    assert [node.name for node in found.roots] == ["BAT"]
    (left,) = said(found, Again.OPEN_NOW)
    assert (left.requirement, left.number, left.about) == ("T-1", 0, "TR-3")
    # What would be re-opened by one more build is another question.
    assert not said(found)
    text = impact_text(found, colour=False, width=400)
    assert "TR-3 was made on BAT build FM-3, BAT is at build FM-4" in text


def edit(path: Path, change: Callable[[str], str]) -> None:
    path.write_text(change(path.read_text()))


def test_a_nonconformance_or_waiver_leads_to_its_requirement(project: Path) -> None:
    edit(
        project / RECORDS_FILE,
        lambda text: (
            text + "nonconformances:\n  - {id: NCR-1, found_by: TR-4,"
            " requirements: [T-2], class: minor, article: {BOX: BX-1}}\n"
        ),
    )
    found = impact(project, "NCR-1")
    assert [node.name for node in found.roots] == ["T-2"]
    assert found.asked[0].note == "a nonconformance of"
    assert "T-2" in impact(project, "TR-4").requirements
