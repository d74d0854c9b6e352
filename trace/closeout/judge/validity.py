"""Whether a record still speaks of a requirement: date, issue, build, conditions, age.

Re-verification: ECSS-E-ST-10-02C Rev.1, 5.4.3.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from functools import cached_property

from closeout.graph import Index
from closeout.graph.models import QUALIFICATION
from closeout.judge.articles import other_builds, rebuilt_articles, wrong_models
from closeout.judge.planned import not_judged_yet, not_yet
from closeout.judge.record_conditions import Conditions
from closeout.measure import UnitError, Units
from closeout.model.issue import is_raised
from closeout.model.records import Record, Requirement, Verification
from closeout.model.setting import Setting

FIRST_ISSUE = "A"


@dataclass(frozen=True)
class Validity:
    """The project that records are compared with, at a review (None: the last one).

    ``settings`` are the values of a what-if, at which the project's conditions then stand;
    ``altered`` are records whose data file is not the one that they speak of; ``under_git`` says
    that the project's states are commits.
    """

    index: Index
    units: Units
    review: str | None
    settings: Mapping[str, Setting] = field(default_factory=dict)
    altered: frozenset[str] = frozenset()
    under_git: bool = False

    @cached_property
    def _judging(self) -> dict[str, list[Record]]:
        found: dict[str, list[Record]] = {}
        for record in self.index.records.values():
            for requirement, _ in record.judged:
                found.setdefault(requirement, []).append(record)
        return found

    def last(self, record: Record, requirement: str) -> Record:
        """Return the record that takes the place of another for a requirement at last; else itself.

        It judged the requirement, or does not say what it judged: a test of two requirements that
        is repeated for one of them still speaks of the other.
        """
        found, seen, left = record, {record.id}, [record]
        while left:
            for name in self.index.replaced.get(left.pop().id, ()):
                if name in seen:
                    continue  # records that replace each other are reported as a problem
                one = self.index.records[name]
                seen.add(name)
                left.append(one)
                speaks = not one.judged or requirement in dict(one.judged)
                if speaks and (found is record or (one.date or "") >= (found.date or "")):
                    found = one
        return found

    def made_good_by(self, failed: Record, requirement: str) -> Record | None:
        """Return what takes a failed record's place for a requirement; None where nothing does.

        That is what replaces it, else the newest record by which its nonconformance is closed.
        """
        last = self.last(failed, requirement)
        if last is not failed:
            return last
        closing = [
            self.index.records[name]
            for report in self.index.project.nonconformances
            if report.found_by == failed.id
            for name in dict.fromkeys(filter(None, (report.closed_by, *report.retest)))
            if name in self.index.records
        ]
        dated = [
            one for one in closing
            if one.date is not None and one is not failed and requirement in dict(one.judged)
        ]  # fmt: skip
        return max(dated, key=lambda one: one.date or "", default=None)

    @cached_property
    def conditions(self) -> Conditions:
        """The conditions that records are compared with."""
        return Conditions(self.index, self.units, self.settings)

    def judging(self, requirement: str) -> list[Record]:
        """Return the records that say that they judged a requirement."""
        return self._judging.get(requirement, [])

    def reasons_against(
        self, requirement: Requirement, verification: Verification, record: Record
    ) -> tuple[str, ...]:
        """Return every reason why a record is no evidence of a requirement as it is today."""
        if record.date is None:
            return (not_yet(record),)
        return (
            *self.unfit(requirement, verification, record),
            *self._issue(requirement, record),
            *other_builds(verification, record, self.index),
            *self.conditions.other_conditions(requirement, verification, record),
            *self.conditions.changed(requirement, verification, record),
            *self.too_old(record),
        )

    def rebuilt(
        self, requirement: Requirement, verification: Verification, record: Record
    ) -> tuple[str, ...]:
        """Return the articles of which a new build is all that keeps a record from counting."""
        builds = tuple(other_builds(verification, record, self.index))
        if not builds or self.reasons_against(requirement, verification, record) != builds:
            return ()
        return tuple(rebuilt_articles(verification, record, self.index))

    def unfit(
        self, requirement: Requirement, verification: Verification, record: Record
    ) -> Iterator[str]:
        """Yield why a record was never evidence, whatever has changed since it was made."""
        if record.id in self.index.duplicated_records:
            yield f"the identifier {record.id} is duplicate"
        if record.id in self.altered:
            yield f"the data file of {record.id} has changed"
        yield from _kind(requirement, verification, record)
        yield from wrong_models(verification, record, self.index)

    def _issue(self, requirement: Requirement, record: Record) -> Iterator[str]:
        judged = dict(record.judged)
        was = judged.get(requirement.id)
        if not judged:
            # Outside git nobody compares an issue with what was said under it.
            if self.under_git and is_raised(FIRST_ISSUE, requirement.issue):
                yield (
                    f"{record.id} does not name the issue that it judged, the requirement is at"
                    f" {requirement.issue}"
                )
        elif requirement.id not in judged:
            yield f"{record.id} does not name {requirement.id} as judged"
        elif was is None:
            yield not_judged_yet(record, requirement.id)
        elif was != requirement.issue:
            yield (
                f"re-opened: {record.id} judged issue {was}, the requirement is at"
                f" {requirement.issue}"
            )

    def too_old(self, record: Record) -> Iterator[str]:
        """Yield why evidence no longer holds at the date of the review; no clock is asked."""
        if record.good_for is None or record.date is None:
            return
        charter = self.index.project.charter
        review = self.review or (charter.reviews[-1] if charter.reviews else None)
        review_date = charter.review_dates.get(review or "")
        if review_date is None:
            yield (
                f"{record.id} is valid for {record.good_for}, and the project gives no date of"
                f" {review or 'a review'}"
            )
            return
        try:
            days = self.units.convert(record.good_for, "d")
        except UnitError:
            return  # reported as a problem at its own place
        age = (date.fromisoformat(review_date) - date.fromisoformat(record.date)).days
        if Fraction(age) > days:
            yield (
                f"re-opened: {record.id} of {record.date} is valid for {record.good_for},"
                f" {review} is on {review_date}, {age} d later"
            )


def _kind(requirement: Requirement, verification: Verification, record: Record) -> Iterator[str]:
    """Hold likeness and analogues to what they can show (ECSS-E-ST-10-02C Rev.1, 5.2.2.3c, d).

    A record of another method, which is reported as an error, is no evidence of this one.
    """
    if record.method is not verification.method:
        yield f"{record.id} is a record of {record.method.value}"
    if record.similarity and verification.stage not in (None, QUALIFICATION):
        yield f"{record.id} is by similarity, which is no evidence at {verification.stage}"
    if record.differs and requirement.id not in dict(record.judged):
        yield f"{record.id} is of a non-flight article and does not name {requirement.id} as judged"
