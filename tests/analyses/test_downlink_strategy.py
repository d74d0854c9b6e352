"""Recovery of the pictures: budget and round shared, closed forms, dependence, directions.

All outside values of antenna, spin, bursts and carousel stand in physics/test_turning_link.py and
physics/test_carousel.py; here is what the analysis makes of them.
"""

from __future__ import annotations

import inspect
import itertools
import math
from collections.abc import Mapping
from pathlib import Path

import pytest
from scipy.stats import binom

from analyses import reception_plan as module
from analyses.downlink_strategy import (
    DownlinkStrategy,
    StationRecovery,
    content_of,
    downlink_strategy,
    picture_order,
    station_recovery,
)
from analyses.link_margin import link_margin
from analyses.physics import antenna_pattern, radio
from analyses.physics.bursts import Losses, Outage
from analyses.physics.dvbs2 import read_modes
from analyses.physics.orbit import Burn
from analyses.reception_plan import ALL, Channel, Content, Link, Plan, Reception, Turning
from analyses.station_windows import Flight, fly
from analyses.storage_and_volume import storage_and_volume
from closeout import Absent

DATA = Path(__file__).parents[2] / "analyses" / "data"
MODES = read_modes(DATA / "dvbs2_modes.csv")

# Of the demonstration mission, invented.
BASE: dict[str, float] = {
    "first_release_time": 3390.0,
    "release_interval": 60.0,
    "satellites": 3.0,
    "release_latitude": -82.0,
    "release_longitude": 106.0,
    "release_geometric_altitude": 460.0,
    "release_speed": 7644.0,
    "release_heading": 270.0,
    "deorbit_start_time": 6400.0,
    "deorbit_duration": 60.0,
    "deorbit_speed_loss": 150.0,
    "wake_time": 41.0,
    "transmit_start_delay": 3620.0,
    "transmit_stop_delay": 6240.0,
    "transmit_end_altitude": 200.0,
    "link_elevation": 5.0,
    "spin_rate": 3.0,
    "spin_rate_sigma": 0.05,
    "spin_axis_sigma": 3.0,
    "antenna_spin_angle": 90.0,
    "carrier_frequency": 2245.0,
    "transmit_power": 0.4,
    "transmit_feeder_loss": 0.8,
    "antenna_peak_gain": 5.0,
    "antenna_beamwidth": 90.0,
    "antenna_axial_ratio": 3.0,
    "symbol_rate": 5.0,
    "implementation_loss": 1.2,
    "reception_reserve": 1.0,
    "station_pointing_error": 0.25,
    "station_g_over_t_error": 0.0,
    "mode_guard_time": 110.0,
    "relock_time": 2.0,
    "outage_share": 0.03,
    "outage_duration": 1.0,
    "common_outage_share": 0.2,
    "missed_pass_probability": 0.02,
    "common_missed_share": 0.1,
    "pictures_per_release": 5.0,
    "picture_size": 300.0,
    "picture_overhead": 1.25,
    "picture_block_size": 10.0,
}
# The bad ends of the tolerances of the link, where the chances of a miss are no mere rounding.
BAD: dict[str, float] = {
    "transmit_power": 0.36,
    "transmit_feeder_loss": 1.0,
    "antenna_peak_gain": 4.4,
    "antenna_beamwidth": 85.0,
    "antenna_axial_ratio": 4.0,
    "implementation_loss": 1.5,
    "station_pointing_error": 0.4,
    "station_g_over_t_error": -0.4,
    "outage_share": 0.05,
    "outage_duration": 0.5,
}
LINK = Link(2245.0, 0.4, 0.8, 5.0, 90.0, 3.0, 5.0, 1.2, 1.0, 0.25, 0.0)
TURNING = Turning(3.0, 0.05, 3.0, 90.0)
CHANNEL = Channel(Outage(0.03, 1.0), 0.2, 2.0, 0.02, 0.1)
CONTENT = content_of(3.0, 5.0, 300.0, 1.25, 10.0)


def strategy(**change: float) -> DownlinkStrategy:
    assert change.keys() <= BASE.keys()
    return downlink_strategy(**{**BASE, **change})


def stations(**change: float) -> StationRecovery:
    wanted = inspect.signature(station_recovery.function).parameters
    values = {**BASE, **change}
    return station_recovery(**{name: values[name] for name in wanted})


