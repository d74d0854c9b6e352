"""Windows, pointing files and ephemeris of the kick stage: Skyfield, OEM reader, directions."""

from __future__ import annotations

import csv
import inspect
import math
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from analyses.physics import radio
from analyses.physics.frames import State, sidereal_angle, to_inertial
from analyses.physics.look_angles import angle_between
from analyses.physics.orbit import Burn, at
from analyses.physics.passes import Pass
from analyses.physics.pointing_file import COLUMNS, row_times
from analyses.physics.stations import Station, read_stations
from analyses.physics.trajectory_issue import read_issue
from analyses.station_windows import (
    Flight,
    StationPointing,
    StationWindows,
    fly,
    station_files,
    station_pointing,
    station_windows,
)
from closeout import Absent

STATIONS = read_stations(Path(__file__).parents[2] / "analyses" / "data" / "stations.csv")

BASE: dict[str, float] = {
    "lift_off_delay": 0.0,
    "first_release_time": 3390.0,
    "release_interval": 60.0,
    "satellites": 3.0,
    "release_latitude": -82.0,
    "release_longitude": 106.0,
    "release_geometric_altitude": 460.0,
    "release_speed": 7644.0,
    "release_heading": 270.0,
    "altitude_error": 0.0,
    "speed_error": 0.0,
    "heading_error": 0.0,
    "deorbit_start_time": 6400.0,
    "deorbit_duration": 60.0,
    "deorbit_speed_loss": 150.0,
    "wake_time": 41.0,
    "transmit_start_delay": 3620.0,
    "transmit_stop_delay": 6240.0,
    "transmit_end_altitude": 200.0,
    "link_elevation": 5.0,
    "burn_up_geometric_altitude": 120.0,
}
POINTING: dict[str, float] = {
    "navigation_along_error": 0.0,
    "navigation_altitude_error": 0.0,
    "navigation_speed_error": 0.0,
    "carrier_frequency": 2245.0,
}


def windows(**change: float) -> StationWindows:
    return station_windows(**{**BASE, **change})


def pointing(**change: float) -> StationPointing:
    wanted = inspect.signature(station_pointing.function).parameters
    values = {**BASE, **POINTING, **change}
    return station_pointing(**{name: values[name] for name in wanted})


def files(**change: float) -> dict[str, str]:
    return station_files(**{**BASE, **change})


def flight(**change: float) -> Flight:
    x = {**BASE, **change}
    return fly(
        x["lift_off_delay"],
        x["first_release_time"] + 2 * x["release_interval"],
        (x["release_latitude"], x["release_longitude"], x["release_geometric_altitude"]),
        (x["release_speed"], x["release_heading"]),
        Burn(x["deorbit_start_time"], x["deorbit_duration"], x["deorbit_speed_loss"]),
        (x["wake_time"] + x["transmit_start_delay"], x["wake_time"] + x["transmit_stop_delay"]),
        x["transmit_end_altitude"],
        x["link_elevation"],
    )


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))


# --- what is answered ---------------------------------------------------------------------------


def test_a_station_that_never_sees_the_stage_is_an_answer() -> None:
    found = windows()
    for case in (found.rise, found.set, found.window_duration, found.highest_elevation):
        assert isinstance(case["Petrel"], Absent)
        assert case["Petrel"].reason == "never rises"
    assert found.passes["Petrel"] == 0.0
    seen = [name for name in STATIONS if not isinstance(found.rise[name], Absent)]
    assert seen == ["Fulmar", "Guillemot", "Kittiwake", "Razorbill"]


def test_no_station_at_all_is_an_answer_too() -> None:
    found = windows(link_elevation=85.0)
    assert all(isinstance(value, Absent) for value in found.rise.values())
    assert found.file_needed == found.transmit_stop
    assert (found.covered, found.overlap, found.greatest_azimuth_rate) == (0.0, 0.0, 0.0)
    assert pointing(link_elevation=85.0).greatest_pointing_error == 0.0


def test_the_stage_is_where_an_orbit_of_its_size_is() -> None:
    """By spherical trigonometry: it flies due west at 82 deg south, the southernmost point, and
    passes latitude -33 deg after acos(sin 33 / sin 82) of a revolution by Kepler's third law.
    """
    turned = math.acos(math.sin(math.radians(33.0)) / math.sin(math.radians(82.0)))
    axis = math.dist((0.0, 0.0, 0.0), flight().ephemeris[0].state.position)
    expected = 3510.0 + turned * math.sqrt(axis**3 / 398600.4418)
    assert flight().sights["Guillemot"].passes[0].top == pytest.approx(expected, abs=30.0)


