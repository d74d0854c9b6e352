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
from closeout.model.criterion import Condition
from closeout.model.inputs_used import InputUsed
from closeout.model.question import Argument
from closeout.model.records import BasisKind, Parameter, Policy, Spread
from closeout.model.setting import Setting

# The worst case of a normal distribution is taken at three standard deviations: common practice,
# ECSS-Q-HB-30-01A works with the same figure.
SIGMAS = 3

Settings = Mapping[str, Setting]
_NO_POLICY = Policy()
_NO_SPREAD = Spread()
_Ends = tuple[Fraction, Fraction]


@dataclass(frozen=True, slots=True)
class _Taken:
    """A value and its ends, with the text that it comes from.

    ``side`` is True of a range that is a condition: its ends stand whatever the basis is.
    ``spread`` is what spreads the value beside that. ``amounts`` are those that someone wrote.
    """

    origin: str
    text: str
    value: Fraction
    ends: _Ends | None
    spread: Spread = _NO_SPREAD
    side: bool = False
    amounts: tuple[Amount, ...] = ()


def input_of(
    argument: Argument,
    parameter: Parameter,
    given: Condition | None,
    setting: Setting | None,
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
    ends = None if kind is BasisKind.NOMINAL and not taken.side else taken.ends
    value = as_double(taken.value, unit)
    low, high = (None, None) if ends is None else (as_double(end, unit) for end in ends)
    written = ((as_double(units.convert(one, unit), unit), one.text) for one in taken.amounts)
    return InputUsed(
        name=parameter.id,
        unit=unit,
        value=value,
        low=low,
        high=high,
        text=taken.text,
        spread=spread_text(taken.spread),
        # The source has never said what a what-if sets.
        source=None if taken.origin == "set" else parameter.source,
        maturity=parameter.maturity,
        condition=parameter.condition,
        origin=taken.origin,
        contingency=_contingency_text(added, parameter, taken.origin),
        side=taken.side,
        sigmas=_sigmas(taken, parameter),
        amounts=tuple(pair for pair in written if pair[0] in (value, low, high)),
        record=parameter.record if parameter.link and taken.origin == "parameter" else None,
    )


def _sigmas(taken: _Taken, parameter: Parameter) -> float | None:
    if taken.spread.sigma is not None:
        return SIGMAS
    is_own = bool(taken.spread) and taken.spread is parameter.spread
    return float(parameter.coverage) if is_own and parameter.coverage is not None else None


def _contingency_text(added: Added | None, parameter: Parameter, origin: str) -> str:
    if added is None or origin == "given":
        return ""
    if origin == "set":
        return "none added: value set by --set"
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
    parameter: Parameter, unit: str, units: Units, setting: Setting | None = None
) -> _Ends | None:
    """Return the ends of a parameter's spread in a unit; None where it has none.

    The declared spread is about its own value, or about the one to which a what-if moves it; one
    that the what-if says takes its place.

    Raises:
        UnitError: an amount cannot be read in the unit.
    """
    if setting is None:
        return _ends(parameter.spread, parameter.value, unit, units, Fraction(0))
    value = value_of(parameter, setting, units)
    if setting.spread is not None:
        return _ends(setting.spread, value, unit, units, Fraction(0))
    moved = units.convert(value, unit) - units.convert(parameter.value, unit)
    return _ends(parameter.spread, value, unit, units, moved)


def value_of(parameter: Parameter, setting: Setting | None, units: Units) -> Amount:
    """Return a parameter's value, or the one to which a what-if sets it.

    Where that says two ends only, it is the parameter's own value, or the nearer end.

    Raises:
        UnitError: the ends cannot be read in the parameter's unit.
    """
    if setting is None:
        return parameter.value
    if setting.value is not None:
        return setting.value
    own, unit = parameter.value, parameter.value.unit
    low, high = setting.ends
    if own.number < units.convert(low, unit):
        return low
    return high if own.number > units.convert(high, unit) else own


def _taken(
    parameter: Parameter,
    given: Condition | None,
    setting: Setting | None,
    unit: str,
    units: Units,
    added: Added | None,
) -> _Taken:
    if setting is not None:
        return _set(parameter, given, setting, unit, units)
    value = units.convert(parameter.value, unit)
    if given is not None:
        low, *rest = sorted(units.convert(end, unit) for end in given.ends)
        if not rest:
            return _Taken("given", str(given), low, None, amounts=given.ends)
        middle, side = min(max(value, low), rest[0]), (low, rest[0])
        return _Taken("given", str(given), middle, side, side=True, amounts=given.ends)
    ends = ends_of(parameter, unit, units)
    if added is not None:
        grown = _grown(parameter.value, added, unit, units)
        value, ends = value + grown, _moved(ends, grown)
    amounts = (parameter.value, *(parameter.spread.range or ()))
    return _Taken("parameter", parameter.value.text, value, ends, parameter.spread, amounts=amounts)


def _set(
    parameter: Parameter, given: Condition | None, setting: Setting, unit: str, units: Units
) -> _Taken:
    """Return a value as it is set, without a contingency: what is found at it is found again."""
    value, ends = value_of(parameter, setting, units), ends_of(parameter, unit, units, setting)
    spread = parameter.spread if setting.spread is None else setting.spread
    text = value.text if spread else setting.text
    # In place of a condition that is given, a range is one as well.
    side = given is not None and setting.spread is not None and bool(setting.spread)
    amounts = (value, *(spread.range or ()))
    return _Taken("set", text, units.convert(value, unit), ends, spread, side, amounts)


def _grown(value: Amount, added: Added, unit: str, units: Units) -> Fraction:
    grown = units.tolerance(value, added.amount, unit)
    return grown if added.direction == "up" else -grown


def _moved(ends: _Ends | None, by: Fraction) -> _Ends | None:
    return None if ends is None else (ends[0] + by, ends[1] + by)


def _ends(spread: Spread, value: Amount, unit: str, units: Units, moved: Fraction) -> _Ends | None:
    """Return the ends of a spread about a value; None where it has none.

    A range stays where a what-if has moved the value inside of it, and keeps its distances where
    the value leaves it.
    """
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


def spread_text(spread: Spread) -> str:
    """Return a spread as it was written: ``+/- 10 uA``, ``3.20 A h to 3.45 A h``."""
    if spread.range is not None:
        return f"{spread.range[0].text} to {spread.range[1].text}"
    if spread.sigma is not None:
        return f"sigma {spread.sigma.text}"
    parts = [
        f"{amount.text} ({name})" if name else amount.text for name, amount in spread.tolerance
    ]
    return "+/- " + " + ".join(parts) if parts else ""
