"""Worst case with proof: bounds of each quantity that hold at every point of a box.

Branch and bound on interval arithmetic (R. E. Moore, R. B. Kearfott, M. J. Cloud, Introduction to
Interval Analysis, SIAM 2009, chapters 6 and 11; E. Hansen, G. W. Walster, Global Optimization Using
Interval Analysis, 2004). For each end of each quantity:

- monotonicity: a side of the box along which the derivative has one sign is fixed at the end where
  the extreme lies; a side without influence at the inputs;
- bound: the smaller one of the natural interval extension and of the centred form (mean value
  theorem) with interval derivatives;
- best first: the part of the box with the worst bound is halved, along the side that matters most,
  until the bound and the worst number that was seen are within the tolerance, or, where limits are
  told, the bounds meet all of them with most of the margin that there is;
- where that takes long, inputs that act through one value move together (``bundles``).

Nothing here is random, and no clock is read: the same question has the same answer.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from heapq import heappop, heappush
from itertools import islice
from math import ceil, inf, isfinite, nextafter
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

from closeout import Absent
from closeout.arithmetic import interval
from closeout.arithmetic.gradient import Gradient
from closeout.arithmetic.interval import Interval, TooLong
from closeout.arithmetic.reached import NotAllowed
from closeout.arithmetic.search import Box, Key
from closeout.arithmetic.sides import Point, Region, Sides
from closeout.arithmetic.undecided import NO_SIDES, Undecided, Undefined, watched
from closeout.model.answer import Limit

if TYPE_CHECKING:
    from closeout.arithmetic.replay import Formula

Evaluate = Callable[[Mapping[str, Any]], Mapping[Key, Any]]
At = tuple[tuple[str, float], ...]
T = TypeVar("T", Point, Region)

# Evaluations of the analysis for one call of `prove`, on numbers and on ranges together.
BUDGET = 4000
# Operations on ranges in one evaluation. A closed form has some hundreds; a march has more than
# this, and its bounds would burst long before its end.
MOST_OPERATIONS = 20_000
# So near the bound of an end that is zero has to come: in roundings of the formula, and as a share
# of the width of the quantity's range.
ROUNDINGS = 1e6
LEAST_OF_WIDTH = 1e-9
# Of an end, so much may be rounding where a bound passes for the number that was seen.
ATTAINED = 1e-12
# Points of the box, beside the inputs, at which ranges are compared with numbers.
COMPARED = 8
# Work of all quantities one by one, in evaluations of all together, up to which that is done.
MOST_SHARES = 3.0
# Nodes of a formula among which it is looked for inputs that move together.
MOST_NODES = 2000
# So much of a margin has to be proved where a limit is met: whoever reads the verdict reads the
# margin beside it, and the first bounds may leave next to nothing of a wide one.
SHARE_OF_MARGIN = 0.9
# Parts of the box after which it is worth while to look for a formula, and for inputs that move
# together.
BEFORE_BUNDLES = 8
# Parts of the box that cannot be evaluated, after which an end of a quantity is given up.
PATIENCE = 128
_GOLDEN = 0.6180339887498949


class Proved(NamedTuple):
    """Bounds of a quantity over a box: no point of it gives a value below low or above high.

    ``seen_low`` and ``seen_high`` are attained on plain numbers, at the points ``low_at`` and
    ``high_at`` (the arguments that differ from the inputs). ``low_tight`` and ``high_tight`` say
    whether the bounds are as near to them as was asked. ``decided`` is whether each bound was, or
    met all limits that were told with most of the margin, by the time at which a search for the
    limits ends; else the evaluations were used up, and a bound is valid but loose.
    ``low_rounding`` and ``high_rounding`` are what of the distance the rounding of the formula
    takes, at most, at that end: bounds no farther than this from what was seen are attained.
    """

    low: float
    high: float
    seen_low: float
    seen_high: float
    low_at: At
    high_at: At
    low_tight: bool
    high_tight: bool
    decided: bool
    low_rounding: float
    high_rounding: float

    @property
    def tight(self) -> bool:
        """Whether both bounds are."""
        return self.low_tight and self.high_tight


class Proofs(NamedTuple):
    """What was proved, and the reason for each quantity and case of which nothing was.

    ``of_limits`` where other limits might have ended the search elsewhere. It is False where every
    bound was tight before any part of the box was halved, whatever the limits are.
    """

    proved: Mapping[Key, Proved]
    unproved: Mapping[Key, str]
    evaluations: int
    of_limits: bool = False


def prove(
    evaluate: Evaluate,
    inputs: Mapping[str, float],
    box: Box,
    keys: Collection[Key],
    *,
    limits: Iterable[Limit] | None = None,
    whole: bool = False,
    tolerance: float = 1e-6,
    budget: int = BUDGET,
) -> Proofs:
    """Return bounds of each quantity and case over the whole box, or why there are none.

    The arithmetic is used only where it agrees with the number: at the inputs and at eight points
    of the box, its result has to hold the number's.

    Args:
        evaluate: returns the values by quantity and case; is called with numbers, intervals and
            gradients as arguments, and has to let them through.
        inputs: every argument, at its nominal value.
        box: name, low and high of the arguments that vary.
        keys: the quantities and cases to bound.
        limits: all that is to be decided, so that the search for an end is over where it is certain
            that it meets them, by nine tenths of the margin that was seen or more; None where the
            ends themselves are wanted.
        whole: go on to the ends once the limits are decided, with as many evaluations again, so
            that this never knows less than a search for the limits alone.
        tolerance: how far a bound may be from what was seen, as a share of the end's value.
        budget: evaluations, over all keys; what one has left over others get.
    """
    field = _Field(evaluate, inputs, box, keys)
    ends: list[_End] = []
    try:
        ends += _opened(field, tolerance, None if limits is None else list(limits))
        _search(ends, field, budget)
        decided = {end.key for end in ends} - {end.key for end in ends if not end.done}
        if limits is not None and whole:
            for end in ends:
                end.limits = None
            _search(ends, field, field.evaluations + budget)
    except _Unprovable as stop:
        reasons = dict.fromkeys(field.keys, str(stop))
        return Proofs({}, reasons, field.evaluations, _of_limits(ends))
    return _proofs(field, ends, decided)


def _proofs(field: _Field, ends: list[_End], decided: Collection[Key]) -> Proofs:
    """Return what the searches for all ends came to."""
    pairs = {low.key: (low, high) for low, high in zip(ends[::2], ends[1::2], strict=True)}
    results = {
        key: field.failed[key]
        if key in field.failed
        else _result(field, *pairs[key], key in decided)
        for key in field.keys
    }
    return Proofs(
        {key: found for key, found in results.items() if isinstance(found, Proved)},
        {key: found for key, found in results.items() if isinstance(found, str)},
        field.evaluations,
        _of_limits(ends),
    )


def _search(ends: list[_End], field: _Field, last: int) -> None:
    """Search for each end with its share of the evaluations that are left."""
    for _ in range(2):  # what the first have left over, the last get; then the other way
        todo = [end for end in ends if not end.done]
        for i, end in enumerate(todo):
            end.run((last - field.evaluations) // (len(todo) - i))


def _of_limits(ends: Iterable[_End]) -> bool:
    """Return whether a limit might have ended a search that was begun."""
    return any(end.begun and not end.at_once for end in ends)


class _Unprovable(Exception):
    """Nothing can be proved of any quantity; says why."""


class _Open(NamedTuple):
    """An evaluation on a part of the box that came to no end; a smaller part may.

    ``sides`` numbers the sides that it depends on, empty where that is not known.
    """

    reason: str
    sides: frozenset[int]


# What ranges gave at a point or over a part of the box: of one quantity, or (None) of all.
_Kept = dict[tuple[T, Key | None], Mapping[Key, Any] | _Open]


class _Field:
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
        self._told = dict(inputs)
        self._order = tuple(name for name, _, _ in box)
        self._quantities = {quantity for quantity, _ in keys}
        self._seen: dict[tuple[Key, float], tuple[float, Point]] = {}
        self._numbers: dict[Point, Mapping[Key, float]] = {}
        self._ranges: _Kept[Point] = {}
        self._slopes: _Kept[Region] = {}
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
            (name, values[name]) for name in self._order if values[name] != self._told[name]
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
            _Unprovable: the analysis raises an error there, or has other cases.
        """
        if point not in self._numbers:
            try:
                found = self._call(dict(zip(self.names, point, strict=True)))
            except MemoryError:
                raise
            except Exception as error:
                raise _Unprovable(f"{_told(error)}, at {_shown(self.at(point))}") from error
            self._take(point, found)
            self._numbers[point] = found
        return self._numbers[point]

    def _look_for_formula(self) -> None:
        """Take the analysis for a formula, where that gives the very same ranges and slopes.

        Many quantities that share most of their work are better evaluated together.
        """
        # Workers fork fastest with few modules loaded, and most proofs end before they need this.
        from closeout.arithmetic.replay import formula_of

        self.defined = False  # to be asked once
        formula = formula_of(self._evaluate, self.inputs, self.names)
        if formula is None or sum(map(formula.share, self.alive)) > MOST_SHARES:
            return
        seen: list[tuple[Mapping[str, Any], Mapping[Key, Any] | _Open]] = [
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
        from closeout.arithmetic.bundles import bundles

        held = self._formula.held(key, self.sides.gradients(self.whole))
        found = bundles(nodes, dict(enumerate(held)), self.names)
        return Sides(self.names, self.whole, self.nominal, found) if found else None

    def ranges(
        self, point: Point, key: Key | None = None, sides: Sides | None = None
    ) -> Mapping[Key, Any] | _Open:
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
    ) -> Mapping[Key, Any] | _Open:
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
            raise _Unprovable(f"other cases at a point than asked for: {', '.join(differ)}")
        return found

    def _take(self, point: Point, found: Mapping[Key, float]) -> None:
        inside = all(low <= x <= high for x, (low, high) in zip(point, self.whole, strict=True))
        for key, value in found.items():
            if isinstance(value, Absent):
                self.failed.setdefault(key, f"absent at {_shown(self.at(point))}: {value.reason}")
            elif not (isinstance(value, (float, int)) and isfinite(value)):
                self.failed.setdefault(key, f"it is {value!r}, at {_shown(self.at(point))}")
            elif inside:
                for sign in (-1.0, 1.0):
                    if (key, sign) not in self._seen or sign * value > self._seen[key, sign][0]:
                        self._seen[key, sign] = sign * value, point

    def _on_ranges(
        self, kept: _Kept[T], place: T, arguments: Mapping[str, Any], key: Key | None
    ) -> Mapping[Key, Any] | _Open:
        """Evaluate, and keep what was found: of the key where that is less than all."""
        found = self._evaluated(arguments, key)
        kept[place, key if self._formula is not None else None] = found
        return found

    def _evaluated(
        self, arguments: Mapping[str, Any], key: Key | None
    ) -> Mapping[Key, Any] | _Open:
        """Return each value as an interval, a gradient, or one that may not exist.

        Raises:
            _Unprovable: smaller ranges would not help.
        """
        try:
            with interval.limited(MOST_OPERATIONS), watched() as dropped:
                found = self._call(arguments, key)
        except (MemoryError, _Unprovable):
            raise
        except TooLong as error:
            raise _Unprovable(error.reason) from error
        except NotAllowed as error:
            raise _Unprovable(str(error)) from error
        except Undecided as error:
            return _Open(error.reason, error.sides)
        except Exception as error:
            raise _Unprovable(f"it does not take ranges: {_told(error)}") from error
        if dropped:
            return _Open(*dropped[0])
        return {key: _ranged(value) for key, value in found.items()}


