"""What a change takes away, and what goes with it."""

from __future__ import annotations

from dataclasses import dataclass

from closeout.model.dossier import Dossier, RequirementResult
from closeout.model.earlier_names import KINDS, Names


@dataclass(frozen=True, slots=True)
class Deleted:
    """An item that is not there any more: what one is called, its identifier, what went along.

    ``verifications`` are how many a requirement had, ``children`` the requirements that were
    derived from it and are there, ``records`` those that now verify nothing.
    """

    kind: str
    id: str
    verifications: int = 0
    children: tuple[str, ...] = ()
    records: tuple[str, ...] = ()


def deleted(was: Dossier, now: Dossier, names: Names) -> tuple[Deleted, ...]:
    """Return what was deleted, requirements first; a renamed item is none of it."""
    here = {one.id for one in now.requirements}
    called = names.get("requirements", {})
    named = _named(now)
    found = [
        Deleted(
            "requirement",
            one.id,
            len({entry.number for entry in one.evidence}),
            tuple(name for name in one.derived if called.get(name, name) in here),
            tuple(name for name in _records(one) if name not in named and name in _there(now)),
        )
        for one in was.requirements
        if called.get(one.id, one.id) not in here
    ]
    for section, kind in KINDS.items():
        if section != "requirements":
            there = {item.id for item in getattr(now, section)}
            gone = (item.id for item in getattr(was, section))
            new = names.get(section, {})
            found += [Deleted(kind, name) for name in gone if new.get(name, name) not in there]
    return tuple(found)


def _records(one: RequirementResult) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for entry in one.evidence for name in entry.records))


def _named(dossier: Dossier) -> frozenset[str]:
    return frozenset(name for one in dossier.requirements for name in _records(one))


def _there(dossier: Dossier) -> frozenset[str]:
    return frozenset(record.id for record in dossier.records)
