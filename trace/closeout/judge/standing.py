"""Whether a record still speaks of a requirement: date, issue, build, conditions, age.

Re-verification: ECSS-E-ST-10-02C Rev.1, 5.4.3.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from functools import cached_property

from closeout.graph import Index, key_of_criterion
from closeout.graph.inputs import ends_of, value_of
from closeout.judge.planned import not_yet
from closeout.measure import UnitError, Units
from closeout.model.amount import Amount
from closeout.model.issue import is_raised
from closeout.model.records import Record, Requirement, Side, Verification
from closeout.model.setting import Setting

QUALIFICATION = "qualification"
FIRST_ISSUE = "A"


@dataclass(frozen=True)
class Standing:
    """A project as records are held against it, at a review (None: the last one).

    ``settings`` are the values of a what-if, at which the project's conditions then stand;
    ``spoiled`` are records whose data file is not the one that they speak of; ``under_git`` says
    that the project's states are held by commits.
    """

    index: Index
    units: Units
    review: str | None
    settings: Mapping[str, Setting] = field(default_factory=dict)
    spoiled: frozenset[str] = frozenset()
    under_git: bool = False

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
            return (not_yet(record),)
        return (
            *self.unfit(requirement, verification, record),
            *self._issue(requirement, record),
            *self._build(verification, record),
            *self._conditions(requirement, verification, record),
            *self._age(record),
        )

    def unfit(
        self, requirement: Requirement, verification: Verification, record: Record
    ) -> Iterator[str]:
        """Yield why a record was never evidence, whatever has changed since it was made."""
        if record.id in self.index.doubled_records:
            yield f"the identifier {record.id} is given twice"
        if record.id in self.spoiled:
            yield f"the data file of {record.id} is not the one it speaks of"
        yield from _kind(requirement, verification, record)

    def _issue(self, requirement: Requirement, record: Record) -> Iterator[str]:
        judged = dict(record.judged)
        was = judged.get(requirement.id)
        if not judged:
            # Outside git nobody holds an issue against what was said under it.
            if self.under_git and is_raised(FIRST_ISSUE, requirement.issue):
                yield (
                    f"{record.id} does not say which issue it judged, the requirement is at"
                    f" {requirement.issue}"
                )
        elif was is None:
            yield f"{record.id} does not say that it judged {requirement.id}"
        elif was != requirement.issue:
            yield (
                f"re-opened: {record.id} judged issue {was}, the requirement is at"
                f" {requirement.issue}"
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

        Those are the conditions of the verification, and where it gives none of a name, those of
        the same criterion (quantity and limits) in the requirement's other verifications: the
        record must state each. Any other that it states is held against the project's parameter.
        """
        yield from self.other_conditions(requirement, verification, record)
        held = self._held_at(requirement, verification)
        for name, amount in record.conditions:
            if name not in held:
                yield from self._in_force(record, name, amount)

    def other_conditions(
        self, requirement: Requirement, verification: Verification, record: Record
    ) -> Iterator[str]:
        """Yield where a record was not made under the conditions under which a criterion holds."""
        stated = dict(record.conditions)
        held = self._held_at(requirement, verification)
        for name, wanted in held.items():
            if name not in stated:
                yield f"{record.id} does not say at which {name} it was made"
            elif not any(self._matches(stated[name], one, name) for one in wanted):
                now = f"the criterion holds at {_shown(wanted[0])}"
                yield _changed(record, name, stated[name], now)

    def _in_force(self, record: Record, name: str, amount: Amount) -> Iterator[str]:
        """Compare what a record states with the project's parameter.

        A condition (of the environment) may be anywhere inside its declared spread; a design value,
        as a threshold in the flight software, must be the one that was tested.
        """
        parameter = self.index.parameters.get(name)
        if parameter is None:
            return
        unit, setting = parameter.value.unit, self.settings.get(name)
        try:
            value = value_of(parameter, setting, self.units)
            was, now = self.units.convert(amount, unit), self.units.convert(value, unit)
            spread = ends_of(parameter, unit, self.units, setting) if parameter.condition else None
        except UnitError:
            return  # told as a problem where it stands
        low, high = spread or (now, now)
        if not low <= was <= high:
            yield _changed(record, name, amount, f"the project has {value}")

    def _held_at(
        self, requirement: Requirement, verification: Verification
    ) -> dict[str, list[Amount | Side]]:
        """Return the conditions under which a criterion holds, by name; a what-if goes first."""
        criterion = verification.criterion
        found: dict[str, list[Amount | Side]] = {
            name: [self._in_place_of(given, name)] for name, given in criterion.given
        }
        if criterion.quantity is None:
            return found
        own, key = set(found), key_of_criterion(criterion, self.units)
        for other in requirement.verification:
            if key_of_criterion(other.criterion, self.units) != key:
                continue
            for name, given in other.criterion.given:
                if name not in own:
                    found.setdefault(name, []).append(self._in_place_of(given, name))
        return found

    def _in_place_of(self, given: Amount | Side, name: str) -> Amount | Side:
        """Return what holds in place of a condition that is given: a what-if goes first."""
        setting = self.settings.get(name)
        if setting is None:
            return given
        return setting.value or setting.ends

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
    """Hold likeness and analogues to what they can show (ECSS-E-ST-10-02C Rev.1, 5.2.2.3c, d).

    A record of another method, which is told as an error, is no evidence of this one.
    """
    if record.method is not verification.method:
        yield f"{record.id} is a record of {record.method.value}"
    if record.similarity and verification.stage not in (None, QUALIFICATION):
        yield f"{record.id} argues by similarity, which is no evidence at {verification.stage}"
    if record.differs and requirement.id not in dict(record.judged):
        yield f"{record.id} was made on an analogue, and does not name {requirement.id} as judged"


def _changed(record: Record, name: str, was: Amount, now: str) -> str:
    return f"re-opened: {record.id} was made at {name} = {was}, {now}"


def _shown(given: Amount | Side) -> str:
    return f"{given[0]} to {given[1]}" if isinstance(given, tuple) else str(given)
