"""What the ground receives of a carousel from a stage that turns: modes, passes, attitudes, sets.

The way from a flight to chances: `pieces_of` gives the modulator's modes, `legs_of` the passes,
`receptions` each attitude with what each station hears in it, `survey` the means of what each set
of stations misses. Times in s after lift-off, positions in blocks since the start of transmission.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from itertools import pairwise
from math import ceil, degrees, pi, radians
from pathlib import Path
from typing import NamedTuple

from analyses.link_margin import planned_mode, receiver_at
from analyses.physics import antenna_pattern, carousel, radio, spin
from analyses.physics.bursts import Losses, Outage, losses, share_after, with_stations
from analyses.physics.carousel import Missed, Span, missed, not_all, not_round
from analyses.physics.dvbs2 import Mode, read_modes
from analyses.physics.frames import EARTH_RATE, to_inertial, turn
from analyses.physics.look_angles import look_at
from analyses.physics.orbit import at
from analyses.physics.spin import direction
from analyses.physics.turning_link import Gate, Moments, gate, heard, stretches
from analyses.station_windows import Flight, Sight
from closeout.units import MHz, Msymbol_s, W, dB, dBic, deg, deg_per_s, km, ratio, s

DATA = Path(__file__).parent / "data"
STEP = 10.0  # s between the moments of a pass
PHASES = 6  # start angles of the spin
ALL = "all stations"
SMALL = 1e-9  # chance of a miss below which a larger set of stations is given that of the smaller


class Chances(NamedTuple):
    """Probabilities that not all blocks of a round, or of one picture, are received."""

    round: ratio
    picture: ratio


class Link(NamedTuple):
    """Transmitter, antenna and what is declared of the stations; units as the parameters have."""

    frequency: MHz
    power: W
    feeder_loss: dB
    peak_gain: dBic
    beamwidth: deg
    axial_ratio: dB
    symbol_rate: Msymbol_s
    implementation_loss: dB
    reserve: dB
    pointing_error: deg
    g_over_t_error: dB


class Turning(NamedTuple):
    """deg/s and deg."""

    rate: deg_per_s
    rate_sigma: deg_per_s
    axis_sigma: deg
    cone: deg


class Channel(NamedTuple):
    """Outages of the link (ratios and s), and probability that a station loses its whole pass."""

    outage: Outage
    common_share: ratio  # of the outages
    relock: s
    missed_pass: ratio
    common_missed: ratio  # share of the passes that are missed with all others


class Content(NamedTuple):
    """The round of pictures: counts, sizes in kB."""

    releases: int
    pictures: int
    picture_blocks: int
    block_mbit: float  # as sent

    @property
    def blocks(self) -> int:
        """Return the blocks of a round."""
        return self.releases * self.pictures * self.picture_blocks


class Piece(NamedTuple):
    """A time in which the modulator keeps one mode; positions in blocks."""

    begin: s
    end: s
    mode: Mode
    position: float  # at its begin
    block_time: s

    def at(self, time: s) -> float:
        """Return the position at a time."""
        return self.position + (time - self.begin) / self.block_time


class Leg(NamedTuple):
    """What a station sees of the stage while the modulator keeps its mode."""

    station: str
    piece: int
    moments: Moments


class Reception(NamedTuple):
    """One attitude: its weight, and from where to where each station receives."""

    weight: float
    heard: Mapping[str, Sequence[tuple[float, float, int]]]  # positions, and the piece


class Plan(NamedTuple):
    """What does not hang on the attitude, and the attitudes."""

    stations: Sequence[str]  # that rise
    content: Content
    pieces: Sequence[Piece]
    tables: Sequence[Sequence[Losses]]  # of each piece, by the number of stations less one
    receptions: Sequence[Reception]


def pieces_of(
    flight: Flight,
    content: Content,
    planned: Mapping[str, Mode],  # by station
    symbol_rate: Msymbol_s,
    guard: s,
) -> list[Piece]:
    """Return the modulator's modes from the start to the end of the transmission.

    One transmitter sends one mode: of the stations whose windows are open, widened by the guard
    time, the planned mode that needs least. Before a window that of the next one. None where no
    station sees the stage.
    """
    windows = sorted(
        (one.rise - guard, one.set + guard, planned[name])
        for name, sight in flight.sights.items()
        for one in sight.passes
    )
    if not windows:
        return []
    begin, end = flight.transmit_start, flight.transmit_stop
    edges = sorted({begin, end, *(t for w in windows for t in w[:2] if begin < t < end)})
    pieces: list[Piece] = []
    position = 0.0
    for left, right in pairwise(edges):
        middle = 0.5 * (left + right)
        open_now = [mode for first, last, mode in windows if first < middle < last]
        later = [mode for first, _, mode in windows if first >= middle]
        mode = min(open_now or later[:1] or [windows[-1][2]])
        if pieces and pieces[-1].mode == mode:
            pieces[-1] = pieces[-1]._replace(end=right)
        else:
            block_time = content.block_mbit / (symbol_rate * mode.spectral_efficiency)
            position = pieces[-1].at(left) if pieces else 0.0
            pieces.append(Piece(left, right, mode, position, block_time))
    return pieces


def tables_of(
    pieces: Sequence[Piece], channel: Channel, blocks: int, most: int
) -> list[list[Losses]]:
    """Return what a block loses in each piece, to one station, two, and so on.

    A round later the channel still remembers a little of an outage: what is left of one that was
    there for certain is the probability of the bad state at every block, which bounds it in every
    later round.
    """
    whole = channel.outage
    kinds = [
        whole._replace(share=whole.share * part)
        for part in (1.0 - channel.common_share, channel.common_share)
    ]
    tables: list[list[Losses]] = []
    for piece in pieces:
        gap = (blocks - 1) * piece.block_time
        own, common = (losses(kind, piece.block_time, share_after(kind, gap)) for kind in kinds)
        tables.append([with_stations(own, common, n) for n in range(1, most + 1)])
    return tables


def legs_of(flight: Flight, link: Link, pieces: Sequence[Piece]) -> list[Leg]:
    """Return the passes of all stations, cut where the mode changes."""
    legs: list[Leg] = []
    for name, sight in flight.sights.items():
        table = antenna_pattern.off_axis_losses(
            link.beamwidth, link.axial_ratio, sight.station.feed_axial_ratio_db
        )
        for one in sight.passes:
            for number, piece in enumerate(pieces):
                begin, end = max(one.rise, piece.begin), min(one.set, piece.end)
                if begin < end:
                    moments = moments_of(flight, sight, link, piece, table, begin, end)
                    legs.append(Leg(name, number, moments))
    return legs


def moments_of(
    flight: Flight,
    sight: Sight,
    link: Link,
    piece: Piece,
    table: Sequence[dB],
    begin: s,
    end: s,
) -> Moments:
    """Return line and reach at moments of a pass, from one time to another."""
    steps = ceil((end - begin) / STEP)
    times = [begin + (end - begin) * i / steps for i in range(steps + 1)]
    lines, reaches = [], []
    for time in times:
        state = at(flight.ephemeris, time)
        look = look_at(sight.site, state)
        toward = direction(state.position, sight.site.position)
        level = axis_level(link, sight, look.elevation, look.range)
        allowed = level - link.implementation_loss - link.reserve - piece.mode.ideal_es_n0
        reach = antenna_pattern.reach(table, allowed)
        lines.append(turn(toward, -EARTH_RATE * time))
        reaches.append(None if reach is None else radians(reach))
    return Moments(times, lines, reaches)


def axis_level(link: Link, sight: Sight, elevation: deg, distance: km) -> dB:
    """Return Es/N0 in dB with the station on the antenna's axis, before polarisation loss."""
    station = receiver_at(
        sight.station, link.frequency, link.axial_ratio, link.pointing_error,
        link.g_over_t_error, elevation,
    )  # fmt: skip
    eirp = radio.to_db(link.power) - link.feeder_loss + link.peak_gain
    received = eirp - radio.free_space_loss(link.frequency, distance)
    received -= station.losses - station.polarisation_loss
    return received + station.g_over_t - radio.BOLTZMANN - radio.to_db(link.symbol_rate) - 60.0


