"""A document from outside gets a new issue: what comes from it is to be assessed until it is."""

from __future__ import annotations

from pathlib import Path

import pytest

from closeout.model.dossier import Dossier
from tests.run.chains import judged

CHARTER = """\
project: {name: Pump, note: Invented for a test., reviews: [PDR, CDR], next_review: CDR}
documents:
  - {id: LSA, title: Launch service agreement, issue: %s, date: 2026-01-20}
"""
REQUIREMENTS = """\
requirements:
  - id: SYS-1
    title: Flow
    statement: The pump shall give at least 2 L/min.
    source: {document: LSA, clause: "4.3"%s}
  - id: PMP-1
    title: Flow of the pump
    statement: The pump shall give at least 2 L/min.
    derived_from: [SYS-1]
    rationale: x
    verification:
      - {method: inspection, level: system, stage: qualification, review: %s, records: [IR-1]}
  - id: PMP-2
    title: Colour
    statement: The pump shall be white.
    source: Invented
    verification:
      - {method: inspection, level: system, stage: qualification, review: CDR, records: [IR-1]}
records:
  - {id: IR-1, method: inspection, title: Look, document: IR-1, date: 2026-02-01, outcome: met,
     judged: {PMP-1: A, PMP-2: A}}
"""


def state(folder: Path, register: str, held: str = ", issue: 2", review: str = "CDR") -> Dossier:
    (folder / "requirements").mkdir(exist_ok=True)
    (folder / "requirements/project.yaml").write_text(CHARTER % register)
    (folder / "requirements/all.yaml").write_text(REQUIREMENTS % (held, review))
    return judged(folder)


def by_id(dossier: Dossier) -> dict[str, tuple[str, bool, bool, str]]:
    return {
        one.id: (one.compliance.value, one.closed, one.outstanding, one.why)
        for one in dossier.requirements
    }


def rules(dossier: Dossier) -> set[str]:
    return {problem.rule for problem in dossier.problems} & {"source-issue", "source-without-issue"}


def test_the_requirement_and_its_children_stay_open_until_the_number_is_raised(
    tmp_path: Path,
) -> None:
    before = by_id(state(tmp_path, "2"))
    assert all(closed for _, closed, _, _ in before.values())
    raised = state(tmp_path, "3")
    found = by_id(raised)
    assert found["SYS-1"][:3] == ("C", False, True)
    assert found["SYS-1"][3].startswith("to be assessed against LSA issue 3")
    assert found["PMP-1"][:3] == ("C", False, True)
    assert found["PMP-1"][3].startswith("to be assessed against LSA issue 3, from which SYS-1")
    assert found["PMP-2"] == before["PMP-2"]
    assert (raised.exit_status, rules(raised)) == (1, set())
    assert by_id(state(tmp_path, "3", ", issue: 3")) == before


def test_evidence_stays_what_it_is(tmp_path: Path) -> None:
    (entry,) = state(tmp_path, "3").requirements[1].evidence
    assert (entry.state.value, entry.closed) == ("met", True)


def test_what_is_due_later_only_does_not_hold_up_this_review(tmp_path: Path) -> None:
    (tmp_path / "requirements").mkdir()
    text = CHARTER.replace("next_review: CDR", "next_review: PDR") % "3"
    (tmp_path / "requirements/project.yaml").write_text(text)
    later = REQUIREMENTS % (", issue: 2", "CDR")
    (tmp_path / "requirements/all.yaml").write_text(later)
    found = by_id(judged(tmp_path))
    assert (found["PMP-1"][1], found["PMP-1"][2]) == (False, False)


@pytest.mark.parametrize(
    ("register", "held", "rule"),
    [
        ("2", ", issue: 3", "source-issue"),
        ("2", "", "source-without-issue"),
        ("2", ", issue: 2", None),
        ("10", ", issue: 9", None),
        ("Rev. 8", ", issue: Rev. 8", None),
        ("Rev. 8", ", issue: Rev. 9", "source-issue"),
    ],
)
def test_the_issue_of_a_source_is_one_that_the_register_has_had(
    tmp_path: Path, register: str, held: str, rule: str | None
) -> None:
    assert rules(state(tmp_path, register, held)) == ({rule} if rule else set())
