"""Bursts and carousel: matrix exponentials, coupon closed forms, every pattern enumerated."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.linalg import expm
from scipy.stats import binom

from analyses.physics import carousel
from analyses.physics.bursts import (
    Losses,
    Outage,
    good_duration,
    losses,
    memory_time,
    received,
    share_after,
    with_stations,
)
from analyses.physics.carousel import Span, missed, not_all, not_round

OUTAGES = [Outage(0.03, 1.0), Outage(0.2, 0.5), Outage(0.5, 4.0)]


def generator(outage: Outage) -> np.ndarray:
    """Rates of a chain that is good (0) or bad (1)."""
    to_bad, to_good = 1.0 / good_duration(outage), 1.0 / outage.duration
    return np.array([[-to_bad, to_bad], [to_good, -to_good]])


# --- bursts -------------------------------------------------------------------------------------


def test_steady_share_of_gilbert_and_elliott() -> None:
    """p / (p + r) for rates of entry p and of exit r (Gilbert 1960, Elliott 1963, from memory)."""
    p, r = 0.02, 0.5
    outage = Outage(p / (p + r), 1.0 / r)
    assert good_duration(outage) == pytest.approx(1.0 / p)
    assert memory_time(outage) == pytest.approx(1.0 / (p + r))
    assert good_duration(Outage(0.03, 1.0)) == pytest.approx(97.0 / 3.0)


@pytest.mark.parametrize("outage", OUTAGES)
@pytest.mark.parametrize("time", [0.01, 0.3, 2.0, 20.0])
def test_states_by_scipy(outage: Outage, time: float) -> None:
    """scipy.linalg.expm of the rates."""
    later = expm(generator(outage) * time)
    steady = np.linalg.matrix_power(expm(generator(outage) * 50.0), 8)[0]
    assert steady[1] == pytest.approx(outage.share)
    assert share_after(outage, time) == pytest.approx(later[1, 1])
    stay = math.exp(generator(outage)[0, 0] * time)
    assert received(outage, time) == pytest.approx(steady[0] * stay)


def pattern(
    outage: Outage, lengths: list[float], gaps: list[float], got: tuple[bool, ...]
) -> float:
    """Probability that blocks are received or not as said, each followed by its gap."""
    rates = generator(outage)
    state = np.array([1.0 - outage.share, outage.share])
    for length, gap, whole in zip(lengths, gaps, got, strict=True):
        kept = np.array([[math.exp(rates[0, 0] * length), 0.0], [0.0, 0.0]])
        state = state @ (kept if whole else expm(rates * length) - kept) @ expm(rates * gap)
    return float(state.sum())


@pytest.mark.parametrize("outage", OUTAGES)
@pytest.mark.parametrize("length", [0.02, 0.4])
def test_losses_of_two_blocks_by_enumeration(outage: Outage, length: float) -> None:
    found = losses(outage, length)
    first = sum(pattern(outage, [length] * 2, [0.0] * 2, (False, x)) for x in (True, False))
    assert found.one == pytest.approx(first)
    assert found.both == pytest.approx(pattern(outage, [length] * 2, [0.0] * 2, (False, False)))


def test_blocks_far_longer_than_the_bursts_are_lost_independently() -> None:
    found = losses(Outage(1e-4, 1e-4), 1.0)
    assert found.both == pytest.approx(found.one**2, rel=1e-3)


@pytest.mark.parametrize("stations", [1, 2, 3])
def test_stations_by_enumeration(stations: int) -> None:
    """Every pattern of own and common losses of two blocks."""
    own, common = losses(Outage(0.2, 0.5), 0.3), losses(Outage(0.05, 2.0), 0.3)

    def chance(of: Losses, first: bool, second: bool) -> float:
        if first and second:
            return of.both
        return of.one - of.both if first or second else 1.0 - 2.0 * of.one + of.both

    one = both = 0.0
    kinds = [common, *[own] * stations]
    for lost in itertools.product(itertools.product((True, False), repeat=2), repeat=len(kinds)):
        weight = math.prod(chance(of, *two) for of, two in zip(kinds, lost, strict=True))
        gone = [lost[0][i] or all(two[i] for two in lost[1:]) for i in range(2)]
        one += weight * gone[0]
        both += weight * all(gone)
    found = with_stations(own, common, stations)
    assert found == pytest.approx((one, both))


def test_what_stations_share_no_number_of_them_removes() -> None:
    own, common = losses(Outage(0.03, 1.0), 0.04), losses(Outage(0.006, 1.0), 0.04)
    many = [with_stations(own, common, n).one for n in (1, 2, 4, 8)]
    assert many == sorted(many, reverse=True)
    assert many[-1] > 0.999 * common.one


# --- every block at least once ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("blocks", "rounds", "p"),
    [(15, 3, 0.1), (450, 3, 0.03), (450, 4, 0.03), (100, 5, 0.1), (10, 1, 0.01), (52, 6, 0.2)],
)
def test_independent_blocks_by_the_closed_form(blocks: int, rounds: int, p: float) -> None:
    """Every one of N blocks at least once in R rounds: (1 - p^R)^N, also by scipy.stats.binom.

    The bound is above its complement, by less than half of the square of what is expected.
    """
    spans = [Span(0.0, float(rounds * blocks), Losses(p, p * p))]
    found = not_round(missed(spans, blocks), blocks)
    exact = 1.0 - (1.0 - p**rounds) ** blocks
    assert exact == pytest.approx(1.0 - binom.pmf(0, blocks, p**rounds))
    expected = blocks * p**rounds
    assert exact * (1.0 - 1e-9) <= found <= exact + 0.5 * expected**2


@pytest.mark.parametrize("outage", [Outage(0.01, 1.0), Outage(0.03, 0.5), Outage(0.03, 5.0)])
def test_one_round_by_the_closed_form(outage: Outage) -> None:
    """All N blocks in one round: good all the time, (1 - share) exp(-N length / good)."""
    blocks, length = 30, 0.04
    exact = 1.0 - (1.0 - outage.share) * math.exp(-blocks * length / good_duration(outage))
    found = not_round(missed([Span(0.0, 30.0, losses(outage, length))], 30), 30)
    assert exact <= found <= exact + 0.5 * exact**2


@pytest.mark.parametrize(
    ("outage", "gap", "loose"),
    [
        (Outage(0.03, 1.0), 9.0, 1.05),  # as in the mission: rounds far longer than a burst
        (Outage(0.1, 0.3), 2.0, 1.2),
        (Outage(0.05, 1.0), 1.0, 4.0),
        (Outage(0.2, 2.0), 0.5, 4.0),
    ],
)
def test_rounds_that_remember_are_bounded(outage: Outage, gap: float, loose: float) -> None:
    """Four blocks in two rounds, all 256 patterns of the chain; a gap between the rounds."""
    blocks, length = 4, 0.2
    gaps = [*[0.0] * 3, gap, *[0.0] * 4]
    exact = sum(
        pattern(outage, [length] * 8, gaps, got)
        for got in itertools.product((True, False), repeat=8)
        if not all(got[i] or got[i + 4] for i in range(blocks))
    )
    raised = share_after(outage, gap + (blocks - 1) * length)
    found = not_round(missed([Span(0.0, 8.0, losses(outage, length, raised))], blocks), blocks)
    assert exact <= found <= loose * exact


def test_a_burst_hits_repeats_that_follow_at_once() -> None:
    """S: the same block twice in a row against a round later, by the chain itself."""
    outage = Outage(0.03, 1.0)
    at_once = pattern(outage, [0.04] * 2, [0.0, 0.0], (False, False))
    later = pattern(outage, [0.04] * 2, [18.0, 0.0], (False, False))
    assert later == pytest.approx(losses(outage, 0.04).one ** 2, rel=1e-3)
    assert at_once > 20.0 * later


def test_longer_bursts_last_into_the_next_round() -> None:
    """S: of the same share, the chance that a block stays missing grows with their length."""
    blocks, length = 450, 0.02
    found = []
    for duration in (1.0, 3.0, 10.0, 30.0):
        outage = Outage(0.03, duration)
        raised = share_after(outage, (blocks - 1) * length)
        found.append(losses(outage, length, raised).one ** 3)
    assert found == sorted(found)
    assert found[-1] > 50.0 * found[0]


@st.composite
def receptions(draw: st.DrawFn) -> tuple[int, list[Span]]:
    blocks = draw(st.integers(2, 12))
    spans, at = [], 0.0
    for _ in range(draw(st.integers(0, 5))):
        at += draw(st.floats(0.0, 8.0))
        end = at + draw(st.floats(0.0, 40.0))
        one = draw(st.floats(0.01, 0.9))
        spans.append(Span(at, end, Losses(one, one * draw(st.floats(0.1, 1.0)))))
        at = end
    return blocks, spans


@given(receptions())
def test_means_over_a_round_block_by_block(case: tuple[int, list[Span]]) -> None:
    """The definition, written out for each block and each pair."""
    blocks, spans = case
    lost = [1.0] * blocks
    pairs = [1.0] * blocks
    count = [0] * blocks
    for span in spans:
        whole = range(math.ceil(span.begin), math.floor(span.end))
        for block in whole:
            lost[block % blocks] *= span.losses.one
            count[block % blocks] += 1
        for block in range(whole.start, whole.stop + 1 if whole else whole.start):
            inner = block in whole and block - 1 in whole
            pairs[block % blocks] *= span.losses.both if inner else span.losses.one
    found = missed(spans, blocks)
    starts = [max(a - b, 0.0) for a, b in zip(lost, pairs, strict=True)]
    assert found.lost == pytest.approx(sum(lost) / blocks, rel=1e-9, abs=1e-15)
    assert found.starts == pytest.approx(sum(starts) / blocks, rel=1e-6, abs=1e-12)
    assert sorted(found.gaps) == sorted(runs_of([n == 0 for n in count]))


def runs_of(flags: list[bool]) -> list[int]:
    """Lengths of the runs of a ring that are true."""
    if all(flags):
        return [len(flags)]
    cut = flags.index(False)
    ring = [*flags[cut:], *flags[:cut]]
    return [len(list(group)) for is_gap, group in itertools.groupby(ring) if is_gap]


def test_the_start_phase_is_uniform() -> None:
    """S: mean over all start phases of one picture's chance, each phase written out.

    A contact of 40 of 90 blocks: most phases miss a picture of 6 blocks, some do not.
    """
    blocks, picture, p = 90, 6, 0.03
    span = Span(0.0, 40.0, Losses(p, p * p))
    lost = [p if block < 40 else 1.0 for block in range(blocks)]
    of_phase = []
    for first in range(blocks):
        wanted = [(first + i) % blocks for i in range(picture)]
        chance, before = lost[wanted[0]], wanted[0]
        for block in wanted[1:]:
            chance += (
                lost[block] - lost[block] * lost[before]
                if block < 40
                else (0.0 if before >= 40 else 1.0 - p)
            )
            before = block
        of_phase.append(chance)
    found = not_all(missed([span], blocks), picture)
    assert found == pytest.approx(sum(of_phase) / blocks, abs=1e-3)
    assert min(of_phase) < 0.2 < found  # a lucky phase would promise too much


@given(receptions(), st.integers(0, 30))
def test_a_phase_turns_the_round_and_changes_nothing(
    case: tuple[int, list[Span]], phase: int
) -> None:
    blocks, spans = case
    turned = [s._replace(begin=s.begin + phase, end=s.end + phase) for s in spans]
    assume_same = [math.floor(s.end) - math.ceil(s.begin) for s in spans]
    if assume_same == [math.floor(s.end) - math.ceil(s.begin) for s in turned]:
        one, other = missed(spans, blocks), missed(turned, blocks)
        assert one.lost == pytest.approx(other.lost)
        assert one.starts == pytest.approx(other.starts, abs=1e-12)


def test_nothing_received_and_all_received() -> None:
    assert not_round(missed([], 10), 10) == not_all(missed([], 10), 4) == 1.0
    assert missed([], 10).gaps == [10]
    assert not_round(missed([Span(0.0, 10.0, Losses(0.0, 0.0))], 10), 10) < 1e-200
    assert not_round(missed([Span(0.2, 9.9, Losses(0.0, 0.0))], 10), 10) == pytest.approx(1.0)


# --- order --------------------------------------------------------------------------------------


def test_each_release_before_the_second_of_any() -> None:
    queue = carousel.order(3, 5)
    assert queue[:4] == [(0, 0), (1, 0), (2, 0), (0, 1)]
    assert len(set(queue)) == 15
    assert carousel.fewest_before_second(queue) == 1


def test_release_by_release_would_leave_one_without() -> None:
    grouped = [(release, number) for release in range(3) for number in range(5)]
    assert carousel.fewest_before_second(grouped) == 0


@pytest.mark.parametrize("blocks", [1, 4, 30])
@pytest.mark.parametrize("gap", [0, 1, 2, 5, 31, 90])
def test_pictures_that_a_gap_touches(gap: int, blocks: int) -> None:
    """Every place of the gap against the edges of pictures."""
    most = max(
        len({block // blocks for block in range(first, first + gap)}) for first in range(blocks)
    )
    assert carousel.pictures_hit(gap, blocks) == most


@pytest.mark.parametrize(("releases", "pictures"), [(3, 5), (1, 4), (5, 2), (2, 9)])
def test_the_order_is_that_of_a_round_robin(releases: int, pictures: int) -> None:
    """The recipe `roundrobin` in the documentation of Python's itertools, as it is printed there.

    Its own example, roundrobin('ABC', 'D', 'EF') -> A D E B F C, is run as well.
    """

    def roundrobin(*iterables):  # type: ignore[no-untyped-def]
        iterators = map(iter, iterables)
        for num_active in range(len(iterables), 0, -1):
            iterators = itertools.cycle(itertools.islice(iterators, num_active))
            yield from map(next, iterators)

    assert list(roundrobin("ABC", "D", "EF")) == list("ADEBFC")
    queues = [[(release, number) for number in range(pictures)] for release in range(releases)]
    assert carousel.order(releases, pictures) == list(roundrobin(*queues))