def _is_alike(
    formula: Formula, arguments: Mapping[str, Any], found: Mapping[Key, Any] | _Open
) -> bool:
    """Return whether a formula gives at some arguments what the analysis gave."""
    if isinstance(found, _Open):
        return False
    try:
        again = {key: _ranged(formula.value(key, arguments)) for key in found}
    except MemoryError:
        raise
    except (Exception, Undecided):
        return False
    return repr(again) == repr(dict(found))


def _known(kept: _Kept[T], place: T, key: Key | None) -> Mapping[Key, Any] | _Open | None:
    """Return what is known of all quantities, or of one."""
    found = kept.get((place, None))
    return kept.get((place, key)) if found is None and key is not None else found


def _ranged(value: Any) -> Any:
    """Return a value of a result as a range."""
    if isinstance(value, (Interval, Gradient, Undefined)):
        return value
    if isinstance(value, Absent):
        return Undefined(f"absent somewhere: {value.reason}")
    if isinstance(value, (float, int)) and isfinite(value):
        return interval.point(value)
    return Undefined(f"it is {value!r}"[:200])


def _told(error: BaseException) -> str:
    return f"{type(error).__name__}: {error}"[:300]


def _shown(at: At) -> str:
    return ", ".join(f"{name} = {value!r}" for name, value in at) or "the inputs"


