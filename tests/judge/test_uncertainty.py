"""Expanded uncertainties at the project's coverage factor.

U = k u: JCGM 100:2008, 6.2.1. The numbers of the first test are those of the worked example H.1 of
that guide (calibration of an end gauge): u = 32 nm; with k = 2.92 for 99 % and 16 degrees of
freedom U = 93 nm (H.1.6). The others are worked out by hand. The projects are invented.
"""

from __future__ import annotations

from math import isclose

import pytest

from closeout.model.dossier import Evidence, State
from tests.graph.projects import Built, build, requirement, requirements, result

MET, NOT_MET, WAITS = State.MET, State.NOT_MET, State.OPEN


def judged(measured: str, limit: str, policy: str = "") -> Evidence:
    charter = "project:\n  name: Lantern (invented)\n  reviews: [PDR, CDR, AR]\n"
    charter += f"  policy: {policy}\n" if policy else ""
    text = requirements(
        requirement("R-1", f"method: test, quantity: x, {limit}, records: [T-1]")
    ) + (
        "records: [{id: T-1, method: test, date: 2026-01-01, judged: {R-1: A},"
        f" measured: {{x: {measured}}}}}]\n"
    )
    built: Built = build(text, charter=charter, clean=True)
    return result(built.judge(), "R-1").evidence[0]


@pytest.mark.parametrize(
    ("stated", "policy", "half"),
    [
        ("32 nm (k = 1)", "", 64),
        ("32 nm (k = 1)", "{coverage_factor: 2.92}", 93.44),
        ("93 nm (k = 2.92)", "", 93),
        ("93 nm (k = 2.92)", "{coverage_factor: 2.92}", 93),
        ("93 nm (k = 2.92)", "{coverage_factor: 1}", 93),
        ("64 nm (k = 2)", "", 64),
        ("32 nm (k = 1)", "{coverage_factor: 1}", 32),
    ],
)
def test_a_lesser_coverage_factor_raises_the_uncertainty(
    stated: str, policy: str, half: float
) -> None:
    # The length is 838 nm beyond 50 mm (the same example); the limits are ours.
    entry = judged(f"838 nm +/- {stated}", "at_most: 1000 nm", policy)
    assert entry.low is not None
    assert entry.high is not None
    assert isclose(entry.high - 838, half)
    assert isclose(838 - entry.low, half)


@pytest.mark.parametrize(
    ("measured", "limit", "state"),
    [
        ("57.1 W h +/- 0.4 W h (k = 2)", "at_least: 56.7 W h", MET),
        ("57.1 W h +/- 0.4 W h (k = 1)", "at_least: 56.7 W h", WAITS),
        ("57.1 W h +/- 0.4 W h (k = 1)", "at_least: 56.3 W h", MET),
        ("57.1 W h +/- 0.4 W h (k = 3)", "at_least: 56.7 W h", MET),
        ("57.1 W h +/- 0.4 W h (k = 1.6)", "at_least: 56.6 W h", MET),  # 0.5 W h exactly
        ("57.1 W h +/- 0.4 W h (k = 1.6)", "at_least: 56.6000001 W h", WAITS),
        ("56.2 W h +/- 0.4 W h (k = 2)", "at_least: 56.7 W h", NOT_MET),
        # Told as undecided, and never as met.
        ("56.2 W h +/- 0.4 W h (k = 1)", "at_least: 56.7 W h", WAITS),
    ],
)
def test_verdicts_rest_on_the_uncertainty_that_was_used(
    measured: str, limit: str, state: State
) -> None:
    assert judged(measured, limit).state is state


@pytest.mark.parametrize(
    ("measured", "told"),
    [
        ("57.1 W h +/- 0.4 W h (k = 2)", "0.4 W h (k = 2)"),
        ("57.1 W h +/- 0.4 W h (k = 1)", "0.8 W h (k = 2), raised from 0.4 W h (k = 1)"),
        ("57.1 W h +/- 0.6 W h (k = 3)", "0.6 W h (k = 3)"),
        ("57.1 W h +/- 1 % (k = 1)", "2 % (k = 2), raised from 1 % (k = 1)"),
        ("{value: 57 W h, exact: Only whole ones are counted.}",
         "none, it is exact: Only whole ones are counted."),
    ],
)  # fmt: skip
def test_what_was_used_is_told(measured: str, told: str) -> None:
    assert judged(measured, "at_least: 50 W h").uncertainty == told


def test_what_was_counted_is_held_to_the_limit_itself() -> None:
    for count, state in ((12, MET), (11, NOT_MET)):
        entry = judged(f"{{value: {count}, exact: Each has its number.}}", "at_least: 12")
        assert (entry.state, entry.low, entry.high) == (state, count, count)
