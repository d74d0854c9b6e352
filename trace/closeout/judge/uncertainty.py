"""Expanded uncertainties at the project's coverage factor (JCGM 100:2008, 6.2)."""

from __future__ import annotations

from fractions import Fraction

from closeout.measure import Units
from closeout.model.amount import Measured


def half_width(measured: Measured, unit: str, units: Units, least: Fraction) -> Fraction | None:
    """Return the expanded uncertainty of a value as a difference in a unit; None without any.

    U is k u, so one that was stated with a lesser k than the project's is raised in proportion. A
    greater one is used: who stated it may have had few degrees of freedom (Annex G there).

    Raises:
        UnitError: it cannot be the distance from the value.
    """
    if measured.uncertainty is None:
        return None
    return units.tolerance(measured.value, measured.uncertainty, unit) * times_of(measured, least)


def used(measured: Measured, least: Fraction) -> str | None:
    """Return the uncertainty that was used and its k, in words; None without any."""
    if measured.exact is not None:
        return f"none, it is exact: {measured.exact}"
    if measured.uncertainty is None or measured.k is None:
        return None
    stated = f"{measured.uncertainty} (k = {float(measured.k):g})"
    times = times_of(measured, least)
    if times == 1:
        return stated
    number = float(measured.uncertainty.number * times)
    raised = f"{number:.6g} {measured.uncertainty.unit}".strip()
    return f"{raised} (k = {float(least):g}), raised from {stated}"


def times_of(measured: Measured, least: Fraction) -> Fraction:
    """Return by what an uncertainty is raised to be at the project's coverage factor."""
    return Fraction(1) if measured.k is None else max(Fraction(1), least / measured.k)