def _name(key: Key) -> str:
    quantity, case = key
    return quantity if case is None else f"{quantity}[{case}]"


# Before ranges are trusted.


def _opened(field: _Field, tolerance: float, limits: list[Limit] | None) -> list[_End]:
    """Return the ends of each quantity for which ranges agree with numbers: low, high, low, ..."""
    field.numbers(field.nominal)
    root = field.slopes(field.whole)  # first, since what takes no ranges mostly fails here, early
    points = _probes(field.whole)
    _agreement(field, [field.nominal, *points])
    if not isinstance(root, _Open):
        _check_slopes(field, root, points)
        field.defined = True
    ends = []
    for key in field.alive:
        about = None if limits is None else [one for one in limits if one.quantity == key[0]]
        ends += [_End(field, key, sign, tolerance, about) for sign in (-1.0, 1.0)]
    return ends


def _probes(whole: Region) -> list[Point]:
    """Return eight points of the box: two opposite corners, and six spread inside."""
    found = [tuple(low for low, _ in whole), tuple(high for _, high in whole)]
    for k in range(1, COMPARED - 1):
        # Multiples of the golden ratio fill a line evenly; each side has steps of its own.
        shares = ((0.5 + k * (i + 1) * _GOLDEN) % 1.0 for i in range(len(whole)))
        found.append(
            tuple(
                min(max(low + share * (high - low), low), high)
                for share, (low, high) in zip(shares, whole, strict=True)
            )
        )
    return found


