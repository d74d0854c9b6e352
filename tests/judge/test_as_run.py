"""Conditions as run: within the test tolerance, harsher, outside; and ranges tested at both ends.

Tolerances about the value that is asked for are the practice of ECSS-E-ST-10-03C Rev.1, 4.4 (test
tolerances), from memory. All numbers below are worked out by hand; the projects are invented.
"""

from __future__ import annotations

import re

import pytest

from closeout.judge import findings_of
from closeout.model.answer import Extent
from closeout.model.dossier import Evidence, State
from closeout.model.question import AnalysisSpec
from tests.graph.projects import (
    UNITS,
    Built,
    answer,
    build,
    requirement,
    requirements,
    result,
    spec,
)

MET, NOT_MET, WAITS = State.MET, State.NOT_MET, State.OPEN
TEST = "method: test, quantity: x, at_least: 3 W, records: [T-1]"
PARAMETERS = """\
parameters:
  power: {value: 50 W, condition: true, source: Invented}
  cell: {value: 20 degC, condition: true, source: Invented}
  threshold: {value: 55 kPa, tolerance: 1 kPa, source: Invented}
"""
GOOD, BAD = "4 W +/- 0.1 W (k = 2)", "1 W +/- 0.1 W (k = 2)"


def row(name: str, conditions: str, measured: str = GOOD, more: str = "", day: int = 1) -> str:
    return (
        f"  - {{id: {name}, method: test, date: 2026-01-0{day}, judged: {{R-1: A}},"
        f" conditions: {{{conditions}}}, measured: {{x: {measured}}}{more}}}\n"
    )


def project(
    verification: str,
    *records: str,
    policy: str = "",
    others: tuple[str, ...] = (),
    more: str = "",
    specs: tuple[AnalysisSpec, ...] = (),
) -> Built:
    charter = "project:\n  name: Lantern (invented)\n  reviews: [PDR, CDR, AR]\n"
    charter += f"  policy: {policy}\n" if policy else ""
    text = requirements(requirement("R-1", verification, *others))
    text += "records:\n" + "".join(records) + PARAMETERS + more
    return build(text, *specs, charter=charter)


def entry(built: Built) -> Evidence:
    return result(built.judge(), "R-1").evidence[0]


# one value that is asked for


@pytest.mark.parametrize(
    ("as_run", "leeway", "state", "verdict"),
    [
        ("52 W", "", MET, "within"),
        ("51.8 W", "", WAITS, "outside"),
        ("51.8 W", ", within: {power: 1 W}", MET, "within"),
        ("51.8 W", ", within: {power: 0.1 W}", WAITS, "outside"),
        ("51 W", ", within: {power: 1 W}", MET, "within"),
        ("53 W", ", within: {power: 1 W}", MET, "within"),
        ("50.9 W", ", within: {power: 1 W}", WAITS, "outside"),
        ("51.8 W", ", within: {power: 2 %}", MET, "within"),  # 1.04 W
        ("50.9 W", ", within: {power: 2 %}", WAITS, "outside"),
        # Its own spread lies inside the tolerance.
        ("51.8 W +/- 0.3 W (k = 2)", ", within: {power: 1 W}", MET, "within"),
        ("51.8 W +/- 0.8 W (k = 2)", ", within: {power: 1 W}", MET, "within"),
        ("51.8 W +/- 0.9 W (k = 2)", ", within: {power: 1 W}", WAITS, "outside"),
        ("51.8 W +/- 0.3 W (k = 2)", "", WAITS, "outside"),
        # 0.45 W with k = 1 is 0.9 W with k = 2.
        ("51.8 W +/- 0.45 W (k = 1)", ", within: {power: 1 W}", WAITS, "outside"),
        ("51.8 W +/- 0.4 W (k = 1)", ", within: {power: 1 W}", MET, "within"),
        ("[51.2 W, 52.9 W]", ", within: {power: 1 W}", MET, "within"),
        ("[50.9 W, 52.9 W]", ", within: {power: 1 W}", WAITS, "outside"),
        # Farther off on the harsher side.
        ("55 W", ", within: {power: 1 W}", WAITS, "outside"),
        ("55 W", ", within: {power: 1 W}, harsher: {power: higher}", MET, "harsher"),
        ("55 W", ", harsher: {power: higher}", MET, "harsher"),
        ("55 W", ", harsher: {power: lower}", WAITS, "outside"),
        ("49 W", ", harsher: {power: lower}", MET, "harsher"),
        ("49 W", ", within: {power: 1 W}, harsher: {power: higher}", WAITS, "outside"),
        ("53 W", ", within: {power: 1 W}, harsher: {power: higher}", MET, "within"),
        ("55 W +/- 5 W (k = 2)", ", within: {power: 1 W}, harsher: {power: higher}", WAITS,
         "outside"),
        ("52000 mW", "", MET, "within"),
    ],
)  # fmt: skip
def test_a_condition_as_run(as_run: str, leeway: str, state: State, verdict: str) -> None:
    built = project(f"{TEST}, given: {{power: 52 W}}{leeway}", row("T-1", f"power: {as_run}"))
    found = entry(built)
    assert found.state is state
    (one,) = found.as_run
    assert (one.record, one.name, one.verdict) == ("T-1", "power", verdict)
    assert (one.required, one.within) == ("52 W", _within(leeway))
    if state is WAITS:
        assert f"T-1 was made at power = {one.as_run}, the criterion applies at 52 W" in str(
            found.message
        )


