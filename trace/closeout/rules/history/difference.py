"""What differs between two states of a requirement: its statement and its criteria, in words."""

from __future__ import annotations

from collections.abc import Iterable

from closeout.graph import key_of_criterion, key_of_given
from closeout.measure import Units
from closeout.model.criterion import Criterion
from closeout.model.records import Requirement, Verification

Key = tuple[object, ...]
Criteria = dict[Key, Criterion]


def difference(
    was: Requirement, now: Requirement, units: Units, *, added: bool = True
) -> str | None:
    """Return what of statement and criteria differs, in words; None where nothing does.

    Line breaks, the order of keys, and an equal amount in another unit are no difference; the
    criterion of a quantity that had none, or a known limit under a further condition, is one only
    where ``added`` says so.
    """
    text = " ".join(was.statement.split()) != " ".join(now.statement.split())
    before, after = _criteria(was.verification, units), _criteria(now.verification, units)
    counted = after.keys() if added else _counted(before, after, units)
    criteria = before.keys() != counted
    if not criteria:
        return "its statement changed" if text else None
    changes = _changes(
        [before[key] for key in before if key not in after],
        [after[key] for key in after if key not in before],
    )
    return f"{'statement and criterion' if text else 'its criterion'} changed ({changes})"


def _counted(before: Criteria, after: Criteria, units: Units) -> set[Key]:
    """Return what of later criteria is no mere addition to earlier ones."""
    limits = {key_of_criterion(one, units) for one in before.values()}
    quantities = {one.quantity for one in before.values()}
    return {
        key
        for key, one in after.items()
        if key in before
        or (one.quantity in quantities and key_of_criterion(one, units) not in limits)
    }


def _criteria(verifications: Iterable[Verification], units: Units) -> Criteria:
    found: Criteria = {}
    for verification in verifications:
        criterion = verification.criterion
        if criterion.quantity is not None:
            key = (*key_of_criterion(criterion, units), *key_of_given(criterion, units))
            found[key] = criterion
    return found


def _changes(old: list[Criterion], new: list[Criterion]) -> str:
    was, now = (", ".join(_shown(one) for one in some) for some in (old, new))
    if not now:
        return f"removed: {was}"
    return f"{was} -> {now}" if was else f"added: {now}"


def _shown(criterion: Criterion) -> str:
    given = [f"{name} = {value}" for name, value in criterion.given]
    cases = "" if criterion.cases_at_least is None else f" in {criterion.cases_at_least} cases"
    where = f" given {', '.join(given)}" if given else ""
    return f"{criterion.quantity} {criterion.limits}{cases}{where}"