def test_skyfield_sees_each_window_as_long() -> None:
    """Skyfield 1.55 looks at the Earth-fixed positions of the ephemeris from each station.

    Rise and set within 0.1 s, tops within 0.01 deg; the instant that Skyfield is asked at turns
    both together and does not matter.
    """
    from skyfield.api import load, wgs84
    from skyfield.toposlib import ITRSPosition
    from skyfield.units import Distance

    now = load.timescale(builtin=True).utc(2027, 4, 20, 10, 30)
    course, found = flight(), windows()

    def elevation(station: Station, seconds: float) -> float:
        site = wgs84.latlon(
            station.latitude_deg, station.longitude_deg, elevation_m=station.height_m
        )
        there = ITRSPosition(Distance(km=at(course.ephemeris, seconds).position))
        return float((there - site).at(now).altaz()[0].degrees)

    for name, station in STATIONS.items():
        if isinstance(found.rise[name], Absent):
            inside = range(math.ceil(course.transmit_start), math.floor(course.transmit_stop), 20)
            assert max(elevation(station, float(t)) for t in inside) < 5.0
            continue
        one = course.sights[name].passes[0]
        assert elevation(station, one.rise - 0.1) < 5.0 < elevation(station, one.rise + 0.1)
        assert elevation(station, one.set + 0.1) < 5.0 < elevation(station, one.set - 0.1)
        assert elevation(station, one.top) == pytest.approx(found.highest_elevation[name], abs=0.01)


def test_range_and_doppler_by_hand() -> None:
    """At rise the slant range is that of the law of cosines (P.525 budgets use it), within 1.5 %:
    the Earth is no sphere. Doppler is f/c times the range rate, below that of the horizon.
    """
    found, tuned = windows(), pointing()
    for name in ("Guillemot", "Kittiwake", "Razorbill"):
        low, high = (radio.slant_range(h, 5.0) for h in (435.0, 485.0))
        assert low < found.longest_range[name] < high
        limit = radio.horizon_doppler(2245.0, 440.0) + 2245e3 * 0.4651 / radio.SPEED_OF_LIGHT
        assert 35.0 < tuned.doppler[name] < limit
    text = rows(files()["pointing_guillemot.csv"])
    fastest = max(abs(float(row["range_rate_km_s"])) for row in text)
    assert tuned.doppler["Guillemot"] == pytest.approx(2245e3 * fastest / 299792.458, abs=1e-3)


def test_covered_and_overlap_by_counting_seconds() -> None:
    found, sights = windows(), flight().sights.values()
    open_at = [
        sum(p.rise <= 0.5 * step < p.set for sight in sights for p in sight.passes)
        for step in range(2 * 3600, 2 * 6400)
    ]
    assert found.covered == pytest.approx(0.5 * sum(n >= 1 for n in open_at), abs=2.0)
    assert found.overlap == pytest.approx(0.5 * sum(n >= 2 for n in open_at), abs=2.0)
    assert 0.0 < found.overlap < found.covered


# --- the launch window, S -----------------------------------------------------------------------


def test_windows_after_lift_off_are_the_same_in_the_whole_launch_window() -> None:
    """The launcher flies one trajectory over the ground, and the field is the same all around."""
    first = windows()
    for delay in (60.0, 137.5, 240.0):
        later = windows(lift_off_delay=delay)
        for name in ("Fulmar", "Guillemot", "Kittiwake", "Razorbill"):
            assert later.rise[name] == pytest.approx(first.rise[name], abs=1e-4)
            assert later.set[name] == pytest.approx(first.set[name], abs=1e-4)


def test_a_file_for_another_lift_off_time_points_past_the_stage() -> None:
    """One minute of slip: the same UTC points many beamwidths (2 deg) past."""
    early, late = (rows(files(lift_off_delay=d)["pointing_guillemot.csv"]) for d in (0.0, 1.0))
    at_utc = {row["utc"]: row for row in early}
    shared = [(row, at_utc[row["utc"]]) for row in late if row["utc"] in at_utc]
    assert len(shared) > 20
    angles = [
        angle_between(*(float(r[c]) for r in pair for c in ("azimuth_deg", "elevation_deg")))
        for pair in shared
    ]
    assert max(angles) > 20.0
    assert min(angles) > 2.0