def receptions(
    flight: Flight, legs: Sequence[Leg], pieces: Sequence[Piece], turning: Turning, relock: float
) -> Iterator[Reception]:
    """Give each attitude: spin axis, rate and start angle, with its weight; weights add to one."""
    first = flight.ephemeris[0]
    nominal = spin.orbit_axes(to_inertial(first.state, EARTH_RATE * first.time))
    sigma = radians(turning.axis_sigma)
    for x, y, of_axis in spin.plane_nodes():
        axes = spin.tilted(nominal, sigma * x, sigma * y)
        seen = [
            (leg, part)
            for leg in legs
            for part in stretches(leg.moments, axes, radians(turning.cone))
        ]
        for z, of_rate in spin.normal_nodes():
            rate = radians(turning.rate + turning.rate_sigma * z)
            gates = [(leg, gate(part, rate)) for leg, part in seen]
            for i in range(PHASES):
                weight = of_axis * of_rate / PHASES
                start = 2.0 * pi * i / PHASES
                yield Reception(weight, _heard(gates, pieces, start, relock))


def _heard(
    gates: Sequence[tuple[Leg, Gate]], pieces: Sequence[Piece], start: float, relock: float
) -> dict[str, list[tuple[float, float, int]]]:
    found: dict[str, list[tuple[float, float, int]]] = {}
    for leg, through in gates:
        piece = pieces[leg.piece]
        spans = found.setdefault(leg.station, [])
        spans += [(piece.at(a), piece.at(b), leg.piece) for a, b in heard(through, start, relock)]
    return found


