"""Energy of the mission: budget by hand, SciPy, NumPy and pint, direction of each input."""

from __future__ import annotations

import csv
import math
from functools import cache
from pathlib import Path

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq, minimize
from uncertainties import ufloat

from analyses.mission_energy import PHASES, mission_energy
from analyses.mission_sequence import mission_sequence
from analyses.pad_hold_energy import pad_hold_energy
from analyses.physics.energy_budget import (
    FLAGS,
    UNITS,
    battery_power,
    converter_input,
    energy,
    lengths,
    load_power,
    read_phases,
)
from analyses.physics.lithium_ion import OPEN_CIRCUIT_VOLTAGE
from analyses.station_windows import station_windows
from tests.analyses.declared import Declared, limits

# The ends that PWR-080 and PWR-085 name.
MISSION = Declared(mission_energy, computer_resets=1.0, wake_up_delay=60.0)
HOLD, SEQUENCE = Declared(pad_hold_energy), Declared(mission_sequence)
find = MISSION.find


def end_of(row: dict[str, str]) -> float:
    """Return the declared end of a phase in minutes after wake-up, burn-up after lift-off."""
    value = MISSION.values[row["ends"]]
    return value if row["ends"] == "burn_up_time" else value / 60


@cache
def rows() -> list[dict[str, str]]:
    """Return the table of phases, with the minutes of each."""
    lines = PHASES.read_text("utf-8").splitlines()
    table = list(csv.DictReader(line for line in lines if line[0] != "#"))
    for begin, row in zip([0.0, *map(end_of, table)], table, strict=False):
        row["minutes"] = str(end_of(row) - begin)
    return table


# formulas


@pytest.mark.parametrize(
    ("watts", "minutes", "watt_hours"),
    [(60.0, 60.0, 60.0), (1.0, 1.0, 1 / 60), (24.0, 2.5, 1.0), (0.0, 90.0, 0.0)],
)
def test_energy_is_power_times_time(watts: float, minutes: float, watt_hours: float) -> None:
    assert energy(watts, minutes) == pytest.approx(watt_hours, rel=1e-15)
    # 1 W h is 3600 J: SI Brochure, 9th edition, table 8 (h = 3600 s)
    assert 3600 * energy(watts, minutes) == pytest.approx(watts * minutes * 60, rel=1e-15)


@pytest.mark.parametrize(
    ("load", "efficiency", "standby", "expected"),
    [(0.0, 0.9, 0.4, 0.4), (9.0, 0.9, 0.0, 10.0), (20.0, 0.8, 0.5, 25.5)],
)
def test_converter_by_hand(load: float, efficiency: float, standby: float, expected: float) -> None:
    assert converter_input(load, efficiency, standby) == pytest.approx(expected, rel=1e-14)


@given(st.floats(1, 60), st.floats(0.001, 0.3), st.floats(10, 17))
def test_path_takes_what_kirchhoff_says(power: float, ohms: float, volts: float) -> None:
    """The load's power and the heat of the path are the power at the battery."""
    drawn = battery_power(power, ohms, volts)
    current = drawn / volts
    assert drawn == pytest.approx(power + current**2 * ohms, rel=1e-12)
    # of the two currents that a constant power allows it is the lower one
    both = np.roots([ohms, -volts, power])
    assert current == pytest.approx(min(both), rel=1e-8)


def test_path_by_hand() -> None:
    # 12 V, 0.1 ohm: 1 A takes 12 W, of which 11.9 W arrive
    assert battery_power(11.9, 0.1, 12.0) == pytest.approx(12.0, rel=1e-12)


# the table


def test_the_table_says_that_it_is_invented() -> None:
    assert "invented" in PHASES.read_text("utf-8").splitlines()[0]


def test_the_phases_are_those_of_the_timers() -> None:
    """The timers in whole seconds, by hand; what was filmed for an hour is DAT-010's."""
    found = {row["phase"]: 60 * float(row["minutes"]) for row in rows()}
    assert found["boot"] + found["ascent"] + found["releases"] == pytest.approx(3600)
    assert found["selection"] == pytest.approx(20)
    assert found["sending"] == pytest.approx(6240 - 3620)
    assert MISSION.values["transmit_stop_delay"] / 60 <= 105  # DAT-030
    assert sum(float(r["minutes"]) * float(r["cameras"]) for r in rows()) <= 60  # DAT-010


