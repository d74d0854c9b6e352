"""Functions of the literature: proofs hold known minima, and searches come to most of them."""

import numpy as np
import pytest

from closeout.arithmetic.proof import worst
from closeout.arithmetic.proof.bound import prove
from closeout.model.answer import Assurance, Bounds, Sought
from tests.arithmetic.literature import KNOWN, Known

Y = ("y", None)
# What the search stops above, from inputs at 0.37 of each side: the bottom is one of many alike, or
# too narrow to be met with.
MISSED = {"drop wave", "Easom", "Michalewicz 5", "Schwefel"}
each = pytest.mark.parametrize("known", KNOWN, ids=[known.name for known in KNOWN])


def box_of(known):
    names = [f"x{i}" for i in range(len(known.box))]
    sides = tuple((n, float(a), float(b)) for n, (a, b) in zip(names, known.box, strict=True))
    return {n: low + 0.37 * (high - low) for n, low, high in sides}, sides


def on_ranges(known):
    return lambda point: {Y: known.function(list(point.values()))}


def on_numbers(known):
    return lambda point: {Y: known.function([float(value) for value in point.values()])}


def scale(known: Known) -> float:
    return max(1.0, abs(known.least))


@each
def test_what_is_known_is_what_scipy_finds(known):
    from scipy.optimize import minimize

    def function(x):
        return known.function([float(value) for value in x])

    assert function(known.at) == pytest.approx(known.least, abs=2e-4 * scale(known))
    found = minimize(function, known.at, method="L-BFGS-B", bounds=known.box,
                     options={"ftol": 1e-15, "gtol": 1e-10})  # fmt: skip
    assert found.fun == pytest.approx(known.least, abs=2e-6 * scale(known))
    random = np.random.default_rng(7)  # nothing that was drawn is below it
    low, high = np.array(known.box).T
    drawn = low + random.random((3000, len(known.box))) * (high - low)
    assert min(map(function, drawn)) >= known.least - 2e-6 * scale(known)


@each
def test_no_proof_says_more_than_is_known(known):
    inputs, box = box_of(known)
    found = prove(on_ranges(known), inputs, box, [Y], budget=400).proved[Y]
    assert found.low <= known.least + 2e-6 * scale(known)
    assert found.seen_low >= known.least - 2e-6 * scale(known)
    assert found.low <= known.function(known.at) <= found.high


@each
def test_a_search_comes_to_what_is_known_or_is_known_not_to(known):
    inputs, box = box_of(known)
    found = worst.answer(on_numbers(known), inputs, box)
    extent = found.extents[Y]
    assert found.assurance is Assurance.SEARCHED
    assert extent.low >= known.least - 2e-6 * scale(known)
    assert (extent.low > known.least + 1e-3 * scale(known)) is (known.name in MISSED)
    assert found.evaluations < 1500


@pytest.mark.parametrize(
    "name", ["Booth", "Himmelblau", "Rosenbrock 2", "Rosenbrock 4", "Powell", "sphere", "Beale"]
)
def test_a_sum_of_squares_is_never_below_zero(name):
    """At once, whatever rounding does: each is a sum of squares, and a range holds its numbers."""
    known = next(known for known in KNOWN if known.name == name)
    inputs, box = box_of(known)
    for whole in (False, True):
        found = worst.answer(on_ranges(known), inputs, box, ["y"], [Sought("y", Bounds(0.0, None))],
                             whole)  # fmt: skip
        extent = found.extents[Y]
        assert extent.proved_low is not None
        assert extent.proved_low >= 0.0
    # A limit that is above it, be it by little, is not taken for met.
    limits = [Sought("y", Bounds(1e-9))]
    close = worst.answer(on_ranges(known), inputs, box, ["y"], limits, False,
                         evaluations=300).extents[Y]  # fmt: skip
    assert close.proved_low is not None
    assert close.proved_low < 1e-9