def spans_of(plan: Plan, reception: Reception, stations: Sequence[str]) -> Iterator[Span]:
    """Give from where to where how many of some stations receive."""
    events = sorted(
        event
        for name in stations
        for a, b, piece in reception.heard.get(name, ())
        for event in ((a, 1, piece), (b, -1, piece))
    )
    before, open_now = 0.0, 0
    for position, change, piece in events:
        if open_now and position > before:
            yield Span(before, position, plan.tables[piece][open_now - 1])
        before, open_now = position, open_now + change


def plan_of(
    flight: Flight, link: Link, turning: Turning, channel: Channel, content: Content,
    guard: float, one_mode: str | None = None,
) -> Plan:  # fmt: skip
    """Return all receptions of a flight, in the planned modes or in one mode throughout."""
    stations = [name for name, sight in flight.sights.items() if sight.passes]
    if not stations:
        return Plan([], content, [], [], [])
    planned = planned_modes(flight, one_mode)
    pieces = pieces_of(flight, content, planned, link.symbol_rate, guard)
    tables = tables_of(pieces, channel, content.blocks, len(stations))
    legs = legs_of(flight, link, pieces)
    found = receptions(flight, legs, pieces, turning, channel.relock)
    return Plan(stations, content, pieces, tables, list(found))


def planned_modes(flight: Flight, one_mode: str | None = None) -> dict[str, Mode]:
    """Return the mode that is planned for each station, or one mode for all of them."""
    modes = read_modes(DATA / "dvbs2_modes.csv")
    return {
        name: modes[one_mode] if one_mode else planned_mode(modes, name, x.station)
        for name, x in flight.sights.items()
    }


def chances_of(plan: Plan, reception: Reception, stations: Sequence[str]) -> tuple[Chances, Missed]:
    """Return what some stations together miss in one attitude."""
    content = plan.content
    of = missed(spans_of(plan, reception, stations), content.blocks)
    return Chances(not_round(of, content.blocks), not_all(of, content.picture_blocks)), of