def test_the_descent_lasts_until_the_stage_burns_up() -> None:
    """SYS-050: below a geometric altitude of 120 km, as the windows march it."""
    windows = Declared(station_windows)
    fall = windows.find(transmit_end_altitude=120.0).fall_time
    assert windows.find().burn_up_time == pytest.approx(fall, abs=1e-4)
    low, high = MISSION.box["burn_up_time"]
    assert low <= fall <= high


def test_lengths_by_hand() -> None:
    """A phase that should end before it begins has no length, and what follows goes on from it."""
    phases = read_phases(PHASES)
    names = [
        "camera_start_time",
        "orbit_filming_delay",
        "camera_stop_delay",
        "transmit_start_delay",
    ]
    moments = dict(zip(names, (1.0, 5.0, 4.0, 9.0), strict=True))
    found = lengths(phases, {**moments, "transmit_stop_delay": 10.0, "burn_up_time": 30.0})
    assert list(found.values()) == [1.0, 4.0, 0.0, 4.0, 1.0, 20.0]
    with pytest.raises(ValueError, match="no moment burn_up_time, transmit_stop_delay"):
        lengths(phases, moments)


def test_the_battery_outlasts_the_last_transmission_with_a_camera_stuck() -> None:
    spare = min(SEQUENCE.function(**p).battery_spare for p in SEQUENCE.points(500))
    assert spare > 0


def test_the_transmitter_is_off_until_the_releases_are_over() -> None:
    """COM-070; the order of the table is that of the sequence."""
    names = [row["phase"] for row in rows()]
    sending = [row["phase"] for row in rows() if float(row["transmitter"]) > 0]
    assert min(map(names.index, sending)) > names.index("releases")


def test_every_fault_of_a_table_is_told_at_once(tmp_path: Path) -> None:
    path = tmp_path / "phases.csv"
    header = ",".join(("phase", "ends", *FLAGS, *UNITS))
    path.write_text(
        f"{header}\na,x,0,1,3,1,0,0,0,0,0\na,x,2,1,0,0,0,0,0,0,0\nb,x,0,1,1,1.5,0,0,0,0,0\n",
        "utf-8",
    )
    with pytest.raises(ValueError, match=r"phases\.csv") as caught:
        read_phases(path)
    for part in ("a: steady is 3", "a stands twice", "delay is 2", "computer is 1.5"):
        assert part in str(caught.value)


# the budget


def test_budget_apart_from_the_project() -> None:
    """Each line again, from the table's rows, in watt seconds, with formulas of its own."""
    p = MISSION.values
    watts = {
        "computer": p["computer_power"], "cameras": 2 * p["camera_power"],
        "storage": p["storage_power"],
        "transmitter": p["transmitter_base_power"] + p["transmit_power"] / 0.25,
        "heater": p["lens_heater_power"], "lens_cover": p["lens_cover_power"],
    }  # fmt: skip
    joules, sent, powers = 0.0, 0.0, {}
    for row in rows():
        load = sum(watts[unit] * float(row[unit]) for unit in watts)
        taken = p["converter_standby"] + load / (0.89 - 0.005)
        current = min(np.roots([p["input_path_resistance"] / 1e3, -12.0, taken]))
        powers[row["phase"]] = 12.0 * current
        joules += 12.0 * current * float(row["minutes"]) * 60
        sent += 12.0 * current * float(row["minutes"]) * 60 * float(row["sent"])
    highest = max(powers.values())
    extra = highest * (15 + 4 * 60) + 60 * (powers["releases"] + powers["sending"])
    extra += highest * 3 * 60 + (1e-3 + 3e-6) * 16.8 * 86_400
    found = find()
    assert found.highest_power == pytest.approx(highest, rel=1e-10)
    assert 3600 * found.mission_energy == pytest.approx(sent + extra, rel=1e-10)
    assert 3600 * found.energy_to_burn_up == pytest.approx(joules + extra, rel=1e-10)
    assert 3600 * found.reserve_at_burn_up == pytest.approx(52 * 3600 - joules - extra, rel=1e-10)


