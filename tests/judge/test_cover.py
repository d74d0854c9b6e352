"""Cover: who may give it, how long, for what; and what it does not do."""

from __future__ import annotations

from typing import Any

import pytest

from closeout.judge import findings_of
from closeout.model.answer import Answer, Extent
from closeout.model.dossier import Compliance, Dossier
from closeout.model.problem import Severity
from closeout.model.question import Failure
from closeout.render.words import cover
from tests.graph.projects import (
    UNITS,
    Built,
    answer,
    build,
    extent,
    failed,
    requirement,
    requirements,
    result,
    spec,
)

CHARTER = """\
project:
  name: Lantern (invented)
  reviews: [PDR, CDR, AR]
"""
AUTHORITIES = CHARTER + "  authorities: {LSA: launch authority, default: board}\n"
G = spec("g", {}, {"gain": "dB", "time": "s"}, by_case=["gain"])
BY_GAIN = "method: analysis, analysis: g, quantity: gain, at_least: 3 dB"
BY_TIME = "method: analysis, analysis: g, quantity: time, at_least: 0.1 h, at_most: 1 h"
GAINS = {"a": extent(4, 5), "b": extent(2, 4), "c": extent(1.5, 9)}
WAIVER = "approved_by: board, date: 2026-01-01"


def dossier_of(
    accepts: str,
    rest: str = WAIVER,
    *,
    verification: str = BY_GAIN,
    gains: dict[str, Extent] | None = None,
    time: Extent | None = None,
    more: str = "",
    source: str = "",
    charter: str = CHARTER,
    review: str | None = None,
    kind: str = "waiver",
    reply: Answer | Failure | None = None,
) -> tuple[Dossier, Built]:
    item = f"accepts: {{{accepts}}}, " if accepts else ""
    text = requirements(
        requirement("S-1"),
        requirement("R-1", verification, more=f"derived_from: [S-1]\n{source}"),
    )
    text += f"waivers:\n  - {{id: W-1, kind: {kind}, requirement: R-1, {item}{rest}}}\n{more}"
    built = build(text, G, charter=charter)
    wrong = {f.rule for f in built.findings if f.severity is Severity.ERROR}
    assert wrong <= {"unknown-quantity"}
    found = reply or answer(gain=gains or GAINS, time=time or extent(400))
    return built.judge({"g": found}, review), built


def dossier(*args: Any, **more: Any) -> Dossier:
    return dossier_of(*args, **more)[0]


def covered(*args: str, **more: object) -> list[str | None]:
    """Return what covers each entry of the evidence."""
    judged = dossier(*args, **more)  # type: ignore[arg-type]
    return [entry.covered_by for entry in result(judged, "R-1").evidence]


ALL = [None, "W-1", "W-1"]
NONE = [None, None, None]


@pytest.mark.parametrize(
    ("accepts", "rest", "strange"),
    [
        ("quantity: gain, at_least: 1 dB, cases: [b, d, e]", WAIVER, "d, e"),
        ("quantity: gain, at_least: 1 dB, cases: [b]", WAIVER, None),
        ("quantity: gain, at_least: 1 dB, cases: [d]", f"{WAIVER}, expires: PDR", None),
        ("quantity: time, at_least: 0.1 h, cases: [a]", WAIVER, "a"),
    ],
)
def test_a_waiver_for_a_case_that_is_none(accepts: str, rest: str, strange: str | None) -> None:
    verification = BY_TIME if "time" in accepts else BY_GAIN
    judged, built = dossier_of(accepts, rest, verification=verification, review="CDR")
    told = [f for f in findings_of(judged, built.index, UNITS) if f.rule == "waiver-case"]
    assert [f"accepts {strange}, and" in one.message for one in told] == [True] * bool(strange)


def test_cases_that_are_not_known_yet_are_no_strange_ones() -> None:
    accepts = "quantity: gain, at_least: 1 dB, cases: [a]"
    judged, built = dossier_of(accepts, reply=failed())
    assert [f.rule for f in findings_of(judged, built.index, UNITS)] == []