def _within(leeway: str) -> str | None:
    found = re.search(r"within: {power: (.+?)}", leeway)
    return found[1] if found else None


def test_the_projects_table_holds_where_a_verification_says_nothing() -> None:
    for policy, leeway, state in (
        ("{test_tolerances: {power: 1 W}}", "", MET),
        ("{test_tolerances: {'po*': 1 W}}", "", MET),
        ("{test_tolerances: {'*': 0.1 W, power: 1 W}}", "", MET),  # its own name goes first
        ("{test_tolerances: {power: 0.1 W}}", "", WAITS),
        ("{test_tolerances: {power: 1 W}}", ", within: {power: 0.1 W}", WAITS),
        ("{test_tolerances: {power: 0.1 W}}", ", within: {power: 1 W}", MET),
    ):
        verification = f"{TEST}, given: {{power: 52 W}}{leeway}"
        built = project(verification, row("T-1", "power: 51.8 W"), policy=policy)
        assert entry(built).state is state, (policy, leeway)


def test_a_test_without_conditions_of_its_own_has_those_of_its_criterion() -> None:
    others = ("method: analysis, quantity: x, at_least: 3000 mW, given: {power: 52 W}",)
    for leeway, state in ((", within: {power: 1 W}", MET), ("", WAITS)):
        built = project(TEST + leeway, row("T-1", "power: 51.8 W"), others=others)
        assert entry(built).state is state


def test_what_a_record_states_beside_is_held_against_the_project_within_the_tolerance() -> None:
    for as_run, leeway, state in (
        ("55 kPa", "", MET),
        ("55.2 kPa", "", WAITS),
        ("55.2 kPa", ", within: {threshold: 0.5 kPa}", MET),
        ("55.2 kPa +/- 0.4 kPa (k = 2)", ", within: {threshold: 0.5 kPa}", WAITS),
    ):
        found = entry(project(TEST + leeway, row("T-1", f"threshold: {as_run}")))
        assert found.state is state, as_run
        assert found.as_run[0].required == "55 kPa"


def test_what_is_planned_was_not_run() -> None:
    planned = row("T-1", "power: 55 W").replace(" date: 2026-01-01,", "")
    found = entry(project(f"{TEST}, given: {{power: 52 W}}", planned))
    assert (found.state, found.as_run) == (WAITS, ())


# a failure is told, wherever it was found


@pytest.mark.parametrize(
    ("as_run", "told"),
    [
        ("52 W", None),
        ("55 W", "T-1 was made at power = 55 W, harsher than the 52 W required"),
        (
            "49 W",
            "re-opened: T-1 was made at power = 49 W, the criterion applies at 52 W, within 1 W",
        ),
    ],
)
def test_a_failure_stays_one_at_whatever_condition(as_run: str, told: str | None) -> None:
    verification = (
        f"{TEST}, given: {{power: 52 W}}, within: {{power: 1 W}}, harsher: {{power: higher}}"
    )
    found = entry(project(verification, row("T-1", f"power: {as_run}", BAD)))
    assert (found.state, found.message) == (NOT_MET, told)


