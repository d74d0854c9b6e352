"""What an analysis takes: values and spreads of its arguments, in the units that it wants.

Order of precedence for a value: ``--set``, then the verification's ``given``, then the parameter.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase
from fractions import Fraction

from closeout.graph.bounds import as_double
from closeout.measure import Units
from closeout.model.amount import Amount
from closeout.model.dossier import InputUsed
from closeout.model.question import Argument
from closeout.model.records import BasisKind, Parameter, Policy, Side

# The worst case of a normal distribution is taken at three standard deviations: common practice,
# ECSS-Q-HB-30-01A works with the same figure.
SIGMAS = 3

Settings = Mapping[str, Amount]
_NO_POLICY = Policy()
_Ends = tuple[Fraction, Fraction]


@dataclass(frozen=True, slots=True)
class _Taken:
    """A value and its ends, with the text that it comes from."""

    origin: str
    text: str
    spread: str
    value: Fraction
    ends: _Ends | None


def input_of(
    argument: Argument,
    parameter: Parameter,
    given: Amount | Side | None,
    setting: Amount | None,
    kind: BasisKind,
    units: Units,
    policy: Policy = _NO_POLICY,
) -> InputUsed:
    """Return the input that an argument gets.

    A nominal basis leaves out what spreads about the value, but not the two ends of a condition.
    The contingency of an immature parameter moves its value and its ends, once.

    Raises:
        UnitError: an amount cannot be read in the argument's unit.
    """
    unit = argument.unit
    added = contingency_of(parameter, policy)
    taken = _taken(parameter, given, setting, unit, units, added)
    ends = taken.ends
    if kind is BasisKind.NOMINAL and not (taken.origin == "given" and isinstance(given, tuple)):
        ends = None
    return InputUsed(
        name=parameter.id,
        unit=unit,
        value=as_double(taken.value, unit),
        low=None if ends is None else as_double(ends[0], unit),
        high=None if ends is None else as_double(ends[1], unit),
        text=taken.text,
        spread=taken.spread,
        source=parameter.source,
        maturity=parameter.maturity,
        condition=parameter.condition,
        origin=taken.origin,
        contingency=_told(added, parameter, taken.origin),
    )


def _told(added: Added | None, parameter: Parameter, origin: str) -> str:
    if added is None or origin == "given":
        return ""
    if origin == "set":
        return "none, the value is set as it stands"
    return f"{added.direction} {added.amount} for {parameter.maturity}"


@dataclass(frozen=True, slots=True)
class Added:
    """What a project adds to an immature parameter, and to which side."""

    amount: Amount
    direction: str


def contingency_of(parameter: Parameter, policy: Policy) -> Added | None:
    """Return what the project's policy adds to a parameter of its maturity, None for nothing."""
    if parameter.condition or parameter.maturity is None:
        return None
    for one in policy.contingency:
        amount = dict(one.by_maturity).get(parameter.maturity)
        named = any(fnmatchcase(parameter.id, pattern) for pattern in one.parameters)
        if amount is not None and named:
            return Added(amount, one.direction)
    return None


def ends_of(
    parameter: Parameter, unit: str, units: Units, value: Amount | None = None
) -> tuple[Fraction, Fraction] | None:
    """Return the ends of a parameter's declared spread in a unit; None where it has none.

    They are about its own value, or about the ``value`` to which a what-if moves it.

    Raises:
        UnitError: an amount cannot be read in the unit.
    """
    if value is None or value is parameter.value:
        return _ends(parameter, parameter.value, unit, units, Fraction(0))
    moved = units.convert(value, unit) - units.convert(parameter.value, unit)
    return _ends(parameter, value, unit, units, moved)


def _taken(
    parameter: Parameter,
    given: Amount | Side | None,
    setting: Amount | None,
    unit: str,
    units: Units,
    added: Added | None,
) -> _Taken:
    value, spread = units.convert(parameter.value, unit), spread_text(parameter)
    if setting is not None:
        # As it stands, so that a counterexample is found again where it was found.
        moved, ends = units.convert(setting, unit), ends_of(parameter, unit, units, setting)
        return _Taken("set", setting.text, spread, moved, ends)
    if isinstance(given, tuple):
        low, high = sorted(units.convert(end, unit) for end in given)
        text = f"{given[0].text} to {given[1].text}"
        return _Taken("given", text, "", min(max(value, low), high), (low, high))
    if given is not None:
        return _Taken("given", given.text, "", units.convert(given, unit), None)
    ends = ends_of(parameter, unit, units)
    if added is not None:
        grown = _grown(parameter.value, added, unit, units)
        value, ends = value + grown, _moved(ends, grown)
    return _Taken("parameter", parameter.value.text, spread, value, ends)


def _grown(value: Amount, added: Added, unit: str, units: Units) -> Fraction:
    grown = units.tolerance(value, added.amount, unit)
    return grown if added.direction == "up" else -grown


def _moved(ends: _Ends | None, by: Fraction) -> _Ends | None:
    return None if ends is None else (ends[0] + by, ends[1] + by)


def _ends(
    parameter: Parameter, value: Amount, unit: str, units: Units, moved: Fraction
) -> _Ends | None:
    """Return the ends of a parameter's spread about a value; None where it has none.

    A range stays where a what-if has moved the value inside of it, and keeps its distances where
    the value leaves it.
    """
    spread = parameter.spread
    if spread.range is not None:
        low, high = (units.convert(end, unit) for end in spread.range)
        leaves = not low <= units.convert(value, unit) <= high
        return (low + moved, high + moved) if leaves else (low, high)
    # Parts of a tolerance act together on the bad side: ECSS-Q-HB-30-01A, extreme value.
    parts = [units.tolerance(value, amount, unit) for _, amount in spread.tolerance]
    if spread.sigma is not None:
        parts = [SIGMAS * units.tolerance(value, spread.sigma, unit)]
    if not parts:
        return None
    middle, half = units.convert(value, unit), sum(parts[1:], parts[0])
    return middle - half, middle + half


def spread_text(parameter: Parameter) -> str:
    """Return a parameter's spread as it was written: ``+/- 10 uA``, ``3.20 A h to 3.45 A h``."""
    spread = parameter.spread
    if spread.range is not None:
        return f"{spread.range[0].text} to {spread.range[1].text}"
    if spread.sigma is not None:
        return f"sigma {spread.sigma.text}"
    parts = [
        f"{amount.text} ({name})" if name else amount.text for name, amount in spread.tolerance
    ]
    return "+/- " + " + ".join(parts) if parts else ""
