"""Losses that come in bursts: a channel with a good and a bad state (Gilbert and Elliott).

The state changes at constant rates, so both stays are exponential. Times in s. What is sent while
the state is bad for any part of it is lost; in the good state nothing is.
"""

from __future__ import annotations

from typing import NamedTuple

from closeout.math import exp, power
from closeout.units import ratio, s


class Outage(NamedTuple):
    """Share of the time in the bad state, 0 up to 1 exclusive, and mean stay in it."""

    share: ratio
    duration: s


class Losses(NamedTuple):
    """Of two blocks that follow each other at once: one is lost, both are."""

    one: ratio
    both: ratio


def good_duration(outage: Outage) -> s:
    """Return the mean stay in the good state: share = bad / (good + bad); share above 0."""
    return outage.duration * (1.0 - outage.share) / outage.share


def memory_time(outage: Outage) -> s:
    """Return the time in which the correlation of the state falls to 1/e.

    1 / (1/good + 1/bad), the rates of both changes together; it is bad (1 - share).
    """
    return outage.duration * (1.0 - outage.share)


def share_after(outage: Outage, gap: s) -> ratio:
    """Return the probability of the bad state a time after it was bad for certain."""
    return outage.share + (1.0 - outage.share) * exp(-gap / memory_time(outage))


def received(outage: Outage, length: s, bad: ratio | None = None) -> ratio:
    """Return the probability that the state is good for the whole of a length of time.

    ``bad`` is the probability that it is bad at the begin, where that is not the share.
    """
    begin = outage.share if bad is None else bad
    return (1.0 - begin) * exp(-length * outage.share / memory_time(outage))


def losses(outage: Outage, length: s, bad: ratio | None = None) -> Losses:
    """Return the probabilities of loss of two blocks of a length each.

    ``bad`` as in :func:`received`; where it is above the share, it is kept for the second block,
    which is lost a little less in truth.
    """
    one = received(outage, length, bad)
    return Losses(1.0 - one, 1.0 - 2.0 * one + received(outage, 2.0 * length, bad))


def with_stations(own: Losses, common: Losses, stations: int) -> Losses:
    """Return the losses to all of so many stations that see the same blocks.

    Each station has outages of its own, alike and independent, and all share the common ones.
    """
    alone, both = power(own.one, stations), power(own.both, stations)
    good = 1.0 - 2.0 * common.one + common.both  # no common loss in either block
    one_hit = common.one - common.both  # in the one block and not in the other
    return Losses(
        1.0 - (1.0 - common.one) * (1.0 - alone),
        good * both + 2.0 * one_hit * alone + common.both,
    )
