"""The staged state against HEAD: what blocks a commit, and what is only told."""

from __future__ import annotations

import pytest

from closeout.compare.staged import Verdict, against_head
from closeout.model.answer import Answer
from closeout.model.dossier import Dossier
from closeout.model.issue import is_raised
from closeout.model.question import Failure
from tests.graph.projects import answer, build, extent, failed, requirement, requirements, spec

BY_F = "method: analysis, analysis: f, quantity: x, at_least: {} W"
WAIVER = (
    "waivers: [{{id: W, kind: waiver, requirement: {}, accepts: {{quantity: x, at_least: 1 W}},"
    " approved_by: me, date: 2026-01-01}}]\n"
)


def state(*items: str, more: str = "", reply: Answer | Failure | None = None) -> Dossier:
    """Return the dossier of a state, in which f gives 3 W unless it replies otherwise."""
    built = build(requirements(*items) + more, spec("f"))
    return built.judge({"f": reply or answer(x=extent(3))})


def item(name: str, least: int | None, *, issue: str = "A", above: str = "") -> str:
    """Return a requirement of at least so many watts; None leaves it to a test."""
    verification = "method: test" if least is None else BY_F.format(least)
    derived = f"\nderived_from: [{above}]" if above else ""
    return requirement(name, verification, more=f"issue: {issue}{derived}")


def kinds(verdict: Verdict) -> dict[str, list[str]]:
    """Return the names under each heading that is not empty."""
    headings = {
        name: [change.now.id for change in getattr(verdict, name)]
        for name in ("lost", "raised", "covered", "uncovered", "short", "early", "gained")
    }
    headings |= {"deleted": [one.id for one in verdict.deleted], "added": list(verdict.added)}
    return {name: found for name, found in headings.items() if found}


MET, SHORT, OPEN = 3, 4, None


@pytest.mark.parametrize(
    ("was", "now", "expected", "status"),
    [
        (MET, MET, {}, 0),
        (MET, SHORT, {"lost": ["R-1"]}, 1),
        (MET, OPEN, {"lost": ["R-1"]}, 1),
        (SHORT, MET, {"gained": ["R-1"]}, 0),
        (OPEN, MET, {"gained": ["R-1"]}, 0),
        # What was not compliant cannot be lost.
        (SHORT, OPEN, {}, 0),
        (OPEN, SHORT, {"short": ["R-1"]}, 0),
        (SHORT, 5, {}, 0),
    ],
)
def test_lost_and_gained(
    was: int | None, now: int | None, expected: dict[str, list[str]], status: int
):
    verdict = against_head(state(item("R-1", was)), state(item("R-1", now)))
    assert (kinds(verdict), verdict.exit_status) == (expected, status)


def test_a_raised_issue_is_to_be_verified_again():
    verdict = against_head(state(item("R-1", MET)), state(item("R-1", SHORT, issue="B")))
    assert (kinds(verdict), verdict.exit_status) == ({"raised": ["R-1"]}, 0)
    verdict = against_head(state(item("R-1", MET)), state(item("R-1", OPEN, issue="B")))
    assert kinds(verdict) == {"raised": ["R-1"]}


def test_an_issue_that_goes_back_excuses_nothing():
    verdict = against_head(state(item("R-1", MET, issue="B")), state(item("R-1", SHORT)))
    assert (kinds(verdict), verdict.exit_status) == ({"lost": ["R-1"]}, 1)


def test_the_issue_of_another_requirement_excuses_nothing():
    head = state(item("R-1", MET), item("R-2", MET))
    verdict = against_head(head, state(item("R-1", SHORT), item("R-2", MET, issue="B")))
    assert (kinds(verdict), verdict.exit_status) == ({"lost": ["R-1"]}, 1)


@pytest.mark.parametrize(
    ("was", "now", "raised"),
    [
        ("A", "B", True), ("B", "A", False), ("A", "A", False), ("Z", "AA", True),
        ("AA", "Z", False), ("9", "10", True), ("10", "9", False), ("2", "2.1", True),
        ("2.9", "2.10", True), ("2.1", "2", False), ("a", "B", True), ("Rev. 8", "Rev. 9", True),
        ("issue 1", "issue 2", True), ("A1", "A2", True), ("A2", "B1", True), ("A", "a", False),
    ],
)  # fmt: skip
def test_which_issue_is_the_later_one(was: str, now: str, raised: bool):
    assert is_raised(was, now) is raised


