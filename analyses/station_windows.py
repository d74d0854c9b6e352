"""When each ground station sees the kick stage, how, and the files that its antenna follows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from math import hypot
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

from analyses.physics import radio
from analyses.physics.frames import EARTH_RATE, EQUATORIAL_RADIUS, State, to_geodetic, turn
from analyses.physics.look_angles import Look, Site, look_at, separation, site_at
from analyses.physics.orbit import (
    Burn,
    Moment,
    at,
    fixed_ephemeris,
    launched_state,
    propagate,
)
from analyses.physics.orbit_message import orbit_ephemeris_message
from analyses.physics.passes import Pass, find_passes, open_time
from analyses.physics.pointing_file import pointing_file, row_times
from analyses.physics.stations import Station, read_stations
from analyses.physics.trajectory_issue import TrajectoryIssue, read_issue, sidereal_angle_at
from closeout import absent, analysis
from closeout.units import MHz, Unit, count, deg, deg_per_s, km, minute, rad, s

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DATA = Path(__file__).parent / "data"
DESCENT = 2400.0  # s of flight after the deorbit burn, within which the stage has come down

m_s = Annotated[float, Unit("m/s")]


class StationWindows(NamedTuple):
    """Times after lift-off; of a station with several passes, of the longest one."""

    transmit_start: minute
    transmit_stop: minute  # by the timer, or by the altitude where that comes first
    stop_altitude: km  # geometric, when the timer has stopped the transmitter
    fall_time: minute  # below the altitude at which the transmitter must be off
    burn_up_time: minute  # below the altitude at which the stage burns up
    highest_altitude: km  # geometric, while the transmitter is on
    file_needed: minute  # first rise; the end of transmission where no station sees it
    reissue_time: minute  # from the last release until then
    passes: Annotated[Mapping[str, float], Unit("count")]
    rise: Annotated[Mapping[str, float], Unit("min")]
    set: Annotated[Mapping[str, float], Unit("min")]
    window_duration: Annotated[Mapping[str, float], Unit("s")]
    highest_elevation: Annotated[Mapping[str, float], Unit("deg")]
    shortest_range: Annotated[Mapping[str, float], Unit("km")]
    longest_range: Annotated[Mapping[str, float], Unit("km")]
    azimuth_rate: Annotated[Mapping[str, float], Unit("deg/s")]  # greatest size
    greatest_azimuth_rate: deg_per_s  # of the stations; zero where none sees it
    covered: s  # by one station at the least
    overlap: s  # of two or more stations


class StationPointing(NamedTuple):
    doppler: Annotated[Mapping[str, float], Unit("kHz")]  # greatest size, of the longest window
    pointing_error: Annotated[Mapping[str, float], Unit("deg")]  # greatest of the windows
    share_of_beamwidth: Annotated[Mapping[str, float], Unit("1")]
    greatest_pointing_error: deg  # of the stations; zero where none sees it


class Sight(NamedTuple):
    """What one station has of the flight."""

    station: Station
    site: Site
    passes: Sequence[Pass]


class Flight(NamedTuple):
    """The flight after the last release; times in s after lift-off."""

    issue: TrajectoryIssue
    lift_off: datetime
    last_release: s
    burn: Burn
    ephemeris: Sequence[Moment]  # Earth-fixed
    transmit_start: s
    timer_stop: s
    fall: s
    sights: Mapping[str, Sight]

    @property
    def transmit_stop(self) -> s:
        """Return when the transmitter is off for good."""
        return min(self.timer_stop, self.fall)


@analysis(
    validated_by=(
        "tests/analyses/test_station_windows.py",
        "tests/analyses/physics/test_orbit.py",
        "tests/analyses/physics/test_look_angles.py",
    )
)
def station_windows(
    lift_off_delay: minute,
    first_release_time: s,
    release_interval: s,
    satellites: count,
    release_latitude: deg,
    release_longitude: deg,
    release_geometric_altitude: km,
    release_speed: m_s,
    release_heading: deg,
    altitude_error: km,
    speed_error: m_s,
    heading_error: deg,
    deorbit_start_time: s,
    deorbit_duration: s,
    deorbit_speed_loss: m_s,
    wake_time: s,
    transmit_start_delay: s,
    transmit_stop_delay: s,
    transmit_end_altitude: km,
    link_elevation: deg,
    burn_up_geometric_altitude: km,
) -> StationWindows:
    """Windows of each ground station between start and end of transmission, for a lift-off time.

    **Model.** The state that the launcher agreed for the last release (geodetic place, horizontal
    inertial velocity), with the errors of its dispersion, is turned into TEME by the sidereal angle
    and integrated: central gravity and J2, fourth-order Runge-Kutta, a deorbit burn of constant
    acceleration against the motion (`analyses/physics/orbit.py`). The ephemeris is turned back into
    the Earth-fixed frame (`frames.py`) and looked at from each station on the ellipsoid of WGS 84
    (`look_angles.py`). A window is a pass above the station's mask or the lowest elevation at which
    a pass is used, whichever is higher, while the transmitter is on: from one timer of the recorder
    to the other, and no longer than until the stage falls below the given geometric altitude, which
    is the height above the ellipsoid. A station that never sees the stage has no values: "never
    rises" is an answer.

    **Lift-off time.** The launcher flies one trajectory over the ground whenever it lifts off, so
    the windows after lift-off are the same in the whole launch window, and the UTC of the pointing
    files is not. A file for another lift-off time points past the stage: the files are made again
    for each lift-off time that is announced, and again from the state that the launcher has
    navigated after the last release (`reissue_time`).

    **Sources.** Vallado, *Fundamentals of Astrodynamics and Applications*: gravity with J2,
    sidereal angle IAU 1982, topocentric look angles; constants of WGS 84.

    **Assumptions.** A late wake-up and a reset move the recorder's timers by some 75 s; the
    transmitter starts minutes before the first rise and its later end only lengthens a window, so
    both are left to mission_sequence. UTC for UT1 and no polar motion: an orbit given and wanted
    over the ground does not see the first, and the second is 20 m. Three sigma of the launcher are
    taken as bounds. The error of the time carries the error along the track, the error of the
    heading the one across, the error of the speed that of the flight path angle. Straight lines:
    refraction makes rise earlier and set later by some seconds, which is not counted; the pointing
    files give it.

    **Not covered.** Higher terms of the field (some hundred metres in one revolution), drag
    (some metres along the track until the last window; in the descent it ends the flight earlier),
    light pressure, pushes of the releases (they are in the dispersion), a burn that fails.
    Mean elements after tracking: SGP4 is not for a stage that burns. The keyhole of a mount is told
    as the greatest azimuth rate and not taken out of the window. A horizon is a flat mask. Whether
    the pass carries the pictures is the business of link and attitude.

    **Caution.** A window is no permission: radiate only under the licence and inside the keep-out
    distance. Evaluated on numbers only.
    """
    flight = fly(
        lift_off_delay, first_release_time + (satellites - 1.0) * release_interval,
        (release_latitude, release_longitude, release_geometric_altitude + altitude_error),
        (release_speed + speed_error, release_heading + heading_error),
        Burn(deorbit_start_time, deorbit_duration, deorbit_speed_loss),
        (wake_time + transmit_start_delay, wake_time + transmit_stop_delay),
        transmit_end_altitude, link_elevation,
    )  # fmt: skip
    windows = [(p.rise, p.set) for sight in flight.sights.values() for p in sight.passes]
    first = min([rise for rise, _ in windows], default=flight.transmit_stop)
    longest = {n: longest_of(x) for n, x in flight.sights.items() if x.passes}
    looks = {n: looks_of(flight, flight.sights[n], longest[n]) for n in longest}
    rates = {n: max(abs(look.azimuth_rate) for look in seen) for n, seen in looks.items()}
    names = list(flight.sights)
    return StationWindows(
        transmit_start=flight.transmit_start / 60.0,
        transmit_stop=flight.transmit_stop / 60.0,
        stop_altitude=altitude_at(flight.ephemeris, flight.timer_stop),
        fall_time=flight.fall / 60.0,
        burn_up_time=time_below(flight.ephemeris, burn_up_geometric_altitude) / 60.0,
        highest_altitude=highest_altitude(flight),
        file_needed=first / 60.0,
        reissue_time=(first - flight.last_release) / 60.0,
        passes={n: float(len(x.passes)) for n, x in flight.sights.items()},
        rise=_cases(names, {n: p.rise / 60.0 for n, p in longest.items()}),
        set=_cases(names, {n: p.set / 60.0 for n, p in longest.items()}),
        window_duration=_cases(names, {n: p.duration for n, p in longest.items()}),
        highest_elevation=_cases(names, {n: p.highest_elevation for n, p in longest.items()}),
        shortest_range=_cases(names, {n: min(x.range for x in looks[n]) for n in longest}),
        longest_range=_cases(names, {n: max(x.range for x in looks[n]) for n in longest}),
        azimuth_rate=_cases(names, rates),
        greatest_azimuth_rate=max(rates.values(), default=0.0),
        covered=open_time(windows, 1),
        overlap=open_time(windows, 2),
    )


@station_windows.artifact
def station_files(
    lift_off_delay: minute,
    first_release_time: s,
    release_interval: s,
    satellites: count,
    release_latitude: deg,
    release_longitude: deg,
    release_geometric_altitude: km,
    release_speed: m_s,
    release_heading: deg,
    altitude_error: km,
    speed_error: m_s,
    heading_error: deg,
    deorbit_start_time: s,
    deorbit_duration: s,
    deorbit_speed_loss: m_s,
    wake_time: s,
    transmit_start_delay: s,
    transmit_stop_delay: s,
    transmit_end_altitude: km,
    link_elevation: deg,
    burn_up_geometric_altitude: km,  # noqa: ARG001 - takes what the analysis takes
) -> dict[str, str]:
    """Return the pointing file of each station, and the ephemeris, as text by file name.

    Pointing files: azimuth, elevation, apparent elevation, range, range rate and azimuth rate
    against UTC; the header says trajectory, issue, lift-off time, frame and time scale. The
    ephemeris is a CCSDS Orbit Ephemeris Message (CCSDS 502.0-B) from the last release to the fall.
    """
    flight = fly(
        lift_off_delay, first_release_time + (satellites - 1.0) * release_interval,
        (release_latitude, release_longitude, release_geometric_altitude + altitude_error),
        (release_speed + speed_error, release_heading + heading_error),
        Burn(deorbit_start_time, deorbit_duration, deorbit_speed_loss),
        (wake_time + transmit_start_delay, wake_time + transmit_stop_delay),
        transmit_end_altitude, link_elevation,
    )  # fmt: skip
    files = {
        f"pointing_{name.lower()}.csv": pointing_file(
            name, (x.station.latitude_deg, x.station.longitude_deg, x.station.height_m),
            x.site, x.passes, flight.ephemeris, max(x.station.mask_deg, link_elevation),
            flight.issue, flight.lift_off,
        )
        for name, x in flight.sights.items()
    }  # fmt: skip
    shown = [moment for moment in flight.ephemeris if moment.time <= flight.fall]
    message = orbit_ephemeris_message(shown, flight.burn, flight.issue, flight.lift_off)
    return {**files, "kick_stage.oem": message}


@station_windows.figure
def windows_over_time(
    lift_off_delay: minute,
    first_release_time: s,
    release_interval: s,
    satellites: count,
    release_latitude: deg,
    release_longitude: deg,
    release_geometric_altitude: km,
    release_speed: m_s,
    release_heading: deg,
    altitude_error: km,
    speed_error: m_s,
    heading_error: deg,
    deorbit_start_time: s,
    deorbit_duration: s,
    deorbit_speed_loss: m_s,
    wake_time: s,
    transmit_start_delay: s,
    transmit_stop_delay: s,
    transmit_end_altitude: km,
    link_elevation: deg,
) -> Figure:
    """Windows of each station as bars over the time after lift-off, at the inputs, with the
    elevation of the stage below. Look at which windows lie between start and end of transmission
    (dotted), where they overlap, and which station has none. All stations are invented.
    """
    from analyses import plotting

    flight = fly(
        lift_off_delay, first_release_time + (satellites - 1.0) * release_interval,
        (release_latitude, release_longitude, release_geometric_altitude + altitude_error),
        (release_speed + speed_error, release_heading + heading_error),
        Burn(deorbit_start_time, deorbit_duration, deorbit_speed_loss),
        (wake_time + transmit_start_delay, wake_time + transmit_stop_delay),
        transmit_end_altitude, link_elevation,
    )  # fmt: skip

    figure, (above, below) = plotting.panels(2, height=5.4, heights=[3, 2], sharex=True)
    bars = [
        [(one.rise / 60.0, one.duration / 60.0) for one in sight.passes]
        for sight in flight.sights.values()
    ]
    for place, (name, spans) in enumerate(zip(flight.sights, bars, strict=True)):
        color = plotting.SERIES[place % len(plotting.SERIES)]
        above.broken_barh(spans, (place - 0.35, 0.7), color=color)
        if not spans:
            above.annotate("never rises", (0.5, place), xycoords=("axes fraction", "data"),
                           va="center", ha="center")  # fmt: skip
        for one in flight.sights[name].passes:
            times, elevations = elevation_curve(flight, flight.sights[name], one)
            line = plotting.LINES[place % len(plotting.LINES)]
            below.plot(times, elevations, linestyle=line, color=color)
            above.annotate(
                f"{one.highest_elevation:.0f} deg", (one.rise / 60.0, place), (-4, 0),
                textcoords="offset points", va="center", ha="right",
            )  # fmt: skip
    for axes in (above, below):
        plotting.moment(axes, flight.transmit_start / 60.0, "start and end of transmission")
        plotting.moment(axes, flight.transmit_stop / 60.0, "start and end of transmission")
    above.set_yticks(range(len(bars)), list(flight.sights))
    above.set_ylim(len(bars) - 0.4, -0.6)
    below.set_ylim(bottom=0.0)
    below.set_ylabel("elevation (deg)")
    below.set_xlabel("time after lift-off (min)")
    plotting.legend(figure)
    return figure


def elevation_curve(flight: Flight, sight: Sight, one: Pass) -> tuple[list[float], list[float]]:
    """Return times after lift-off in min and elevations in deg along a pass."""
    times = [one.rise + one.duration * i / 60 for i in range(61)]
    return [time / 60.0 for time in times], [
        look_at(sight.site, at(flight.ephemeris, time)).elevation for time in times
    ]


@analysis(validated_by="tests/analyses/test_station_windows.py")
def station_pointing(
    first_release_time: s,
    release_interval: s,
    satellites: count,
    release_latitude: deg,
    release_longitude: deg,
    release_geometric_altitude: km,
    release_speed: m_s,
    release_heading: deg,
    navigation_along_error: km,
    navigation_altitude_error: km,
    navigation_speed_error: m_s,
    deorbit_start_time: s,
    deorbit_duration: s,
    deorbit_speed_loss: m_s,
    wake_time: s,
    transmit_start_delay: s,
    transmit_stop_delay: s,
    transmit_end_altitude: km,
    link_elevation: deg,
    carrier_frequency: MHz,
) -> StationPointing:
    """Angle between where a pointing file looks and where the stage is, and the Doppler shift.

    **Model.** The file is made from the state that the launcher navigated after the last release,
    which errs along the track, in altitude and in speed; the stage flies the agreed trajectory.
    Both are flown as in station_windows, and the directions are compared at the rows of the file.
    An error along the track is an error of time. An error of speed or altitude grows with the time
    since the release. The share of the beamwidth is that of the station's dish, 70 lambda/D.
    The Doppler shift is f/c times the range rate, to first order; `carrier_doppler` bounds it for
    each orbit.

    **Assumptions.** The true trajectory is the agreed one: the launcher's dispersion, some
    kilometres, moves the angle by a few per cent of itself. Errors across the track are as small as
    the one along it and do not grow, so they are left out.

    **Not covered.** The station's own error (mount, refraction, clock), which comes on top; files
    that rest on the state before the flight, which point past the stage by degrees where it is late
    by 20 s. Sources, gaps and caution are those of station_windows.
    """
    last_release = first_release_time + (satellites - 1.0) * release_interval
    burn = Burn(deorbit_start_time, deorbit_duration, deorbit_speed_loss)
    timers = (wake_time + transmit_start_delay, wake_time + transmit_stop_delay)
    place = (release_latitude, release_longitude, release_geometric_altitude)
    known = (release_latitude, release_longitude, place[2] + navigation_altitude_error)
    true = fly(
        0.0, last_release, place, (release_speed, release_heading), burn, timers,
        transmit_end_altitude, link_elevation,
    )  # fmt: skip
    file = fly(
        0.0, last_release, known, (release_speed + navigation_speed_error, release_heading),
        burn, timers, transmit_end_altitude, link_elevation,
    )  # fmt: skip
    ahead = navigation_along_error / (1e-3 * release_speed)  # s that the file runs before the stage
    errors = {
        name: max(_errors(x, true.ephemeris, file.ephemeris, ahead))
        for name, x in true.sights.items()
        if x.passes
    }
    beams = {
        n: radio.dish_beamwidth(x.station.dish_m, carrier_frequency) for n, x in true.sights.items()
    }
    shift = carrier_frequency * 1e3 / radio.SPEED_OF_LIGHT  # kHz for 1 km/s
    dopplers = {
        n: shift * max(abs(look.range_rate) for look in looks_of(true, x, longest_of(x)))
        for n, x in true.sights.items()
        if x.passes
    }
    names = list(true.sights)
    return StationPointing(
        doppler=_cases(names, dopplers),
        pointing_error=_cases(names, errors),
        share_of_beamwidth=_cases(names, {n: errors[n] / beams[n] for n in errors}),
        greatest_pointing_error=max(errors.values(), default=0.0),
    )


@lru_cache(maxsize=32)  # where links and attitudes vary, the flight does not
def fly(
    lift_off_delay: minute,
    last_release: s,
    place: tuple[float, float, float],
    motion: tuple[float, float],
    burn: Burn,
    timers: tuple[float, float],
    end_altitude: km,
    lowest_elevation: deg,
) -> Flight:
    """Return the flight from the last release on, and what each station has of it.

    Delay in min, times in s after lift-off; place in deg, deg and km, motion in m/s and deg.

    Raises:
        ValueError: the burn begins before the last release, or the stage is not down in time.
    """
    if burn.start < last_release:
        raise ValueError(
            f"the deorbit burn begins at {burn.start:g} s, before the last release at "
            f"{last_release:g} s"
        )
    issue = read_issue(DATA / "trajectory_issue.csv")
    lift_off = issue.window_opens_utc + timedelta(minutes=lift_off_delay)
    ephemeris = flown(sidereal_angle_at(lift_off), last_release, place, motion, burn)
    fall = time_below(ephemeris, end_altitude)
    begin, stop = max(timers[0], last_release), min(timers[1], fall)
    sights = {
        name: _sight(station, ephemeris, lowest_elevation, begin, stop)
        for name, station in read_stations(DATA / "stations.csv").items()
    }
    return Flight(
        issue, lift_off, last_release, burn, ephemeris, begin, timers[1], fall, sights
    )  # fmt: skip


@lru_cache(maxsize=32)  # timers and elevations change nothing in it
def flown(
    angle: rad,
    last_release: s,
    place: tuple[float, float, float],
    motion: tuple[float, float],
    burn: Burn,
) -> tuple[Moment, ...]:
    """Return the Earth-fixed ephemeris from the last release on; the rest as :func:`fly` has it.

    The sidereal angle is that of the lift-off, in rad.
    """
    fixed_axes = launched_state(*place, motion[0], 0.0, motion[1])
    release_angle = angle + EARTH_RATE * last_release
    start = State(*(turn(vector, -release_angle) for vector in fixed_axes))
    end = burn.start + burn.duration + DESCENT
    return tuple(fixed_ephemeris(propagate(start, last_release, end, burn), angle))


def _sight(station: Station, ephemeris: Sequence[Moment], lowest: deg, begin: s, stop: s) -> Sight:
    site = site_at(station.latitude_deg, station.longitude_deg, station.height_m / 1e3)
    mask = max(station.mask_deg, lowest)
    return Sight(station, site, find_passes(ephemeris, site, mask, begin, stop))


def altitude_at(ephemeris: Sequence[Moment], time: s) -> km:
    """Return the geometric altitude in km at a time in s; after the ephemeris that of its end."""
    return to_geodetic(at(ephemeris, min(time, ephemeris[-1].time)).position)[2]


def highest_altitude(flight: Flight) -> km:
    """Return the highest geometric altitude in km while the transmitter is on, at full points."""
    begin, end = flight.transmit_start, max(flight.transmit_start, flight.transmit_stop)
    inside = [m.state for m in flight.ephemeris if begin < m.time < end]
    edges = [altitude_at(flight.ephemeris, time) for time in (begin, end)]
    return max(*edges, *(to_geodetic(state.position)[2] for state in inside))


def time_below(ephemeris: Sequence[Moment], altitude: km) -> s:
    """Return when an ephemeris first falls below a geometric altitude in km, in s.

    Raises:
        ValueError: it does not.
    """
    for before, after in pairwise(ephemeris):
        # No point of the ellipsoid is farther from the centre than the equator.
        if hypot(*after.state.position) - EQUATORIAL_RADIUS >= altitude:
            continue
        if to_geodetic(after.state.position)[2] < altitude:
            low, high = before.time, after.time
            while high - low > 1e-4:
                middle = 0.5 * (low + high)
                if altitude_at(ephemeris, middle) < altitude:
                    high = middle
                else:
                    low = middle
            return 0.5 * (low + high)
    height = to_geodetic(ephemeris[-1].state.position)[2]
    raise ValueError(
        f"the stage is still {height:.0f} km high {DESCENT / 60.0:g} min after the deorbit burn "
        f"and not below {altitude:g} km; give the burn a greater loss of speed"
    )


def longest_of(sight: Sight) -> Pass:
    """Return the longest pass of a station that has one."""
    return max(sight.passes, key=lambda one: one.duration)


def looks_of(flight: Flight, sight: Sight, one: Pass) -> list[Look]:
    """Return the looks of a pass at its rise, top and set and at the points of the ephemeris."""
    inside = [m.state for m in flight.ephemeris if one.rise < m.time < one.set]
    edges = [at(flight.ephemeris, time) for time in (one.rise, one.top, one.set)]
    return [look_at(sight.site, state) for state in (*edges, *inside)]


def _errors(sight: Sight, true: Sequence[Moment], file: Sequence[Moment], ahead: s) -> list[deg]:
    """Return the angles in deg between file and stage at the rows of a station's passes."""
    times = [time for one in sight.passes for time in (*row_times(one), one.top)]
    return [
        separation(look_at(sight.site, at(true, time)), look_at(sight.site, at(file, time + ahead)))
        for time in times
    ]


def _cases(names: Sequence[str], values: Mapping[str, float]) -> dict[str, float]:
    """Return a value for each station; one without a value never rises."""
    return {name: values.get(name, absent("never rises")) for name in names}
