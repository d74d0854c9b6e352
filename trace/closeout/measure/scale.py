"""The meaning of a unit text, the refusal of one, and names for dimensions."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from closeout.model.errors import UserError

LINEAR, POINT, LEVEL = "linear", "point", "level"

RATIO = "1"
TEMPERATURE = "temperature"
LEVEL_DIFFERENCE = "level difference"
LEVEL_OF = "level of "
# The reference bandwidth stands at the end of a level's dimension, in hertz.
IN_BAND = " in a band of "

# Names that readers know, beside the dimension itself. Some have two, as torque and energy.
QUANTITIES = {
    "1": "a plain number or ratio",
    "time^-1": "frequency or rate",
    "level difference": "a level difference or ratio",
    "length^2": "area",
    "length^3": "volume",
    "length time^-1": "speed",
    "length time^-2": "acceleration",
    "length mass time^-2": "force",
    "length^-1 mass time^-2": "pressure",
    "length^2 mass time^-2": "energy or torque",
    "length^2 mass time^-3": "power",
    "mass time^-3": "power per area",
    "length^-3 mass": "density",
    "time current": "electric charge",
    "current": "electric current",
    "length^2 mass time^-3 current^-1": "voltage",
    "length^2 mass time^-3 current^-2": "electric resistance",
    "length^-2 mass^-1 time^4 current^2": "capacitance",
    "length^2 mass time^-2 current^-2": "inductance",
    "length mass time^-3 current^-1": "electric field strength",
    "time^-1 data": "data rate",
    "time^-1 symbol": "symbol rate",
    "time^-1 angle": "angular rate",
}


class UnitError(UserError):
    """A unit text that cannot be read, or units that do not compare.

    ``message`` says what is wrong, ``cure`` what to write instead.
    """


@dataclass(frozen=True, slots=True)
class Scale:
    """What a unit text means: ``base = number * factor + offset``, in exact fractions.

    ``dimension`` is canonical: two units are comparable exactly where these are equal. ``kind`` is
    linear, point (degC, degF) or level (dBW, dBi, ...). ``difference`` is the dimension of a
    difference of two such values: of K for degC, of dB for a level, the same for a linear unit.
    The base is the coherent SI unit; of a level, the level to that unit (dBW, dBV, ...).
    """

    dimension: str
    factor: Fraction
    offset: Fraction
    kind: str
    difference: str


def named(dimension: str) -> str:
    """Return the name of a dimension's quantity: ``power``; the dimension where it has none."""
    core = dimension.removeprefix(LEVEL_OF)
    prefix = dimension[: len(dimension) - len(core)]
    core, band, width = core.partition(IN_BAND)
    return f"{prefix}{QUANTITIES.get(core, core)}{band}{width}"


def describe(dimension: str) -> str:
    """Return a dimension with the name of its quantity: ``power (length^2 mass time^-3)``."""
    core = dimension.removeprefix(LEVEL_OF)
    prefix = dimension[: len(dimension) - len(core)]
    core, band, width = core.partition(IN_BAND)
    name = QUANTITIES.get(core)
    shown = core if name is None else name if name.startswith("a ") else f"{name} ({core})"
    return f"{prefix}{shown}{band}{width}"