def test_what_is_worse_at_a_later_review_is_told_and_blocks_nothing():
    def at(least: int) -> Dossier:
        early = BY_F.format(least) + ", review: AR"
        built = build(requirements(requirement("R-1", BY_F.format(1), early)), spec("f"))
        return built.judge({"f": answer(x=extent(3))}, review="PDR")

    verdict = against_head(at(MET), at(SHORT))
    assert (kinds(verdict), verdict.exit_status) == ({"early": ["R-1"]}, 0)
    (early,) = verdict.early
    assert [entry.review for entry in early.worse] == ["AR"]
    assert kinds(against_head(at(SHORT), at(SHORT))) == {}


def test_cover_that_is_lost_by_other_numbers_blocks():
    waiver = WAIVER.format("R-1")
    covered = state(item("R-1", SHORT), more=waiver)
    lower = state(item("R-1", SHORT), more=waiver, reply=answer(x=extent(0.5)))
    verdict = against_head(covered, lower)
    assert (kinds(verdict), verdict.exit_status) == ({"lost": ["R-1"]}, 1)
    assert kinds(against_head(covered, covered)) == {}


def test_a_waiver_that_is_withdrawn_is_told():
    covered = state(item("R-1", SHORT), more=WAIVER.format("R-1"))
    verdict = against_head(covered, state(item("R-1", SHORT)))
    told = {"uncovered": ["R-1"], "deleted": ["W"]}
    assert (kinds(verdict), verdict.exit_status) == (told, 0)


def test_a_parent_is_told_by_what_changed_below_it():
    """R-2 has long been open; that no issue of it was raised is not said of S-1."""

    def pair(least: int, more: str = "") -> Dossier:
        items = (item("R-1", least, above="S-1"), item("R-2", None, above="S-1"))
        return state(requirement("S-1"), *items, more=more)

    verdict = against_head(pair(MET), pair(SHORT, WAIVER.format("R-1")))
    assert kinds(verdict) == {"covered": ["S-1", "R-1"]}


def test_covered_is_no_loss():
    staged = state(item("R-1", SHORT), more=WAIVER.format("R-1"))
    verdict = against_head(state(item("R-1", MET)), staged)
    assert (kinds(verdict), verdict.exit_status) == ({"covered": ["R-1"]}, 0)


def test_a_parent_of_what_is_covered_does_not_block_the_commit_either():
    def pair(least: int, more: str = "") -> Dossier:
        return state(requirement("S-1"), item("R-1", least, above="S-1"), more=more)

    verdict = against_head(pair(MET), pair(SHORT, WAIVER.format("R-1")))
    assert (kinds(verdict), verdict.exit_status) == ({"covered": ["S-1", "R-1"]}, 0)
    verdict = against_head(pair(MET), pair(SHORT))
    assert (kinds(verdict), verdict.exit_status) == ({"lost": ["S-1", "R-1"]}, 1)


def family(*children: str, top: str = "") -> Dossier:
    """Return a state of a requirement, judged by one that is judged by the children."""
    middle = requirement("M-1", more="derived_from: [S-1]")
    return state(top or requirement("S-1"), middle, *children)


def child(name: str, least: int | None, issue: str = "A") -> str:
    return item(name, least, issue=issue, above="M-1")


def test_the_raised_issue_of_a_derived_requirement_excuses_what_mirrors_it():
    head = family(child("R-1", MET), child("R-2", MET))
    verdict = against_head(head, family(child("R-1", SHORT, "B"), child("R-2", MET)))
    assert (kinds(verdict), verdict.exit_status) == ({"raised": ["S-1", "M-1", "R-1"]}, 0)
    # Not where another one is lost without.
    verdict = against_head(head, family(child("R-1", SHORT, "B"), child("R-2", SHORT)))
    assert (kinds(verdict), verdict.exit_status) == (
        {"lost": ["S-1", "M-1", "R-2"], "raised": ["R-1"]}, 1,
    )  # fmt: skip


def test_a_requirement_that_loses_by_its_own_evidence_is_not_excused_by_another_issue():
    head = family(child("R-1", MET), top=item("S-1", MET))
    verdict = against_head(head, family(child("R-1", SHORT, "B"), top=item("S-1", SHORT)))
    assert kinds(verdict) == {"lost": ["S-1"], "raised": ["M-1", "R-1"]}


def test_a_new_derived_requirement_that_is_open_loses_nothing_and_one_that_fails_does():
    head = family(child("R-1", MET))
    verdict = against_head(head, family(child("R-1", MET), child("R-2", OPEN)))
    assert (kinds(verdict), verdict.exit_status) == (
        {"raised": ["S-1", "M-1"], "added": ["R-2"]}, 0,
    )  # fmt: skip
    verdict = against_head(head, family(child("R-1", MET), child("R-2", SHORT)))
    assert (kinds(verdict), verdict.exit_status) == ({"lost": ["S-1", "M-1"], "added": ["R-2"]}, 1)