# a range


ANALYSIS = "method: analysis, quantity: x, at_least: 3 W, given: {cell: [5 degC, 20 degC]}"
NAMES = TEST.replace("[T-1]", "[T-1, T-2]")


@pytest.mark.parametrize(
    ("points", "leeway", "state"),
    [
        (("20 degC",), "", WAITS),
        (("5 degC",), "", WAITS),
        (("12 degC",), "", WAITS),
        (("5 degC", "20 degC"), "", MET),
        (("278.15 K", "293.15 K"), "", MET),
        (("5.5 degC", "20.5 degC"), "", WAITS),
        (("5.5 degC", "20.5 degC"), ", within: {cell: 1 K}", MET),
        (("6.5 degC", "20 degC"), ", within: {cell: 1 K}", WAITS),
        (("5 degC +/- 0.6 K (k = 2)", "20 degC"), ", within: {cell: 1 K}", MET),
        (("5 degC +/- 1.1 K (k = 2)", "20 degC"), ", within: {cell: 1 K}", WAITS),
        # A value that is not known better than the range was not at its ends.
        (("12.5 degC +/- 7.5 K (k = 2)",), ", within: {cell: 1 K}", WAITS),
        (("[5 degC, 20 degC]",), "", MET),  # it went through the range
        (("[5.5 degC, 19.5 degC]",), ", within: {cell: 1 K}", MET),
        (("[7 degC, 20 degC]",), ", within: {cell: 1 K}", WAITS),
        (("[3 degC, 20 degC]",), ", within: {cell: 1 K}", WAITS),
        # Harsher than an end is as good as the end; the other end is another matter.
        (("0 degC", "20 degC"), ", harsher: {cell: lower}", MET),
        (("0 degC",), ", harsher: {cell: lower}", WAITS),
        (("0 degC", "20 degC"), ", harsher: {cell: higher}", WAITS),
        # The point that the verification names, with its reason.
        (("5 degC",), ", tested_at: {cell: 5 degC, reason: It is worse.}", MET),
        (("20 degC",), ", tested_at: {cell: 5 degC, reason: It is worse.}", WAITS),
        (("5.5 degC",), ", tested_at: {cell: 5 degC, reason: It is worse.}", WAITS),
        (("5.5 degC",), ", within: {cell: 1 K}, tested_at: {cell: 5 degC, reason: Worse.}", MET),
    ],
)
def test_both_ends_of_a_range_are_tested(
    points: tuple[str, ...], leeway: str, state: State
) -> None:
    records = [row(f"T-{n}", f"cell: {point}") for n, point in enumerate(points, 1)]
    named = NAMES if len(points) == 2 else TEST
    for verification, others in (
        (f"{named}{leeway}", (ANALYSIS,)),
        (f"{named}{leeway}, given: {{cell: [5 degC, 20 degC]}}", ()),
    ):
        found = entry(project(verification, *records, others=others))
        assert found.state is state, found.message


@pytest.mark.parametrize(
    ("limit", "state"),
    [
        ("at_least: 3 W", WAITS),
        ("at_least: 3000 mW", WAITS),
        ("at_least: 3 W, cases: at least 2", WAITS),
        ("at_least: 2 W", MET),  # another criterion
    ],
)
def test_a_range_of_the_same_quantity_and_limit_counts(limit: str, state: State) -> None:
    other = ANALYSIS.replace("at_least: 3 W", limit)
    found = entry(project(TEST, row("T-1", "cell: 20 degC"), others=(other,)))
    assert found.state is state