@pytest.mark.parametrize(
    ("accepts", "expected"),
    [
        ("quantity: gain, at_least: 1 dB", ALL),
        ("quantity: gain, at_least: 1.5 dB", ALL),  # inclusive
        ("quantity: gain, at_least: 1.500001 dB", [None, "W-1", None]),
        ("quantity: gain, at_least: 2.5 dB", NONE),
        ("quantity: gain, at_most: 9 dB", NONE),  # nothing was above
        ("quantity: gain, at_least: 1 dB, cases: [b]", [None, "W-1", None]),
        ("quantity: gain, at_least: 1 dB, cases: [b, c]", ALL),
        ("quantity: gain, at_least: 1 dB, cases: [a]", NONE),
        ("quantity: time, at_least: 1 s", NONE),  # another quantity
        ("", NONE),  # names no quantity
    ],
)
def test_cover_names_the_quantity_and_case_and_reaches_the_worst_end(
    accepts: str, expected: list[str | None]
):
    assert covered(accepts) == expected


ACCEPTS = "quantity: gain, at_least: 1 dB"


@pytest.mark.parametrize(
    ("source", "who", "charter", "is_covered"),
    [
        ("", "board", AUTHORITIES, True),
        ("", "launch authority", AUTHORITIES, False),
        ("source: {document: LSA, clause: 4}", "launch authority", AUTHORITIES, True),
        ("source: {document: LSA}", "board", AUTHORITIES, False),
        ("source: {document: OTHER}", "board", AUTHORITIES, True),  # default
        ("source: By word of mouth", "board", AUTHORITIES, True),
        ("source: {document: LSA}", "anybody", CHARTER, True),  # the project names nobody
        ("source: {document: LSA}", "board",
         CHARTER + "  authorities: {LSA: launch authority}\n", False),
        ("", "board", CHARTER + "  authorities: {LSA: launch authority}\n", False),
    ],
)  # fmt: skip
def test_cover_is_approved_by_the_authority_of_the_source(
    source: str, who: str, charter: str, is_covered: bool
):
    rest = f"approved_by: {who}, date: 2026-01-01"
    found = covered(ACCEPTS, rest, source=source, charter=charter)
    assert found == (ALL if is_covered else NONE)


@pytest.mark.parametrize(
    ("rest", "review", "is_covered"),
    [
        ("approved_by: board, date: 2026-01-01", "AR", True),
        ("approved_by: board, date: 2026-01-01, expires: CDR", "PDR", True),
        ("approved_by: board, date: 2026-01-01, expires: CDR", "CDR", True),  # until and including
        ("approved_by: board, date: 2026-01-01, expires: CDR", "AR", False),
        ("approved_by: board, date: 2026-01-01, expires: CDR", None, False),  # the whole life
        ("approved_by: board, date: 2026-01-01, expires: AR", None, True),
        ("approved_by: board", "PDR", False),  # not approved yet: no date
        ("date: 2026-01-01", "PDR", False),  # by nobody
    ],
)
def test_cover_is_in_force_until_and_including_its_review(
    rest: str, review: str | None, is_covered: bool
):
    assert covered(ACCEPTS, rest, review=review) == (ALL if is_covered else NONE)


def test_a_deviation_covers_as_a_waiver_does():
    assert covered(ACCEPTS, kind="deviation") == ALL


@pytest.mark.parametrize("kind", ["waiver", "deviation"])
def test_by_which_of_the_two_is_said(kind: str) -> None:
    judged = dossier(ACCEPTS, kind=kind)
    short = [one for one in result(judged, "R-1").evidence if one.covered_by is not None]
    assert short
    for one in short:
        assert one.covered_kind == kind
        assert cover(one) == f"under {kind} {one.covered_by}"


def test_an_absent_case_is_never_covered():
    gains = {"a": Extent(None, absent="never rises"), "b": extent(2)}
    assert covered("quantity: gain, at_least: -1000 dB", gains=gains) == [None, "W-1"]


