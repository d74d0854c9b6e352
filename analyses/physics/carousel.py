"""Blocks that are sent round and round: order, position against time, and what is never received.

A round sends each block once; positions count in blocks from the start of the transmission, so that
position and block are the same modulo the blocks of a round. The start phase is unknown; where
every block of the round is wanted, turning the round by a phase changes nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache
from math import ceil, exp, floor, log
from typing import NamedTuple

from analyses.physics.bursts import Losses

Picture = tuple[int, int]  # release and picture of that release, both from 0
Step = tuple[int, int, float, float]  # place; what receptions and both logarithms change there


class Span(NamedTuple):
    """Positions between which so many stations receive, and what they lose of a block."""

    begin: float
    end: float
    losses: Losses


class Missed(NamedTuple):
    """Means over a round, and runs of blocks (length) that no one can receive."""

    lost: float  # probability that a block is lost in every reception
    starts: float  # probability that a run of such blocks begins with a block
    seam: float  # probability that a block and the one before are lost, where it is least
    gaps: Sequence[int]


def order(releases: int, pictures: int) -> list[Picture]:
    """Return the pictures of a round: the first of each release, then the second of each."""
    return [(release, number) for number in range(pictures) for release in range(releases)]


def fewest_before_second(queue: Sequence[Picture]) -> int:
    """Return how many pictures each release has at least when a second one of any begins.

    The least over all pictures with which a receiver may begin; a picture that it joins late does
    not count, so it begins with the next one. Zero where a release is sent twice before another.
    """
    releases = {release for release, _ in queue}
    fewest = len(queue)
    for start in range(len(queue)):
        seen: dict[int, int] = dict.fromkeys(releases, 0)
        for i in range(2 * len(queue)):
            release, _ = queue[(start + i) % len(queue)]
            if seen[release]:
                break
            seen[release] += 1
        fewest = min(fewest, *seen.values())
    return fewest


def pictures_hit(gap: int, blocks: int) -> int:
    """Return how many neighbouring pictures of so many blocks a run of blocks touches at most."""
    return (gap + blocks - 2) // blocks + 1 if gap else 0


def missed(spans: Iterable[Span], blocks: int) -> Missed:
    """Return what is never received of a round of so many blocks, over all spans.

    A span holds the blocks that lie in it whole; one on its edge is lost. Receptions of a block in
    different spans or rounds are independent, so their losses multiply: sums of logarithms over the
    round, kept as steps. A run of lost blocks begins with a block that is lost in all receptions
    while the one before is not: P(lost) - P(both lost).
    """
    base_count, base_one, base_both = 0, 0.0, 0.0
    steps: list[Step] = []
    for span in spans:
        begin, end = ceil(span.begin), floor(span.end)
        if end <= begin:
            continue
        one, both = _log(span.losses.one), _log(span.losses.both)
        rounds, rest = divmod(end - begin, blocks)
        first = begin % blocks
        last = first + rest
        base_count += rounds
        base_one += rounds * one
        base_both += rounds * both
        # Of the pairs at both edges the one block is on the edge, and lost.
        for place, count, alone, pair in (
            (first, 1, one, one),
            (first + 1, 0, 0.0, both - one),
            (last, -1, -one, one - both),
            (last + 1, 0, 0.0, -one),
        ):
            if place >= blocks:  # carried into the next round
                steps.append((place - blocks, count, alone, pair))
            else:
                steps.append((place, count, alone, pair))
                base_count += count
                base_one += alone
                base_both += pair
    steps.append((blocks, 0, 0.0, 0.0))
    return _summed(sorted(steps), base_count, base_one, base_both, blocks)


def _summed(steps: Sequence[Step], count: int, one: float, both: float, blocks: int) -> Missed:
    """Return the means of what the steps sum up to, run by run."""
    lost = starts = 0.0
    here, seam = 0, 1.0
    gaps: list[tuple[int, int]] = []
    for place, more, alone, pair in steps:
        if place > here:
            # Where nothing is received, no rounding of the sums must say otherwise.
            never, pairs = exp(one) if count > 0 else 1.0, exp(min(both, 0.0))
            lost += (place - here) * never
            starts += (place - here) * max(never - pairs, 0.0)
            seam = min(seam, pairs)
            if count <= 0:
                begin = gaps.pop()[0] if gaps and gaps[-1][1] == here else here
                gaps.append((begin, place))
            here = place
        count, one, both = count + more, one + alone, both + pair
    return Missed(lost / blocks, starts / blocks, seam, _round_the_end(gaps, blocks))


def _round_the_end(gaps: Sequence[tuple[int, int]], blocks: int) -> list[int]:
    """Return the lengths of gaps; one at the end of the round goes on at its begin."""
    lengths = [end - begin for begin, end in gaps]
    if len(gaps) > 1 and gaps[0][0] == 0 and gaps[-1][1] == blocks:
        lengths[0] += lengths.pop()
    return lengths


def not_all(of: Missed, wanted: int) -> float:
    """Return a bound of the probability that not all of so many neighbouring blocks are received.

    The expected number of runs of lost blocks among them, over a uniform start phase: the first
    block is lost, or a run begins with one of the others. The probability of any is not higher
    (Markov's inequality), and hardly lower where it is small.
    """
    return min(of.lost + (wanted - 1) * of.starts, 1.0)


def not_round(of: Missed, blocks: int) -> float:
    """Return a bound of the probability that not all of so many blocks of a round are received.

    As :func:`not_all`, but where all are wanted the count may begin anywhere, and the start phase
    changes nothing: it begins where a run is least likely to go on.
    """
    return min(blocks * of.starts + of.seam, 1.0)


@cache  # a channel has some dozens
def _log(probability: float) -> float:
    return log(max(probability, 1e-300))
