"""From the answers of a model to a comparison, in the unit of the measured value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction

from closeout.graph import Index
from closeout.judge.compared.asked import STEP, AskedOf, K
from closeout.judge.compared.place import normalised_error, place, standing
from closeout.judge.uncertainty import half_width
from closeout.measure import Units
from closeout.model.answer import Answer, Extent
from closeout.model.compared import Compared, Prediction
from closeout.model.question import Question
from closeout.model.reply import Reply

Replies = Mapping[Question, Reply]
_SEARCHED = "the range is searched and not proved"


def compared(one: AskedOf, replies: Replies, index: Index, units: Units) -> Compared:
    """Return a comparison with what the model of the state that is judged predicts."""
    pair, record, unit = one.pair, one.pair.record, one.pair.measured.value.unit
    least = index.project.charter.policy.coverage_factor
    half = half_width(pair.measured, unit, units, least)
    assert record.date is not None
    return Compared(
        record=record.id,
        quantity=pair.quantity,
        analysis=pair.analysis,
        requirements=pair.requirements,
        day=record.date,
        document=record.document,
        article=record.article,
        conditions=tuple((name, str(at)) for name, at in record.conditions),
        text=pair.measured.text,
        unit=unit or "1",
        value=float(pair.measured.value.number),
        uncertainty=None if half is None else float(half),
        now=prediction(one, replies, index, units),
        explained=record.explained,
        replaced=bool(index.replaced.get(record.id)),
    )


def prediction(one: AskedOf, replies: Replies, index: Index, units: Units) -> Prediction:
    """Return what a model predicts of a measured value, and how that stands to it.

    Args:
        index: of the project whose coverage factor holds, and whose record it is.
    """
    inputs = tuple(one.made_at.measured.items())
    if one.fault is not None or one.range is None or one.spec is None:
        return Prediction(failed=one.fault or "nothing is asked", measured_inputs=inputs)
    extent = _extent(replies[one.range], one.pair.quantity)
    if isinstance(extent, str):
        return Prediction(failed=extent, measured_inputs=inputs)
    least = index.project.charter.policy.coverage_factor
    found = _Found(one, units, least)
    return replace(
        found.with_error(found.place(extent), _chance(one, replies)), measured_inputs=inputs
    )


def _extent(reply: Reply, quantity: str) -> Extent | str:
    """Return the extent of a quantity, or why it has none that a value can be compared with."""
    answer = reply.result
    if not isinstance(answer, Answer):
        return f"{answer.kind}: {answer.message}"
    cases = answer.of(quantity)
    if len(cases) != 1:
        names = ", ".join(str(case) for case, _ in cases)
        return f"it has a value for each of {names}, and the record one value"
    (_, extent) = cases[0]
    if extent.value is None or extent.absent is not None:
        return f"absent: {extent.absent}"
    return extent


def _chance(one: AskedOf, replies: Replies) -> float | str:
    """Return the expanded uncertainty in the analysis' unit, or why there is none."""
    if one.chance is None:
        return one.no_chance or "it is not asked"
    extent = _extent(replies[one.chance], one.pair.quantity)
    if isinstance(extent, str):
        return extent
    if extent.low is None or extent.high is None:
        return extent.unproved or "it has no slope"
    return K * (extent.high - extent.low) / (2.0 * STEP)


class _Found:
    """Turns numbers of an analysis into the unit of the measured value."""

    def __init__(self, one: AskedOf, units: Units, least_k: Fraction) -> None:
        field = None if one.spec is None else one.spec.field(one.pair.quantity)
        assert field is not None
        self._measured = one.pair.measured
        self._from, self._to, self._units = field.unit, self._measured.value.unit, units
        self._half = half_width(self._measured, self._to, units, least_k)
        self._stated = half_width(self._measured, self._to, units, Fraction(K))

    def _in(self, value: float) -> Fraction:
        return self._units.convert_number(Fraction(value), self._from, self._to)

    def place(self, extent: Extent) -> Prediction:
        """Return the range and how the measured value stands to it."""
        assert extent.value is not None
        proved = extent.proved_low is not None and extent.proved_high is not None
        low, high = extent.low, extent.high
        if proved:
            low, high = extent.proved_low, extent.proved_high
        # Without a spread it is one number, and there is nothing to be proved.
        ends = (extent.value if low is None else low, extent.value if high is None else high)
        sure = proved or low is None
        x, y = self._measured.value.number, self._in(extent.value)
        below, above = sorted(self._in(end) for end in ends)
        return Prediction(
            value=float(y),
            low=float(below),
            high=float(above),
            proved=sure,
            difference=float(x - y),
            place=place(x, y, below, above),
            standing=standing(x, self._half, below, above)
            if sure and self._half is not None
            else None,
        )

    def with_error(self, found: Prediction, chance: float | str) -> Prediction:
        """Return it with the normalised error, or why there is none."""
        if not found.proved:
            return replace(found, no_error=_SEARCHED)
        if isinstance(chance, str):
            return replace(found, no_error=chance)
        assert found.value is not None
        assert self._stated is not None
        # A difference has no zero of its own, as a temperature has.
        expanded = abs(self._in(chance) - self._in(0.0))
        x = self._measured.value.number
        y = Fraction(found.value)
        error = normalised_error(x, self._stated, y, expanded)
        return replace(found, expanded=float(expanded), normalised_error=error)
