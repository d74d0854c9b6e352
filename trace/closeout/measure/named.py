"""The units that authors import by name from ``closeout.units``."""

from __future__ import annotations


def importable() -> dict[str, str]:
    """Return the unit, as text, of each name that authors import from ``closeout.units``."""
    from closeout import units

    return {
        name: mark.text
        for name, named in vars(units).items()
        for mark in getattr(named, "__metadata__", ())
    }