def flight(**change: float) -> Flight:
    x = {**BASE, **change}
    return fly(
        0.0,
        x["first_release_time"] + 2 * x["release_interval"],
        (x["release_latitude"], x["release_longitude"], x["release_geometric_altitude"]),
        (x["release_speed"], x["release_heading"]),
        Burn(x["deorbit_start_time"], x["deorbit_duration"], x["deorbit_speed_loss"]),
        (x["wake_time"] + x["transmit_start_delay"], x["wake_time"] + x["transmit_stop_delay"]),
        x["transmit_end_altitude"],
        x["link_elevation"],
    )


def bad_plan(**change: float) -> Plan:
    """The plan at the bad ends, with changes of the turning."""
    link = Link(2245.0, 0.36, 1.0, 4.4, 85.0, 4.0, 5.0, 1.5, 1.0, 0.4, -0.4)
    channel = CHANNEL._replace(outage=Outage(0.05, 0.5))
    return module.plan_of(flight(), link, TURNING._replace(**change), channel, CONTENT, 110.0)


# --- what is answered ---------------------------------------------------------------------------


def test_each_picture_comes_down_with_the_required_probability() -> None:
    found = strategy()
    assert found.recovery_probability > 0.99  # COM-090
    assert found.picture_probability >= found.recovery_probability
    assert found.recovery_without_one > 0.98  # COM-092
    assert found.pictures_in_reach == 5.0  # SYS-050


def test_a_station_that_never_sees_the_stage_is_an_answer() -> None:
    for cases in stations():
        assert isinstance(cases["Petrel"], Absent)
        assert cases["Petrel"].reason == "never rises"
        assert [n for n, x in cases.items() if not isinstance(x, Absent)] == [
            "Fulmar", "Guillemot", "Kittiwake", "Razorbill",
        ]  # fmt: skip


def test_without_any_station_nothing_comes_down() -> None:
    assert strategy(link_elevation=85.0) == (0.0, 0.0, 0.0, 0.0)
    assert all(
        isinstance(x, Absent) for cases in stations(link_elevation=85.0) for x in cases.values()
    )


def test_a_link_that_never_closes_brings_nothing_down() -> None:
    assert strategy(transmit_power=1e-4) == pytest.approx((0.0, 0.0, 0.0, 0.0), abs=1e-12)


def test_the_same_inputs_give_the_same_answer() -> None:
    assert strategy() == strategy()
    assert str(stations()) == str(stations())


# --- shared with the other analyses -------------------------------------------------------------


@pytest.mark.parametrize("off_axis", [0.0, 10.0, 20.0, 30.0])
def test_the_budget_is_that_of_the_link_margin(off_axis: float) -> None:
    """At the elevation, altitude and angle of the budget, for each station in its mode."""
    budget = link_margin(
        **{n: BASE[n] for n in inspect.signature(link_margin.function).parameters if n in BASE},
        antenna_off_axis=off_axis,
        stage_geometric_altitude=500.0,
    )
    distance = radio.slant_range(500.0, 5.0)
    for name, sight in flight().sights.items():
        level = module.axis_level(LINK, sight, 5.0, distance)
        table = antenna_pattern.off_axis_losses(90.0, 3.0, sight.station.feed_axial_ratio_db)
        mode = MODES[sight.station.mode]
        left = level - table[round(off_axis)] - LINK.implementation_loss - mode.ideal_es_n0
        assert left == pytest.approx(budget.link_margin[name], abs=1e-9)


def test_a_round_takes_as_long_as_the_storage_analysis_says() -> None:
    """kB of 1000 byte: 15 pictures of 300 kB with 1.25 are 45 Mbit; 18.36 s in QPSK 1/4.

    ETSI EN 302 307-1, Table 13: 0.490243 bit a symbol, 5 Msymbol/s.
    """
    rounds = storage_and_volume(
        3.0, 1.0, 8.0, 0.02, 0.03, 2.0, 1.0, 12.0, 6.0, 4.0, 16.0, 0.7, 20.0, 3600.0, 6240.0,
        3.0, 5.0, 300.0, 1.25, 12.0, 5.0,
    ).round_time  # fmt: skip
    plan = module.plan_of(flight(), LINK, TURNING, CHANNEL, CONTENT, 110.0)
    times = [piece.block_time * CONTENT.blocks for piece in plan.pieces]
    assert times == pytest.approx([rounds[n] for n in ("Guillemot", "Kittiwake", "Razorbill")])
    assert times[-1] == pytest.approx(45.0 / (5.0 * 0.490243), rel=1e-5)


