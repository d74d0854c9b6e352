"""Probabilities of a false and of a missed wake-up, against handbooks, scipy and enumeration."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import binom

from analyses.physics import voting
from analyses.wake_probability import DATA, WakeProbability, read_rates, wake_probability

# Of the demonstration mission, invented.
NOMINAL = {
    "hold_duration": 28.0,
    "trigger_sampling_period": 0.5,
    "trigger_samples": 5.0,
    "failure_rate_factor": 1.0,
    "common_cause_share": 0.05,
    "reading_error": 1e-8,
    "reading_error_persistence": 0.3,
    "disturbance_share": 0.01,
    "shaken_time": 60.0,
    "ascent_reading_error": 1e-4,
    "ascent_sensor_failure": 1e-5,
}


def answer(**changed: float) -> WakeProbability:
    assert changed.keys() <= NOMINAL.keys()
    return wake_probability(**(NOMINAL | changed))


STILL = answer()


# Formulas ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("q", "expected"),
    [
        # Binomial tables, n = 3, two and more: three decimals printed (from memory).
        (0.1, 0.028),
        (0.2, 0.104),
        (0.3, 0.216),
        (0.4, 0.352),
        (0.5, 0.500),
        (0.9, 0.972),
        # 3 q^2 - 2 q^3 worked out: 3e-4 - 2e-6.
        (0.01, 2.98e-4),
    ],
)
def test_two_of_three_by_table(q: float, expected: float) -> None:
    assert voting.two_of_three(q) == pytest.approx(expected, rel=1e-12)


@given(q=st.floats(1e-9, 1.0))
def test_votes_by_scipy(q: float) -> None:
    """scipy.stats.binom."""
    assert voting.two_of_three(q) == pytest.approx(binom.sf(1, 3, q), rel=1e-9, abs=1e-15)
    assert voting.exactly_one_of_three(q) == pytest.approx(binom.pmf(1, 3, q), rel=1e-9, abs=1e-15)
    assert voting.one_of_two(q) == pytest.approx(binom.sf(0, 2, q), rel=1e-9, abs=1e-15)


def test_common_cause_by_the_beta_factor() -> None:
    """q = 0.01, beta = 5 %: 3 (0.0095)^2 - 2 (0.0095)^3 + 0.0005 = 7.690353e-4 (IEC 61508-6)."""
    assert voting.three_sensors(0.01, 0.05).two == pytest.approx(7.690353e-4, rel=1e-6)
    assert voting.wrong_vote(0.01, 0.05).sound == pytest.approx(7.690353e-4, rel=1e-6)


@given(q=st.floats(0.0, 0.5), share=st.floats(0.0, 1.0))
def test_the_additive_common_cause_is_an_upper_bound(q: float, share: float) -> None:
    """Of the union of two independent events, 1 - (1 - a)(1 - b)."""
    alone = (1.0 - share) * q
    union = 1.0 - (1.0 - binom.sf(1, 3, alone)) * (1.0 - share * q)
    assert voting.three_sensors(q, share).two >= union - 1e-12


def test_mean_over_an_interval_is_that_of_the_standard() -> None:
    """Simplified mean failure on demand (IEC 61508-6, from memory; the same five in a table of
    published manuals on safety systems): 1 of 1 x/2, 1 of 2 x^2/3, 2 of 2 x, 2 of 3 x^2 and with
    common cause beta x/2 on top, where x = rate times interval is small. A fail-to-act of 2 of 3
    takes two failures, of 1 of 2 two, of 2 of 2 one of two.
    """
    x = 1e-4

    def mean(of) -> float:  # type: ignore[no-untyped-def]
        return float(quad(lambda t: of(voting.failed_by(x, t)), 0.0, 1.0, epsabs=0.0)[0])

    assert mean(lambda q: q) == pytest.approx(x / 2.0, rel=1e-3)
    assert mean(lambda q: q * q) == pytest.approx(x * x / 3.0, rel=1e-3)
    assert mean(voting.one_of_two) == pytest.approx(x, rel=1e-3)
    assert mean(voting.two_of_three) == pytest.approx(x * x, rel=1e-3)
    common = mean(lambda q: voting.three_sensors(q, 0.05).two)
    assert common == pytest.approx(0.95**2 * x * x + 0.05 * x / 2.0, rel=1e-3)
    # What stands at the end of the interval, as it counts here, is three times the mean, or twice.
    assert voting.two_of_three(voting.failed_by(x, 1.0)) == pytest.approx(3.0 * x * x, rel=1e-3)


@pytest.mark.parametrize(
    ("lost", "times"),
    [
        (voting.two_of_three, 5.0 / 6.0),  # two of three
        (voting.one_of_two, 1.0 / 2.0),  # two in series
        (lambda q: q * q, 3.0 / 2.0),  # one of two
    ],
)
def test_mean_time_to_failure(lost, times: float) -> None:  # type: ignore[no-untyped-def]
    """5/6, 1/2 and 3/2 of that of one part (any text on reliability, e.g. MIL-HDBK-338B)."""
    life = quad(lambda t: 1.0 - lost(voting.failed_by(1.0, t)), 0.0, math.inf)[0]
    assert life == pytest.approx(times, rel=1e-7)


def test_probability_and_rate_are_different_quantities() -> None:
    """1 - exp(-1) and 1 - exp(-0.001): tables of the exponential function. A rate of 1e-3/h over
    1000 h is 0.632, no certainty; one of 1e-3 per sample over 1000 samples is bounded by 1.
    """
    assert voting.failed_by(1e-3, 1000.0) == pytest.approx(0.632120558829, rel=1e-11)
    assert voting.failed_by(1e-3, 1.0) == pytest.approx(9.99500166625e-4, rel=1e-11)
    assert voting.in_any(1e-3, 1000.0) == 1.0


def test_false_alarms_over_a_day_of_samples() -> None:
    """q = 1e-4, 86 400 independent samples, 1 - (1 - p)^N by mpmath to 40 digits: voted
    0.00258847135, single 0.999823.
    """
    voted = voting.two_of_three(1e-4)
    assert -math.expm1(86_400 * math.log1p(-voted)) == pytest.approx(0.00258847135, rel=1e-8)
    # The bound in use lies above, by half of itself at this size; a single sensor's is one.
    assert 0.002588470 < voting.in_any(voted, 86_400) < 0.002588470 * (1.0 + 0.0026)
    assert 0.999823 < voting.in_any(1e-4, 86_400) == 1.0


def chain(p: float, persistence: float) -> np.ndarray:
    """Return the chain of three sensors, right or wrong, whose wrong readings persist."""
    turns = p * (1.0 - persistence) / (1.0 - p)
    one = np.array([[1.0 - turns, turns], [1.0 - persistence, persistence]])
    return np.kron(np.kron(one, one), one)


@pytest.mark.parametrize("p", [1e-3, 0.05, 0.2])
@pytest.mark.parametrize("persistence", [0.2, 0.5, 0.9, 1.0])
@pytest.mark.parametrize("samples", [1, 2, 5])
def test_run_of_wrong_votes_by_the_whole_chain(p: float, persistence: float, samples: int) -> None:
    """The bound against the exact eight-state Markov chain (numpy)."""
    states = list(itertools.product((0, 1), repeat=3))
    start = np.array([p ** sum(x) * (1.0 - p) ** (3 - sum(x)) for x in states])
    wrong = np.diag([float(sum(x) >= 2) for x in states])
    reached = start @ wrong
    for _ in range(samples - 1):
        reached = reached @ chain(p, persistence) @ wrong
    bound = voting.wrong_votes_running(p, 0.0, persistence, samples).sound
    assert reached.sum() <= bound * (1.0 + 1e-12)
    if samples == 1 or persistence == 1.0:
        assert bound == pytest.approx(reached.sum(), rel=1e-9)


@given(
    period=st.floats(0.05, 2.0), samples=st.integers(2, 9), phase=st.floats(0.0, 0.999),
    short=st.floats(0.01, 0.999), longer=st.floats(1.0, 1.5),
)  # fmt: skip
def test_longest_ignored_event_by_counting(
    period: float, samples: int, phase: float, short: float, longer: float
) -> None:
    """Samples that fall into an event are counted one by one, from any phase."""
    limit = voting.longest_ignored(period, float(samples))

    def inside(duration: float, phase: float) -> int:
        return sum(0.0 <= (i - phase) * period <= duration for i in range(40))

    assert inside(short * limit, phase) < samples
    assert inside(limit * longer * (1.0 + 1e-9), 0.0) >= samples


# The whole answer -------------------------------------------------------------------------------


def test_by_hand_without_wrong_readings() -> None:
    """Rates of the table for 672 h: pressure sensors 7e-8/h low or drifting, beta 5 %."""
    quiet = answer(reading_error=0.0)
    q = 7e-8 * 672.0  # exponential of so little is the number itself, to 3e-5 of it
    expected = 3.0 * (0.95 * q) ** 2 + 0.05 * q
    assert quiet.false_by_failed_sensors == pytest.approx(expected, rel=1e-4)
    assert quiet.false_by_wrong_readings == 0.0
    # Sensor supply 2e-9/h, processor 3e-9/h, line 2e-9/h; software 5e-6.
    points = 7e-9 * 672.0 + 5e-6
    assert quiet.false_by_single_points == pytest.approx(points, rel=1e-5)
    assert quiet.false_wake_probability == pytest.approx(expected + points, rel=1e-4)


def test_missed_by_hand_without_wrong_readings() -> None:
    """Pressure sensors 1.5e-7/h high, silent or drifting; accelerometers 1.2e-7/h."""
    quiet = answer(ascent_reading_error=0.0, ascent_sensor_failure=0.0)
    q, r = 1.5e-7 * 672.0, 1.2e-7 * 672.0
    vote = 3.0 * 0.95**2 * (q * q + r * r) + 0.05 * (q + r)
    assert quiet.missed_by_failed_sensors == pytest.approx(vote, rel=2e-4)
    # Supplies 4.2e-8, bus 1e-8, clock 1e-8, processor 8e-8, line 1e-8 per hour; port 7e-5, loop
    # 5e-5.
    points = 1.52e-7 * 672.0 + 1.2e-4
    assert quiet.missed_by_single_points == pytest.approx(points, rel=1e-4)


def test_samples_in_the_hold() -> None:
    assert STILL.samples_in_hold == 28 * 24 * 3600 * 2
    assert STILL.longest_ignored_event == 2.0


def test_lines_add_up() -> None:
    assert STILL.false_wake_probability == pytest.approx(
        STILL.false_by_failed_sensors
        + STILL.false_by_wrong_readings
        + STILL.false_by_shared_disturbance
        + STILL.false_by_single_points
    )
    assert STILL.missed_wake_probability == pytest.approx(
        STILL.missed_by_failed_sensors
        + STILL.missed_by_wrong_readings
        + STILL.missed_by_single_points
    )


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("hold_duration", 40.0),
        ("trigger_sampling_period", 0.475),
        ("trigger_samples", 3.0),
        ("failure_rate_factor", 2.0),
        ("common_cause_share", 0.1),
        ("reading_error", 2e-8),
        ("reading_error_persistence", 0.5),
        ("disturbance_share", 0.02),
        ("shaken_time", 600.0),
    ],
)
def test_what_makes_a_false_wake_up_more_probable(name: str, value: float) -> None:
    assert answer(**{name: value}).false_wake_probability > STILL.false_wake_probability


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("hold_duration", 40.0),
        ("trigger_samples", 7.0),
        ("failure_rate_factor", 2.0),
        ("common_cause_share", 0.1),
        ("ascent_reading_error", 2e-4),
        ("ascent_sensor_failure", 1e-4),
    ],
)
def test_what_makes_a_missed_wake_up_more_probable(name: str, value: float) -> None:
    assert answer(**{name: value}).missed_wake_probability > STILL.missed_wake_probability


@pytest.mark.parametrize("channel", ["pressure sensor", "accelerometer"])
def test_one_latent_failure_makes_both_more_probable(channel: str) -> None:
    """Two of three has become one of two, or two of two, for the rest of the hold."""
    assert STILL.false_after_one_failure[channel] > STILL.false_wake_probability
    assert STILL.missed_after_one_failure[channel] > STILL.missed_wake_probability


def test_one_latent_pressure_sensor_by_hand() -> None:
    """One of two for waking: 2 q of the rest; the common cause and the single points beside."""
    quiet = answer(reading_error=0.0)
    q = 7e-8 * 672.0
    more = quiet.false_after_one_failure["pressure sensor"] - quiet.false_by_single_points
    assert more == pytest.approx(2.0 * 0.95 * q + 0.05 * q, rel=1e-3)


def test_confirmation_helps_nothing_against_what_is_stuck() -> None:
    """With a persistence of one more samples leave the bound as it is."""
    stuck = [answer(reading_error_persistence=1.0, trigger_samples=n) for n in (1.0, 5.0, 50.0)]
    assert len({round(x.false_by_wrong_readings, 15) for x in stuck}) == 1
    passing = [answer(trigger_samples=n).false_by_wrong_readings for n in (1.0, 5.0, 50.0)]
    assert passing[0] > 1e2 * passing[1] > passing[2] >= 0.0


def test_a_hopeless_circuit_has_a_probability_of_one() -> None:
    worst = answer(reading_error=1.0, reading_error_persistence=1.0, ascent_reading_error=1.0)
    assert worst.false_wake_probability == 1.0
    assert worst.missed_wake_probability == 1.0


def test_what_the_table_says_is_told_apart_by_side() -> None:
    """Drifting counts for both sides; shared modes count where they decide by themselves."""
    rates = read_rates(DATA / "wake_failures.csv")
    assert rates.waking["pressure"] == pytest.approx(3e-8 + 4e-8)
    assert rates.sleeping["pressure"] == pytest.approx(3e-8 + 8e-8 + 4e-8)
    assert rates.waking["acceleration"] == pytest.approx(2e-8 + 2e-8)
    assert rates.sleeping["acceleration"] == pytest.approx(4e-8 + 6e-8 + 2e-8)
    assert rates.waking_per_use == pytest.approx(5e-6)
    assert rates.sleeping_per_use == pytest.approx(2e-5 + 5e-5 + 5e-5)