@pytest.mark.parametrize(
    ("low", "high", "accepts", "is_covered"),
    [
        (359, 400, "at_least: 0.09 h", True),
        (300, 4000, "at_least: 0.09 h", False),
        (300, 4000, "at_least: 300 s", False),  # the upper end is not accepted
        (300, 4000, "at_least: 300 s, at_most: 4000 s", True),
        (300, 4000, "at_least: 300 s, at_most: 3999 s", False),
        (400, 4000, "at_most: 70 min", True),
        (299.99999999999994, 400, "at_least: 300 s", False),  # decided on unrounded numbers
        (359.99999999999994, 400, "at_least: 0.1 h", False),
        (300, 4000, "equal_to: 2150 s, within: 1850 s", True),
    ],
)
def test_cover_is_decided_on_the_numbers_and_not_on_what_is_shown(
    low: float, high: float, accepts: str, is_covered: bool
):
    found = covered(f"quantity: time, {accepts}", verification=BY_TIME, time=Extent(low, low, high))
    assert found == (["W-1"] if is_covered else [None])


def measured(accepts: str, value: str) -> list[str | None]:
    record = f"records: [{{id: T, method: test, date: 2026-01-01, measured: {{gain: {value}}}}}]\n"
    verification = "method: test, quantity: gain, at_least: 3 dB, records: [T]"
    return covered(accepts, verification=verification, more=record)


def test_cover_of_a_measured_value_reaches_the_value_less_its_uncertainty():
    assert measured("quantity: gain, at_least: 1.5 dB", "2 dB +/- 0.5 dB (k = 2)") == ["W-1"]
    assert measured("quantity: gain, at_least: 1.6 dB", "2 dB +/- 0.5 dB (k = 2)") == [None]
    # Inside the guard band it is open: there is no shortfall to cover.
    assert measured("quantity: gain, at_least: 0 dB", "2.9 dB +/- 0.5 dB (k = 2)") == [None]


def test_a_shortfall_without_a_quantity_is_covered_by_a_waiver_without_one():
    record = "records: [{id: T, method: inspection, date: 2026-01-01, outcome: not met}]\n"
    record += "nonconformances: [{id: N, found_by: T}]\n"
    verification = "method: inspection, records: [T]"
    assert covered("", verification=verification, more=record) == ["W-1"]
    assert covered(ACCEPTS, verification=verification, more=record) == [None]


def test_what_cover_does_and_does_not_do():
    judged = dossier(ACCEPTS)
    child, parent = result(judged, "R-1"), result(judged, "S-1")
    assert (child.compliance, child.covered, child.closed, child.outstanding) == (
        Compliance.PC, True, True, False,
    )  # fmt: skip
    assert child.why == "not met, under waiver W-1"
    # It never rises to the parent.
    assert (parent.compliance, parent.covered) == (Compliance.PC, False)
    assert not parent.outstanding
    assert judged.exit_status == 0

    judged = dossier(ACCEPTS, gains={"a": extent(2)})
    assert result(judged, "R-1").compliance is Compliance.NC
    assert result(judged, "S-1").compliance is Compliance.NC
    assert judged.exit_status == 0


def test_partly_covered_is_not_covered():
    judged = dossier("quantity: gain, at_least: 1 dB, cases: [b]")
    child = result(judged, "R-1")
    assert (child.covered, child.closed, child.outstanding) == (False, False, True)
    assert result(judged, "S-1").outstanding
    assert judged.exit_status == 1


def test_two_waivers_may_cover_case_by_case():
    second = (
        f"  - {{id: W-2, kind: waiver, requirement: R-1, {WAIVER},\n"
        "     accepts: {quantity: gain, at_least: 1 dB, cases: [c]}}\n"
    )
    judged = dossier("quantity: gain, at_least: 1 dB, cases: [b]", more=second)
    assert [e.covered_by for e in result(judged, "R-1").evidence] == [None, "W-1", "W-2"]
    assert result(judged, "R-1").covered


def test_the_second_waiver_of_one_name_is_not_used():
    text = requirements(requirement("R-1", BY_GAIN)) + (
        f"waivers:\n  - {{id: W-1, kind: waiver, requirement: R-1, {WAIVER},\n"
        "     accepts: {quantity: gain, at_least: 3 dB}}\n"
        f"  - {{id: W-1, kind: waiver, requirement: R-1, {WAIVER},\n"
        "     accepts: {quantity: gain, at_least: 1 dB}}\n"
    )
    built = build(text, G)
    entries = built.judge({"g": answer(gain=GAINS)}).requirements[0].evidence
    assert [entry.covered_by for entry in entries] == NONE
