"""An analysis over a box: on numbers, on ranges at a point, on ranges over parts of the box.

Each evaluation is made once, and counted. An arithmetic that gives no answer for a part of the box
(:class:`Open`) may give one for a smaller part; what no smaller part would help is
:class:`Unprovable`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from itertools import islice
from math import ceil, isfinite
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

from closeout import Absent
from closeout.arithmetic.code.reached import NotAllowed
from closeout.arithmetic.gradient.gradient import Gradient
from closeout.arithmetic.interval import interval
from closeout.arithmetic.interval.interval import Interval, TooLong
from closeout.arithmetic.proof.sides import Region, Sides
from closeout.arithmetic.types import At, Box, Evaluate, Key, Point
from closeout.arithmetic.undecided import Undecided, Undefined, watched

if TYPE_CHECKING:
    from closeout.arithmetic.recorded.replay import Formula

T = TypeVar("T", Point, Region)

# Operations on ranges in one evaluation. A closed form has some hundreds; a march has more than
# this, and its bounds would burst long before its end.
MOST_OPERATIONS = 20_000
# Points of the box, beside the inputs, at which ranges are compared with numbers.
COMPARED = 8
# Work of all quantities one by one, in evaluations of all together, up to which that is done.
MOST_SHARES = 3.0
# Nodes of a formula among which it is looked for inputs that move together.
MOST_NODES = 2000


class Unprovable(Exception):
    """Nothing can be proved of any quantity; says why."""


class Open(NamedTuple):
    """An evaluation on a part of the box that came to no end; a smaller part may.

    ``sides`` numbers the sides that it depends on, empty where that is not known.
    """

    reason: str
    sides: frozenset[int]


# What ranges gave at a point or over a part of the box: of one quantity, or (None) of all.
Results = dict[tuple[T, Key | None], Mapping[Key, Any] | Open]


class Field:
    """An analysis over a box: evaluated on numbers, on ranges at a point and on parts of the box.

    Each evaluation is made once. It answers for every quantity, until the analysis is known as a
    formula that is defined over the whole box: then one that answers for a single quantity is
    enough, and counts as the share of the work that it is. ``failed`` has the reasons why a
    quantity cannot be proved, ``defined`` is set where all of the analysis is.
    """

    def __init__(
        self, evaluate: Evaluate, inputs: Mapping[str, float], box: Box, keys: Collection[Key]
    ) -> None:
        self.names = tuple(name for name, low, high in box if low < high)
        self.whole: Region = tuple((low, high) for _, low, high in box if low < high)
        fixed = {name: low for name, low, high in box if low == high}
        self.keys = tuple(keys)
        self.inputs = {**inputs, **fixed}
        self.failed: dict[Key, str] = {}
        self._spent = 0.0
        self.nominal: Point = tuple(self.inputs[name] for name in self.names)
        self._evaluate = evaluate
        self._given = dict(inputs)
        self._order = tuple(name for name, _, _ in box)
        self._quantities = {quantity for quantity, _ in keys}
        self._seen: dict[tuple[Key, float], tuple[float, Point]] = {}
        self._numbers: dict[Point, Mapping[Key, float]] = {}
        self._ranges: Results[Point] = {}
        self._slopes: Results[Region] = {}
        self._formula: Formula | None = None
        self.defined = False
        self._bundled: dict[Key, Sides | None] = {}
        self.sides = Sides(self.names, self.whole, self.nominal)

    @property
    def evaluations(self) -> int:
        """How many evaluations of the whole analysis were made, or their work was spent."""
        return ceil(self._spent - 1e-9)

    @property
    def alive(self) -> list[Key]:
        """The quantities and cases that nothing speaks against so far."""
        return [key for key in self.keys if key not in self.failed]

    def at(self, point: Point) -> At:
        """Return the arguments that differ from the inputs at a point."""
        values = {**self.inputs, **dict(zip(self.names, point, strict=True))}
        return tuple(
            (name, values[name]) for name in self._order if values[name] != self._given[name]
        )

    def best(self, key: Key, sign: float) -> float:
        """Return the highest number seen, the lowest for a sign of -1, times the sign."""
        return self._seen[key, sign][0]

    def seen(self, key: Key, sign: float) -> tuple[float, Point]:
        """Return the highest (lowest for -1) number seen, and where."""
        value, point = self._seen[key, sign]
        return sign * value, point

    def numbers(self, point: Point) -> Mapping[Key, float]:
        """Return the values on plain numbers, and take note of them if they are of the box.

        Raises:
            Unprovable: the analysis raises an error there, or has other cases.
        """
        if point not in self._numbers:
            try:
                found = self._call(dict(zip(self.names, point, strict=True)))
            except MemoryError:
                raise
            except Exception as error:
                raise Unprovable(f"{_message(error)}, at {shown(self.at(point))}") from error
            self._take(point, found)
            self._numbers[point] = found
        return self._numbers[point]

    def _look_for_formula(self) -> None:
        """Take the analysis for a formula, where that gives the very same ranges and slopes.

        Many quantities that share most of their work are better evaluated together.
        """
        # Most proofs end before they need this (``evaluate/forking.py``).
        from closeout.arithmetic.recorded.replay import formula_of

        self.defined = False  # to be asked once
        formula = formula_of(self._evaluate, self.inputs, self.names)
        if formula is None or sum(map(formula.share, self.alive)) > MOST_SHARES:
            return
        seen: list[tuple[Mapping[str, Any], Mapping[Key, Any] | Open]] = [
            (self.sides.ranges(point), found)
            for (point, _), found in islice(self._ranges.items(), COMPARED + 1)
        ]
        seen.append((self.sides.gradients(self.whole), self._slopes[self.whole, None]))
        if all(_is_alike(formula, arguments, found) for arguments, found in seen):
            self._formula = formula

    def bundled(self, key: Key) -> Sides | None:
        """Return sides along which inputs of a quantity move together; None where none do."""
        if self.defined:
            self._look_for_formula()
        if key not in self._bundled:
            self._bundled[key] = self._looked_for(key)
        return self._bundled[key]

    def _looked_for(self, key: Key) -> Sides | None:
        nodes = [] if self._formula is None else self._formula.nodes(key)
        if self._formula is None or not nodes or len(nodes) > MOST_NODES:
            return None
        from closeout.arithmetic.proof.bundles import bundles

        node_values = self._formula.node_values(key, self.sides.gradients(self.whole))
        found = bundles(nodes, dict(enumerate(node_values)), self.names)
        return Sides(self.names, self.whole, self.nominal, found) if found else None

    def ranges(
        self, point: Point, key: Key | None = None, sides: Sides | None = None
    ) -> Mapping[Key, Any] | Open:
        """Return the values at a point as intervals that hold the rounding of the formula.

        With a key, at least that quantity's is there; else all are. The point is one of the sides,
        by default of those that are an input each.
        """
        found = _known(self._ranges, point, key)
        if found is None:
            arguments = (sides or self.sides).ranges(point)
            found = self._on_ranges(self._ranges, point, arguments, key)
        return found

    def slopes(
        self, region: Region, key: Key | None = None, sides: Sides | None = None
    ) -> Mapping[Key, Any] | Open:
        """Return the values over a part of the box, with their slopes along its sides.

        Key and sides as for :meth:`ranges`.
        """
        found = _known(self._slopes, region, key)
        if found is None:
            arguments = (sides or self.sides).gradients(region)
            found = self._on_ranges(self._slopes, region, arguments, key)
        return found

    def _call(self, arguments: Mapping[str, Any], key: Key | None = None) -> dict[Key, Any]:
        if self._formula is not None and key is not None:
            self._spent += self._formula.share(key)
            return {key: self._formula.value(key, arguments)}
        self._spent += 1.0
        found = self._evaluate({**self.inputs, **arguments})
        found = {key: value for key, value in found.items() if key[0] in self._quantities}
        if differ := sorted(_name(key) for key in found.keys() ^ set(self.keys)):
            raise Unprovable(
                f"the cases at a point differ from those required: {', '.join(differ)}"
            )
        return found

    def _take(self, point: Point, found: Mapping[Key, float]) -> None:
        inside = all(low <= x <= high for x, (low, high) in zip(point, self.whole, strict=True))
        for key, value in found.items():
            if isinstance(value, Absent):
                self.failed.setdefault(key, f"absent at {shown(self.at(point))}: {value.reason}")
            elif not (isinstance(value, (float, int)) and isfinite(value)):
                self.failed.setdefault(key, f"it is {value!r}, at {shown(self.at(point))}")
            elif inside:
                for sign in (-1.0, 1.0):
                    if (key, sign) not in self._seen or sign * value > self._seen[key, sign][0]:
                        self._seen[key, sign] = sign * value, point

    def _on_ranges(
        self, results: Results[T], place: T, arguments: Mapping[str, Any], key: Key | None
    ) -> Mapping[Key, Any] | Open:
        """Evaluate, and keep what was found: of the key where that is less than all."""
        found = self._evaluated(arguments, key)
        results[place, key if self._formula is not None else None] = found
        return found

    def _evaluated(self, arguments: Mapping[str, Any], key: Key | None) -> Mapping[Key, Any] | Open:
        """Return each value as an interval, a gradient, or one that may not exist.

        Raises:
            Unprovable: smaller ranges would not help.
        """
        try:
            with interval.limited(MOST_OPERATIONS), watched() as dropped:
                found = self._call(arguments, key)
        except (MemoryError, Unprovable):
            raise
        except TooLong as error:
            raise Unprovable(error.reason) from error
        except NotAllowed as error:
            raise Unprovable(str(error)) from error
        except Undecided as error:
            return Open(error.reason, error.sides)
        except Exception as error:
            raise Unprovable(f"it does not take ranges: {_message(error)}") from error
        if dropped:
            return Open(*dropped[0])
        return {key: _ranged(value) for key, value in found.items()}


def _is_alike(
    formula: Formula, arguments: Mapping[str, Any], found: Mapping[Key, Any] | Open
) -> bool:
    """Return whether a formula gives at some arguments what the analysis gave."""
    if isinstance(found, Open):
        return False
    try:
        again = {key: _ranged(formula.value(key, arguments)) for key in found}
    except MemoryError:
        raise
    except (Exception, Undecided):
        return False
    return repr(again) == repr(dict(found))


def _known(results: Results[T], place: T, key: Key | None) -> Mapping[Key, Any] | Open | None:
    """Return what is known of all quantities, or of one."""
    found = results.get((place, None))
    return results.get((place, key)) if found is None and key is not None else found


def _ranged(value: Any) -> Any:
    """Return a value of a result as a range."""
    if isinstance(value, (Interval, Gradient, Undefined)):
        return value
    if isinstance(value, Absent):
        return Undefined(f"absent somewhere: {value.reason}")
    if isinstance(value, (float, int)) and isfinite(value):
        return interval.point(value)
    return Undefined(f"it is {value!r}"[:200])


def _message(error: BaseException) -> str:
    return f"{type(error).__name__}: {error}"[:300]


def shown(at: At) -> str:
    return ", ".join(f"{name} = {value!r}" for name, value in at) or "the inputs"


def _name(key: Key) -> str:
    quantity, case = key
    return quantity if case is None else f"{quantity}[{case}]"