def _agreement(field: _Field, points: Iterable[Point]) -> None:
    """Compare ranges with numbers.

    Raises:
        _Unprovable: ranges cannot be evaluated even at a point.
    """
    for point in points:
        numbers, ranges = field.numbers(point), field.ranges(point)
        if isinstance(ranges, _Open):
            raise _Unprovable(f"{ranges.reason}, at {_shown(field.at(point))}")
        for key in field.alive:
            held, number = ranges[key], numbers[key]
            if isinstance(held, Undefined):
                field.failed[key] = f"{held.reason}, at {_shown(field.at(point))}"
            elif not held.low <= number <= held.high:
                field.failed[key] = (
                    f"ranges do not agree with numbers: {held} on ranges, {number!r} on numbers, "
                    f"at {_shown(field.at(point))}"
                )


def _check_slopes(field: _Field, root: Mapping[Key, Any], points: list[Point]) -> None:
    """Compare the slopes with the differences of numbers, by the mean value theorem."""
    base, *others = points
    for key in field.alive:
        if not isinstance(root[key], Gradient):
            continue
        for point in others:
            there = _by_slopes(root[key], base, point, field.numbers(base)[key])
            here = _held(field, point, key)
            if here is not None and not (there[0] <= here.high and here.low <= there[1]):
                field.failed[key] = (
                    f"slopes do not agree with numbers: from {there[0]!r} to {there[1]!r} by "
                    f"slopes, {here} itself, at {_shown(field.at(point))}"
                )
                break


def _held(field: _Field, point: Point, key: Key) -> Interval | None:
    found = field.ranges(point)
    value = None if isinstance(found, _Open) else found[key]
    return value if isinstance(value, Interval) else None


def _by_slopes(value: Gradient, base: Point, point: Point, number: float) -> tuple[float, float]:
    """Return where the value at a point must lie, from the number at another and the slopes."""
    low = high = spare = number
    for i, (down, up) in value.slopes.items():
        step = point[i] - base[i]
        ends = (down * step, up * step) if step else (0.0, 0.0)
        low, high = low + min(ends), high + max(ends)
        spare = max(abs(spare), abs(low), abs(high), abs(value.value.low), abs(value.value.high))
    # A check, and no part of the proof: what rounding may do is taken amply.
    return low - 1e-9 * abs(spare), high + 1e-9 * abs(spare)


# One end of one quantity.


