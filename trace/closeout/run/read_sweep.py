"""``NAME=FROM..TO``: the values of a sweep, read against the project; all mistakes at once."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import floor, log10

from closeout.graph import Index
from closeout.graph.inputs import spread_text
from closeout.graph.links import stated
from closeout.graph.new_findings import alike
from closeout.graph.rests import rests_on
from closeout.measure import UnitError, Units
from closeout.model.amount import Amount, AmountError, read_amount
from closeout.model.errors import Mistake
from closeout.model.records import Parameter
from closeout.model.sweep import MOST_POINTS, USUAL_POINTS, SweepAxis, Tried

FORM = "write NAME=FROM..TO, as pressure_threshold=45kPa..58kPa"
MOST_AXES = 2
# Values between the ends are decimals this fine, as a share of a step.
_FINE = 100
_COUNTED = ("", "1", "count")


@dataclass(frozen=True, slots=True)
class _Ends:
    """A parameter and the two ends of a sweep, as amounts, in rising order."""

    parameter: Parameter
    low: Amount
    high: Amount


def read_sweep(
    texts: Sequence[str],
    points: str | None,
    taken: Collection[str],
    index: Index,
    units: Units,
    wrong: list[Mistake],
) -> tuple[SweepAxis, ...]:
    """Return the axes of a sweep; mistakes are added to ``wrong``.

    Args:
        points: how many values there are to be: a number for each axis, or one for all
        taken: parameters that are set otherwise
    """
    if not texts:
        return ()
    before = len(wrong)
    if len(texts) > MOST_AXES:
        said = f"a sweep over {len(texts)} parameters is no picture that anybody reads"
        wrong.append((said, "name one or two, and set the others with --set"))
    found = [_ends(text, index, units, wrong) for text in texts]
    names = [one.parameter.id for one in found if one is not None]
    wrong += [
        (f"{name} is swept twice", "name each parameter once")
        for name in dict.fromkeys(names)
        if names.count(name) > 1
    ]
    wrong += [
        (f"--set {name}: the sweep sets {name}", "leave out one of the two")
        for name in dict.fromkeys(names)
        if name in taken
    ]
    counts = _counts(points, len(texts), wrong)
    if len(wrong) > before:
        return ()
    axes = [one for one in found if one is not None]
    return tuple(_axis(one, count, index, units) for one, count in zip(axes, counts, strict=True))


def _counts(points: str | None, axes: int, wrong: list[Mistake]) -> tuple[int, ...]:
    if points is None:
        return (USUAL_POINTS.get(axes, 2),) * axes
    said, cure = f"--points {points}", "write a number from 2, as 21; for two parameters also 21,5"
    parts = [part.strip() for part in points.split(",")]
    numbers = [int(part) for part in parts if part.isascii() and part.isdigit() and len(part) < 9]
    if len(numbers) != len(parts) or len(parts) not in (1, axes):
        wrong.append((f"{said}: no number of points for {_of(axes)}", cure))
        return (2,) * axes
    counts = tuple(numbers) * (axes if len(numbers) == 1 else 1)
    if min(counts) < 2:
        wrong.append((f"{said}: the two ends are two points at the least", cure))
    whole = 1
    for count in counts:
        whole *= count
    if whole > MOST_POINTS:
        most = MOST_POINTS if axes == 1 else floor(MOST_POINTS**0.5)
        text = f"{said}: {whole} points, more than the {MOST_POINTS} that a sweep takes"
        wrong.append((text, f"take at most {most}{' for each' if axes > 1 else ''}"))
    return counts


def _of(axes: int) -> str:
    return "one parameter" if axes == 1 else f"{axes} parameters"


def _ends(text: str, index: Index, units: Units, wrong: list[Mistake]) -> _Ends | None:
    name, equals, values = (part.strip() for part in text.partition("="))
    parts = [part.strip() for part in values.split("..")]
    if not equals:
        wrong.append((f"{text}: no =", FORM))
        return None
    parameter = stated(name, index)
    if parameter is None:
        known = [*index.parameters, *index.linked]
        near = alike(name, known, index.renamed.get("parameters", {}))
        cure = f"did you mean {near}?" if near else "name a parameter of the project"
        wrong.append((f"{text}: there is no parameter {name}", cure))
    elif not rests_on(name, index):
        wrong.append((f"{text}: no requirement rests on {name}", _taken_instead(name, index)))
    if len(parts) != 2 or not all(parts) or "..." in values:
        wrong.append((f"{text}: no two ends with .. between them", FORM))
        return None
    if parameter is None:
        return None
    amounts = [_amount(text, part, parameter, units, wrong) for part in parts]
    low, high = amounts
    if low is None or high is None:
        return None
    return _in_order(text, parameter, low, high, units, wrong)


def _taken_instead(name: str, index: Index) -> str:
    """Return which parameters a verification by analysis does rest on."""
    known = [one for one in (*index.parameters, *index.linked) if rests_on(one, index)]
    near = alike(name, known, {})
    if near:
        return f"did you mean {near}?"
    return (
        f"sweep one of {', '.join(known)}"
        if known
        else "see closeout lint: no verification can be asked"
    )


def _amount(
    text: str, part: str, parameter: Parameter, units: Units, wrong: list[Mistake]
) -> Amount | None:
    unit = parameter.value.unit
    try:
        amount = read_amount(part)
        if not amount.unit and unit == "count":  # what is counted needs no unit to be understood
            amount = read_amount(f"{part} {unit}")
        units.nearest(amount, unit)
    except AmountError as error:
        wrong.append((f"{text}: {error.message}", error.cure))
    except UnitError as error:
        wrong.append((f"{text}: {error.message}", error.cure))
    else:
        return amount
    return None


def _in_order(
    text: str, parameter: Parameter, low: Amount, high: Amount, units: Units, wrong: list[Mistake]
) -> _Ends | None:
    first, last = (units.convert(one, parameter.value.unit) for one in (low, high))
    name = parameter.id
    if first == last:
        cure = f"give two ends that differ; closeout verify --set '{name}={low}' judges one value"
        wrong.append((f"{text}: both ends are the same value", cure))
    elif first > last:
        cure = f"write '{name}={high}..{low}'"
        wrong.append((f"{text}: the first end is above the second", cure))
    else:
        return _Ends(parameter, low, high)
    return None


def _axis(ends: _Ends, count: int, index: Index, units: Units) -> SweepAxis:
    """Return the values between two ends, in the unit of the first, both ends as they are written.

    Those between are decimals, so that each can be written behind ``--set`` as it was tried; they
    are off the even spacing by less than a hundredth of a step.
    """
    parameter, unit = ends.parameter, ends.low.unit
    low, high = ends.low.number, units.convert(ends.high, unit)
    linked = index.linked.get(parameter.id)
    whole = _is_whole(ends)
    if whole:
        count = min(count, int(high - low) + 1)
    step = (high - low) / (count - 1)
    inner = [low + step * place for place in range(1, count - 1)]
    digits = 0 if whole else max(0, -floor(log10(step / _FINE)))
    tried = [
        Tried(ends.low.text, low),
        *(_between(number, digits, unit) for number in inner),
        Tried(ends.high.text, high),
    ]
    if linked is not None:
        return SweepAxis(
            parameter.id, unit, tuple(tried), f"as {linked.link} finds it", None, whole
        )
    spread, now = spread_text(parameter.spread), units.convert(parameter.value, unit)
    declared = f"{parameter.value.text} ({spread})" if spread else parameter.value.text
    return SweepAxis(parameter.id, unit, tuple(tried), declared, now, whole)


def _between(number: Fraction, digits: int, unit: str) -> Tried:
    power = 10**digits
    scaled = round(number * power)
    sign, size = ("-" if scaled < 0 else ""), f"{abs(scaled):0{digits + 1}d}"
    text = f"{sign}{size[: len(size) - digits]}"
    if digits and (rest := size[len(size) - digits :].rstrip("0")):
        text += f".{rest}"
    return Tried(f"{text} {unit}".strip(), Fraction(scaled, power))


def _is_whole(ends: _Ends) -> bool:
    """Return whether a parameter is a count: it and both ends are whole, and written so."""
    value, spread = ends.parameter.value, ends.parameter.spread
    amounts = [value, ends.low, ends.high, *(spread.range or ())]
    amounts += [amount for _, amount in spread.tolerance]
    if spread.sigma is not None or any(one.unit not in _COUNTED for one in amounts):
        return False
    return all(one.number.denominator == 1 and "." not in one.text for one in amounts)
