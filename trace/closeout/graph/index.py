"""Look-ups over a project: by identifier, downward, and by an analysis' name."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol, TypeVar

from closeout.model.problem import Pointer
from closeout.model.question import AnalysisSpec
from closeout.model.records import Article, Document, Parameter, Project, Record, Requirement


class _Identified(Protocol):
    @property
    def id(self) -> str: ...
    @property
    def where(self) -> Pointer: ...


I = TypeVar("I", bound=_Identified)  # noqa: E741


@dataclass(frozen=True, slots=True)
class Index:
    """A project with its analyses, ready to be looked up.

    ``specs`` are named as they are shown: by the function, or module.function where several share
    it; ``analyses`` holds each under both names, ``shared`` the function names that several have.
    """

    project: Project
    requirements: Mapping[str, Requirement]
    derived: Mapping[str, tuple[str, ...]]
    parameters: Mapping[str, Parameter]
    records: Mapping[str, Record]
    documents: Mapping[str, Document]
    articles: Mapping[str, Article]
    analyses: Mapping[str, AnalysisSpec]
    shared: Mapping[str, tuple[str, ...]]
    specs: tuple[AnalysisSpec, ...]

    @classmethod
    def of(cls, project: Project, specs: Iterable[AnalysisSpec]) -> Index:
        """Return the index of a project and its analyses."""
        specs = tuple(specs)
        derived: dict[str, list[str]] = defaultdict(list)
        for requirement in project.requirements:
            for parent in dict.fromkeys(requirement.derived_from):
                derived[parent].append(requirement.id)
        by_function: dict[str, list[AnalysisSpec]] = defaultdict(list)
        for spec in specs:
            by_function[spec.function].append(spec)
        names: dict[str, AnalysisSpec] = {}
        named: list[AnalysisSpec] = []
        for spec in specs:
            alone = len(by_function[spec.function]) == 1
            one = replace(spec, name=spec.function) if alone else spec
            named.append(one)
            names[spec.name] = names[one.name] = one
        return cls(
            project=project,
            requirements=_by_id(project.requirements),
            derived={parent: tuple(dict.fromkeys(ids)) for parent, ids in derived.items()},
            parameters=_by_id(project.parameters),
            records=_by_id(project.records),
            documents=_by_id(project.documents),
            articles=_by_id(project.articles),
            analyses=names,
            shared={
                name: tuple(spec.name for spec in some)
                for name, some in by_function.items()
                if len(some) > 1
            },
            specs=tuple(named),
        )

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


def _by_id(items: Sequence[I]) -> dict[str, I]:
    found: dict[str, I] = {}
    for item in items:
        found.setdefault(item.id, item)
    return found