def test_what_could_not_be_read_is_an_error_and_no_loss_of_its_parents():
    broken = child("R-2", MET).replace("title:", "titel:")
    verdict = against_head(
        family(child("R-1", MET), child("R-2", MET)), family(child("R-1", MET), broken)
    )
    assert verdict.exit_status == 2
    assert not verdict.lost


def test_partly_covered_is_a_loss():
    both = requirement("R-1", BY_F.format(SHORT), "method: inspection, records: [I]")
    record = "records: [{id: I, method: inspection, date: 2026-01-01, outcome: not met}]\n"
    record += "nonconformances: [{id: N, found_by: I}]\n"
    verdict = against_head(state(item("R-1", MET)), state(both, more=WAIVER.format("R-1") + record))
    assert (kinds(verdict), verdict.exit_status) == ({"lost": ["R-1"]}, 1)


def test_an_analysis_error_after_c_blocks():
    head = state(item("R-1", MET))
    verdict = against_head(head, state(item("R-1", MET), reply=failed()))
    assert (kinds(verdict), verdict.exit_status) == ({"lost": ["R-1"]}, 1)
    # A new requirement whose analysis fails is no loss.
    verdict = against_head(state(item("R-2", OPEN)), state(item("R-1", MET), item("R-2", OPEN),
                                                           reply=failed()))  # fmt: skip
    assert (kinds(verdict), verdict.exit_status) == ({"added": ["R-1"]}, 0)


def test_not_applicable_is_no_loss():
    staged = state(requirement("R-1", more="not_applicable: {reason: No mast.}"))
    verdict = against_head(state(item("R-1", MET)), staged)
    assert (kinds(verdict), verdict.exit_status) == ({}, 0)


def test_deleted_and_added_are_told_and_block_nothing():
    verdict = against_head(
        state(item("R-1", MET), item("R-2", MET)), state(item("R-2", MET), item("R-3", SHORT))
    )
    assert (kinds(verdict), verdict.exit_status) == ({"deleted": ["R-1"], "added": ["R-3"]}, 0)


def test_a_dangling_reference_to_a_deleted_requirement_blocks():
    head = state(item("R-1", MET), item("R-2", MET, above="R-1"))
    verdict = against_head(head, state(item("R-2", MET, above="R-1")))
    assert kinds(verdict) == {"deleted": ["R-1"]}
    assert [problem.rule for problem in verdict.errors] == ["dangling-reference"]
    assert verdict.exit_status == 2


def test_errors_that_a_commit_brings_block_and_those_of_head_are_told():
    good, broken = state(item("R-1", MET)), state(item("R-1", MET, above="S-9"))
    assert against_head(good, broken).exit_status == 2
    verdict = against_head(broken, broken)
    assert (verdict.exit_status, verdict.errors, len(verdict.known)) == (0, (), 1)
    # On another line it is the same error; another one beside it is not.
    moved = state(item("R-0", MET), item("R-1", MET, above="S-9"))
    assert against_head(broken, moved).exit_status == 0
    worse = state(item("R-1", MET, above="S-9"), item("R-2", MET, above="S-8"))
    verdict = against_head(broken, worse)
    assert (verdict.exit_status, len(verdict.errors), len(verdict.known)) == (2, 1, 1)
    # A warning does not.
    spare = "parameters: {spare: {value: 1 W}}\n"
    verdict = against_head(state(item("R-1", MET)), state(item("R-1", MET), more=spare))
    assert verdict.exit_status == 0


def test_without_head_only_errors_block():
    verdict = against_head(None, state(item("R-1", SHORT), item("R-2", OPEN)))
    assert (kinds(verdict), verdict.exit_status) == ({"added": ["R-1", "R-2"]}, 0)
    assert against_head(None, state(item("R-1", MET, above="S-9"))).exit_status == 2


def test_the_last_requirement_that_is_deleted_is_told_too():
    verdict = against_head(state(item("R-1", MET)), build("").judge())
    assert (kinds(verdict), verdict.exit_status) == ({"deleted": ["R-1"]}, 0)


def test_thousands_of_losses_are_sorted_out_at_once():
    names = [f"R-{n}" for n in range(3000)]
    head = state(*(item(name, MET) for name in names))
    verdict = against_head(head, state(*(item(name, SHORT, issue="B") for name in names)))
    assert len(verdict.raised) == 3000