def test_reissued_for_its_own_lift_off_time_a_file_is_the_same_but_for_utc() -> None:
    early, late = (rows(files(lift_off_delay=d)["pointing_razorbill.csv"]) for d in (0.0, 90.0))
    slip = timedelta(minutes=90)
    for a, b in zip(early[1:-1], late[1:-1], strict=True):
        assert datetime.fromisoformat(b["utc"]) - datetime.fromisoformat(a["utc"]) == slip
        assert float(a["azimuth_deg"]) == pytest.approx(float(b["azimuth_deg"]), abs=2e-4)
        assert float(a["range_km"]) == pytest.approx(float(b["range_km"]), abs=2e-3)


# --- direction of the other points --------------------------------------------------------------


@pytest.mark.parametrize("elevation", [7.0, 10.0])
def test_a_higher_mask_shortens_each_window(elevation: float) -> None:
    low, high = windows(), windows(link_elevation=elevation)
    for name in ("Guillemot", "Kittiwake", "Razorbill"):
        assert high.window_duration[name] < low.window_duration[name]


def test_a_stations_own_mask_holds_where_it_is_higher() -> None:
    """The table says 5 deg for each; a pass may not be used lower by asking for it."""
    assert windows(link_elevation=0.0).window_duration == pytest.approx(
        windows(link_elevation=5.0).window_duration, nan_ok=True
    )


def test_windows_end_with_the_transmitter() -> None:
    course = windows(transmit_stop_delay=5900.0)
    assert course.transmit_stop == pytest.approx((41.0 + 5900.0) / 60.0)
    assert course.set["Razorbill"] == pytest.approx(course.transmit_stop)
    late = windows(transmit_start_delay=4300.0)
    assert late.rise["Guillemot"] == pytest.approx(late.transmit_start)


def test_windows_end_where_the_stage_falls_too_low() -> None:
    """A timer that runs past the burn: the altitude ends the windows, and is told as too low."""
    found = windows(transmit_stop_delay=8000.0)
    assert found.transmit_stop == found.fall_time
    assert found.stop_altitude < 200.0
    higher = windows(transmit_stop_delay=8000.0, transmit_end_altitude=300.0)
    assert higher.fall_time < found.fall_time


def test_a_late_stage_is_late_at_each_station() -> None:
    on_time, late = windows(), windows(first_release_time=3410.0)
    for name in ("Fulmar", "Guillemot", "Kittiwake", "Razorbill"):
        assert 60.0 * (late.rise[name] - on_time.rise[name]) == pytest.approx(20.0, abs=0.1)
    assert late.reissue_time == pytest.approx(on_time.reissue_time, abs=1e-3)


def test_a_lower_stage_has_shorter_windows_and_a_faster_one_climbs() -> None:
    low, mean, fast = windows(altitude_error=-4.0), windows(), windows(speed_error=3.0)
    assert low.window_duration["Guillemot"] < mean.window_duration["Guillemot"]
    assert fast.highest_altitude > mean.highest_altitude
    # Half a revolution later a circular orbit is 4 dv/n higher (Clohessy-Wiltshire): 10.8 km.
    rise = 4 * 3e-3 / math.sqrt(398600.4418 / 6817.0**3)
    assert fast.highest_altitude - mean.highest_altitude == pytest.approx(rise, abs=0.7)


def test_the_latest_end_of_transmission_is_before_the_burn() -> None:
    """Mean elements and pointing are not for a thrusting stage: the transmitter is off by then.

    Latest wake-up of 51 s, 60 s late, one restart of 15 s, a clock slow by 50 ppm.
    """
    latest = 51.0 + 60.0 + 15.0 + BASE["transmit_stop_delay"] * (1 + 50e-6)
    assert latest < BASE["deorbit_start_time"]


# --- pointing error, S --------------------------------------------------------------------------


def test_without_an_error_the_file_points_at_the_stage() -> None:
    assert pointing().greatest_pointing_error < 1e-6


def test_an_error_along_the_track_by_hand() -> None:
    """0.2 km across the line of sight; at the top of the nearest pass that is 0.2/555 rad.

    As an error of time it holds the ground's own motion too: 0.465/7.6 of it at the most.
    """
    found = pointing(navigation_along_error=0.2)
    nearest = windows().shortest_range["Guillemot"]
    bound = math.degrees(0.2 / nearest)
    assert 0.9 * bound < found.pointing_error["Guillemot"] < 1.06 * bound
    double = pointing(navigation_along_error=0.4)
    assert double.pointing_error["Guillemot"] == pytest.approx(
        2 * found.pointing_error["Guillemot"], rel=1e-2
    )


