"""Votes of two of three: failed sensors, wrong readings, common cause, confirmation by samples.

A missed detection and a false alarm use the same polynomials with another probability. Plain
functions on numbers; those without a choice work on arrays, intervals and symbols too.
"""

from __future__ import annotations

from typing import NamedTuple

from closeout.math import exp, exprel, log, maximum, minimum, power
from closeout.units import count, ratio

NEEDED, SENSORS = 2, 3
LEAST_PERSISTENCE = 1e-9  # stands for zero, whose logarithm there is not


def failed_by(rate: float, time: float) -> ratio:
    """Return the probability that a part has failed by a time, 1 - exp(-rate time).

    Constant failure rate, in one over the unit of the time; any text on reliability.
    """
    return rate * time * exprel(-rate * time)


def two_of_three(q: ratio) -> ratio:
    """Return the probability that two or three of three occur, 3 q^2 - 2 q^3."""
    return power(q, 2) * (3.0 - 2.0 * q)


def exactly_one_of_three(q: ratio) -> ratio:
    """Return the probability that one of three occurs and the other two do not."""
    return 3.0 * q * power(1.0 - q, 2)


def one_of_two(q: ratio) -> ratio:
    """Return the probability that one or both of two occur, 2 q - q^2."""
    return q * (2.0 - q)


def in_any(p: ratio, samples: count) -> ratio:
    """Return a bound on the probability of an event in at least one of N samples, N p, at most 1.

    The sum of the probabilities (Boole's inequality): it needs no independence, which samples of
    one sensor do not have. Where they are independent it is too high by N p / 2 of itself.
    """
    return minimum(samples * p, 1.0)


def run_of_errors(first: ratio, stays: ratio, samples: count) -> ratio:
    """Return a bound on the probability of so many wrong votes running, from a given sample on.

    ``first`` is the probability of a wrong vote at a sample, ``stays`` the one that a wrong vote is
    followed by another, at most: first stays^(samples - 1). With stays = 1, a sensor that is stuck,
    more samples help nothing.
    """
    return first * exp((samples - 1.0) * log(maximum(stays, LEAST_PERSISTENCE)))


def longest_ignored(period: float, samples: count) -> float:
    """Return the duration of an event, in the period's unit, below which it is never confirmed.

    Samples that are a period apart fall into it at most once for each period that it lasts, and
    once more.
    """
    return (samples - 1.0) * period


class Channel(NamedTuple):
    """Probabilities that none, one, and two or more of three sensors have failed to one side.

    The last one, where the vote is lost, has the common cause added without anything taken off the
    others: an upper bound. With one failed, the vote is one of two or two of two.
    """

    none: ratio
    one: ratio
    two: ratio


def three_sensors(q: ratio, share: ratio) -> Channel:
    """Return the states of three sound sensors that fail with probability q each.

    A share of the failures has a common cause and hits all three (beta factor, IEC 61508-6,
    Annex D, from memory).
    """
    alone = (1.0 - share) * q
    return Channel(
        none=power(1.0 - alone, 3),
        one=exactly_one_of_three(alone),
        two=two_of_three(alone) + share * q,
    )


def two_left(q: ratio, share: ratio) -> Channel:
    """Return the states where one of the three sensors has failed already."""
    alone = (1.0 - share) * q
    return Channel(none=0.0, one=power(1.0 - alone, 2), two=one_of_two(alone) + share * q)


class Errors(NamedTuple):
    """Probability of a wrong vote, of three sound sensors and of two with a third that failed."""

    sound: ratio
    after_one: ratio


def wrong_vote(p: ratio, share: ratio) -> Errors:
    """Return the probability of a wrong vote at one sample, where a reading is wrong with p."""
    alone = (1.0 - share) * p
    return Errors(two_of_three(alone) + share * p, one_of_two(alone) + share * p)


def wrong_votes_running(p: ratio, share: ratio, persistence: ratio, samples: count) -> Errors:
    """Return bounds on a run of wrong votes from a given sample on.

    A wrong reading is followed by another with at most the persistence, and so is a wrong one of
    all three by common cause. Whatever sensors are wrong, the next vote is wrong with at most the
    vote of the persistence: a sound one turns wrong less often than a wrong one stays so. A fresh
    common cause in a run of single ones is left out, share p beside the persistence.
    """
    alone = (1.0 - share) * p
    common = run_of_errors(share * p, persistence, samples)
    return Errors(
        run_of_errors(two_of_three(alone), two_of_three(persistence), samples) + common,
        run_of_errors(one_of_two(alone), one_of_two(persistence), samples) + common,
    )
