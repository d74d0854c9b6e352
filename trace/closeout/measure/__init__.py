"""What a unit text means, and exact conversion between units.

``Units`` reads texts as ``W h``, ``dB(W/m^2)`` or ``%/month`` and converts amounts in fractions.
Nothing outside an allow-list of symbols is a unit, so that a typing error is refused instead of
read as something else.
"""

from closeout.measure.scale import Scale, UnitError
from closeout.measure.units import Units

__all__ = ["Scale", "UnitError", "Units"]