def test_an_error_of_speed_grows_with_time_since_the_release() -> None:
    """Clohessy-Wiltshire: an excess dv lags by 3 dv t - 4 dv/n sin nt, and is 2 dv/n (1 - cos nt)
    too high; at the top of a pass the line of sight is across the track.
    """
    found = pointing(navigation_speed_error=0.1)
    one = flight().sights["Razorbill"].passes[0]
    rate = math.sqrt(398600.4418 / 6817.0**3)
    t = one.top - 3510.0
    lag = 1e-4 * (3 * t - 4 * math.sin(rate * t) / rate)
    high = 2e-4 / rate * (1 - math.cos(rate * t)) * math.cos(math.radians(one.highest_elevation))
    expected = math.degrees(math.hypot(lag, high) / windows().shortest_range["Razorbill"])
    assert found.pointing_error["Razorbill"] == pytest.approx(expected, rel=0.06)
    assert found.pointing_error["Razorbill"] > found.pointing_error["Guillemot"]


def test_pointing_error_as_astropy_has_it() -> None:
    """Astropy's azimuth, elevation and separation for true and navigated place, at the tops.

    The error is one along the track of 0.2 km: the file's stage is where the true one will be
    0.2/7.644 s later. The greatest error of a pass is near its top; Astropy's at the top is below
    it, by less than a tenth.
    """
    import astropy.units as u
    from astropy.coordinates import (
        ITRS,
        AltAz,
        CartesianRepresentation,
        EarthLocation,
        angular_separation,
    )
    from astropy.time import Time
    from astropy.utils import iers

    found, course = pointing(navigation_along_error=0.2), flight()
    with iers.conf.set_temp("auto_download", False):
        now = Time("2026-04-20T10:30:00", scale="utc")
        for name in ("Guillemot", "Kittiwake", "Razorbill"):
            one = STATIONS[name]
            here = EarthLocation.from_geodetic(
                one.longitude_deg, one.latitude_deg, one.height_m * u.m
            )
            sky = []
            for time in (course.sights[name].passes[0].top + x for x in (0.0, 0.2 / 7.644)):
                line = CartesianRepresentation(*at(course.ephemeris, time).position, unit=u.km)
                line -= here.get_itrs(now).cartesian
                seen = ITRS(line, obstime=now, location=here)
                sky.append(seen.transform_to(AltAz(obstime=now, location=here)))
            angle = angular_separation(sky[0].az, sky[0].alt, sky[1].az, sky[1].alt)
            assert 0.9 * found.pointing_error[name] < angle.to_value(u.deg)
            assert angle.to_value(u.deg) < 1.001 * found.pointing_error[name]


def test_doppler_as_skyfield_has_it() -> None:
    """Skyfield's distances from the station, one second apart, at rise and set: the greatest."""
    from skyfield.api import load, wgs84
    from skyfield.toposlib import ITRSPosition
    from skyfield.units import Distance

    now = load.timescale(builtin=True).utc(2027, 4, 20, 10, 30)
    found, course = pointing(), flight()
    for name in ("Guillemot", "Kittiwake", "Razorbill"):
        one, station = course.sights[name].passes[0], STATIONS[name]
        site = wgs84.latlon(
            station.latitude_deg, station.longitude_deg, elevation_m=station.height_m
        )

        def distance(seconds: float, site: Any = site) -> float:
            there = ITRSPosition(Distance(km=at(course.ephemeris, seconds).position))
            return float((there - site).at(now).distance().km)

        rates = [
            abs(distance(t + 0.5) - distance(t - 0.5))
            for t in (one.rise, one.rise + 1.0, one.set - 1.0, one.set)
        ]
        expected = 2245e3 * max(rates) / 299_792.458
        assert found.doppler[name] == pytest.approx(expected, rel=1e-4)


def test_errors_that_add_are_worse_than_each() -> None:
    each = {
        "navigation_along_error": -0.2,
        "navigation_altitude_error": 0.05,
        "navigation_speed_error": 0.1,
    }
    together = pointing(**each).greatest_pointing_error
    alone = [pointing(**{name: value}).greatest_pointing_error for name, value in each.items()]
    assert together > max(alone)


def test_the_share_of_the_beamwidth() -> None:
    """70 lambda/D (common practice): 3.7 m at 2245 MHz is 2.526 deg."""
    found = pointing(navigation_along_error=0.2)
    expected = found.pointing_error["Razorbill"] / 2.526
    assert found.share_of_beamwidth["Razorbill"] == pytest.approx(expected, rel=1e-3)


