"""Which record says what a quantity of an article is today, and what is against it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from closeout.graph import Index
from closeout.judge.nonconformance import NOT_MET, holds_open
from closeout.judge.planned import not_yet
from closeout.judge.records import failed_by_measure
from closeout.judge.superseded import reports_of
from closeout.judge.validity import Validity
from closeout.model.records import Nonconformance, Record, build_text


@dataclass(frozen=True, slots=True)
class Measuring:
    """A record, and why it says nothing of the article as it is today.

    ``rebuilt`` are the articles whose new build is all that is against it.
    """

    record: Record
    against: tuple[str, ...] = ()
    rebuilt: tuple[str, ...] = ()


def measuring(record: Record, quantity: str, validity: Validity) -> Measuring:
    """Return the record that counts for a quantity in place of one, and what is against it.

    That is the newest of those that replace it at last: a test may be repeated in parts, and then
    the part counts that measured the quantity. Where none of them did, there is no number.
    """
    last = _last(record, validity.index)
    if not last:  # which is told as a cycle
        return Measuring(record, (f"{record.id} and what replaces it replace each other",))
    measured = [one for one in last if quantity in dict(one.measured)]
    found = max(measured or last, key=lambda one: (one.date or "", one.id))
    promised = quantity in dict(record.measured) or record.date is None
    if not measured and found is not record and promised:
        left_out = f"{record.id} is replaced by {found.id}, which did not measure {quantity}"
        return Measuring(found, (left_out,))
    rebuilt = dict(_rebuilt(found, validity.index))
    others = tuple(_against(found, quantity, validity))
    return Measuring(found, (*rebuilt.values(), *others), () if others else tuple(rebuilt))


def _last(record: Record, index: Index) -> list[Record]:
    """Return the records in the place of one that nothing replaces; itself where nothing does."""
    found, seen, left = [], set(), [record.id]
    while left:
        name = left.pop()
        if name in seen:
            continue
        seen.add(name)
        newer = index.replaced.get(name, ())
        left += newer
        if not newer:
            found.append(index.records[name])
    return found


def _rebuilt(record: Record, index: Index) -> Iterator[tuple[str, str]]:
    """Yield the articles that are of another build than the record, and how to say so."""
    for name, build in record.article:
        article = index.articles.get(name)
        if article is not None and article.build is not None and article.build != build:
            now = build_text(article.build)
            yield name, f"{record.id} was made on {name} {build_text(build)}, {name} is at {now}"


def _against(record: Record, quantity: str, validity: Validity) -> Iterator[str]:
    """Yield all else that is against a quantity of a record, or against the whole of it."""
    index = validity.index
    if record.date is None:
        yield not_yet(record)
        return
    if record.id in index.duplicated_records:
        yield f"the identifier {record.id} is duplicate"
    if record.id in validity.altered:
        yield f"the data file of {record.id} has changed"
    if record.outcome == NOT_MET:
        yield f"the outcome of {record.id} is not met"
    for report in reports_of(record, index):
        if _speaks_of(report, quantity, record, index) and holds_open(report, index):
            yield f"{report.id}, found by {record.id}, is not closed"
    yield from _unreported(record, quantity, validity)
    yield from validity.too_old(record)


def _speaks_of(report: Nonconformance, quantity: str, record: Record, index: Index) -> bool:
    """Return whether a nonconformance is about a quantity of the record that found it.

    It is about those that the requirements which it names limit. Where it names none, or one of
    them limits nothing that was measured, nobody knows which numbers are good: then about all.
    """
    measured = dict(record.measured).keys()
    for name in report.requirements:
        known = index.requirements.get(name)
        limited = {one.criterion.quantity for one in known.verification} if known else set()
        if quantity in limited or not limited & measured:
            return True
    return not report.requirements


def _unreported(record: Record, quantity: str, validity: Validity) -> Iterator[str]:
    """Yield the requirements that a quantity of a record does not meet, and nobody reported."""
    judged = dict(record.judged)
    named = dict.fromkeys(
        requirement.id
        for requirement, _, verification in validity.index.project.verifications()
        if verification.criterion.quantity == quantity
        and (requirement.id in judged or record.id in verification.records)
        and failed_by_measure(requirement, verification, record, validity)
    )
    for name in named:
        if not reports_of(record, validity.index, name):
            yield f"{record.id} found {name} not met, and has no nonconformance"
