"""Evaluate an analysis for many samples at once, on NumPy arrays.

One call answers for a whole chunk of samples; there is no loop over samples. The arithmetic is used
only where the code that the samples reach is allowed (:mod:`closeout.arithmetic.code.allowed`) and
agrees with the plain number, compared at the first samples. Where it does not, or cannot be
evaluated at all (a branch on a value, a library that takes numbers only, other cases), the
evaluation falls back by itself to one call for each sample, of which there are only so many, and
says why it did. An error that a number would raise is reported as one, with its count; it never
passes as a NaN.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from typing import TYPE_CHECKING, Any

from closeout import Absent
from closeout.arithmetic.code.reached import NotAllowed, Watch, watched_by
from closeout.arithmetic.proof.search import OtherCases
from closeout.arithmetic.types import Evaluate, Key
from closeout.arithmetic.undecided import Undecided, watched

if TYPE_CHECKING:
    import numpy
    from numpy.typing import NDArray

    Array = NDArray[numpy.float64]
    Point = Mapping[str, float | Array]

# What is evaluated: a point of numbers or arrays in, the values of every quantity and case out.

# Samples in one call: arrays of 256 kB, a few of which fit in a second-level cache. Measured on
# link_margin by the benchmark: 16,384 to 65,536 are alike; 4096 and 10^6 take half as long again.
CHUNK = 32_768
# Samples at which the array is compared with the number: all of the first look at a probability.
COMPARED = 256
# NumPy's vector functions and libm differ by a few ulp, and a difference of large terms enlarges
# that; another formula, branch or row differs by far more. A share of the largest of them.
AGREEMENT = 1e-9
# Evaluations on numbers, where the arrays cannot be used.
MOST_NUMBERS = 10_000
# Calls spent on finding which samples of a chunk fail.
MOST_PROBES = 400


class SamplesFail(ArithmeticError):
    """The analysis raised an error, or gave no finite number, at some samples."""


class _Unfit(Exception):
    """Arrays cannot be used for this analysis; says why."""


class ArrayEvaluator:
    """Evaluates an analysis at samples, chunk after chunk, on arrays for as long as they fit.

    Args:
        evaluate: takes a point of numbers or of arrays and returns the values of every quantity and
            case. It has to let arrays through; what they hold is checked here.
        keys: the quantities and cases that are wanted. For each quantity all its cases, as they are
            at the inputs: an analysis that gives other ones at a sample is refused.
        most_numbers: how many evaluations on numbers there may be after a fall-back.

    ``fallback`` is why samples were evaluated one by one on numbers, else None; ``absent`` counts
    the samples at which a case has no value, both over everything evaluated so far;
    ``evaluations`` counts the calls.
    """

    def __init__(
        self, evaluate: Evaluate, keys: Collection[Key], *, most_numbers: int = MOST_NUMBERS
    ) -> None:
        # Enters the functions of closeout.math on arrays; heavy, so not at the top.
        from closeout.arithmetic.array import functions as array_functions
        from closeout.arithmetic.array import samples

        self.fallback: str | None = None
        self.absent: dict[Key, int] = {}
        self.evaluations = 0
        self._functions = array_functions
        self._samples = samples
        self._evaluate = evaluate
        # No comparison of samples is one answer, so all of them take one way through the code.
        self._on_samples = watched_by(Watch(), evaluate)
        self._keys = tuple(keys)
        self._left = most_numbers
        self._compared = False

    def at(self, inputs: Point) -> dict[Key, Array]:
        """Return the values at the samples of the inputs, each of shape (samples,).

        Arrays are of one length and one dimension; a number holds for every sample. After a
        fall-back the values may be of the first samples only, as many as the bound leaves.

        Raises:
            SamplesFail: samples raise an error or have no finite value; says how many, with the
                first of them and its error, which is the cause of this one.
            OtherCases: a sample has other cases than ``keys``.
            ValueError: the arrays are not of one length and dimension.
        """
        import numpy

        size = _size(inputs)
        parts = []
        for start in range(0, size, CHUNK):
            stop = min(start + CHUNK, size)
            parts.append(self._chunk(_part(inputs, start, stop), stop - start))
        return {
            key: numpy.concatenate([part[key] for part in parts]) if parts else numpy.empty(0)
            for key in self._keys
        }

    def _chunk(self, point: Point, size: int) -> Mapping[Key, Array]:
        # An array of one sample passes for a number: its truth value is no error.
        if self.fallback is None and size > 1:
            try:
                return self._on_arrays(point, size)
            except _Unfit as reason:
                self.fallback = str(reason)
        if self.fallback is None:
            return self._on_numbers(point, size)
        size = min(size, self._left)
        self._left -= size
        return self._on_numbers(_part(point, 0, size), size)

    # on arrays

    def _on_arrays(self, point: Point, size: int) -> Mapping[Key, Array]:
        try:
            values = self._call(point, size)
        except (FloatingPointError, self._functions.OutsideTable) as error:
            self._tell_failures(point, size, error)
        if not self._compared:
            self._compare(point, values, size)
            self._compared = True
        return values

    def _call(self, point: Point, size: int) -> dict[Key, Array]:
        """Return the values of one call on arrays.

        Raises:
            FloatingPointError, OutsideTable: some sample fails, as it seems.
            _Unfit: whatever else the call raised or returned, or what it did with samples.
        """
        self.evaluations += 1
        samples = {name: self._samples.guarded(value) for name, value in point.items()}
        evaluate = self._evaluate if self._compared else self._on_samples
        try:
            with self._functions.raising(), watched() as dropped:
                found = evaluate(samples)
                values = {key: _array(key, value, size) for key, value in self._pick(found)}
        except (FloatingPointError, self._functions.OutsideTable, MemoryError, _Unfit):
            raise
        except (NotAllowed, Undecided) as error:
            raise _Unfit(str(error)) from error
        except Exception as error:
            raise _Unfit(f"{type(error).__name__}: {error}") from error
        if dropped:
            raise _Unfit(dropped[0].reason)
        return values

    def _pick(self, found: Mapping[Key, Any]) -> list[tuple[Key, Any]]:
        quantities = {quantity for quantity, _ in self._keys}
        cases = {key for key in found if key[0] in quantities}
        if differ := sorted(f"{q}[{c}]" for q, c in cases ^ set(self._keys)):
            raise OtherCases(
                f"the cases at a sample differ from those at the inputs: {', '.join(differ)}"
            )
        return [(key, found[key]) for key in self._keys]

    def _compare(self, point: Point, values: Mapping[Key, Array], size: int) -> None:
        """Compare arrays with numbers at samples of the first chunk, evenly spread.

        Raises:
            _Unfit: they do not agree, or the numbers raise an error where the arrays do not.
        """
        count = min(COMPARED, size)
        chosen = [i * (size - 1) // (count - 1) for i in range(count)]
        numbers = []
        for i in chosen:
            try:
                numbers.append(self._number(point, i))
            except MemoryError:
                raise
            except (Exception, Undecided) as error:
                message = f"{type(error).__name__}: {error}"
                raise _Unfit(f"numbers raise an error where arrays do not: {message}") from error
        for key in self._keys:
            expected = [one[key] for one in numbers]
            scale = max(abs(value) for value in expected)
            for i, value in zip(chosen, expected, strict=True):
                if not abs(float(values[key][i]) - value) <= AGREEMENT * scale:
                    got = f"{_shown(key)} is {float(values[key][i])!r} on an array"
                    raise _Unfit(f"arrays do not agree with numbers: {got}, {value!r} on a number")

    def _tell_failures(self, point: Point, size: int, seen: Exception) -> None:
        """Find the samples that fail by halving, replay them on numbers, and tell.

        Raises:
            SamplesFail: numbers fail too.
            _Unfit: numbers do not fail.
        """
        failures: list[tuple[int, Exception]] = []
        open_parts = [(0, size)]
        probes = 0
        while open_parts and probes < MOST_PROBES:
            start, stop = open_parts.pop()
            probes += 1
            if stop - start > 1:
                if self._fails(point, start, stop):
                    middle = (start + stop) // 2
                    open_parts += [(middle, stop), (start, middle)]
                continue
            try:
                self._number(point, start)
            except MemoryError:
                raise
            except Exception as error:
                failures.append((start, error))
        if not failures:
            message = f"{type(seen).__name__}: {seen}"
            raise _Unfit(f"arrays raise an error where numbers do not: {message}") from seen
        _raise_failures(point, failures, size, complete=not open_parts)

    def _fails(self, point: Point, start: int, stop: int) -> bool:
        try:
            self._call(_part(point, start, stop), stop - start)
        except (FloatingPointError, self._functions.OutsideTable):
            return True
        return False

    # on numbers

    def _number(self, point: Point, i: int) -> dict[Key, float]:
        """Return the values at one sample, evaluated on plain numbers."""
        self.evaluations += 1
        found = self._evaluate(_at(point, i))
        values = {}
        for key, value in self._pick(found):
            if not isinstance(value, Absent) and not math.isfinite(value):
                raise ValueError(f"{_shown(key)} is {value}")
            values[key] = value
        return values

    def _on_numbers(self, point: Point, size: int) -> Mapping[Key, Array]:
        import numpy

        values = {key: numpy.empty(size) for key in self._keys}
        failures: list[tuple[int, Exception]] = []
        for i in range(size):
            try:
                found = self._number(point, i)
            except (MemoryError, OtherCases):
                raise
            except Exception as error:
                failures.append((i, error))
                continue
            for key, value in found.items():
                values[key][i] = value
                if isinstance(value, Absent):
                    self.absent[key] = self.absent.get(key, 0) + 1
        if failures:
            _raise_failures(point, failures, size, complete=True)
        return values


def _raise_failures(
    point: Point, failures: list[tuple[int, Exception]], size: int, *, complete: bool
) -> None:
    first, error = failures[0]
    at = ", ".join(f"{name} = {value!r}" for name, value in _at(point, first).items())
    count = f"{'' if complete else 'at least '}{len(failures)} of {size} samples"
    message = f"{type(error).__name__}: {error}"
    raise SamplesFail(f"{count} cannot be evaluated. The first: {message}, at {at}") from error


def _size(inputs: Point) -> int:
    """Return the number of samples: the length of the arrays, 1 where there is none."""
    import numpy

    shapes = {v.shape for v in inputs.values() if isinstance(v, numpy.ndarray)} or {(1,)}
    if len(shapes) > 1 or any(len(shape) != 1 for shape in shapes):
        raise ValueError(f"samples are of the shapes {sorted(shapes)}, not of one length")
    return int(next(iter(shapes))[0])


def _part(inputs: Point, start: int, stop: int) -> Point:
    """Return some of the samples, read-only: `x += 1` on an argument must not change them."""
    import numpy

    part: dict[str, Any] = {}
    for name, value in inputs.items():
        part[name] = value
        if isinstance(value, numpy.ndarray):
            part[name] = value[start:stop]
            part[name].flags.writeable = False
    return part


def _at(point: Point, i: int) -> dict[str, float]:
    """Return one sample as plain numbers."""
    import numpy

    return {n: float(v[i]) if isinstance(v, numpy.ndarray) else v for n, v in point.items()}


def _array(key: Key, value: Any, size: int) -> Array:
    """Return a value of a result as a float array of the given size."""
    import numpy

    if isinstance(value, Absent):
        raise _Unfit(f"{_shown(key)} is absent")
    given = numpy.asarray(value)
    if given.dtype.kind not in "fiu":
        raise _Unfit(f"{_shown(key)} is {type(value).__name__} of {given.dtype}, not of numbers")
    if given.shape not in ((), (size,)):
        raise _Unfit(f"{_shown(key)} has the shape {given.shape}, not ({size},)")
    if not numpy.isfinite(given).all():
        raise FloatingPointError(f"{_shown(key)} is not finite")
    return numpy.array(numpy.broadcast_to(given, (size,)), dtype=numpy.float64)


def _shown(key: Key) -> str:
    quantity, case = key
    return quantity if case is None else f"{quantity}[{case}]"