def test_a_file_from_before_the_flight_points_degrees_past_a_late_stage() -> None:
    """Why files are made again after the release: 20 s are 153 km along the track."""
    late = pointing(navigation_along_error=-20.0 * 7.644)
    assert late.greatest_pointing_error > 10.0


# --- pointing files -----------------------------------------------------------------------------


def test_each_station_gets_a_file() -> None:
    """OPS-040; the one that never sees the stage gets one that says so."""
    made = files()
    assert set(made) == {f"pointing_{name.lower()}.csv" for name in STATIONS} | {"kick_stage.oem"}
    assert "# no pass: the stage never rises above the mask" in made["pointing_petrel.csv"]
    assert rows(made["pointing_petrel.csv"]) == []


def test_the_header_says_what_the_file_rests_on() -> None:
    """Trajectory, issue, lift-off time, frame and time scale: OPS-040."""
    text = files(lift_off_delay=30.0)["pointing_kittiwake.csv"]
    header = [line for line in text.splitlines() if line.startswith("#")]
    for said in (
        "# trajectory: GAN-TRJ-002 issue 3",
        "# lift-off: 2027-04-20T10:00:00.000",
        "# time scale: UTC",
        "# frame: Earth-fixed, WGS 84",
        "# station: latitude 52.000000 deg, longitude 10.000000 deg, 50.0 m",
        "invented",
    ):
        assert any(said in line for line in header), said
    assert "J2000" not in text
    assert max(map(len, header)) < 110


def test_rows_are_ten_seconds_apart_between_rise_and_set() -> None:
    table = rows(files()["pointing_fulmar.csv"])
    assert tuple(table[0]) == COLUMNS
    times = [datetime.fromisoformat(row["utc"]) for row in table]
    gaps = [(b - a).total_seconds() for a, b in pairwise(times)]
    assert set(gaps[1:-1]) == {10.0}
    assert 0.0 < gaps[0] <= 10.0
    assert 0.0 < gaps[-1] <= 10.0
    for row in (table[0], table[-1]):
        assert float(row["elevation_deg"]) == pytest.approx(5.0, abs=1e-3)
        lift = float(row["apparent_elevation_deg"]) - float(row["elevation_deg"])
        assert 0.15 < lift < 0.2  # ITU-R P.834, fit: 0.19 deg at 5 deg (from memory)


@pytest.mark.parametrize("edge", [10.0, 10.0004, 9.9996])
def test_rows_never_repeat_and_never_leave_the_pass(edge: float) -> None:
    times = row_times(Pass(edge, 15.0, 40.0, 20.0))
    assert times == sorted(set(times))
    assert times[0] >= edge
    assert times[-1] <= 40.0


def test_range_rate_is_the_slope_of_range() -> None:
    table = rows(files()["pointing_guillemot.csv"])[1:-1]
    for a, b, c in zip(table, table[1:], table[2:], strict=False):
        slope = (float(c["range_km"]) - float(a["range_km"])) / 20.0
        assert float(b["range_rate_km_s"]) == pytest.approx(slope, abs=0.02)


def test_the_same_inputs_give_the_same_files() -> None:
    assert files() == files()


def test_the_files_hang_on_the_analysis_and_take_its_arguments() -> None:
    assert station_windows.artifacts == [station_files]
    wanted = inspect.signature(station_windows.function).parameters
    assert list(inspect.signature(station_files).parameters) == list(wanted)


# --- ephemeris ----------------------------------------------------------------------------------


def test_an_independent_reader_takes_the_message(tmp_path: Path) -> None:
    """The package `oem` 0.4.5 reads CCSDS 502.0-B messages, and checks the keywords."""
    from oem import OrbitEphemerisMessage

    path = tmp_path / "kick_stage.oem"
    path.write_text(files()["kick_stage.oem"], "utf-8")
    message = OrbitEphemerisMessage.open(str(path))
    segments = list(message)
    assert [s.metadata["REF_FRAME"] for s in segments] == ["ITRF2000"] * 3
    assert {s.metadata["TIME_SYSTEM"] for s in segments} == {"UTC"}
    assert segments[0].metadata["OBJECT_NAME"] == "GANNET KICK STAGE"
    first = next(iter(segments[0]))
    assert list(first.position) == pytest.approx(flight().ephemeris[0].state.position, abs=1e-6)
    assert list(first.velocity) == pytest.approx(flight().ephemeris[0].state.velocity, abs=1e-9)