def by_subset(plan: Plan, reception: Reception) -> list[Chances]:
    """Return what each set of stations misses; bit i of its number is station i.

    More stations never miss more, so where a smaller set has a chance below SMALL already, the
    larger one is given that.
    """
    found = [Chances(1.0, 1.0)]
    deaf = sum(1 << i for i, name in enumerate(plan.stations) if not reception.heard.get(name))
    for number, bits in sets_of(len(plan.stations)):
        least = min([found[number ^ 1 << i] for i in bits])
        if least.round > SMALL and not number & deaf:  # who hears nothing adds nothing
            of, _ = chances_of(plan, reception, [plan.stations[i] for i in bits])
            least = Chances(min(least.round, of.round), min(least.picture, of.picture))
        found.append(least)
    return found


@cache
def sets_of(stations: int) -> tuple[tuple[int, tuple[int, ...]], ...]:
    """Return the number of each set of stations but the empty one, and who is in it."""
    return tuple(
        (number, tuple(i for i in range(stations) if number >> i & 1))
        for number in range(1, 2**stations)
    )


def set_weights(stations: int, lost: float) -> list[float]:
    """Return the probability of each set of stations that track, each losing its pass alone."""
    return [
        (1.0 - lost) ** number.bit_count() * lost ** (stations - number.bit_count())
        for number in range(2**stations)
    ]


class Survey(NamedTuple):
    """Means over the attitudes by set of stations, and the pictures of each release in reach."""

    chances: Sequence[Chances]
    in_reach: int


def survey(plan: Plan) -> Survey:
    """Return the means over the attitudes of what each set of stations misses.

    Stations that see the same stage share its attitude and its blocks: their misses are put
    together in each attitude, and the mean comes after. Means are never multiplied.
    """
    if not plan.stations:
        return Survey([Chances(1.0, 1.0)], 0)
    sums = [[0.0, 0.0] for _ in range(2 ** len(plan.stations))]
    in_reach = plan.content.pictures
    for reception in plan.receptions:
        chances = by_subset(plan, reception)
        for total, one in zip(sums, chances, strict=True):
            total[0] += reception.weight * one.round
            total[1] += reception.weight * one.picture
        if chances[-1].round > 0.5:  # a block that nobody can receive makes it almost one
            in_reach = min(in_reach, whole_pictures(plan, reception))
    return Survey([Chances(*(min(x, 1.0) for x in total)) for total in sums], in_reach)


def whole_pictures(plan: Plan, reception: Reception) -> int:
    """Return how many pictures of each release come down in one attitude without outages.

    A gap of the round hits neighbouring pictures, which are of different releases.
    """
    content = plan.content
    _, of = chances_of(plan, reception, plan.stations)
    hit = [carousel.pictures_hit(gap, content.picture_blocks) for gap in of.gaps]
    return max(content.pictures - sum(ceil(n / content.releases) for n in hit), 0)


def over_missed_passes(chances: Sequence[float], stations: int, channel: Channel) -> float:
    """Return the mean of a chance over which stations lose their pass as a whole.

    A share of the lost passes has a cause that hits all stations (beta factor).
    """
    common = channel.common_missed * channel.missed_pass
    alone = (1.0 - channel.common_missed) * channel.missed_pass
    weights = set_weights(stations, alone)
    return common + (1.0 - common) * sum(w * c for w, c in zip(weights, chances, strict=True))


class Course(NamedTuple):
    """The link along a pass: times in s, and by how many dB it is above the threshold of the mode.

    ``toward`` with the antenna on the station, ``turning`` as the stage spins: minus infinity where
    the station is behind the antenna's plane.
    """

    station: str
    times: Sequence[float]
    toward: Sequence[float]
    turning: Sequence[float]