def test_what_was_tested_and_what_is_asked_is_said() -> None:
    found = entry(project(TEST, row("T-1", "cell: 20 degC"), others=(ANALYSIS,)))
    assert found.message == (
        "cell: tested at 20 degC; the criterion applies from 5 degC to 20 degC"
        "; test both ends, or state another point with its reason (tested_at:)"
    )
    assert found.value == 4.0
    leeway = ", tested_at: {cell: 5 degC, reason: It is worse.}"
    found = entry(project(TEST + leeway, row("T-1", "cell: 20 degC"), others=(ANALYSIS,)))
    assert found.message == (
        "cell: tested at 20 degC; the criterion applies from 5 degC to 20 degC, to be tested at 5"
        " degC"
    )


def test_two_values_that_others_give_are_both_tested() -> None:
    """Evidence without conditions of its own speaks of each that others give."""
    others = tuple(
        f"method: analysis, quantity: x, at_least: 3 W, given: {{cell: {point}}}"
        for point in ("5 degC", "20 degC")
    )
    cold, warm = row("T-1", "cell: 5 degC"), row("T-2", "cell: 20 degC")
    assert entry(project(NAMES, cold, warm, others=others)).state is MET
    found = entry(project(TEST, cold, others=others))
    assert (found.state, found.message) == (
        WAITS, "cell: tested at 5 degC; the criterion applies at 5 degC and at 20 degC"
        "; test both ends, or state another point with its reason (tested_at:)",
    )  # fmt: skip


def test_a_record_that_is_not_in_force_tests_no_end() -> None:
    for more in (", article: {BAT: FM-2}", ", replaces: T-9"):
        articles = "articles: [{id: BAT, title: Battery, model: flight, build: FM-3}]\n"
        cold = row("T-1", "cell: 5 degC", more=more)
        built = project(NAMES, cold, row("T-2", "cell: 20 degC"), others=(ANALYSIS,), more=articles)
        assert entry(built).state is (WAITS if "article" in more else MET)


def test_what_failed_at_one_end_is_not_undone_at_the_other() -> None:
    report = (
        "nonconformances: [{id: N-1, found_by: T-1, requirements: [R-1], disposition: rework,"
        " retest: [T-2], closed_by: T-2}]\n"
    )
    failed = row("T-1", "cell: 5 degC", BAD)
    leeway = ", tested_at: {cell: 20 degC, reason: Somebody would like it.}"
    for point, at, state in (("20 degC", leeway, NOT_MET), ("5 degC", leeway, WAITS)):
        again = row("T-2", f"cell: {point}", more=", replaces: T-1", day=2)
        found = entry(project(NAMES + at, failed, again, others=(ANALYSIS,), more=report))
        assert found.state is state, found.message
    assert "no valid record at cell = 5 degC" in str(
        entry(
            project(
                NAMES + leeway,
                failed,
                row("T-2", "cell: 20 degC", more=", replaces: T-1", day=2),
                others=(ANALYSIS,),
                more=report,
            )
        ).message
    )
    both = row("T-2", "cell: [5 degC, 20 degC]", more=", replaces: T-1", day=2)
    assert entry(project(NAMES, failed, both, others=(ANALYSIS,), more=report)).state is MET


# names and amounts that lead to nothing


@pytest.mark.parametrize(
    ("leeway", "rules"),
    [
        ("within: {power: 1 W}", []),
        ("within: {power: 2 %}, harsher: {power: higher}", []),
        ("within: {power: 1 K}", ["unit"]),
        ("within: {cell: 1 degC}", ["unit"]),
        ("within: {cell: 2 K}", []),
        ("within: {powr: 1 W}", ["dangling-reference"]),
        ("harsher: {powr: higher}", ["dangling-reference"]),
        ("tested_at: {powr: 1 W, reason: Why.}", ["dangling-reference", "tested-at"]),
        ("tested_at: {power: 52 W, reason: Why.}", ["tested-at"]),  # no range is given
        ("tested_at: {cell: 5 degC, reason: Why.}", []),
        ("tested_at: {cell: 12 degC, reason: Why.}", []),
        ("tested_at: {cell: 283.15 K, reason: Why.}", ["kelvin-meets-celsius"]),
        ("tested_at: {cell: 21 degC, reason: Why.}", ["tested-at"]),
        ("tested_at: {cell: 5 W, reason: Why.}", ["unit"]),
    ],
)
def test_what_a_verification_says_of_its_tests_is_checked(leeway: str, rules: list[str]) -> None:
    given = "given: {power: 52 W, cell: [5 degC, 20 degC]}"
    built = project(f"{TEST}, {given}, {leeway}", row("T-1", "power: 52 W"))
    assert sorted(set(built.rules) - {"unused-parameter"}) == rules