def test_the_message_keeps_to_the_standard() -> None:
    """CCSDS 502.0-B, section 5 (from memory): order of the keywords, and what is obligatory."""
    lines = files()["kick_stage.oem"].splitlines()
    assert lines[0] == "CCSDS_OEM_VERS = 2.0"
    header = [line.split(" = ")[0] for line in lines[: lines.index("META_START")] if "=" in line]
    assert header == ["CCSDS_OEM_VERS", "CREATION_DATE", "ORIGINATOR"]
    start, stop = lines.index("META_START"), lines.index("META_STOP")
    keys = [line.split(" = ")[0] for line in lines[start + 1 : stop] if " = " in line]
    assert keys == [
        "OBJECT_NAME", "OBJECT_ID", "CENTER_NAME", "REF_FRAME", "TIME_SYSTEM", "START_TIME",
        "STOP_TIME", "INTERPOLATION", "INTERPOLATION_DEGREE",
    ]  # fmt: skip
    assert all(len(line) <= 254 and line.isascii() for line in lines)
    data = [line.split() for line in lines if line[:4] == "2027"]
    assert all(len(row) == 7 for row in data)


def test_segments_of_the_message_meet_at_the_edges_of_the_burn() -> None:
    """Nothing is interpolated across a manoeuvre: CCSDS 502.0-B, 5.2.4 (from memory)."""
    lines = files()["kick_stage.oem"].splitlines()
    starts = [line.split(" = ")[1] for line in lines if line.startswith("START_TIME")]
    stops = [line.split(" = ")[1] for line in lines if line.startswith("STOP_TIME")]
    lift_off = datetime(2027, 4, 20, 9, 30)
    edges = [(lift_off + timedelta(seconds=x)).isoformat() + ".000000" for x in (6400, 6460)]
    assert starts[1:] == edges
    assert stops[:-1] == edges


def test_the_ephemeris_ends_where_the_stage_falls() -> None:
    last = files()["kick_stage.oem"].splitlines()[-1].split()[0]
    after = (datetime.fromisoformat(last) - datetime(2027, 4, 20, 9, 30)).total_seconds()
    assert 0.0 <= 60.0 * windows().fall_time - after <= 30.0


def test_velocity_in_the_message_is_that_over_the_ground() -> None:
    """An inertial speed of 7644 m/s is some 7.7 km/s against the ground on a retrograde orbit."""
    state = flight().ephemeris[0].state
    inertial = to_inertial(State(*state), sidereal_angle(2461515.9))
    assert math.hypot(*inertial.velocity) == pytest.approx(7.644, abs=1e-6)
    turning = 7.292115e-5 * math.hypot(*state.position[:2])  # it flies west, against the Earth
    assert math.hypot(*state.velocity) == pytest.approx(7.644 + turning, abs=1e-6)


# --- what cannot be -----------------------------------------------------------------------------


def test_a_burn_before_the_release_is_told() -> None:
    with pytest.raises(
        ValueError, match="burn begins at 3500 s, before the last release at 3510 s"
    ):
        windows(deorbit_start_time=3500.0)


def test_a_burn_that_does_not_bring_the_stage_down_is_told() -> None:
    with pytest.raises(ValueError, match=r"still \d+ km high 40 min after.*greater loss of speed"):
        windows(deorbit_speed_loss=20.0)


HEADER = "trajectory,issue,issued_utc,window_opens_utc,originator,object_name,object_id"
ROW = "T,1,2026-10-12T08:00:00,2027-04-20T09:30:00,O,N,UNKNOWN"


@pytest.mark.parametrize(
    ("text", "word"),
    [
        (f"{HEADER}\n{ROW}\n{ROW}\n", "one issue is in force, but there are 2 rows"),
        (f"{HEADER}\n{ROW.replace('09:30', '25:30')}\n", "'2027-04-20T25:30:00' is no time"),
        (f"{HEADER}\n{ROW.replace('09:30:00', '09:30:00+02:00')}\n", "without a zone"),
        (f"{HEADER.replace('issued_utc,', '')}\n", "no column issued_utc"),
    ],
)
def test_a_trajectory_issue_that_is_wrong_is_told(tmp_path: Path, text: str, word: str) -> None:
    path = tmp_path / "trajectory_issue.csv"
    path.write_text(text, "utf-8")
    with pytest.raises(ValueError, match=word.replace("(", r"\(").replace("+", r"\+")):
        read_issue(path)