class _End:
    """The search for the upper end of a quantity times a sign: -1 for its lower end.

    What is proved of faces and centred forms speaks of real values. How far a number may be from
    the real value is added: as much as the range at the face's or the centre's point is wide.
    """

    def __init__(
        self, field: _Field, key: Key, sign: float, tolerance: float, limits: list[Limit] | None
    ) -> None:
        self.key = key
        self.sign = sign
        self.reason: str | None = None
        self.begun = self.at_once = False
        self._known = (inf, inf)
        self.limits = limits
        self._field = field
        self._sides = field.sides
        self._tolerance = tolerance
        self._heap: list[tuple[float, int, Region, int | None, float]] = []
        self._made = 0
        self._open = 0
        self._looked_for_bundles = False

    @property
    def bound(self) -> float:
        """The upper bound of the quantity times the sign; infinite before the search.

        The least that was ever proved: smaller parts may round worse.
        """
        return self._known[0]

    @property
    def noise(self) -> float:
        """How far a number may be from the real value where the bound is reached."""
        return self._known[1]

    @property
    def tight(self) -> bool:
        """Whether the bound is as near to what was seen as was asked.

        Relative to the end itself: a wide range must not hide a limit near one end of it. An end
        near zero has no relative distance. There its rounding says how large the terms of the
        formula are; and where the number seen is zero itself, the width of the range does.
        """
        bound = self.bound
        high, low = self._field.best(self.key, self.sign), -self._field.best(self.key, -self.sign)
        enough = high + self._tolerance * abs(high)
        of_width = LEAST_OF_WIDTH * (high - low)
        if bound <= enough or bound > enough + of_width:
            return bound <= enough
        point = self._field.seen(self.key, self.sign)[1]
        noise = _width(self._value(self._field.ranges(point, self.key)))
        return high == 0.0 or bound <= enough + ROUNDINGS * noise

    @property
    def certain(self) -> bool:
        """Whether the bound meets each limit that was told, with most of the margin."""
        if self.limits is None or not isfinite(self.bound):
            return False
        return all(self._is_met(limit) for limit in self.limits)

    def _is_met(self, limit: Limit) -> bool:
        if limit.room is None:
            return False
        own = limit.at_most if self.sign > 0.0 else limit.at_least
        if own is None:
            return True
        margin = self.sign * own - self.bound
        seen = self.sign * own - self._field.best(self.key, self.sign)
        return margin >= limit.room and margin >= SHARE_OF_MARGIN * seen

    @property
    def done(self) -> bool:
        """Whether the search is over: the bound is tight, or meets its limits."""
        return self.tight or self.certain

    def run(self, evaluations: int) -> None:
        """Search until that is so, or the evaluations are used up."""
        last = self._field.evaluations + evaluations
        if not self._heap:
            self.begun = True
            self._add(self._sides.whole)
            self._note()
            self.at_once = self.tight
        while not self.done and self.key not in self._field.failed:
            if self._made >= BEFORE_BUNDLES and self._sides is self._field.sides:
                self._bundle()
            _, _, region, side, _ = self._heap[0]
            if side is None or self._open > PATIENCE or self._field.evaluations >= last:
                break
            heappop(self._heap)
            low, high = region[side]
            middle = low + 0.5 * (high - low)
            for part in ((low, middle), (middle, high)):
                self._add((*region[:side], part, *region[side + 1 :]))
            self._note()

    def _note(self) -> None:
        """Take in the bound of all parts that there are."""
        bound, *_, noise = self._heap[0]
        self._known = min(self._known, (-bound, noise))

    def _bundle(self) -> None:
        """Begin anew along fewer sides, once, where there are such."""
        if self._looked_for_bundles:
            return
        self._looked_for_bundles = True
        sides = self._field.bundled(self.key)
        if sides is not None:
            self._sides = sides
            self._heap.clear()
            self._add(sides.whole)

    def _add(self, region: Region) -> None:
        reach, region, side, point = self._examined(region)
        noise = inf if reach == inf else _width(self._at(point))
        bound = nextafter(reach + noise, inf) if noise else reach
        self._open += bound == inf
        self._made += 1
        heappush(self._heap, (-bound, self._made, region, side, noise))

    def _examined(self, region: Region) -> tuple[float, Region, int | None, Point]:
        """Return the bound over a region, its face with the extreme, and which side to halve.

        The last is a point of it, at which numbers and ranges are known.
        """
        while any(low < high for low, high in region):
            found = self._field.slopes(region, self.key, self._sides)
            value = found if isinstance(found, _Open) else found[self.key]
            if isinstance(value, (_Open, Undefined)):
                self.reason = value.reason
                return inf, region, self._widest(region, value.sides), ()
            if isinstance(value, Interval):
                value = Gradient(value, {})
            face = self._face(region, value)
            if face == region:
                return self._centred(region, value)
            region = face
        point = tuple(low for low, _ in region)
        self._field.numbers(self._sides.inputs(point))
        return self._upper(self._at(point)), region, None, point

    def _at(self, point: Point) -> Any:
        return self._value(self._field.ranges(point, self.key, self._sides))

    def _value(self, found: Mapping[Key, Any] | _Open) -> Any:
        value = Undefined(found.reason) if isinstance(found, _Open) else found[self.key]
        if isinstance(value, Undefined):
            self.reason = value.reason
        return value

    def _upper(self, value: Any) -> float:
        if isinstance(value, Undefined):
            return inf
        upper: float = value.high if self.sign > 0.0 else -value.low
        return upper

    def _face(self, region: Region, value: Gradient) -> Region:
        """Fix the sides along which the quantity runs one way, or does not depend."""
        fixed = []
        for i, (low, high) in enumerate(region):
            down, up = value.slopes.get(i, (0.0, 0.0))
            if self.sign < 0.0:
                down, up = -up, -down
            if low < high and down == up == 0.0:
                low = high = min(max(self._sides.at_inputs[i], low), high)
            elif low < high and (down >= 0.0 or up <= 0.0):
                low = high = high if down >= 0.0 else low
            fixed.append((low, high))
        return tuple(fixed)

    def _centred(self, region: Region, value: Gradient) -> tuple[float, Region, int | None, Point]:
        """Return the bound by natural extension or centred form, whichever is smaller."""
        centre = tuple(low + 0.5 * (high - low) for low, high in region)
        self._field.numbers(self._sides.inputs(centre))
        reach = self._upper(self._at(centre))
        smears: dict[int, float] = {}
        for i, (low, high) in enumerate(region):
            if low < high:
                down, up = value.slopes[i]
                away = nextafter(max(high - centre[i], centre[i] - low), inf)
                smears[i] = max(-down, up) * away
                reach = nextafter(reach + nextafter(smears[i], inf), inf)
        bound = min(self._upper(value.value), reach)
        if inf in smears.values():
            jumping = frozenset(i for i, smear in smears.items() if smear == inf)
            return bound, region, self._widest(region, jumping), centre
        order = sorted(smears, key=lambda i: -smears[i])
        side = next((i for i in order if _divisible(*region[i])), None)
        return bound, region, side, centre

    def _widest(self, region: Region, sides: frozenset[int] = NO_SIDES) -> int | None:
        """Return which side is the widest in shares of the box, of those given or of all."""
        shares = {
            i: (high - low) / (self._sides.whole[i][1] - self._sides.whole[i][0])
            for i, (low, high) in enumerate(region)
            if _divisible(low, high) and (not sides or i in sides)
        }
        return max(shares, key=lambda i: shares[i]) if shares else None


