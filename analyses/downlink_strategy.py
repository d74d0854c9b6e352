"""Whether every picture of the carousel comes down, from one antenna on a stage that turns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import zip_longest
from math import ceil
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

from analyses.physics import carousel
from analyses.physics.bursts import Outage
from analyses.physics.dvbs2 import read_modes
from analyses.physics.orbit import Burn
from analyses.physics.stations import read_stations
from analyses.reception_plan import (
    ALL,
    Channel,
    Content,
    Link,
    Plan,
    Turning,
    margins_along_passes,
    over_missed_passes,
    pieces_of,
    plan_of,
    planned_modes,
    recovery_against_repeats,
    survey,
)
from analyses.station_windows import fly
from closeout import absent, analysis
from closeout.units import (
    MHz,
    Msymbol_s,
    Unit,
    W,
    count,
    dB,
    dBic,
    deg,
    deg_per_s,
    kB,
    km,
    ratio,
    s,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DATA = Path(__file__).parent / "data"
DRAWN_STEP = 2.0  # s between points of a drawn pass
DRAWN_ROUNDS = 30
LEAST_DRAWN = 1e-8  # chance of a miss below which the figure goes no further
VALIDATION = (
    "tests/analyses/test_downlink_strategy.py",
    "tests/analyses/physics/test_turning_link.py",
    "tests/analyses/physics/test_carousel.py",
)

m_s = Annotated[float, Unit("m/s")]


class DownlinkStrategy(NamedTuple):
    """Probabilities over attitude, start phases, outages and passes that are lost as a whole."""

    picture_probability: ratio  # of each picture, whichever it is
    recovery_probability: ratio  # of all pictures together
    recovery_without_one: ratio  # of all, where the station that matters most has lost its pass
    pictures_in_reach: count  # of each release, without outages, in each attitude that is looked at


class StationRecovery(NamedTuple):
    """Of stations that track, over attitude, start phases and outages."""

    station_probability: Annotated[Mapping[str, float], Unit("1")]  # all pictures by it alone
    without_station: Annotated[Mapping[str, float], Unit("1")]  # all pictures by the others
    link_time: Annotated[Mapping[str, float], Unit("s")]  # mean, of its windows
    rounds: Annotated[Mapping[str, float], Unit("count")]  # that it receives, mean


class PictureOrder(NamedTuple):
    pictures_before_second: count  # of each release when a second one of any begins


@analysis(validated_by=VALIDATION)
def downlink_strategy(
    first_release_time: s,
    release_interval: s,
    satellites: count,
    release_latitude: deg,
    release_longitude: deg,
    release_geometric_altitude: km,
    release_speed: m_s,
    release_heading: deg,
    deorbit_start_time: s,
    deorbit_duration: s,
    deorbit_speed_loss: m_s,
    wake_time: s,
    transmit_start_delay: s,
    transmit_stop_delay: s,
    transmit_end_altitude: km,
    link_elevation: deg,
    spin_rate: deg_per_s,
    spin_rate_sigma: deg_per_s,
    spin_axis_sigma: deg,
    antenna_spin_angle: deg,
    carrier_frequency: MHz,
    transmit_power: W,
    transmit_feeder_loss: dB,
    antenna_peak_gain: dBic,
    antenna_beamwidth: deg,
    antenna_axial_ratio: dB,
    symbol_rate: Msymbol_s,
    implementation_loss: dB,
    reception_reserve: dB,
    station_pointing_error: deg,
    station_g_over_t_error: dB,
    mode_guard_time: s,
    relock_time: s,
    outage_share: ratio,
    outage_duration: s,
    common_outage_share: ratio,
    missed_pass_probability: ratio,
    common_missed_share: ratio,
    pictures_per_release: count,
    picture_size: kB,
    picture_overhead: ratio,
    picture_block_size: kB,
) -> DownlinkStrategy:
    """Probability that every priority picture comes down, over attitude, outages and lost passes.

    **Model.** The stage spins about an axis that stays in inertial space, near the normal of its
    orbit; the antenna looks across it. Along each pass of `station_windows` the link budget of
    `link_margin` gives how far from its axis the antenna may point (gain of a patch, polarisation
    that turns from circle to line: `analyses/physics/antenna_pattern.py`), and so in which part of
    each turn the station receives (`spin.py`, `turning_link.py`). The recorder sends the blocks of
    all pictures round and round in one mode at a time: that of the station in view that needs
    least. A block counts when one station has received it once; all stations' blocks are put
    together. Outages come in bursts, a good and a bad state with exponential stays (`bursts.py`).
    The chance that a block stays missing is the product over all its receptions; that of a run of
    missing blocks follows, and the expected number of runs bounds the chance of any
    (`carousel.py`).

    **Dependence.** Attitude first: spin axis, rate and start angle are enumerated on nodes of a
    quadrature, the stations' misses are put together in each attitude, and the mean is taken last;
    stations in view together share attitude and block, and a share of the outages. A round later an
    outage may still last, which raises the share of every round. Of the stations each set that
    tracks is enumerated; a share of the lost passes has a cause common to all.

    **Start phase of the carousel.** It is uniform, since the timers are seconds loose. Where all
    pictures are wanted it turns the round and changes nothing; for one picture the mean over it is
    the same for each. So there is one probability for each picture.

    **Sources.** Budget: `link_margin`. Patch: crossed dipoles and cosine lobe (antenna textbooks).
    Thresholds: ETSI EN 302 307-1, Table 13. Gilbert (1960) and Elliott (1963), from memory. Beta
    factor as in IEC 61508-6, from memory. Gauss-Hermite quadrature.

    **On the safe side.** Nothing is counted behind the antenna's plane, nor with less than the
    reserve above the threshold; a receiver locks anew in each turn and at each change of the mode;
    a block on an edge is lost; ellipses of polarisation are at their worst tilt; the modulator
    keeps a robust mode for the guard time around a window, which stands for loose timers, a late
    wake-up and a reset; expected number for probability.

    **Assumptions.** Above the threshold a frame is received (1e-7 fail, some tens in a block).
    Weather and scintillation are the losses of the budget, exceeded in 1 % of the time, all the
    time. The memory reads faster than the link takes (`storage_and_volume`). Outages of a station
    in one turn do not hang on those of another station, but for the common share.

    **Not covered.** The launcher's dispersion in altitude, speed and heading, which moves windows
    by seconds (`station_windows`) and the probability by less than 1e-6; shadows of the released
    satellites; torque that turns the spin axis; a transmitter, memory or computer
    that fails; a stage that tumbles about more than one axis: the spin is a promise of the
    launcher.

    **Strobing.** Where a turn against the line of sight takes a whole number of rounds, and the
    antenna looks for less than one, each turn shows the same part of the round, and pictures stay
    missing (near 10.2 deg/s here). Look at the result against spin_rate before either is changed.

    **Caution.** Radiate only under the licence and inside the keep-out distance; a probability of
    recovery permits nothing. Evaluated on numbers only.
    """
    channel = Channel(
        Outage(outage_share, outage_duration), common_outage_share, relock_time,
        missed_pass_probability, common_missed_share,
    )  # fmt: skip
    plan = plan_of(
        fly(
            0.0, first_release_time + (satellites - 1.0) * release_interval,
            (release_latitude, release_longitude, release_geometric_altitude),
            (release_speed, release_heading),
            Burn(deorbit_start_time, deorbit_duration, deorbit_speed_loss),
            (wake_time + transmit_start_delay, wake_time + transmit_stop_delay),
            transmit_end_altitude, link_elevation,
        ),
        Link(
            carrier_frequency, transmit_power, transmit_feeder_loss, antenna_peak_gain,
            antenna_beamwidth, antenna_axial_ratio, symbol_rate, implementation_loss,
            reception_reserve, station_pointing_error, station_g_over_t_error,
        ),
        Turning(spin_rate, spin_rate_sigma, spin_axis_sigma, antenna_spin_angle),
        channel,
        content_of(
            satellites, pictures_per_release, picture_size, picture_overhead, picture_block_size
        ),
        mode_guard_time,
    )  # fmt: skip
    found, stations = survey(plan), len(plan.stations)
    all_but_one = [found.chances[-1 - 2**i].round for i in range(stations)]
    return DownlinkStrategy(
        picture_probability=1.0
        - over_missed_passes([c.picture for c in found.chances], stations, channel),
        recovery_probability=1.0
        - over_missed_passes([c.round for c in found.chances], stations, channel),
        recovery_without_one=1.0 - max(all_but_one, default=1.0),
        pictures_in_reach=float(found.in_reach),
    )


@downlink_strategy.figure
def margin_along_passes(
    first_release_time: s,
    release_interval: s,
    satellites: count,
    release_latitude: deg,
    release_longitude: deg,
    release_geometric_altitude: km,
    release_speed: m_s,
    release_heading: deg,
    deorbit_start_time: s,
    deorbit_duration: s,
    deorbit_speed_loss: m_s,
    wake_time: s,
    transmit_start_delay: s,
    transmit_stop_delay: s,
    transmit_end_altitude: km,
    link_elevation: deg,
    spin_rate: deg_per_s,
    spin_rate_sigma: deg_per_s,
    spin_axis_sigma: deg,
    antenna_spin_angle: deg,
    carrier_frequency: MHz,
    transmit_power: W,
    transmit_feeder_loss: dB,
    antenna_peak_gain: dBic,
    antenna_beamwidth: deg,
    antenna_axial_ratio: dB,
    symbol_rate: Msymbol_s,
    implementation_loss: dB,
    reception_reserve: dB,
    station_pointing_error: deg,
    station_g_over_t_error: dB,
    mode_guard_time: s,
    pictures_per_release: count,
    picture_size: kB,
    picture_overhead: ratio,
    picture_block_size: kB,
) -> Figure:
    """Margin of the link above the threshold of the mode that is sent, along each pass, at the
    inputs: with the antenna on the station (dashed), and as the stage turns undisturbed, for one of
    all start angles. Blocks count where the curve is above the reserve (shaded). Look at how often
    and how long that is. All data of the mission are invented.
    """
    from analyses import plotting

    flight = fly(
        0.0, first_release_time + (satellites - 1.0) * release_interval,
        (release_latitude, release_longitude, release_geometric_altitude),
        (release_speed, release_heading),
        Burn(deorbit_start_time, deorbit_duration, deorbit_speed_loss),
        (wake_time + transmit_start_delay, wake_time + transmit_stop_delay),
        transmit_end_altitude, link_elevation,
    )  # fmt: skip
    link = Link(
        carrier_frequency, transmit_power, transmit_feeder_loss, antenna_peak_gain,
        antenna_beamwidth, antenna_axial_ratio, symbol_rate, implementation_loss,
        reception_reserve, station_pointing_error, station_g_over_t_error,
    )  # fmt: skip
    turning = Turning(spin_rate, spin_rate_sigma, spin_axis_sigma, antenna_spin_angle)
    content = content_of(
        satellites, pictures_per_release, picture_size, picture_overhead, picture_block_size
    )
    pieces = pieces_of(flight, content, planned_modes(flight), symbol_rate, mode_guard_time)
    courses = margins_along_passes(flight, link, turning, pieces, 0.0, DRAWN_STEP)
    rows = max(ceil(len(courses) / 2), 1)
    figure, panels = plotting.panels(rows, 2, height=1.0 + 2.3 * rows)
    highest = max((max(course.toward) for course in courses), default=0.0) + 5.0
    for axes, course in zip_longest(panels, courses):
        if course is None:
            axes.axis("off")
            continue
        minutes = [time / 60.0 for time in course.times]
        axes.plot(minutes, course.toward, "--", color=plotting.SKY, label="antenna on the station")
        axes.plot(minutes, course.turning, color=plotting.BLUE, label="as the stage turns")
        axes.fill_between(
            minutes, reception_reserve, course.turning,
            where=[margin >= reception_reserve for margin in course.turning],
            color=plotting.GREEN, alpha=0.3, linewidth=0.0, label="above the reserve",
        )  # fmt: skip
        plotting.limit(axes, reception_reserve, "reserve")
        axes.set_ylim(-6.0, highest)
        axes.annotate(
            course.station, (0.02, 0.97), xycoords="axes fraction", va="top", weight="bold"
        )
        axes.set_xlabel("time after lift-off (min)")
        axes.set_ylabel("margin (dB)")
    if not courses:
        plotting.note(figure, "no station sees the stage")
    plotting.legend(figure, 4)
    return figure


@downlink_strategy.figure
def recovery_by_repeats(
    first_release_time: s,
    release_interval: s,
    satellites: count,
    release_latitude: deg,
    release_longitude: deg,
    release_geometric_altitude: km,
    release_speed: m_s,
    release_heading: deg,
    deorbit_start_time: s,
    deorbit_duration: s,
    deorbit_speed_loss: m_s,
    wake_time: s,
    transmit_start_delay: s,
    transmit_stop_delay: s,
    transmit_end_altitude: km,
    link_elevation: deg,
    spin_rate: deg_per_s,
    spin_rate_sigma: deg_per_s,
    spin_axis_sigma: deg,
    antenna_spin_angle: deg,
    carrier_frequency: MHz,
    transmit_power: W,
    transmit_feeder_loss: dB,
    antenna_peak_gain: dBic,
    antenna_beamwidth: deg,
    antenna_axial_ratio: dB,
    symbol_rate: Msymbol_s,
    implementation_loss: dB,
    reception_reserve: dB,
    station_pointing_error: deg,
    station_g_over_t_error: dB,
    relock_time: s,
    outage_share: ratio,
    outage_duration: s,
    common_outage_share: ratio,
    missed_pass_probability: ratio,
    common_missed_share: ratio,
    pictures_per_release: count,
    picture_size: kB,
    picture_overhead: ratio,
    picture_block_size: kB,
) -> Figure:
    """Probability that a picture of the round stays missing against the rounds that are sent after
    each rise, at the inputs, with one mode kept throughout: by all stations together, lost passes
    included, in each mode (left), and by each station alone, which tracks, in the most robust one
    (right). Look at where the curves level off; a curve ends where it falls below 1e-8. All data of
    the mission are invented.
    """
    from matplotlib.ticker import MaxNLocator

    from analyses import plotting

    flight = fly(
        0.0, first_release_time + (satellites - 1.0) * release_interval,
        (release_latitude, release_longitude, release_geometric_altitude),
        (release_speed, release_heading),
        Burn(deorbit_start_time, deorbit_duration, deorbit_speed_loss),
        (wake_time + transmit_start_delay, wake_time + transmit_stop_delay),
        transmit_end_altitude, link_elevation,
    )  # fmt: skip
    link = Link(
        carrier_frequency, transmit_power, transmit_feeder_loss, antenna_peak_gain,
        antenna_beamwidth, antenna_axial_ratio, symbol_rate, implementation_loss,
        reception_reserve, station_pointing_error, station_g_over_t_error,
    )  # fmt: skip
    turning = Turning(spin_rate, spin_rate_sigma, spin_axis_sigma, antenna_spin_angle)
    content = content_of(
        satellites, pictures_per_release, picture_size, picture_overhead, picture_block_size
    )
    channel = Channel(
        Outage(outage_share, outage_duration), common_outage_share, relock_time,
        missed_pass_probability, common_missed_share,
    )  # fmt: skip
    names = {mode: name for name, mode in read_modes(DATA / "dvbs2_modes.csv").items()}
    modes = [
        names[mode]
        for mode in sorted({planned_modes(flight)[n] for n, x in flight.sights.items() if x.passes})
    ]
    found = recovery_against_repeats(flight, link, turning, channel, content, modes, DRAWN_ROUNDS)
    figure, (together, alone) = plotting.panels(1, 2, height=4.2)
    rounds = range(1, DRAWN_ROUNDS + 1)
    robust = found[modes[0]] if modes else {}
    for axes, curves in (
        (together, {mode: found[mode][ALL] for mode in modes}),
        (alone, {name: line for name, line in robust.items() if name != ALL}),
    ):
        for series, (name, line) in enumerate(curves.items()):
            # Held at the least drawn, a curve would look as if it stayed at that level.
            missing = [1.0 - chance for chance in line if 1.0 - chance >= LEAST_DRAWN]
            axes.plot(
                rounds[: len(missing)], missing,
                linestyle=plotting.LINES[series % len(plotting.LINES)],
                color=plotting.SERIES[series % len(plotting.SERIES)], label=name,
            )  # fmt: skip
        axes.set_yscale("log")
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        axes.set_xlabel("rounds sent after each rise (count)")
        axes.set_ylabel("probability of a missing picture (1)")
        if not curves:
            plotting.note(figure, "no station sees the stage")
        else:
            axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.18), ncols=2)
    return figure


@analysis(validated_by=VALIDATION)
def station_recovery(
    first_release_time: s,
    release_interval: s,
    satellites: count,
    release_latitude: deg,
    release_longitude: deg,
    release_geometric_altitude: km,
    release_speed: m_s,
    release_heading: deg,
    deorbit_start_time: s,
    deorbit_duration: s,
    deorbit_speed_loss: m_s,
    wake_time: s,
    transmit_start_delay: s,
    transmit_stop_delay: s,
    transmit_end_altitude: km,
    link_elevation: deg,
    spin_rate: deg_per_s,
    spin_rate_sigma: deg_per_s,
    spin_axis_sigma: deg,
    antenna_spin_angle: deg,
    carrier_frequency: MHz,
    transmit_power: W,
    transmit_feeder_loss: dB,
    antenna_peak_gain: dBic,
    antenna_beamwidth: deg,
    antenna_axial_ratio: dB,
    symbol_rate: Msymbol_s,
    implementation_loss: dB,
    reception_reserve: dB,
    station_pointing_error: deg,
    station_g_over_t_error: dB,
    mode_guard_time: s,
    relock_time: s,
    outage_share: ratio,
    outage_duration: s,
    common_outage_share: ratio,
    pictures_per_release: count,
    picture_size: kB,
    picture_overhead: ratio,
    picture_block_size: kB,
) -> StationRecovery:
    """Probability that all pictures come down by one station alone, and without one station.

    Of stations that track. Model, sources, assumptions, gaps and caution are those of
    downlink_strategy. The link time is the time in which the antenna looks at the station, less the
    time to lock; the rounds are how often a block comes in that time, outages not taken off.
    """
    channel = Channel(
        Outage(outage_share, outage_duration), common_outage_share, relock_time, 0.0, 0.0
    )
    plan = plan_of(
        fly(
            0.0, first_release_time + (satellites - 1.0) * release_interval,
            (release_latitude, release_longitude, release_geometric_altitude),
            (release_speed, release_heading),
            Burn(deorbit_start_time, deorbit_duration, deorbit_speed_loss),
            (wake_time + transmit_start_delay, wake_time + transmit_stop_delay),
            transmit_end_altitude, link_elevation,
        ),
        Link(
            carrier_frequency, transmit_power, transmit_feeder_loss, antenna_peak_gain,
            antenna_beamwidth, antenna_axial_ratio, symbol_rate, implementation_loss,
            reception_reserve, station_pointing_error, station_g_over_t_error,
        ),
        Turning(spin_rate, spin_rate_sigma, spin_axis_sigma, antenna_spin_angle),
        channel,
        content_of(
            satellites, pictures_per_release, picture_size, picture_overhead, picture_block_size
        ),
        mode_guard_time,
    )  # fmt: skip
    found, stations = survey(plan), plan.stations
    whole = range(len(stations))
    times, rounds = link_means(plan)
    cases = tuple(read_stations(DATA / "stations.csv"))
    return StationRecovery(
        station_probability=_cases(
            cases, {stations[i]: 1.0 - found.chances[1 << i].round for i in whole}
        ),
        without_station=_cases(
            cases, {stations[i]: 1.0 - found.chances[-1 - 2**i].round for i in whole}
        ),
        link_time=_cases(cases, times),
        rounds=_cases(cases, rounds),
    )


@analysis(validated_by=VALIDATION)
def picture_order(satellites: count, pictures_per_release: count) -> PictureOrder:
    """Pictures that each release has when a second one of any begins, wherever a receiver joins.

    **Model.** The queue of the recorder: the first picture of each release, the second of each, and
    so on, round and round. A receiver may join at any picture; one that it joins late does not
    count. All points at which it may join are enumerated, and the least is kept.

    **Sources.** None: the queue is a declaration, which the review of the software's design holds
    against the code.

    **Not covered.** Blocks that are lost on the way, which downlink_strategy treats.
    """
    queue = carousel.order(round(satellites), round(pictures_per_release))
    return PictureOrder(float(carousel.fewest_before_second(queue)))


def content_of(
    releases: count, pictures: count, size: kB, overhead: ratio, block_size: kB
) -> Content:
    """Return the round of pictures; sizes in kB. A picture ends with a whole block."""
    picture_blocks = ceil(size / block_size)
    block_mbit = 8e-3 * size / picture_blocks * overhead
    return Content(round(releases), round(pictures), picture_blocks, block_mbit)


def link_means(plan: Plan) -> tuple[dict[str, float], dict[str, float]]:
    """Return by station the mean time of reception in s, and the rounds received in it."""
    times, rounds = dict.fromkeys(plan.stations, 0.0), dict.fromkeys(plan.stations, 0.0)
    for reception in plan.receptions:
        for name, spans in reception.heard.items():
            for begin, end, piece in spans:
                blocks = reception.weight * (end - begin)
                times[name] += blocks * plan.pieces[piece].block_time
                rounds[name] += blocks / plan.content.blocks
    return times, rounds


def _cases(names: Sequence[str], values: Mapping[str, float]) -> dict[str, float]:
    """Return a value for each station; one without a value never rises."""
    return {name: values.get(name, absent("never rises")) for name in names}
