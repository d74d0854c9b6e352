"""Compliance codes: from the criteria of a requirement, and from what is derived from it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

from closeout.graph import key_of_criterion, key_of_given
from closeout.measure import Units
from closeout.model.dossier import Compliance, Evidence, State
from closeout.model.records import Requirement

# The rule below for a single entry, which most requirements have.
_SINGLE = {
    State.MET: Compliance.C,
    State.NOT_MET: Compliance.NC,
    State.OPEN: Compliance.OPEN,
    State.ERROR: Compliance.OPEN,
}
Groups = dict[tuple[object, ...], list[Evidence]]


def of_criteria(requirement: Requirement, evidence: Sequence[Evidence], units: Units) -> Compliance:
    """Return the code of a requirement from the evidence that is judged.

    A criterion fails if any of its evidence is not met, holds if some is met and none failed or
    open, else is open. Any failure: PC if another criterion or another case holds, else NC.
    """
    if not evidence:
        return Compliance.OPEN
    if len(evidence) == 1:
        return _SINGLE[evidence[0].state]
    groups = by_criterion(requirement, evidence, units)
    failed = {key for key, some in groups.items() if _fails(some)}
    if failed:
        some_hold = any(_holds(some) for key, some in groups.items() if key not in failed)
        cases = any(_case_holds(groups[key]) for key in failed)
        return Compliance.PC if some_hold or cases else Compliance.NC
    return Compliance.C if all(_holds(some) for some in groups.values()) else Compliance.OPEN


def by_criterion(requirement: Requirement, evidence: Iterable[Evidence], units: Units) -> Groups:
    """Group evidence by criterion: quantity, limits and conditions.

    A verification that gives no conditions (a test: its record says under which) speaks of the
    criterion of the same quantity and limits under every condition that others give.
    """
    by_number: dict[int, list[Evidence]] = defaultdict(list)
    for entry in evidence:
        by_number[entry.number].append(entry)
    keyed: dict[tuple[object, ...], Groups] = defaultdict(dict)
    for number, entries in by_number.items():
        criterion = requirement.verification[number].criterion
        by_given = keyed[key_of_criterion(criterion, units)]
        by_given.setdefault(key_of_given(criterion, units), []).extend(entries)
    groups: Groups = {}
    for key, by_given in keyed.items():
        bare = by_given.pop((), []) if len(by_given) > 1 else []
        for given, some in by_given.items():
            groups[*key, given] = [*some, *bare]
    return groups


def _fails(evidence: Iterable[Evidence]) -> bool:
    return any(entry.state is State.NOT_MET for entry in evidence)


def _holds(evidence: Sequence[Evidence]) -> bool:
    return all(entry.state is State.MET for entry in evidence)


def _case_holds(evidence: Sequence[Evidence]) -> bool:
    """Return whether some case of a failed criterion holds by all of its evidence.

    Evidence without cases (a test) speaks of every case; an entry without a case beside others of
    its own verification says that there are too few of them, and of none of them.
    """
    cases: dict[str, list[Evidence]] = defaultdict(list)
    for entry in evidence:
        if entry.case is not None:
            cases[entry.case].append(entry)
    with_cases = {entry.number for some in cases.values() for entry in some}
    whole = [entry for entry in evidence if entry.number not in with_cases]
    return any(_holds([*some, *whole]) for some in cases.values())


def of_derived(children: Iterable[Compliance]) -> Compliance:
    """Return the code of a requirement that is judged by those derived from it, NA left out."""
    codes = [code for code in children if code is not Compliance.NA]
    if not codes:
        return Compliance.OPEN
    if all(code is Compliance.C for code in codes):
        return Compliance.C
    if any(code in (Compliance.PC, Compliance.NC) for code in codes):
        partly = any(code in (Compliance.C, Compliance.PC) for code in codes)
        return Compliance.PC if partly else Compliance.NC
    return Compliance.OPEN