def test_a_picture_ends_with_a_whole_block() -> None:
    content = content_of(3.0, 5.0, 300.0, 1.25, 70.0)
    assert (content.picture_blocks, content.blocks) == (5, 75)
    assert content.block_mbit * content.blocks == pytest.approx(45.0)


# --- modes --------------------------------------------------------------------------------------


def test_one_transmitter_sends_the_mode_of_the_station_that_needs_least() -> None:
    """In each window, widened by the guard, the mode is no faster than the planned one."""
    plan = module.plan_of(flight(), LINK, TURNING, CHANNEL, CONTENT, 110.0)
    for before, after in itertools.pairwise(plan.pieces):
        assert before.end == after.begin
        assert before.at(before.end) == pytest.approx(after.position)
    for sight in flight().sights.values():
        for one in sight.passes:
            for time in (one.rise - 109.0, one.top, min(one.set + 109.0, plan.pieces[-1].end)):
                (mode,) = [p.mode for p in plan.pieces if p.begin <= time <= p.end]
                assert mode.ideal_es_n0 <= MODES[sight.station.mode].ideal_es_n0


# --- dependence ---------------------------------------------------------------------------------


def test_the_weights_of_the_attitudes_are_one() -> None:
    weights = [reception.weight for reception in bad_plan().receptions]
    assert len(weights) == 5 * 3 * module.PHASES
    assert math.fsum(weights) == pytest.approx(1.0)


def test_stations_share_the_attitude() -> None:
    """S: in view together, they miss together; multiplied means promise too much.

    At 1 deg/s the stage turns hardly more than once in a pass: where it looks away from Razorbill,
    it looks away from Fulmar, whose whole pass lies in Razorbill's.
    """
    plan = bad_plan(rate=1.0)
    chances = [one.round for one in module.survey(plan).chances]
    fulmar, razorbill = (1 << plan.stations.index(n) for n in ("Fulmar", "Razorbill"))
    multiplied = chances[fulmar] * chances[razorbill]
    assert 2.0 * multiplied < chances[fulmar | razorbill] <= chances[razorbill]


def hand_made(spans: Mapping[str, list[list[tuple[float, float]]]], common: float) -> Plan:
    """A plan of attitudes of equal weight; by station the spans in each of them."""
    content = Content(3, 5, 2, 1.0)
    piece = module.Piece(0.0, 1e3, MODES["QPSK 1/4"], 0.0, 0.04)
    channel = CHANNEL._replace(outage=Outage(0.05, 0.2), common_share=common)
    count = len(next(iter(spans.values())))
    receptions = [
        Reception(1.0 / count, {n: [(a, b, 0) for a, b in of[i]] for n, of in spans.items()})
        for i in range(count)
    ]
    tables = module.tables_of([piece], channel, content.blocks, len(spans))
    return Plan(list(spans), content, [piece], tables, receptions)


def test_means_must_not_be_multiplied() -> None:
    """S: two stations see all in one attitude and nothing in the other: half, not a quarter."""
    whole, nothing = [(0.0, 300.0)], [(0.0, 0.0)]
    chances = module.survey(hand_made({"A": [whole, nothing], "B": [whole, nothing]}, 0.0)).chances
    assert [one.round for one in chances] == pytest.approx([1.0, 0.5, 0.5, 0.5], abs=1e-6)


def test_stations_share_outages() -> None:
    """S: in view together, a common share of the outages takes away what the second one gives."""
    short = [(0.0, 30.0)]

    def missed(common: float) -> list[float]:
        plan = hand_made({"A": [short], "B": [short]}, common)
        return [one.round for one in module.survey(plan).chances]

    found = [missed(common)[3] for common in (0.0, 0.2, 0.6, 1.0)]
    assert found == sorted(found)
    assert found[-1] == pytest.approx(missed(1.0)[1], rel=0.02)  # as one station alone
    assert found[0] < 0.3 * found[-1]


def test_every_block_at_least_once_by_the_closed_form() -> None:
    """Blocks lost independently, 3 rounds of 30: 1 - (1 - p^3)^30, and by scipy.stats.binom."""
    plan = hand_made({"A": [[(0.0, 90.0)]]}, 0.0)._replace(tables=[[Losses(0.1, 0.01)]])
    missed = module.survey(plan).chances[1].round
    assert missed == pytest.approx(1.0 - (1.0 - 0.1**3) ** 30, rel=0.02)
    assert missed == pytest.approx(1.0 - binom.pmf(0, 30, 0.1**3), rel=0.02)


