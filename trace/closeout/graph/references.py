"""Names that lead to nothing: references between items, and reviews that are not in the project."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from closeout.graph.cycles import cycles_of
from closeout.graph.index import Index
from closeout.graph.new_findings import Spelling, error
from closeout.model.problem import Finding, Pointer
from closeout.model.records import Method, Record, Requirement, Verification, Waiver

DEFAULT_AUTHORITY = "default"


def references(index: Index) -> Iterator[Finding]:
    """Yield a finding for each name that leads to nothing, or to a record of another method."""
    look = _Look(index)
    for requirement in index.project.requirements:
        yield from look.requirement(requirement)
    for record in index.project.records:
        yield from look.record(record)
    for waiver in index.project.waivers:
        yield from look.waiver(waiver)
    yield from look.of_the_project()
    yield from _replaced_in_a_cycle(index)


class _Look:
    """Looks names up; where the register of documents or articles is empty none is asked for."""

    def __init__(self, index: Index) -> None:
        self._index = index
        self._spelling = Spelling(index.renamed)
        self._parameters = {**index.parameters, **index.linked}

    def requirement(self, requirement: Requirement) -> Iterator[Finding]:
        """Yield what is wrong with the references of a requirement."""
        index, where = self._index, requirement.where
        yield from self._each(
            "requirement", requirement.derived_from, index.requirements, where / "derived_from"
        )
        source = requirement.source
        if source is not None and source.document is not None and index.documents:
            place = where / "source" / "document"
            yield from self._one("document", source.document, index.documents, place)
        for verification in requirement.verification:
            place = verification.where / "records"
            yield from self._each("record", verification.records, index.records, place)
            yield from self._methods(verification)
            leeway, place = verification.leeway, verification.where
            for key, said in (
                ("within", leeway.within),
                ("harsher", leeway.harsher),
                ("tested_at", leeway.at),
            ):
                yield from self._keys("parameter", said, self._parameters, place / key)

    def _methods(self, verification: Verification) -> Iterator[Finding]:
        method = verification.method
        for number, name in enumerate(verification.records):
            record = self._index.records.get(name)
            if record is not None and record.method is not method:
                yield error(
                    "record-method",
                    verification.where / "records" / number,
                    f"{name} is a record of {record.method.value}, the verification is by"
                    f" {method.value}",
                    "name a record with the method of the verification",
                )
        by_analysis = method is Method.TEST and verification.records  # of the data of the test
        if verification.analysis is not None and method is not Method.ANALYSIS and not by_analysis:
            yield error(
                "record-method",
                verification.where / "analysis",
                f"a verification by {method.value} is closed by records, not by the analysis"
                f" {verification.analysis}",
                "write method: analysis, or name records instead of the analysis",
            )

    def record(self, record: Record) -> Iterator[Finding]:
        """Yield what is wrong with the references of a record."""
        index, where = self._index, record.where
        yield from self._keys("requirement", record.judged, index.requirements, where / "judged")
        names = dict(record.conditions)
        yield from self._keys("parameter", names, self._parameters, where / "conditions")
        if index.articles:
            yield from self._keys("article", record.article, index.articles, where / "article")
        if record.replaces is not None:
            yield from self._one("record", record.replaces, index.records, where / "replaces")

    def waiver(self, waiver: Waiver) -> Iterator[Finding]:
        """Yield where a waiver speaks of no requirement, or of nothing that is limited there."""
        index, where = self._index, waiver.where
        yield from self._one(
            "requirement", waiver.requirement, index.requirements, where / "requirement"
        )
        requirement = index.requirements.get(waiver.requirement)
        if requirement is None or waiver.quantity is None:
            return
        limited = {v.criterion.quantity for v in requirement.verification} - {None}
        if waiver.quantity not in limited:
            names = sorted(str(name) for name in limited)
            yield error(
                "unknown-quantity",
                where / "accepts" / "quantity",
                f"no verification of {requirement.id} limits {waiver.quantity}",
                f"name one of {', '.join(names)}" if names else "leave out the key accepts",
            )

    def of_the_project(self) -> Iterator[Finding]:
        """Yield what is wrong with the references of the charter, reports and agreements."""
        index = self._index
        charter = index.project.charter
        if index.documents:
            names = {name: "" for name in charter.authorities if name != DEFAULT_AUTHORITY}
            place = charter.where / "authorities"
            yield from self._keys("document", names, index.documents, place)
        for report in index.project.nonconformances:
            where = report.where
            yield from self._each(
                "requirement", report.requirements, index.requirements, where / "requirements"
            )
            if index.articles:
                yield from self._keys("article", report.article, index.articles, where / "article")
            for key, name in (("found_by", report.found_by), ("closed_by", report.closed_by)):
                if name is not None:
                    yield from self._one("record", name, index.records, where / key)
        for agreement in index.project.agreements:
            place = agreement.where / "requirements"
            names_here = agreement.requirements
            yield from self._each("requirement", names_here, index.requirements, place)

    def _each(
        self, kind: str, names: Iterable[str], known: Mapping[str, Any], where: Pointer
    ) -> Iterator[Finding]:
        for number, name in enumerate(names):
            yield from self._one(kind, name, known, where / number)

    def _keys(
        self,
        kind: str,
        names: Mapping[str, Any] | Iterable[tuple[str, Any]],
        known: Mapping[str, Any],
        where: Pointer,
    ) -> Iterator[Finding]:
        for name in dict(names):
            yield from self._one(kind, name, known, where / name)

    def _one(
        self, kind: str, name: str, known: Mapping[str, Any], where: Pointer
    ) -> Iterator[Finding]:
        if self._index.is_absent(name, known):
            otherwise = f"add the {kind} or remove the reference"
            cure = self._spelling.cure(kind, name, known, otherwise)
            yield error("dangling-reference", where, f"there is no {kind} {name}", cure)


def _replaced_in_a_cycle(index: Index) -> Iterator[Finding]:
    """Yield a finding for records that replace each other, of which none would count."""
    replaced: dict[str, tuple[str, ...]] = {
        name: tuple(one for one in (record.replaces,) if one is not None and one in index.records)
        for name, record in sorted(index.records.items())
    }
    for path in cycles_of(replaced):
        yield error(
            "cycle",
            index.records[path[0]].where / "replaces",
            f"these records replace each other: {' -> '.join([*path, path[0]])}",
            "remove one of the references; the newer record replaces the older one",
        )


def reviews(index: Index) -> Iterator[Finding]:
    """Yield a finding for each review that the project does not list, or lists twice."""
    charter = index.project.charter
    listed = charter.reviews
    cure = f"the project's reviews are {', '.join(listed)}" if listed else "it lists none"
    for number, review in enumerate(listed):
        if review in listed[:number]:
            yield error(
                "duplicate-identifier",
                charter.where / "reviews" / number,
                f"review {review} is listed twice",
                "list each review once, in their order",
            )
    for named, where in _reviews_named(index):
        if named is not None and named not in listed:
            yield error("unknown-review", where, f"there is no review {named}", cure)


def _reviews_named(index: Index) -> Iterator[tuple[str | None, Pointer]]:
    charter = index.project.charter
    yield charter.next_review, charter.where / "next_review"
    yield charter.policy.open_terms_until, charter.where / "policy" / "open_terms_until"
    for number, policy in enumerate(charter.margins):
        for review, _ in policy.required:
            yield review, charter.where / "margins" / number / "required" / review
    for number, criterion in enumerate(charter.correlation):
        yield criterion.at, charter.where / "correlation" / number / "at"
    for _, _, verification in index.project.verifications():
        yield verification.review, verification.where / "review"
    for waiver in index.project.waivers:
        yield waiver.expires, waiver.where / "expires"
    for agreement in index.project.agreements:
        yield agreement.review, agreement.where / "review"
