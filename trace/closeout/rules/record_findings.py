"""Rules over the records of a project: on what they were made, and what they found."""

from __future__ import annotations

from collections.abc import Iterator

from closeout.graph import Index, acceptance
from closeout.graph.bounds import as_double, exact_in
from closeout.graph.models import ANALOGUES, FLOWN, speaks_of_the_article
from closeout.graph.new_findings import warning
from closeout.measure import UnitError, Units
from closeout.model.amount import Amount
from closeout.model.criterion import Limits
from closeout.model.problem import Finding
from closeout.model.records import Record, Requirement, Verification, build_text


def evidence(index: Index) -> Iterator[Finding]:
    """Yield what the records of a project leave unsaid, or say for nothing."""
    if not index.records:
        return
    for _, _, verification in index.project.verifications():
        for number, name in enumerate(verification.records):
            record = index.records.get(name)
            if record is not None:
                yield from _articles(verification, number, record, index)
    yield from _without_build(index)


def _articles(
    verification: Verification, number: int, record: Record, index: Index
) -> Iterator[Finding]:
    """Yield where a record can close no verification of a stage, also while it is planned."""
    where, stage = verification.where / "records" / number, verification.stage
    for name, build in record.article:
        article = index.articles.get(name)
        if article is None:
            continue
        made = f"{record.id} was made on {name} {build_text(build)}, {article.model} model"
        if speaks_of_the_article(stage) and article.model not in FLOWN:
            yield warning(
                "no-flight-article",
                where,
                f"{made}, which closes nothing at {stage}",
                "name a record of a flight or protoflight model, or move the record to a"
                " verification at qualification",
            )
        alike = record.same_design and record.differs
        forerunner = article.model in ANALOGUES and not speaks_of_the_article(stage)
        if record.date is not None and forerunner and not alike:
            yield warning(
                "analogue-without-differs",
                where,
                f"{made}, and does not state both what is of the flight design and the differences",
                f"add same_design: and differs: to {record.id}, as far as they affect the result",
            )


def _without_build(index: Index) -> Iterator[Finding]:
    """A build that the register does not hold can never be another one."""
    for record in index.records.values():
        for name, build in record.article if record.date is not None else ():
            article = index.articles.get(name)
            if (article is None and not index.articles) or (article and article.build is None):
                yield warning(
                    "article-without-build",
                    record.where / "article" / name if article is None else article.where,
                    f"{record.id} was made on {name} {build_text(build)}, and the present build of"
                    f" {name} is not given, so no rework re-opens it",
                    f"add the build of {name} in articles:",
                )


def failing(record: Record, requirement: Requirement, units: Units) -> str | None:
    """Return a quantity that a record measured beyond the limit of a requirement, or None."""
    return next(beyond(record, requirement, units), None)


def beyond(record: Record, requirement: Requirement, units: Units) -> Iterator[str]:
    """Yield the quantities that a record measured beyond a limit of a requirement."""
    measured = dict(record.measured)
    for verification in requirement.verification:
        quantity = verification.criterion.quantity
        if verification.method is not record.method or quantity not in measured:
            continue
        if _is_outside(measured[quantity].value, verification.criterion.limits, units):
            yield quantity


def _is_outside(value: Amount, limits: Limits, units: Units) -> bool:
    """Return whether a measured value itself is beyond a limit, whatever its uncertainty."""
    try:
        number = as_double(value.number, value.unit)
        distances = acceptance(exact_in(limits, value.unit, units)).inside(number, number)
    except UnitError:
        return False
    return any(inside is not None and inside < 0 for inside in distances)