def margins_along_passes(
    flight: Flight, link: Link, turning: Turning, pieces: Sequence[Piece], start: float, step: float
) -> list[Course]:
    """Return the link along each pass, for one start angle (rad) of the undisturbed spin.

    The step in s is that between the points; the reserve is not taken off.
    """
    first = flight.ephemeris[0]
    axes = spin.orbit_axes(to_inertial(first.state, EARTH_RATE * first.time))
    courses = []
    for name, sight in flight.sights.items():
        losses_at = antenna_pattern.off_axis_losses(
            link.beamwidth, link.axial_ratio, sight.station.feed_axial_ratio_db
        )
        for one in sight.passes:
            count = ceil(one.duration / step)
            times = [one.rise + one.duration * i / count for i in range(count + 1)]
            levels = [level_above(flight, sight, link, pieces, time) for time in times]
            offsets = [offset_at(flight, sight, turning, axes, start, time) for time in times]
            courses.append(
                Course(
                    name,
                    times,
                    [level - losses_at[0] for level in levels],
                    [
                        level - antenna_pattern.loss_at(losses_at, offset)
                        for level, offset in zip(levels, offsets, strict=True)
                    ],
                )
            )
    return courses


def level_above(
    flight: Flight, sight: Sight, link: Link, pieces: Sequence[Piece], time: float
) -> float:
    """Return Es/N0 less loss of implementation and threshold in dB, before losses off the axis."""
    state = at(flight.ephemeris, time)
    look = look_at(sight.site, state)
    mode = next((piece for piece in pieces if time < piece.end), pieces[-1]).mode
    level = axis_level(link, sight, look.elevation, look.range)
    return level - link.implementation_loss - mode.ideal_es_n0


def offset_at(
    flight: Flight, sight: Sight, turning: Turning, axes: spin.Axes, start: float, time: float
) -> float:
    """Return the angle in deg from the antenna's axis to a station, for a start angle in rad.

    The spin angle runs as rate times time, as in :func:`analyses.physics.turning_link.gate`.
    """
    toward = direction(at(flight.ephemeris, time).position, sight.site.position)
    polar, azimuth = spin.direction_in(axes, turn(toward, -EARTH_RATE * time))
    turned = radians(turning.rate) * time + start - azimuth
    return degrees(spin.angle_between(polar, radians(turning.cone), turned))


def recovery_against_repeats(
    flight: Flight, link: Link, turning: Turning, channel: Channel, content: Content,
    modes: Sequence[str], most: int,
) -> dict[str, dict[str, list[float]]]:  # fmt: skip
    """Return the probability that all pictures come down, by mode, by station, and by repeats.

    Each list holds the values for one round sent after each rise of a station, two, and so on up to
    the most. Under ALL stand the stations together, lost passes included; under the name of one
    that one alone, which tracks. One mode is kept throughout: the code rate is what is varied.
    """
    found: dict[str, dict[str, list[float]]] = {}
    for mode in modes:
        plan = plan_of(flight, link, turning, channel, content, 0.0, mode)
        lines: dict[str, list[float]] = {name: [] for name in (ALL, *plan.stations)}
        for rounds in range(1, most + 1):
            chances = [one.round for one in survey(first_rounds(plan, flight, rounds)).chances]
            missed_by_all = over_missed_passes(chances, len(plan.stations), channel)
            lines[ALL].append(1.0 - missed_by_all)
            for i, name in enumerate(plan.stations):
                lines[name].append(1.0 - chances[1 << i])
        found[mode] = lines
    return found


def first_rounds(plan: Plan, flight: Flight, rounds: int) -> Plan:
    """Return a plan of one mode, with no more than so many rounds after each rise of a station."""
    if not plan.pieces:
        return plan
    (piece,) = plan.pieces
    length = float(rounds * plan.content.blocks)
    rises = {
        name: sorted(piece.at(one.rise) for one in sight.passes)
        for name, sight in flight.sights.items()
    }

    def cut(name: str, span: tuple[float, float, int]) -> tuple[float, float, int]:
        begin, end, number = span
        rise = rises[name][bisect_right(rises[name], begin) - 1]
        return begin, max(begin, min(end, rise + length)), number

    return plan._replace(
        receptions=[
            one._replace(heard={n: [cut(n, span) for span in of] for n, of in one.heard.items()})
            for one in plan.receptions
        ]
    )
