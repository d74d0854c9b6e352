"""March of an input filter that is switched on: precharge, bypass, start of the load, a short gap.

Voltage in V, current in A, resistance in ohm, inductance in H, capacitance in F, power in W, time
in s. Kirchhoff's laws: L(i) di/dt = E - R i - v and C dv/dt = i - i_load. The inductor's core
saturates, so its incremental inductance falls with the current; the law is common practice, no
source. Integrated by the classical Runge-Kutta method of fourth order, with a step that follows
the shortest time constant L(i)/R.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from closeout.units import A, F, H, V, W, ohm, ratio, s

LONGEST_STEP = 4e-6  # s
SHARE_OF_TIME_CONSTANT = 0.4  # of L(i)/R; the method is stable up to 2.78
AFTER_START = 1e-3  # s that are looked at after the start of the load
AFTER_GAP = 0.6e-3  # s that are looked at after the gap


class Inductor(NamedTuple):
    """Inductance at no current, the current of the knee, and the share that is left far above."""

    inductance: H
    saturation_current: A
    saturated_share: ratio


class Input(NamedTuple):
    """What stands between the battery at rest and the distribution, and what it feeds."""

    source_voltage: V
    precharge_resistance: ohm  # of the whole loop, while the precharge resistor is in it
    bypass_resistance: ohm  # of the whole loop, once the resistor is bypassed
    inductor: Inductor
    capacitance: F
    bypass_window: V  # the resistor is bypassed when the voltage across the switch is below
    standby_current: A  # of what is never switched off, at the voltage of the source
    load_power: W  # of the converters, constant
    load_start: s  # after switch-on
    reset_voltage: V  # below it the converters let go
    gap: s  # of a lost contact, after which the bypass is still closed


class Waveform(NamedTuple):
    """Times, currents of the inductor and voltages of the capacitor, one for each step."""

    times: list[s]
    currents: list[A]
    voltages: list[V]
    load_started_at: int  # index of the first step with the load
    bypassed: bool  # whether the resistor was bypassed before the load started


def incremental_inductance(inductor: Inductor, current: A) -> H:
    """Return d(flux)/di: L0 (s + (1 - s) / (1 + (i/I_sat)^4)), halfway down at I_sat."""
    turned = current / inductor.saturation_current
    share = inductor.saturated_share
    return inductor.inductance * (share + (1.0 - share) / (1.0 + turned * turned * turned * turned))


def switch_on(circuit: Input) -> Waveform:
    """March from an empty capacitor through precharge, bypass, start of the load and the gap.

    The march ends where the converters let go (the last voltage is then below the reset level).
    """
    wave = Waveform([0.0], [0.0], [0.0], 0, False)
    near = circuit.source_voltage - circuit.bypass_window

    source, drawn = circuit.source_voltage, circuit.standby_current
    power, reset = circuit.load_power, circuit.reset_voltage

    def standby(voltage: float) -> float:
        return drawn * voltage / source

    def load(voltage: float) -> float:
        return drawn * voltage / source + (power / voltage if voltage > reset else 0.0)

    start = circuit.load_start
    bypassed = _march(
        wave, circuit, circuit.precharge_resistance, standby, start, lambda v: v >= near
    )
    resistance = circuit.bypass_resistance if bypassed else circuit.precharge_resistance
    _march(wave, circuit, resistance, standby, start)
    wave = wave._replace(load_started_at=len(wave.times) - 1, bypassed=bypassed)

    def let_go(voltage: float) -> bool:
        return voltage <= circuit.reset_voltage

    if _march(wave, circuit, resistance, load, start + AFTER_START, let_go):
        return wave
    _lose_contact(wave, circuit, load)
    _march(wave, circuit, resistance, load, wave.times[-1] + AFTER_GAP, let_go)
    return wave


def _lose_contact(wave: Waveform, circuit: Input, load: Callable[[float], float]) -> None:
    """Let the load drain the capacitor during the gap; the contact breaks the current at once."""
    steps = 8
    h = circuit.gap / steps
    v = wave.voltages[-1]
    for _ in range(steps if h > 0.0 else 0):
        middle = v - h / 2 * load(v) / circuit.capacitance
        v -= h * load(middle) / circuit.capacitance
        _note(wave, wave.times[-1] + h, 0.0, v)
    wave.currents[-1] = 0.0


def _march(
    wave: Waveform,
    circuit: Input,
    resistance: ohm,
    load: Callable[[float], float],
    until: s,
    stop: Callable[[float], bool] | None = None,
) -> bool:
    """Append steps until a time, or until the voltage stops it; return whether it did."""
    source, capacitance = circuit.source_voltage, circuit.capacitance
    unloaded, saturation, share = circuit.inductor
    left = 1.0 - share

    def slope(i: float, v: float) -> tuple[float, float]:  # as incremental_inductance, written out
        turned = i / saturation
        inductance = unloaded * (share + left / (1.0 + turned * turned * turned * turned))
        return (source - resistance * i - v) / inductance, (i - load(v)) / capacitance

    t, i, v = wave.times[-1], wave.currents[-1], wave.voltages[-1]
    while t < until:
        inductance = incremental_inductance(circuit.inductor, i)
        h = min(LONGEST_STEP, SHARE_OF_TIME_CONSTANT * inductance / resistance, until - t)
        i1, v1 = (source - resistance * i - v) / inductance, (i - load(v)) / capacitance
        i2, v2 = slope(i + h / 2 * i1, v + h / 2 * v1)
        i3, v3 = slope(i + h / 2 * i2, v + h / 2 * v2)
        i4, v4 = slope(i + h * i3, v + h * v3)
        i += h / 6 * (i1 + 2 * i2 + 2 * i3 + i4)
        v += h / 6 * (v1 + 2 * v2 + 2 * v3 + v4)
        t = until if h == until - t else t + h
        _note(wave, t, i, v)
        if stop is not None and stop(v):
            return True
    return False


def _note(wave: Waveform, time: s, current: A, voltage: V) -> None:
    wave.times.append(time)
    wave.currents.append(current)
    wave.voltages.append(voltage)
