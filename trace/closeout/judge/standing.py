"""Whether a record still speaks of a requirement: date, issue, build, conditions, age.

Re-verification: ECSS-E-ST-10-02C Rev.1, 5.4.3.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from functools import cached_property

from closeout.graph import Index, key_of_criterion
from closeout.graph.inputs import ends_of
from closeout.measure import UnitError, Units
from closeout.model.amount import Amount
from closeout.model.records import Record, Requirement, Side, Verification

QUALIFICATION = "qualification"


@dataclass(frozen=True)
class Standing:
    """A project as records are held against it, at a review (None: the last one)."""

    index: Index
    units: Units
    review: str | None

    @cached_property
    def _judging(self) -> dict[str, list[Record]]:
        found: dict[str, list[Record]] = {}
        for record in self.index.records.values():
            for requirement, _ in record.judged:
                found.setdefault(requirement, []).append(record)
        return found

    def judging(self, requirement: str) -> list[Record]:
        """Return the records that say that they judged a requirement."""
        return self._judging.get(requirement, [])

    def lacks(
        self, requirement: Requirement, verification: Verification, record: Record
    ) -> tuple[str, ...]:
        """Return every reason why a record is no evidence of a requirement as it is today."""
        if record.date is None:
            return (f"{record.id} is planned, it has no date yet",)
        return (
            *_kind(requirement, verification, record),
            *_issue(requirement, record),
            *self._build(verification, record),
            *self._conditions(requirement, verification, record),
            *self._age(record),
        )

    def _build(self, verification: Verification, record: Record) -> Iterator[str]:
        """Compare builds; only a qualification may be argued from the same design."""
        argued = record.same_design is not None and verification.stage in (None, QUALIFICATION)
        for name, build in record.article:
            article = self.index.articles.get(name)
            now = None if article is None else article.build
            if now is not None and now != build and not argued:
                more = ""
                if record.same_design is not None:
                    more = f"; that the design is the same does not count at {verification.stage}"
                yield f"re-opened: {record.id} was made on {name} {build}, {name} is at {now}{more}"

    def _conditions(
        self, requirement: Requirement, verification: Verification, record: Record
    ) -> Iterator[str]:
        """Compare the conditions of a test with those under which the criterion holds.

        Those of the verification must be in the record. Any other that the record states is held
        against the same criterion (quantity and limits) in the requirement's other verifications,
        else against the project's parameter.
        """
        stated, given = dict(record.conditions), dict(verification.criterion.given)
        for name, wanted in given.items():
            if name not in stated:
                yield f"{record.id} does not say at which {name} it was made"
            elif not self._matches(stated[name], wanted, name):
                yield _changed(
                    record, name, stated[name], f"the criterion holds at {_shown(wanted)}"
                )
        for name, amount in stated.items():
            if name in given:
                continue
            others = list(self._given_elsewhere(name, requirement, verification))
            if others and not any(self._matches(amount, other, name) for other in others):
                yield _changed(record, name, amount, f"the criterion holds at {_shown(others[0])}")
            elif not others:
                yield from self._in_force(record, name, amount)

    def _in_force(self, record: Record, name: str, amount: Amount) -> Iterator[str]:
        """Compare a condition with the parameter: its value, or inside of its declared spread."""
        parameter = self.index.parameters.get(name)
        if parameter is None:
            return
        unit = parameter.value.unit
        try:
            was = self.units.convert(amount, unit)
            low, high = ends_of(parameter, unit, self.units) or (parameter.value.number,) * 2
        except UnitError:
            return  # told as a problem where it stands
        if not low <= was <= high:
            yield _changed(record, name, amount, f"the project has {parameter.value}")

    def _given_elsewhere(
        self, name: str, requirement: Requirement, verification: Verification
    ) -> Iterator[Amount | Side]:
        key = key_of_criterion(verification.criterion, self.units)
        if verification.criterion.quantity is None:
            return
        for other in requirement.verification:
            given = dict(other.criterion.given).get(name)
            if given is not None and key_of_criterion(other.criterion, self.units) == key:
                yield given

    def _matches(self, amount: Amount, given: Amount | Side, name: str) -> bool:
        """Return whether a value is the given one, or inside the given pair, exactly."""
        parameter = self.index.parameters.get(name)
        unit = amount.unit if parameter is None else parameter.value.unit
        ends = given if isinstance(given, tuple) else (given, given)
        try:
            low, high = sorted(self.units.convert(end, unit) for end in ends)
            return low <= self.units.convert(amount, unit) <= high
        except UnitError:
            return False

    def _age(self, record: Record) -> Iterator[str]:
        """Count how long the evidence holds to the date of the review, never to the clock."""
        if record.good_for is None or record.date is None:
            return
        charter = self.index.project.charter
        review = self.review or (charter.reviews[-1] if charter.reviews else None)
        held = charter.review_dates.get(review or "")
        if held is None:
            yield (
                f"{record.id} is good for {record.good_for}, and the project gives no date of"
                f" {review or 'a review'} to count to"
            )
            return
        try:
            days = self.units.convert(record.good_for, "d")
        except UnitError:
            return  # told as a problem where it stands
        age = (date.fromisoformat(held) - date.fromisoformat(record.date)).days
        if Fraction(age) > days:
            yield (
                f"re-opened: {record.id} of {record.date} is good for {record.good_for},"
                f" {review} is on {held}, {age} d later"
            )


def _kind(requirement: Requirement, verification: Verification, record: Record) -> Iterator[str]:
    """Hold likeness and analogues to what they can show (ECSS-E-ST-10-02C Rev.1, 5.2.2.3c, d)."""
    if record.similarity and verification.stage not in (None, QUALIFICATION):
        yield f"{record.id} argues by similarity, which is no evidence at {verification.stage}"
    if record.differs and requirement.id not in dict(record.judged):
        yield f"{record.id} was made on an analogue, and does not name {requirement.id} as judged"


def _issue(requirement: Requirement, record: Record) -> Iterator[str]:
    judged = dict(record.judged)
    was = judged.get(requirement.id)
    if not judged or was == requirement.issue:
        return
    if was is None:
        yield f"{record.id} does not say that it judged {requirement.id}"
    else:
        yield (
            f"re-opened: {record.id} judged issue {was}, the requirement is at {requirement.issue}"
        )


def _changed(record: Record, name: str, was: Amount, now: str) -> str:
    return f"re-opened: {record.id} was made at {name} = {was}, {now}"


def _shown(given: Amount | Side) -> str:
    return f"{given[0]} to {given[1]}" if isinstance(given, tuple) else str(given)