def test_lines_add_up() -> None:
    for point in MISSION.points(40):
        found = MISSION.function(**point)
        planned = sum(found.phase_energy.values())
        units = sum(found.unit_energy.values())
        assert units + found.converter_loss + found.path_loss == pytest.approx(planned, rel=1e-12)
        extra = found.reset_energy + found.late_wake_up_energy + found.abort_energy
        extra += found.slip_energy
        assert found.energy_to_burn_up == pytest.approx(planned + extra, rel=1e-12)
        later = found.phase_energy["descent"]
        assert found.mission_energy == pytest.approx(found.energy_to_burn_up - later, rel=1e-12)
        assert min(found.converter_loss, found.path_loss, *found.phase_energy.values()) > 0


def test_energy_is_the_integral_of_the_power_over_time() -> None:
    phases = read_phases(PHASES)
    minutes = {row["phase"]: float(row["minutes"]) for row in rows()}
    ends = np.cumsum(list(minutes.values()))
    watts = dict.fromkeys(UNITS, 1.0)
    loads = [load_power(phase, watts) for phase in phases.values()]

    def power(minute: float) -> float:
        return loads[min(int(np.searchsorted(ends, minute, side="right")), len(loads) - 1)]

    integral, _ = quad(power, 0, ends[-1], points=list(ends[:-1]), limit=200)
    summed = sum(energy(load, minutes[name]) for load, name in zip(loads, phases, strict=True))
    assert summed == pytest.approx(integral / 60, rel=1e-9)


def profile() -> tuple[np.ndarray, np.ndarray]:
    """Return minutes and what the converters take in W, with both ends of each phase."""
    p = MISSION.values
    watts = {
        "computer": p["computer_power"], "cameras": p["cameras"] * p["camera_power"],
        "storage": p["storage_power"], "heater": p["lens_heater_power"],
        "lens_cover": p["lens_cover_power"],
    }  # fmt: skip
    radio = p["transmit_power"] / p["amplifier_efficiency"]
    watts["transmitter"] = p["transmitter_base_power"] + radio
    ends = np.cumsum([float(row["minutes"]) for row in rows()])
    efficiency = p["converter_efficiency"] - p["converter_ageing"]
    taken = [
        p["converter_standby"] + sum(watts[u] * float(row[u]) for u in watts) / efficiency
        for row in rows()
    ]
    return np.repeat([0.0, *ends], 2)[1:-1], np.repeat(taken, 2)


def test_each_phase_by_the_trapezoid_of_its_profile() -> None:
    """numpy.trapezoid of the power at the battery, with currents by scipy.optimize.brentq."""
    minutes, taken = profile()
    ohms, volts = MISSION.values["input_path_resistance"] / 1e3, MISSION.values["cutoff_voltage"]
    currents = [
        brentq(lambda i, w=w: (volts - ohms * i) * i - w, 0, volts / (2 * ohms), xtol=1e-14)
        for w in taken
    ]
    at_battery = volts * np.array(currents)
    found = find()
    for k, row in enumerate(rows()):
        part = slice(2 * k, 2 * k + 2)
        expected = np.trapezoid(at_battery[part], minutes[part]) / 60
        assert found.phase_energy[row["phase"]] == pytest.approx(expected, rel=1e-11)
    whole = np.trapezoid(at_battery, minutes) / 60
    assert sum(found.phase_energy.values()) == pytest.approx(whole, rel=1e-12)
    heat = np.trapezoid(ohms * np.array(currents) ** 2, minutes) / 60
    assert found.path_loss == pytest.approx(heat, rel=1e-9)


