"""The march of the switch-on against SciPy's integrator, closed forms and charge balance."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

from analyses.physics.series_rlc import moment_after, peak_current
from analyses.physics.switched_input import (
    AFTER_GAP,
    AFTER_START,
    Inductor,
    Input,
    incremental_inductance,
    switch_on,
)

PLAIN = Input(
    source_voltage=16.8,
    precharge_resistance=1.6,
    bypass_resistance=0.12,
    inductor=Inductor(10e-6, 12.0, 0.45),
    capacitance=220e-6,
    bypass_window=0.8,
    standby_current=0.0,
    load_power=0.0,
    load_start=3e-3,
    reset_voltage=8.2,
    gap=10e-6,
)


def reference(circuit: Input) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return times, currents and voltages up to the gap by SciPy, with formulas of its own."""
    knee, share = circuit.inductor.saturation_current, circuit.inductor.saturated_share

    def slope(t: float, y: np.ndarray, ohms: float, watts: float) -> list[float]:
        henries = circuit.inductor.inductance * (share + (1 - share) / (1 + (y[0] / knee) ** 4))
        out = circuit.standby_current * y[1] / circuit.source_voltage
        out += watts / y[1] if watts else 0.0
        rise = (circuit.source_voltage - ohms * y[0] - y[1]) / henries
        return [rise, (y[0] - out) / circuit.capacitance]

    def near(t: float, y: np.ndarray, *_: float) -> float:
        return float(y[1] - circuit.source_voltage + circuit.bypass_window)

    near.terminal = True  # type: ignore[attr-defined]
    parts = []
    options = {"method": "DOP853", "rtol": 1e-9, "atol": 1e-9, "max_step": 2e-6}
    first = solve_ivp(slope, (0, circuit.load_start), [0.0, 0.0], events=near,
                      args=(circuit.precharge_resistance, 0.0), **options)  # fmt: skip
    parts.append(first)
    ohms = circuit.bypass_resistance if first.t_events[0].size else circuit.precharge_resistance
    for end, watts in ((circuit.load_start, 0.0), (circuit.load_start + AFTER_START,
                                                  circuit.load_power)):  # fmt: skip
        last = parts[-1]
        if last.t[-1] < end:
            parts.append(solve_ivp(slope, (last.t[-1], end), last.y[:, -1], args=(ohms, watts),
                                   **options))  # fmt: skip
    times = np.concatenate([part.t for part in parts])
    return times, *np.concatenate([part.y for part in parts], axis=1)


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"load_power": 30.0},
        {"load_power": 60.0, "source_voltage": 12.0, "standby_current": 0.2},
        {"capacitance": 264e-6, "inductor": Inductor(8e-6, 10.0, 0.4), "load_power": 60.0},
        {"capacitance": 176e-6, "inductor": Inductor(12e-6, 14.0, 0.5), "bypass_window": 1.0},
        {"precharge_resistance": 0.2, "inductor": Inductor(22e-6, 12.0, 0.45)},  # rings
    ],
)
def test_march_is_that_of_the_integrator(changes: dict[str, float]) -> None:
    circuit = PLAIN._replace(**changes)
    wave = switch_on(circuit)
    times, currents, voltages = reference(circuit)
    until = circuit.load_start + AFTER_START
    before = [k for k, t in enumerate(wave.times) if t <= until - 1e-12]
    own_i, own_v = (np.array(column)[before] for column in (wave.currents, wave.voltages))
    assert own_i.max() == pytest.approx(currents.max(), rel=4e-3)
    # the bypass closes up to one step late, which counts where the precharge itself rings
    assert own_v.max() == pytest.approx(voltages.max(), rel=5e-3)
    late = times > circuit.load_start
    assert own_v[wave.load_started_at :].min() == pytest.approx(voltages[late].min(), rel=1e-3)
    at = np.interp(np.array(wave.times)[before], times, voltages)
    assert np.abs(at - own_v).max() < 0.15  # V


def test_a_core_that_does_not_saturate_gives_the_closed_form() -> None:
    circuit = PLAIN._replace(inductor=Inductor(10e-6, 12.0, 1.0), bypass_window=0.0)
    wave = switch_on(circuit)
    assert not wave.bypassed  # a window of nothing is never reached
    closed = peak_current(16.8, 1.6, 10e-6, 220e-6)
    assert max(wave.currents) == pytest.approx(closed, rel=1e-3)
    for k in range(0, wave.load_started_at, 50):
        found = moment_after(wave.times[k], 16.8, 1.6, 10e-6, 220e-6)
        assert (wave.voltages[k], wave.currents[k]) == pytest.approx(found, abs=2e-3)


def test_charge_balance() -> None:
    wave = switch_on(PLAIN)
    upto = wave.load_started_at + 1
    charge = np.trapezoid(wave.currents[:upto], wave.times[:upto])
    assert charge == pytest.approx(220e-6 * wave.voltages[upto - 1], rel=2e-3)


def test_half_of_the_energy_is_lost_with_a_core_that_saturates_too() -> None:
    wave = switch_on(PLAIN)
    upto = wave.load_started_at + 1
    given = 16.8 * np.trapezoid(wave.currents[:upto], wave.times[:upto])
    stored = 220e-6 * wave.voltages[upto - 1] ** 2 / 2
    assert given - stored == pytest.approx(220e-6 * 16.8**2 / 2, rel=5e-3)


def test_inductance_falls_halfway_at_the_knee() -> None:
    core = Inductor(10e-6, 12.0, 0.4)
    assert incremental_inductance(core, 0.0) == pytest.approx(10e-6, rel=1e-15)
    assert incremental_inductance(core, 12.0) == pytest.approx(7e-6, rel=1e-12)  # half of 60 %
    assert incremental_inductance(core, -12.0) == incremental_inductance(core, 12.0)
    assert incremental_inductance(core, 1e4) == pytest.approx(4e-6, rel=1e-9)
    flux, _ = quad(lambda i: incremental_inductance(core, i), 0, 30)
    assert 4e-6 * 30 < flux < 10e-6 * 30


def test_a_lost_contact_drains_by_the_load() -> None:
    circuit = PLAIN._replace(load_power=60.0, gap=15e-6)
    wave = switch_on(circuit)
    broken = next(k for k, t in enumerate(wave.times) if t > 3e-3 + AFTER_START + 1e-9)
    before, after = wave.voltages[broken - 1], wave.voltages[broken + 7]
    # C v^2/2 falls by P t where nothing flows in
    assert 110e-6 * (before**2 - after**2) == pytest.approx(60 * 15e-6, rel=1e-3)
    assert wave.times[-1] == pytest.approx(3e-3 + AFTER_START + 15e-6 + AFTER_GAP, rel=1e-9)
    assert max(wave.currents[broken:]) > 60 / before


def test_a_precharge_that_is_too_slow_ends_in_a_reset() -> None:
    circuit = PLAIN._replace(standby_current=1.0, load_power=60.0)  # 1.6 V over 0.8 V of window
    wave = switch_on(circuit)
    assert not wave.bypassed
    assert wave.voltages[-1] <= circuit.reset_voltage


def test_more_power_than_the_source_gives_ends_in_a_reset() -> None:
    wave = switch_on(PLAIN._replace(load_power=16.8**2 / 4 / 0.12 * 1.05))
    assert wave.bypassed
    assert wave.voltages[-1] <= PLAIN.reset_voltage
