"""What each document answers, by what the small project has on file (``tests/documents/project``).

The expected texts are those of its YAML files; numbers are worked out here.
"""

from __future__ import annotations

import pytest

from tests.documents.packages import Package
from tests.render.reading import markdown_tables

Table = list[list[str]]


def document(package: Package, name: str) -> str:
    return package.files[f"{name}.md"].decode()


def table(package: Package, name: str, *heads: str) -> Table:
    """Return the rows of the only table of a document that has these heads."""
    (found,) = (t for t in markdown_tables(document(package, name)) if set(heads) <= set(t[0]))
    return found


def rows(found: Table) -> dict[str, dict[str, str]]:
    """Return rows by their first cell, each by the heads."""
    return {row[0]: dict(zip(found[0], row, strict=True)) for row in found[1:] if row[0]}


def test_a_statement_answers_clause_by_clause(small: Package) -> None:
    found = [t for t in markdown_tables(document(small, "statement-of-compliance"))
             if t[0][0] == "clause"]  # fmt: skip
    assert [[row[0] for row in one[1:]] for one in found] == [["4.1", "4.3", "6.1"],
                                                              ["2.1", "2.2", "2.4"]]  # fmt: skip
    ship = {row[0]: row for row in found[0][1:]}
    code = found[0][0].index("code")
    assert ship["6.1"][code : code + 2] == ["C", "compliant"]
    assert ship["4.3"][code : code + 2] == ["NC", "not compliant"]
    assert "TRN-RD-001 issue 1, 2026-05-20" in ship["6.1"][-1]


def test_a_statement_has_lines_to_be_signed_by_people(small: Package) -> None:
    approval = table(small, "statement-of-compliance", "approval", "signature")
    assert len(approval) == 6
    assert all(row[1:] == ["", "", ""] for row in approval[1:])


def test_the_specification_says_why(small: Package) -> None:
    text = document(small, "requirement-specification")
    part = text.split("HUL-020, issue A")[1].split("###")[0]
    assert "Gas of a failed cell may not gather" in part
    assert "| safety | critical |" in part
    assert "    - HUL-010 Tight hull" in text  # below SYS-020, which is below SHP


def test_safety_requirements_stand_with_their_evidence(small: Package) -> None:
    found = rows(table(small, "safety-extract", "requirement", "safety"))
    assert set(found) == {"HUL-020"}
    assert found["HUL-020"]["state"] == "met"
    assert "licensed practice" in document(small, "safety-extract").split("##")[0]


def test_waivers_have_reason_approver_and_expiry(small: Package) -> None:
    found = rows(table(small, "verification-report", "waiver", "reason"))
    accepted, asked = found["RFD-001"], found["RFD-002"]
    assert accepted["accepts"] == "distance: at least 4 km (south)"
    assert accepted["approved by"] == "board of the project, 2026-08-03, TRN-RFD-001"
    assert accepted["expires"] == "AR"
    assert accepted["state"] == "in force; covers distance [south]"
    assert asked["approved by"] == "not yet approved, asked for in TRN-RFD-002"
    assert asked["state"].startswith("not in force")


def test_a_nonconformance_has_cause_and_action(small: Package) -> None:
    found = rows(table(small, "verification-report", "nonconformance", "cause"))["NCR-001"]
    assert found["class"] == "major"
    assert found["disposition"] == "rework"
    assert "seal of the hatch" in found["cause"]
    assert found["retest"] == "TR-HUL-003"
    assert found["state"].startswith("open")


def test_a_margin_policy_is_held_against_what_was_reached(small: Package) -> None:
    found = table(small, "verification-report", "limit with the margin")
    first = dict(zip(found[0], found[1], strict=True))
    # 10 % of the limit of 12 W h.
    assert first["limit with the margin"] == "13.2 W h"
    assert first["state"] == "reached"


def test_open_terms_are_listed_with_their_owner(small: Package) -> None:
    found = table(small, "verification-report", "term", "owner")
    assert ["LMP-030", "statement", "TBD", "lamp"] in found


def test_each_test_has_a_row_and_a_sheet(small: Package) -> None:
    found = rows(next(t for t in markdown_tables(document(small, "evidence"))
                      if t[0][0] == "record"))  # fmt: skip
    failed = found["TR-HUL-001"]
    assert failed["outcome"] == "not met: HUL-010"
    assert "NCR-001 open" in failed["nonconformances"]
    assert found["TR-HUL-002"]["date"] == "planned, not yet performed"
    sheet = document(small, "evidence").split("TR-HUL-001:")[1].split("###")[0]
    assert "| measured | water_taken_in = 11 mL +/- 1 mL (k = 2) |" in sheet
    # Expanded uncertainty is taken off on the bad side: 11 mL + 1 mL against at most 5 mL.
    assert "12 mL (measured 11 mL) | at most 5 mL | -7 mL | not met" in sheet


def test_what_is_late_stands_first_with_what_closes_it(small: Package) -> None:
    text = document(small, "open-points")
    assert text.index("Late") < text.index("For AR")
    late = markdown_tables(text.split("## 1 Late")[1])[0]
    found = rows(late)
    assert set(found) == {"HUL-010", "PWR-020"}
    assert found["PWR-020"]["action"] == "correct it, or approve RFD-002"
    assert found["PWR-020"]["owner"] == "power"
    later = markdown_tables(text.split("## 2 For AR")[1])[0]
    assert rows(later)["LMP-030"]["action"] == "decide the limit"
    assert rows(later)["HUL-030"]["date"] == "2027-02-16"


def test_the_board_is_asked_first(small: Package) -> None:
    text = document(small, "index")
    headings = [line.split(" ", 2)[2] for line in text.split("\n") if line.startswith("## ")]
    assert headings[:5] == [
        "What the board is asked to decide", "Not met", "Late", "Worse than before", "State",
    ]  # fmt: skip
    asked = [row[0] for row in table(small, "index", "decision", "why")[1:]]
    assert "approve deviation RFD-002" in asked
    read = table(small, "index", "document", "number")
    assert len(read) <= 9
    assert read[1][1:] == ["TRN-DP-002/01", "1", "2026-09-01"]


def test_a_worst_case_is_done_again_by_hand(small: Package) -> None:
    text = document(small, "analyses/night_energy")
    (rows,) = (t for t in markdown_tables(text) if t[0][0] == "argument" and len(t[0]) == 3)
    at = {name: there for name, _, there in rows[1:]}
    number = {name: float(value.split()[0]) for name, value in at.items()}
    # capacity * voltage * (1 - loss * (20 degC - temperature)) - power * 16 h, as the file says.
    held = number["capacity"] * number["voltage"]
    held *= 1.0 - number["cold_loss"] * (20.0 - number["cell_temperature"])
    left = held - number["lamp_power"] * 16.0
    assert f"the analysis gives {left:.6g} W h" in text
    assert f"{left:.6g} W h - 0.5 W h (model uncertainty) = {left - 0.5:.6g} W h" in text
    assert f"energy_left = {left:.6g} W h" in text.split("where it is decided:")[-1]


@pytest.mark.parametrize("name", ["verification-control", "open-points", "verification-report"])
def test_no_word_of_the_code_stands_in_a_document(small: Package, name: str) -> None:
    text = document(small, name).casefold()
    assert not [word for word in ("dossier", "snapshot", "traceback") if word in text]
