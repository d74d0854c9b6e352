"""Exact conversion of amounts between units."""

from __future__ import annotations

import re
from fractions import Fraction

from closeout.measure.mismatch import mismatch
from closeout.measure.reading import read
from closeout.measure.scale import LEVEL, LEVEL_DIFFERENCE, LINEAR, POINT, RATIO, Scale, UnitError
from closeout.model.amount import NUMBER, Amount, shorten


class Units:
    """Reads unit texts and converts amounts; every result is an exact fraction.

    Two things are irrational and cut after 60 digits, far below a double's: pi (deg against rad)
    and the logarithm of a level's reference where that is no power of ten.
    """

    def __init__(self) -> None:
        self._scales: dict[str, Scale | UnitError] = {}
        self._steps: dict[tuple[str, str], tuple[Fraction, Fraction]] = {}

    def scale(self, unit: str) -> Scale:
        """Return what a unit text means.

        Raises:
            UnitError: it is no unit that this tool reads; the cure is what to write.
        """
        found = self._scales.get(unit)
        if found is None:
            found = self._scales[unit] = _read(unit)
        if isinstance(found, UnitError):
            raise UnitError(found.message, found.cure)
        return found

    def convert(self, amount: Amount, unit: str) -> Fraction:
        """Return the number of an amount in another unit, as a value: 20 degC is 293.15 K.

        Raises:
            UnitError: a text is no unit, or the two do not compare.
        """
        return self._convert(amount.number, amount.unit, unit, amount.text)

    def convert_number(self, number: Fraction, from_unit: str, to_unit: str) -> Fraction:
        """Return a number of one unit in another, as a value; raises as :meth:`convert`."""
        return self._convert(number, from_unit, to_unit, from_unit)

    def conversion(self, from_unit: str, to_unit: str) -> tuple[Fraction, Fraction]:
        """Return factor and offset from one unit to another; raises as :meth:`convert`."""
        known = self._steps.get((from_unit, to_unit))
        return self._step(from_unit, to_unit, from_unit) if known is None else known

    def nearest(self, amount: Amount, unit: str) -> float:
        """Return the double nearest to the converted amount, rounded once.

        Raises:
            UnitError: as :meth:`convert`; or the number is beyond the doubles.
        """
        try:
            return float(self.convert(amount, unit))
        except OverflowError:
            raise UnitError(
                f"{shorten(amount.text)} is too large a number in {shorten(unit)}",
                "write a number below 1e300, or a larger unit",
            ) from None

    def convert_difference(self, amount: Amount, unit: str, of: Fraction) -> Fraction:
        """Return a tolerance, a within or an uncertainty of the value ``of`` (in ``unit``).

        The result is in ``unit``, of which ``unit`` must be the one in which the author wrote the
        value (see :meth:`tolerance` for another). A tolerance in % or ppm is a share of the
        value's magnitude, also where the value is a plain number: 0.9 with 1 % is 0.009 wide. Only
        where the value is written in the same % or ppm is it absolute: 90 % with 1 % is one
        percentage point. A level, a number of dB or a temperature in degC takes a difference (dB,
        K) and no share.

        Raises:
            UnitError: a text is no unit, the two do not compare, or the tolerance is written as a
                level or a point (``1 dBW``, ``2 degC``).
        """
        target = self.scale(unit)
        spread = self.scale(amount.unit)
        if _is_share(amount.unit, spread) and not (_is_share(unit, target) and spread == target):
            return _share_of(amount, spread, unit, target, of)
        if spread.kind != LINEAR:
            raise _no_difference(amount, spread)
        if spread.dimension != target.difference:
            raise mismatch(amount.text, amount.unit, spread, unit, target, difference=True)
        return self._scaled(amount.number, amount.unit, unit)

    def tolerance(self, value: Amount, tolerance: Amount, unit: str) -> Fraction:
        """Return the tolerance of a value as a difference in ``unit``.

        It is read against the value as it was written, so that ``90 % +/- 1 %`` is one point (0.01)
        also where ``unit`` is a plain number. Raises as :meth:`convert_difference`.
        """
        half_width = self.convert_difference(tolerance, value.unit, value.number)
        self.convert(value, unit)
        return self._scaled(half_width, value.unit, unit)

    def _scaled(self, number: Fraction, source: str, target: str) -> Fraction:
        """Return a difference in another unit; most stay in theirs, and fractions are slow."""
        if source == target:
            return number
        return number * (self.scale(source).factor / self.scale(target).factor)

    def _convert(self, number: Fraction, source: str, target: str, shown: str) -> Fraction:
        step = self._steps.get((source, target))
        if step is None:
            step = self._step(source, target, shown)
        ratio, shift = step
        if ratio != 1:
            number = number * ratio
        return number + shift if shift else number

    def _step(self, source: str, target: str, shown: str) -> tuple[Fraction, Fraction]:
        """Return ratio and shift from one unit to another, and keep them."""
        one, other = self.scale(source), self.scale(target)
        if one.dimension != other.dimension:
            raise mismatch(shown, source, one, target, other)
        step = (one.factor / other.factor, (one.offset - other.offset) / other.factor)
        self._steps[source, target] = step
        return step


def _is_share(unit: str, scale: Scale) -> bool:
    return scale.dimension == RATIO and ("%" in unit or "ppm" in unit)


def _share_of(amount: Amount, share: Scale, unit: str, target: Scale, of: Fraction) -> Fraction:
    logarithmic = target.kind == LEVEL or target.dimension == LEVEL_DIFFERENCE
    if logarithmic or target.kind != LINEAR:
        raise UnitError(
            f"{shorten(amount.text)} of a value in {unit} has no meaning",
            f"write the tolerance as a difference, in {'dB' if logarithmic else 'K'}",
        )
    return abs(of) * amount.number * share.factor


def _no_difference(amount: Amount, spread: Scale) -> UnitError:
    """A tolerance that is written as a level or as a point on a scale."""
    number = re.match(NUMBER, amount.text)
    wanted = "K" if spread.kind == POINT else "dB"
    cure = f"write {number[0] if number else amount.number} {wanted}"
    if spread.factor != 1:
        cure = f"write the difference in K: one {amount.unit} is {spread.factor} K"
    return UnitError(
        f"{shorten(amount.text)} is no difference: {amount.unit} is "
        f"{'a point on a scale' if spread.kind == POINT else 'a level'}",
        cure,
    )


def _read(unit: str) -> Scale | UnitError:
    try:
        return read(unit)
    except UnitError as error:
        return error
