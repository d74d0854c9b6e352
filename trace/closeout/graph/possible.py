"""What a parameter can be at all, whatever its tolerance: as far as name and unit tell."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction

from closeout.measure import UnitError, Units
from closeout.measure.scale import LINEAR, POINT, RATIO
from closeout.model.inputs_used import InputUsed
from closeout.model.records import Parameter

# A plain number with one of these words in its name is from 0 to 1.
OF_A_WHOLE = frozenset({"probability", "share", "fraction"})


def possible_ends(
    inputs: Iterable[InputUsed], parameters: Mapping[str, Parameter], units: Units
) -> dict[str, tuple[float | None, float | None]]:
    """Return the least and the greatest possible value of inputs, in the units of the analysis.

    A probability, share or fraction is from 0 to 1, and no temperature below 0 K; of other inputs
    nothing is known, and they are left out. None where there is no such end.
    """
    found = {}
    for used in inputs:
        own = parameters[used.name].value.unit if used.name in parameters else used.unit
        ends = _ends(used, own, units)
        if ends != (None, None):
            found[used.name] = ends
    return found


def _ends(used: InputUsed, own: str, units: Units) -> tuple[float | None, float | None]:
    try:
        scale = units.scale(used.unit)
        # A number of kelvin may be a difference, unless the project gives it on a scale.
        if POINT in (scale.kind, units.scale(own).kind):
            return float(units.convert_number(Fraction(0), "K", used.unit)), None
    except UnitError:
        return None, None  # reported at its own place
    is_ratio = (scale.dimension, scale.kind) == (RATIO, LINEAR)
    if is_ratio and OF_A_WHOLE & set(used.name.lower().split("_")):
        return 0.0, float(1 / scale.factor)
    return None, None
