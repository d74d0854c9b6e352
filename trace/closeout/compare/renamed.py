"""HEAD under the identifiers of the staged state: a rename takes away and brings nothing."""

from __future__ import annotations

from dataclasses import replace

from closeout.model.dossier import Dossier
from closeout.model.earlier_names import Names, spoken


def renamed(was: Dossier, now: Dossier) -> Names:
    """Return what a later state calls by another identifier than an earlier one did.

    What the earlier state has under the new identifier too is another item, and not this one.
    """
    found = {}
    for section, names in now.renamed.items():
        before = {item.id for item in getattr(was, section)}
        here = {old: new for old, new in names.items() if old in before and new not in before}
        if here:
            found[section] = here
    return found


def under_new_names(head: Dossier, names: Names) -> Dossier:
    """Return what an earlier state came to, with the later identifiers of its requirements.

    What its problems say is put into the later identifiers too, so that each is known again.
    """
    if not names:
        return head
    of = names.get("requirements", {})
    every = {old: new for some in names.values() for old, new in some.items()}
    return replace(
        head,
        requirements=tuple(
            replace(
                one, id=of.get(one.id, one.id), derived=tuple(of.get(n, n) for n in one.derived)
            )
            for one in head.requirements
        ),
        problems=tuple(
            replace(problem, message=spoken(problem.message, every)) for problem in head.problems
        ),
    )