def test_gaps_hit_neighbours_of_different_releases() -> None:
    """Two blocks a picture, 15 pictures: a gap of 6 blocks touches 3 or 4 pictures in a row."""
    found = module.survey(hand_made({"A": [[(0.0, 24.0)]]}, 0.0))
    assert found.in_reach == 3  # four pictures of three releases: two of one of them
    assert module.survey(hand_made({"A": [[(0.0, 25.0)]]}, 0.0)).in_reach == 4
    assert module.survey(hand_made({"A": [[(0.0, 29.0)]]}, 0.0)).in_reach == 4
    assert module.survey(hand_made({"A": [[(0.0, 30.0)]]}, 0.0)).in_reach == 5
    assert module.survey(hand_made({"A": [[(3.0, 3.0)]]}, 0.0)).in_reach == 0


@pytest.mark.parametrize("lost", [0.0, 0.02, 0.3])
def test_sets_of_stations_by_scipy(lost: float) -> None:
    """scipy.stats.binom: the sets of one size together."""
    weights = module.set_weights(4, lost)
    for tracking in range(5):
        of_size = [w for number, w in enumerate(weights) if number.bit_count() == tracking]
        assert sum(of_size) == pytest.approx(binom.pmf(tracking, 4, 1.0 - lost))


def test_lost_passes_by_hand() -> None:
    """Beta factor: 10 % of 2 % hit all; else the four are lost together with 0.018^4."""
    chances = [1.0, *[0.0] * 15]
    found = module.over_missed_passes(chances, 4, CHANNEL)
    assert found == pytest.approx(0.002 + 0.998 * 0.018**4, rel=1e-12)
    assert module.over_missed_passes([1.0] * 16, 4, CHANNEL) == pytest.approx(1.0)


def test_more_stations_never_miss_more() -> None:
    plan = bad_plan(rate=10.0)
    for reception in plan.receptions[::7]:
        chances = module.by_subset(plan, reception)
        for number, one in enumerate(chances):
            for i in range(len(plan.stations)):
                assert chances[number | 1 << i].round <= one.round


# --- directions ---------------------------------------------------------------------------------

WORSE: Mapping[str, tuple[str, float]] = {
    "less power": ("transmit_power", 0.3),
    "more loss": ("transmit_feeder_loss", 1.5),
    "less gain": ("antenna_peak_gain", 4.0),
    "narrower lobe": ("antenna_beamwidth", 75.0),
    "flatter ellipse": ("antenna_axial_ratio", 6.0),
    "worse modem": ("implementation_loss", 2.5),
    "more reserve": ("reception_reserve", 3.0),
    "worse pointing": ("station_pointing_error", 0.6),
    "noisier station": ("station_g_over_t_error", -1.5),
    "slower lock": ("relock_time", 6.0),
    "more outages": ("outage_share", 0.1),
    "longer outages": ("outage_duration", 10.0),
    "more overhead": ("picture_overhead", 1.5),
    "larger pictures": ("picture_size", 360.0),
    "more pictures": ("pictures_per_release", 6.0),
    "larger blocks": ("picture_block_size", 60.0),
    "hardly turning": ("spin_rate", 1.0),
    "turns of two rounds": ("spin_rate", 10.2),
    "looser axis": ("spin_axis_sigma", 8.0),
    "more lost passes": ("missed_pass_probability", 0.04),
    "lost for one cause": ("common_missed_share", 0.3),
    "transmitter off sooner": ("transmit_stop_delay", 5900.0),
    "higher mask": ("link_elevation", 12.0),
}


@pytest.mark.parametrize("case", WORSE)
def test_what_lets_fewer_pictures_come_down(case: str) -> None:
    name, value = WORSE[case]
    found, before = strategy(**{**BAD, name: value}), strategy(**BAD)
    assert found.recovery_probability < before.recovery_probability


def test_an_outage_that_all_share_is_worse_where_passes_overlap() -> None:
    """S: with Guillemot's pass lost, the rest is received by stations in view together."""
    none, whole = (
        stations(**BAD, spin_rate=10.2, common_outage_share=share).without_station["Guillemot"]
        for share in (0.0, 1.0)
    )
    assert 1.0 - whole > 1.1 * (1.0 - none)