@pytest.mark.parametrize(
    ("conditions", "rules"),
    [
        ("power: 52 W +/- 1 W (k = 2)", []),
        ("power: 52 W +/- 1 K (k = 2)", ["unit"]),
        ("power: 5 K", ["unit"]),
        ("cell: 5 degC +/- 1 degC (k = 2)", ["unit"]),
        ("power: [52 W, 53 K]", ["unit"]),
        ("power: [53 W, 52 W]", ["bad-spread"]),
        ("power: [53 W, 52000 mW]", ["bad-spread"]),
    ],
)
def test_the_amounts_of_a_record_fit_its_conditions(conditions: str, rules: list[str]) -> None:
    built = project(TEST, row("T-1", conditions))
    assert sorted(set(built.rules) - {"unused-parameter"}) == rules


@pytest.mark.parametrize(
    ("policy", "rules"),
    [
        ("{test_tolerances: {power: 1 W, 'ce*': 2 K}}", []),
        ("{test_tolerances: {power: 1 K}}", ["unit"]),
        ("{test_tolerances: {powr: 1 W}}", ["policy-of-nothing"]),
    ],
)
def test_the_projects_table_is_checked(policy: str, rules: list[str]) -> None:
    built = project(TEST, row("T-1", "power: 52 W"), policy=policy)
    assert sorted(set(built.rules) - {"unused-parameter"}) == rules


# where an analysis finds its bad end


@pytest.mark.parametrize(
    ("low_at", "high_at", "points", "leeway", "told"),
    [
        # The bad end of at_least is the low one.
        (5.0, 20.0, ("5 degC", "20 degC"), "", None),
        (12.0, 20.0, ("5 degC", "20 degC"), "", "at 5 degC and at 20 degC"),
        (12.0, 20.0, ("[5 degC, 20 degC]",), "", None),
        (5.0, 20.0, ("5 degC",), ", tested_at: {cell: 5 degC, reason: Why.}", None),
        (20.0, 5.0, ("5 degC",), ", tested_at: {cell: 5 degC, reason: Why.}", "at 5 degC"),
        (20.0, 5.0, (), ", tested_at: {cell: 5 degC, reason: Why.}", "at 5 degC"),
        (6.5, 20.0, ("5 degC",), ", tested_at: {cell: 5 degC, reason: Why.}", "at 5 degC"),
        (5.5, 20.0, ("5 degC",), ", within: {cell: 1 K}, tested_at: {cell: 5 degC, reason: Why.}",
         None),
        # Nothing depends on it.
        (20.0, 20.0, ("5 degC",), ", tested_at: {cell: 5 degC, reason: Why.}", None),
        (12.0, 5.0, (), "", None),  # nothing was made yet
    ],
)  # fmt: skip
def test_a_bad_end_that_is_not_tested_is_a_finding(
    low_at: float, high_at: float, points: tuple[str, ...], leeway: str, told: str | None
) -> None:
    records = [row(f"T-{n}", f"cell: {point}") for n, point in enumerate(points, 1)] or [
        "  - {id: T-1, method: test}\n"
    ]
    named = NAMES if len(points) == 2 else TEST
    by_f = f"{ANALYSIS}, analysis: f"
    built = project(
        f"{named}{leeway}", *records, others=(by_f,), specs=(spec("f", {"cell": "degC"}),)
    )
    ends = Extent(4.0, 3.5, 5.0, (("cell", low_at),), (("cell", high_at),))
    dossier = built.judge({"f": answer(x=ends)})
    found = [f for f in findings_of(dossier, built.index, UNITS) if f.rule == "bad-end-not-tested"]
    assert [f.message for f in found] == (
        []
        if told is None
        else [f"R-1 is tested {told}, and f finds its worst case at cell = {low_at:g} degC"]
    )