@pytest.mark.parametrize("start", [0.90, 0.96])
def test_a_battery_whose_voltage_falls_gives_a_little_less(start: float) -> None:
    """S: scipy.integrate.solve_ivp with the voltage that four cells have at each charge.

    At the cut-off throughout the path takes most: the budget is above, by less than one per cent.
    """
    minutes, taken = profile()
    ohms, capacity = MISSION.values["input_path_resistance"] / 1e3, 2 * 3.35 * 0.97  # A h
    x, y = zip(*OPEN_CIRCUIT_VOLTAGE, strict=True)

    def rates(t: float, state: np.ndarray, watts: float) -> list[float]:
        volts = 4 * float(np.interp(state[0] / capacity, x, y))
        current = brentq(lambda i: (volts - ohms * i) * i - watts, 0, volts / (2 * ohms))
        return [-current / 60, volts * current / 60]

    state = np.array([start * capacity, 0.0])  # A h, W h
    for k in range(len(rows())):
        march = solve_ivp(
            rates, minutes[2 * k : 2 * k + 2], state, args=(taken[2 * k],), rtol=1e-9, atol=1e-10
        )
        state = march.y[:, -1]
    planned = sum(find().phase_energy.values())
    assert 0.99 * planned < state[1] < planned


def test_slip_as_pint_has_it() -> None:
    """pint, with every unit written out: armed current and leakage at four full cells of 4.2 V."""
    units, p = pint.UnitRegistry(), MISSION.values
    current = units.Quantity(p["armed_current"], "mA") + units.Quantity(
        p["soft_start_leakage"], "uA"
    )
    taken = current * units.Quantity(4 * 4.2, "V") * units.Quantity(p["slip_after_arming"], "h")
    assert find().slip_energy == pytest.approx(taken.to("W h").magnitude, rel=1e-12)


def test_the_worst_corner_is_where_an_optimiser_ends() -> None:
    """scipy.optimize.minimize (L-BFGS-B) inside the declared box, from its middle."""
    names = MISSION.wide()
    low, high = np.array([MISSION.box[n] for n in names]).T

    def reserve(share: np.ndarray) -> float:
        point = dict(zip(names, low + share * (high - low), strict=True))
        return float(find(**point).reserve_at_burn_up)

    ended = minimize(reserve, np.full(len(names), 0.5), bounds=[(0, 1)] * len(names))
    worst = {
        n: min(MISSION.box[n], key=lambda end, n=n: find(**{n: end}).reserve_at_burn_up)
        for n in names
    }
    assert find(**worst).reserve_at_burn_up == pytest.approx(float(ended.fun), abs=1e-6)


def test_slip_by_hand() -> None:
    # 24 h x 1.003 mA x 16.8 V = 0.40441 W h
    assert find().slip_energy == pytest.approx(24 * 1.003e-3 * 16.8, rel=1e-12)
    assert find(soft_start_leakage=1003).slip_energy == pytest.approx(24 * 2.003e-3 * 16.8)


def test_extras_by_hand() -> None:
    found = find(input_path_resistance=0)
    film = 0.4 + (8.5 + 10.4 + 2.6 + 0.3 * 2.0) / 0.885  # the phase that takes most
    assert found.highest_power == pytest.approx(film, rel=1e-12)
    assert found.reset_energy == pytest.approx(film * 4.25 / 60, rel=1e-12)  # 15 s and 4 min
    assert found.abort_energy == pytest.approx(film * 3 / 60, rel=1e-12)
    send = 0.4 + (0.6 * 8.5 + 0.3 * 2.6 + 7.0 + 0.4 / 0.25) / 0.885
    assert found.late_wake_up_energy == pytest.approx((film + send) / 60, rel=1e-12)


def test_nothing_happens_costs_nothing() -> None:
    found = find(computer_resets=0, aborts_after_ignition=0, slip_after_arming=0, wake_up_delay=0)
    assert found.energy_to_burn_up == pytest.approx(sum(found.phase_energy.values()), rel=1e-14)