def test_a_turn_of_two_rounds_strobes() -> None:
    """Two rounds of 18.36 s in QPSK 1/4 are 36.7 s, 9.8 deg/s: each turn shows the same half.

    Against the line of sight, which turns with the stage by some 180 deg in a pass of 509 s: the
    stage itself turns at about 9.8 + 180/509 deg/s, 10.2 deg/s.
    """
    strobed, beside = stations(**BAD, spin_rate=10.2), stations(**BAD, spin_rate=9.0)
    assert strobed.station_probability["Razorbill"] < 0.1
    assert beside.station_probability["Razorbill"] > 0.99
    assert strobed.rounds["Razorbill"] == pytest.approx(beside.rounds["Razorbill"], rel=0.05)


def test_a_slow_turn_comes_to_the_share_of_the_turn() -> None:
    """Link time without lock against the windows: a third to a half of them, as lobes go."""
    found = stations(relock_time=0.0)
    sights = flight().sights
    for name, sight in sights.items():
        if sight.passes:
            share = found.link_time[name] / sum(one.duration for one in sight.passes)
            assert 0.25 < share < 0.5


def test_the_launchers_dispersion_moves_next_to_nothing() -> None:
    """What is left out: 4 km, 3 m/s and 0.2 deg, the bounds of the mission's trajectory."""
    usual = strategy(**BAD).recovery_probability
    for name, by in (
        ("release_geometric_altitude", 4.0), ("release_speed", 3.0), ("release_heading", 0.2),
    ):  # fmt: skip
        for sign in (-1.0, 1.0):
            moved = strategy(**BAD, **{name: BASE[name] + sign * by}).recovery_probability
            assert moved == pytest.approx(usual, abs=1e-6)


@pytest.mark.parametrize("change", [{}, {"spin_rate": 10.0}])
def test_finer_steps_give_the_same(
    change: dict[str, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    coarse = stations(**BAD, **change).station_probability
    monkeypatch.setattr(module, "STEP", 2.5)
    monkeypatch.setattr(module, "PHASES", 24)
    fine = stations(**BAD, **change).station_probability
    for name in ("Fulmar", "Guillemot", "Kittiwake", "Razorbill"):
        assert 1.0 - coarse[name] == pytest.approx(1.0 - fine[name], abs=0.01, rel=0.5)


# --- repeats and code rate ----------------------------------------------------------------------


def test_recovery_against_repeats_and_code_rate() -> None:
    found = module.recovery_against_repeats(
        flight(), LINK, TURNING, CHANNEL, CONTENT, ["QPSK 1/4", "QPSK 3/5"], 28
    )
    assert list(found) == ["QPSK 1/4", "QPSK 3/5"]
    for lines in found.values():
        assert list(lines) == [ALL, "Fulmar", "Guillemot", "Kittiwake", "Razorbill"]
        for line in lines.values():
            assert len(line) == 28
            assert all(b > a - 1e-9 for a, b in itertools.pairwise(line))
    robust, fast = found["QPSK 1/4"], found["QPSK 3/5"]
    assert robust[ALL][-1] == pytest.approx(0.998, abs=1e-5)
    # A few rounds are over before the antenna has looked at the station once.
    assert robust["Razorbill"][0] < 0.5 < robust["Razorbill"][-1]
    # In 28 rounds of 7.6 s the faster mode has used 212 s of a pass, at a narrower reach.
    assert fast["Razorbill"][-1] < robust["Razorbill"][-1]


def test_repeats_of_a_whole_pass_are_those_of_the_plan() -> None:
    plan = module.plan_of(flight(), LINK, TURNING, CHANNEL, CONTENT, 0.0, "QPSK 1/4")
    whole = [one.round for one in module.survey(plan).chances]
    cut = module.survey(module.first_rounds(plan, flight(), 28)).chances
    assert [one.round for one in cut] == pytest.approx(whole)


# --- order --------------------------------------------------------------------------------------


@pytest.mark.parametrize(("satellites", "pictures"), [(3, 5), (1, 4), (5, 2), (2, 9)])
def test_each_release_has_a_picture_before_the_second_of_any(
    satellites: int, pictures: int
) -> None:
    assert picture_order(float(satellites), float(pictures)).pictures_before_second == 1.0
