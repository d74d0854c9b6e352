"""The unit of a difference of two values."""

from __future__ import annotations


def difference_unit(unit: str | None) -> str | None:
    """Return the unit of a difference of two such values: K for degC, dB for any level."""
    if unit == "degC":
        return "K"
    if unit is not None and unit.startswith("dB") and unit != "dB/deg":
        return "dB"
    return unit