def _width(value: Any) -> float:
    return inf if isinstance(value, Undefined) else value.high - value.low


def _divisible(low: float, high: float) -> bool:
    return low < low + 0.5 * (high - low) < high


def _result(field: _Field, low: _End, high: _End, decided: bool) -> Proved | str:
    key = low.key
    if not (isfinite(low.bound) and isfinite(high.bound)):
        return low.reason or high.reason or "its bounds are not finite"
    (seen_low, low_at), (seen_high, high_at) = field.seen(key, -1.0), field.seen(key, 1.0)
    if seen_low < -low.bound or seen_high > high.bound:
        # Never seen; it would be an error of this arithmetic, which must not pass for a proof.
        return f"a number lies outside its bounds: {seen_low!r} to {seen_high!r}"
    return Proved(
        -low.bound,
        high.bound,
        seen_low,
        seen_high,
        field.at(low_at),
        field.at(high_at),
        low.tight,
        high.tight,
        decided,
        _rounding(low, seen_low),
        _rounding(high, seen_high),
    )


def _rounding(end: _End, seen: float) -> float:
    """Return how far a bound may be from what was seen for rounding alone.

    Nothing where rounding is no small part of the end: then what was not seen may lie beyond.
    """
    rounding = 4.0 * end.noise
    return rounding if rounding <= ATTAINED * abs(seen) else 0.0