def test_spread_is_that_of_the_uncertainties_library() -> None:
    """First order, of the unit powers alone: JCGM 100:2008, 5.1.2, by the library uncertainties."""
    names = ("computer_power", "camera_power", "storage_power", "transmitter_base_power")
    free = {"input_path_resistance": 0.0}
    values = {n: ufloat(MISSION.values[n], MISSION.box[n][1] - MISSION.values[n]) for n in names}
    total = MISSION.function(**{**MISSION.values, **free, "cutoff_voltage": 12.0}).mission_energy
    slopes = {n: find(**free, **{n: MISSION.values[n] + 1}).mission_energy - total for n in names}
    linear = total + sum(slopes[n] * (values[n] - MISSION.values[n]) for n in names)
    square = sum((slopes[n] * values[n].std_dev) ** 2 for n in names)
    assert linear.std_dev == pytest.approx(math.sqrt(square), rel=1e-9)
    high = find(**free, **{n: MISSION.box[n][1] for n in names}).mission_energy
    assert high - total > linear.std_dev  # extremes together are on the safe side of the root sum


# directions


@pytest.mark.parametrize(
    ("name", "worse"),
    [
        ("computer_power", +1), ("camera_power", +1), ("storage_power", +1),
        ("transmitter_base_power", +1), ("transmit_power", +1), ("amplifier_efficiency", -1),
        ("lens_heater_power", +1), ("lens_cover_power", +1), ("converter_efficiency", -1),
        ("converter_ageing", +1), ("converter_standby", +1), ("input_path_resistance", +1),
        ("cutoff_voltage", -1), ("reset_repeat_time", +1), ("wake_up_delay", +1),
        ("abort_awake_time", +1), ("armed_current", +1), ("soft_start_leakage", +1),
    ],
)  # fmt: skip
def test_a_worse_input_leaves_less(name: str, worse: int) -> None:
    low, high = MISSION.box[name]
    good, bad = (low, high) if worse > 0 else (high, low)
    before, after = find(**{name: good}), find(**{name: bad})
    assert after.reserve_at_burn_up < before.reserve_at_burn_up
    assert after.mission_energy > before.mission_energy


@pytest.mark.parametrize(
    "more", [{"computer_resets": 2.0}, {"wake_up_delay": 120.0}, {"aborts_after_ignition": 2.0},
             {"slip_after_arming": 48.0}, {"computer_restart_time": 60.0}, {"cameras": 3.0}],
)  # fmt: skip
def test_more_mishaps_leave_less(more: dict[str, float]) -> None:
    assert find(**more).reserve_at_burn_up < find().reserve_at_burn_up


def test_a_reset_is_taken_where_it_costs_most() -> None:
    found = find()
    for row in rows():
        power = found.phase_energy[row["phase"]] * 60 / float(row["minutes"])
        assert power <= found.highest_power * (1 + 1e-12)
    assert any(
        found.phase_energy[row["phase"]] * 60 / float(row["minutes"])
        == pytest.approx(found.highest_power)
        for row in rows()
    )


def test_energy_and_charge_are_not_mixed_up() -> None:
    """An A h at 12 V is 12 W h: the reserve is in W h at the terminals, as in PWR-020."""
    found = find(slip_after_arming=1, armed_current=1000, soft_start_leakage=0, cells_in_series=4)
    assert found.slip_energy == pytest.approx(16.8)  # 1 A for 1 h at 16.8 V


# against the rest of the mission


def test_the_guarantee_is_the_limit_of_the_hold() -> None:
    assert MISSION.values["guaranteed_energy"] == limits("PWR-020", "usable_energy")[1]


def test_no_phase_takes_more_than_the_discharge_of_the_hold() -> None:
    worst = max(MISSION.function(**point).highest_power for point in MISSION.points(200))
    assert worst < HOLD.box["discharge_power"][1]


def test_limits_are_kept_at_the_worst_corner() -> None:
    worst = {
        name: max(MISSION.box[name], key=lambda end, n=name: find(**{n: end}).energy_to_burn_up)
        for name in MISSION.wide()
    }
    found = find(**worst)
    assert found.mission_energy <= limits("PWR-080", "mission_energy")[1]
    assert found.reserve_at_burn_up >= limits("PWR-085", "reserve_at_burn_up")[1]
    for point in MISSION.points(300):
        assert MISSION.function(**point).energy_to_burn_up <= found.energy_to_burn_up + 1e-9
