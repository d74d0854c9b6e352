"""Look-ups over a project: by identifier, downward, and by an analysis' name."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol, TypeVar

from closeout.model.awaited import Awaited
from closeout.model.earlier_names import Names, renames
from closeout.model.problem import Pointer
from closeout.model.question import AnalysisSpec
from closeout.model.records import (
    Article,
    Document,
    LinkedParameter,
    Parameter,
    Project,
    Record,
    Requirement,
    Waiver,
)


class _Identified(Protocol):
    @property
    def id(self) -> str: ...
    @property
    def where(self) -> Pointer: ...


I = TypeVar("I", bound=_Identified)  # noqa: E741


@dataclass(frozen=True, slots=True, eq=False)
class Index:
    """A project with its analyses, ready to be looked up; of two equal identifiers the first holds.

    ``specs`` are named as they are shown: by the function, or module.function where several share
    it; ``analyses`` holds each under both names, ``shared`` the function names that several have.
    ``waivers`` are by requirement. ``replaced`` leads from a record to the dated ones that replace
    it. ``duplicated`` are requirements, and records, of which a second has the identifier.
    ``left_out`` are identifiers, of whatever kind, of items with a fault that is reported already;
    ``whole`` is False where a file could not be read, so that nobody knows what it holds; ``code``
    where no module was imported, so that nobody knows which analyses there are.
    ``differences`` are quantities that a criterion says to be differences of temperatures.
    ``renamed`` are the identifiers of today by section and old one. ``linked`` are parameters that
    are found, as long as they are no numbers among the ``parameters``; ``waiting`` are those that a
    record measures, of which none is in force.
    """

    project: Project
    requirements: Mapping[str, Requirement]
    derived: Mapping[str, tuple[str, ...]]
    parameters: Mapping[str, Parameter]
    records: Mapping[str, Record]
    documents: Mapping[str, Document]
    articles: Mapping[str, Article]
    waivers: Mapping[str, tuple[Waiver, ...]]
    replaced: Mapping[str, tuple[str, ...]]
    analyses: Mapping[str, AnalysisSpec]
    shared: Mapping[str, tuple[str, ...]]
    specs: tuple[AnalysisSpec, ...]
    duplicated: frozenset[str] = frozenset()
    duplicated_records: frozenset[str] = frozenset()
    left_out: frozenset[str] = frozenset()
    whole: bool = True
    differences: frozenset[str] = frozenset()
    code: bool = True
    renamed: Names = field(default_factory=dict)
    linked: Mapping[str, LinkedParameter] = field(default_factory=dict)
    waiting: Mapping[str, Awaited] = field(default_factory=dict)

    @classmethod
    def of(
        cls,
        project: Project,
        specs: Iterable[AnalysisSpec],
        left_out: Iterable[str] = (),
        whole: bool = True,
        code: bool = True,
    ) -> Index:
        """Return the index of a project and its analyses."""
        requirements, records = _by_id(project.requirements), _by_id(project.records)
        named, names, shared = _named(tuple(specs))
        return cls(
            project=project,
            requirements=requirements,
            derived=_derived(requirements.values()),
            parameters=_by_id(project.parameters),
            records=records,
            documents=_by_id(project.documents),
            articles=_by_id(project.articles),
            waivers=_by_requirement(_by_id(project.waivers).values()),
            replaced=_replaced(records),
            analyses=names,
            shared=shared,
            specs=named,
            duplicated=_duplicated(project.requirements),
            duplicated_records=_duplicated(project.records),
            left_out=frozenset(left_out),
            whole=whole,
            differences=frozenset(
                verification.criterion.quantity
                for _, _, verification in project.verifications()
                if verification.criterion.difference and verification.criterion.quantity
            ),
            code=code,
            renamed=renames(project, frozenset(left_out)),
            linked=_by_id(project.linked),
        )

    def may_be_analysis(self, name: str) -> bool:
        """Return whether a name may be that of an analysis, as far as is known."""
        if self.code:
            return name in self.analyses
        return all(part.isidentifier() for part in name.split("."))

    def is_absent(self, name: str, known: Container[str]) -> bool:
        """Return whether a name is surely unknown: no item has it, none that is left out either."""
        return name not in known and name not in self.left_out and self.whole

    @property
    def complete(self) -> bool:
        """True where nothing was left out, so that what is not there is missing."""
        return self.whole and not self.left_out

    def review_number(self, review: str | None) -> int | None:
        """Return a review's place in the project's order, or None."""
        reviews = self.project.charter.reviews
        return reviews.index(review) if review in reviews else None

    def below(self, identifiers: Iterable[str]) -> set[str]:
        """Return the requirements and all that is derived from them."""
        found: set[str] = set()
        left = [i for i in identifiers if i in self.requirements]
        while left:
            one = left.pop()
            if one not in found:
                found.add(one)
                left.extend(self.derived.get(one, ()))
        return found


def _replaced(records: Mapping[str, Record]) -> dict[str, tuple[str, ...]]:
    """Return the records that replace earlier ones: one may be repeated in parts."""
    found: dict[str, tuple[str, ...]] = {}
    for record in records.values():
        old = record.replaces
        if old is not None and _replaces(record, records.get(old)):
            found[old] = (*found.get(old, ()), record.id)
    return found


def _replaces(record: Record, old: Record | None) -> bool:
    """Return whether a record takes the place of another: dated, not earlier, of its method."""
    if record.date is None:
        return False
    if old is None:
        return True
    return record.method is old.method and (old.date is None or old.date <= record.date)


def _by_id(items: Sequence[I]) -> dict[str, I]:
    found: dict[str, I] = {}
    for item in items:
        found.setdefault(item.id, item)
    return found


def _duplicated(items: Sequence[I]) -> frozenset[str]:
    return frozenset(name for name, count in Counter(i.id for i in items).items() if count > 1)


def _derived(requirements: Iterable[Requirement]) -> dict[str, tuple[str, ...]]:
    derived: dict[str, list[str]] = defaultdict(list)
    for requirement in requirements:
        for parent in dict.fromkeys(requirement.derived_from):
            derived[parent].append(requirement.id)
    return {parent: tuple(names) for parent, names in derived.items()}


def _by_requirement(waivers: Iterable[Waiver]) -> dict[str, tuple[Waiver, ...]]:
    found: dict[str, list[Waiver]] = defaultdict(list)
    for waiver in waivers:
        found[waiver.requirement].append(waiver)
    return {requirement: tuple(some) for requirement, some in found.items()}


def _named(
    specs: tuple[AnalysisSpec, ...],
) -> tuple[tuple[AnalysisSpec, ...], dict[str, AnalysisSpec], dict[str, tuple[str, ...]]]:
    """Return the analyses under the names that are shown, by every name, and the shared names."""
    by_function: dict[str, list[str]] = defaultdict(list)
    for spec in specs:
        by_function[spec.function].append(spec.name)
    names: dict[str, AnalysisSpec] = {}
    named: list[AnalysisSpec] = []
    for spec in specs:
        alone = len(by_function[spec.function]) == 1
        one = spec._replace(name=spec.function) if alone else spec
        named.append(one)
        names[spec.name] = names[one.name] = one
    shared = {name: tuple(some) for name, some in by_function.items() if len(some) > 1}
    return tuple(named), names, shared
