"""Records against the conditions of what they verify: as run, and whether all of a range is tested.

Where a test was is compared with where it had to be: conditions of the criterion, and the project's
parameter of whatever else the record states.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase
from fractions import Fraction
from functools import cached_property

from closeout.graph import Index
from closeout.graph.criterion_conditions import conditions_of
from closeout.graph.inputs import ends_of, spread_text, value_of
from closeout.judge.as_run import (
    End,
    Run,
    Verdict,
    Window,
    best,
    end_at,
    run_of,
    window,
)
from closeout.measure import UnitError, Units
from closeout.model.amount import Amount
from closeout.model.criterion import Condition
from closeout.model.dossier import AsRun
from closeout.model.records import Parameter, Record, Requirement, Verification
from closeout.model.setting import Setting

_NO_TOLERANCE = ", and no test tolerance is stated (within:)"
_BOTH_ENDS = "; test both ends, or state another point with its reason (tested_at:)"
# Points of an analysis are doubles in its own unit: this share of a range is no other place.
_ROUNDED = Fraction(1, 10**9)


@dataclass(frozen=True, slots=True)
class _Required:
    """What is required of one condition: in words, as values, in its unit, and as windows."""

    name: str
    words: str
    values: str
    unit: str
    windows: tuple[Window, ...]
    tolerance: Amount | None
    at: End | None = None

    @property
    def ends(self) -> tuple[End, ...]:
        """Every point that has to be tested."""
        if self.at is not None:
            return (self.at,)
        return tuple(dict.fromkeys(end for one in self.windows for end in one.ends))


@dataclass(frozen=True)
class Conditions:
    """A project's conditions, at the values of a what-if (``settings``)."""

    index: Index
    units: Units
    settings: Mapping[str, Setting]

    def other_conditions(
        self, requirement: Requirement, verification: Verification, record: Record
    ) -> Iterator[str]:
        """Yield where a record was not made under the conditions under which a criterion holds.

        It must state each of them.
        """
        stated = dict(record.conditions)
        for name, required in self._of_criterion(requirement, verification).items():
            if name not in stated:
                yield f"{record.id} does not state {name}"
            elif self._verdict(required, stated[name]) is Verdict.OUTSIDE:
                yield _changed(record, stated[name], required, _NO_TOLERANCE)

    def changed(
        self, requirement: Requirement, verification: Verification, record: Record
    ) -> Iterator[str]:
        """Yield where what else a record states is not what the project has."""
        stated = dict(record.conditions)
        of_criterion = self._of_criterion(requirement, verification)
        for required in self._in_force(of_criterion, verification, record):
            if self._verdict(required, stated[required.name]) is Verdict.OUTSIDE:
                yield _changed(record, stated[required.name], required)

    def as_run(
        self, requirement: Requirement, verification: Verification, record: Record
    ) -> tuple[AsRun, ...]:
        """Return each condition that a record states, beside what is required of it."""
        stated = dict(record.conditions)
        of_criterion = self._of_criterion(requirement, verification)
        required = [one for name, one in of_criterion.items() if name in stated]
        required += self._in_force(of_criterion, verification, record)
        return tuple(
            AsRun(
                record=record.id,
                name=one.name,
                as_run=str(stated[one.name]),
                required=one.values,
                within=None if one.tolerance is None else one.tolerance.text,
                verdict=self._verdict(one, stated[one.name]).value,
            )
            for one in required
        )

    def untested(
        self, requirement: Requirement, verification: Verification, records: Sequence[Record]
    ) -> list[str]:
        """Return which conditions some records together have not tested as far as is required.

        Of a range both ends have to be tested, or the point that the verification names.
        """
        left = []
        for required in self._of_criterion(requirement, verification).values():
            runs = list(self._runs(required, records))
            if all(any(end.is_tested(run) for _, run in runs) for end in required.ends):
                continue
            places = " and ".join(dict.fromkeys(at.place for at, _ in runs)) or "nowhere"
            text = f"{required.name}: tested {places}; {required.words}"
            if required.at is not None:
                point = dict(verification.leeway.at)[required.name]
                text += f", to be tested at {point}"
            elif len(required.ends) > 1:
                text += _BOTH_ENDS
            left.append(text)
        return left

    def untested_again(
        self,
        requirement: Requirement,
        verification: Verification,
        failed: Record,
        records: Sequence[Record],
    ) -> str | None:
        """Return where of a range a record failed, and none of some later ones was made there."""
        stated = dict(failed.conditions)
        for required in self._of_criterion(requirement, verification).values():
            if required.name not in stated:
                continue
            at = stated[required.name]
            runs = [run for _, run in self._runs(required, records)]
            for end in self._failed_at(required, at):
                if not any(end.is_tested(run) for run in runs):
                    return f"no valid record at {required.name} = {at}"
        return None

    def tested_elsewhere(
        self,
        requirement: Requirement,
        verification: Verification,
        records: Sequence[Record],
        name: str,
        point: Amount,
    ) -> str | None:
        """Return at which points of a range it is tested, where none of them is the given one.

        Those are the point that the verification names, else where its records were made. None
        where nothing was made yet.
        """
        required = self._of_criterion(requirement, verification).get(name)
        if required is None or not required.windows:
            return None
        try:
            here = self._wider(
                end_at(point, required.unit, self.units, required.tolerance), required
            )
        except UnitError:
            return None  # reported as a problem at its own place
        planned = dict(verification.leeway.at).get(name)
        if planned is not None and required.at is not None:
            at = Run(required.at.at, required.at.at)
            return None if here.is_tested(at) else f"at {planned}"
        runs = list(self._runs(required, records))
        if not runs or any(here.is_tested(run) for _, run in runs):
            return None
        return " and ".join(dict.fromkeys(at.place for at, _ in runs))

    def _wider(self, end: End, required: _Required) -> End:
        """Return an end with room for the rounding of a point that an analysis found."""
        width = max(one.high.at - one.low.at for one in required.windows)
        return replace(end, tolerance=end.tolerance + width * _ROUNDED)

    def _failed_at(self, required: _Required, at: Condition) -> Iterator[End]:
        """Yield the ends of where a record failed, as far as they lie in a range."""
        run = self._run(at, required.unit)
        points = [] if run is None else [run.low, run.high] if run.swept else [run.middle]
        for one in required.windows:
            if one.low.at < one.high.at:
                for point in points:
                    inside = min(max(point, one.low.at), one.high.at)
                    yield End(inside, max(one.low.tolerance, one.high.tolerance))

    def _runs(
        self, required: _Required, records: Iterable[Record]
    ) -> Iterator[tuple[Condition, Run]]:
        for record in records:
            at = dict(record.conditions).get(required.name)
            run = None if at is None else self._run(at, required.unit)
            if at is not None and run is not None:
                yield at, run

    def _run(self, at: Condition, unit: str) -> Run | None:
        try:
            return run_of(at, unit, self.units, self._least_k)
        except UnitError:
            return None  # reported as a problem at its own place

    def _verdict(self, required: _Required, at: Condition) -> Verdict:
        run = self._run(at, required.unit)
        return Verdict.OUTSIDE if run is None else best(required.windows, run)

    @cached_property
    def _least_k(self) -> Fraction:
        return self.index.project.charter.policy.coverage_factor

    def _of_criterion(
        self, requirement: Requirement, verification: Verification
    ) -> dict[str, _Required]:
        """Return what is required of each condition of a criterion; a what-if goes first."""
        found = {}
        for name, given in conditions_of(requirement, verification, self.units).items():
            setting = self.settings.get(name)
            wanted = given if setting is None else [_set(setting)]
            found[name] = self._required(name, wanted, verification)
        return found

    def _required(
        self, name: str, wanted: Sequence[Condition], verification: Verification
    ) -> _Required:
        parameter = self.index.parameters.get(name)
        unit = wanted[0].ends[0].unit if parameter is None else parameter.value.unit
        tolerance, harsher = self._leeway(name, verification)
        windows = []
        for one in wanted:
            try:
                windows.append(window(one, unit, self.units, tolerance, harsher))
            except UnitError:
                continue  # reported as a problem at its own place
        words = f"the criterion applies {' and '.join(one.place for one in wanted)}"
        values = " and ".join(map(str, wanted))
        required = _Required(name, words, values, unit, tuple(windows), tolerance)
        point = dict(verification.leeway.at).get(name)
        if point is None or name in self.settings:
            return required
        try:
            return replace(required, at=end_at(point, unit, self.units, tolerance))
        except UnitError:
            return required

    def _leeway(self, name: str, verification: Verification) -> tuple[Amount | None, str | None]:
        """Return tolerance and harsher side of a condition; the verification's go first."""
        leeway = verification.leeway
        harsher = dict(leeway.harsher).get(name)
        own = dict(leeway.within).get(name)
        if own is not None:
            return own, harsher
        table = dict(self.index.project.charter.policy.test_tolerances)
        patterns = (one for pattern, one in table.items() if fnmatchcase(name, pattern))
        return table.get(name) or next(patterns, None), harsher

    def _in_force(
        self, of_criterion: Mapping[str, _Required], verification: Verification, record: Record
    ) -> Iterator[_Required]:
        """Yield what the project's parameter requires of what else a record states.

        A condition (of the environment) may be anywhere inside its declared spread; a design value,
        as a threshold in the flight software, must be the one that was tested.
        """
        for name, _ in record.conditions:
            parameter = self.index.parameters.get(name)
            if name in of_criterion or parameter is None:
                continue
            setting = self.settings.get(name)
            tolerance, harsher = self._leeway(name, verification)
            try:
                value = value_of(parameter, setting, self.units)
                one = self._of_parameter(parameter, setting, tolerance, harsher)
            except UnitError:
                continue  # reported as a problem at its own place
            values = value.text
            if parameter.condition and parameter.spread:
                values += f" {spread_text(parameter.spread)}"
            words = f"the project has {value}"
            yield _Required(name, words, values, parameter.value.unit, (one,), tolerance)

    def _of_parameter(
        self,
        parameter: Parameter,
        setting: Setting | None,
        tolerance: Amount | None,
        harsher: str | None,
    ) -> Window:
        unit = parameter.value.unit
        now = end_at(value_of(parameter, setting, self.units), unit, self.units, tolerance)
        spread = ends_of(parameter, unit, self.units, setting) if parameter.condition else None
        if spread is None:
            return Window(now, now, harsher)
        low, high = spread
        return Window(replace(now, at=low), replace(now, at=high), harsher)


def _set(setting: Setting) -> Condition:
    return Condition(setting.ends if setting.value is None else (setting.value,))


def _changed(record: Record, at: Condition, required: _Required, otherwise: str = "") -> str:
    within = otherwise if required.tolerance is None else f", within {required.tolerance}"
    return f"re-opened: {record.id} was made at {required.name} = {at}, {required.words}{within}"
