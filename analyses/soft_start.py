"""Current and voltage when the soft start puts the battery on the distribution."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from analyses.physics import series_rlc
from analyses.physics.lithium_ion import arrhenius_factor
from analyses.physics.source_under_load import current_at, terminal_voltage
from analyses.physics.switched_input import Inductor, Input, Waveform, switch_on
from closeout import analysis
from closeout.math import maximum, minimum
from closeout.units import (
    A,
    F,
    H,
    J,
    V,
    W,
    count,
    degC,
    kJ_per_mol,
    mA,
    mohm,
    ms,
    ohm,
    ratio,
    uF,
    uH,
    us,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

REFERENCE_TEMPERATURE = 20.0  # degC, at which the cells were measured


class SoftStart(NamedTuple):
    """Peaks in the order in which they come; the saturated inductor counts in each current."""

    precharge_resistance: ohm  # of the whole loop
    bypass_resistance: ohm  # of the whole loop
    precharge_damping: ratio  # damping ratio, above 1: no ringing
    bypass_damping: ratio
    precharge_peak: A
    start_peak: A  # when the converters start
    contact_peak: A  # when a lost contact comes back under full load
    peak_current: A  # the highest of the three and of the one at the bypass
    trip_margin: A  # from the lowest trip of the protection
    peak_voltage: V  # at the distribution
    bypass_headroom: V  # by which the precharge comes nearer than the bypass needs
    precharge_time: ms  # until the resistor is bypassed
    ringing_time: ms  # from there, until 2 % of the step are left
    energy_lost: J  # as heat at each switch-on
    load_stability: ratio  # damping by resistance over undamping by constant power


class SoftStartWaveform(NamedTuple):
    peak_current: A
    peak_voltage: V
    lowest_voltage: V  # at the distribution, from the start of the load on
    reset_margin: V  # of that above the reset level


@analysis(
    validated_by=(
        "tests/analyses/test_soft_start.py",
        "tests/analyses/physics/test_series_rlc.py",
    )
)
def soft_start(
    battery_voltage: V,
    cells_in_series: count,
    cells_in_parallel: count,
    cell_pulse_resistance: mohm,
    resistance_activation: kJ_per_mol,
    cell_temperature: degC,
    harness_resistance: mohm,
    input_path_resistance: mohm,
    precharge_resistor: ohm,
    input_inductance: uH,
    saturated_share: ratio,
    input_capacitance: uF,
    bypass_window: V,
    standby_current: mA,
    discharge_power: W,
    contact_gap: us,
    protection_trip_current: A,
) -> SoftStart:
    """Compute peak current, peak voltage and time to settle of each step of the switch-on.

    **Model.** The battery at rest charges the input capacitance of the distribution through an
    inductor, first through a precharge resistor, then past it, as soon as the voltage across the
    switch is below the bypass window. Each step is a series circuit of resistance, inductance and
    capacitance (`analyses/physics/series_rlc.py`, closed forms in all three cases of damping). A
    third step is a contact that is lost under full load for so short a time that the bypass stays
    closed: the capacitance comes back part-charged, by gap x current / capacitance below the
    voltage that it had.

    **On the safe side.** The inrush is that of the saturated inductance throughout: an upper bound
    for a core that saturates on the way (`series_rlc.peak_current`). The load's current is added
    times the gain that it has at its worst course in time, with the full inductance, which rings
    more, and less damping by the constant power. After a lost contact the energy bounds the swing.
    For a core and a load that change on the way these two are no proof; `soft_start_waveform`
    checks them. Cells are fresh (no growth of resistance by age), and their resistance is the one
    within microseconds, lowest at the *warm* end. The trip is taken as a level: the protection
    needs some milliseconds above it, the peaks last some tens of microseconds.

    **Assumptions.** The load in standby takes at most its declared current at any voltage; the
    converters take constant power and start after the bypass has closed. The source keeps its rest
    voltage behind its resistance. Inductance of leads and cells is in the declared inductance.

    **Sources.** Alexander and Sadiku, Fundamentals of Electric Circuits, chapter 8; half of C V^2
    is lost whatever the resistance is. Stability of a constant-power load: its small-signal
    conductance is -P/U^2, so the ringing dies out where R/L > P/(C U^2).

    **Not covered.** Start of the load and voltage dip (`soft_start_waveform`); series resistance of
    the capacitor, which damps; bounce of the arming plug beyond the declared gap; release of the
    load; a soft start that fails shorted, for which the protection is there; heating of the
    precharge resistor by repeated switch-on (each one costs energy_lost). The leakage of the open
    switch is in `pad_hold_energy`.

    **Caution.** Lithium cells give hundreds of amperes into a short. Switch on a bench battery
    through a fuse, attended and contained, by the rules of the laboratory; a protection that
    tripped is looked into before it is reset.
    """
    cells = cell_loop_resistance(
        cells_in_series, cells_in_parallel, cell_pulse_resistance, resistance_activation,
        cell_temperature,
    )  # fmt: skip
    bypassed = cells + (harness_resistance + input_path_resistance) / 1e3
    charging = bypassed + precharge_resistor
    capacitance, inductance = input_capacitance / 1e6, input_inductance / 1e6
    saturated = inductance * saturated_share
    standby = standby_current / 1e3

    full_load = current_at(
        discharge_power, terminal_voltage(battery_voltage, bypassed, discharge_power)
    )
    loaded = discharge_power / full_load
    stability = bypassed * capacitance / inductance * loaded / full_load
    z_charging = series_rlc.damping_ratio(charging, inductance, capacitance)
    z_bypassed = series_rlc.damping_ratio(bypassed, inductance, capacitance)
    z_loaded = series_rlc.damping_with_constant_power(z_bypassed, stability)

    precharge = series_rlc.peak_current(
        battery_voltage, charging, saturated, capacitance
    ) + standby * series_rlc.load_gain(z_charging)
    bypass = bypass_peak(bypass_window, standby, bypassed, saturated, capacitance)
    start = (full_load + standby) * series_rlc.load_gain(z_loaded)
    contact = series_rlc.peak_after_gap(
        full_load + standby, contact_gap / 1e6, saturated, capacitance
    )
    peak = maximum(maximum(precharge, bypass), maximum(start, contact))

    natural = series_rlc.natural_frequency(inductance, capacitance)
    headroom = bypass_window - charging * standby
    left = minimum(maximum(headroom / battery_voltage, 1e-9), 1.0)
    return SoftStart(
        precharge_resistance=charging,
        bypass_resistance=bypassed,
        precharge_damping=z_charging,
        bypass_damping=z_bypassed,
        precharge_peak=precharge,
        start_peak=start,
        contact_peak=contact,
        peak_current=peak,
        trip_margin=protection_trip_current - peak,
        peak_voltage=battery_voltage
        + maximum(
            battery_voltage * series_rlc.overshoot(z_charging),
            bypass_window * series_rlc.overshoot(z_bypassed),
        ),
        bypass_headroom=headroom,
        precharge_time=1e3 * series_rlc.settling_time(z_charging, natural, left),
        ringing_time=1e3 * series_rlc.settling_time(z_bypassed, natural, 0.02),
        energy_lost=series_rlc.energy_lost(capacitance, battery_voltage),
        load_stability=stability,
    )


@soft_start.figure
def peaks_of_switch_on(
    battery_voltage: V,
    cells_in_series: count,
    cells_in_parallel: count,
    cell_pulse_resistance: mohm,
    resistance_activation: kJ_per_mol,
    cell_temperature: degC,
    harness_resistance: mohm,
    input_path_resistance: mohm,
    precharge_resistor: ohm,
    input_inductance: uH,
    saturated_share: ratio,
    input_capacitance: uF,
    bypass_window: V,
    standby_current: mA,
    discharge_power: W,
    contact_gap: us,
    protection_trip_current: A,
) -> Figure:
    """Highest current of each step of the switch-on, at the inputs, beside the lowest trip of the
    protection. Look at the longest bar and its distance from the trip (dashed). All data are
    invented.
    """
    from analyses import plotting

    found = soft_start(
        battery_voltage, cells_in_series, cells_in_parallel, cell_pulse_resistance,
        resistance_activation, cell_temperature, harness_resistance, input_path_resistance,
        precharge_resistor, input_inductance, saturated_share, input_capacitance, bypass_window,
        standby_current, discharge_power, contact_gap, protection_trip_current,
    )  # fmt: skip
    peaks = {
        "precharge": found.precharge_peak,
        "bypass": bypass_peak(
            bypass_window, standby_current / 1e3, found.bypass_resistance,
            input_inductance / 1e6 * saturated_share, input_capacitance / 1e6,
        ),
        "start of the converters": found.start_peak,
        "lost contact, back": found.contact_peak,
    }  # fmt: skip
    figure, (axes,) = plotting.panels(height=2.8)
    axes.barh(list(peaks), list(peaks.values()), color=plotting.BLUE, height=0.6)
    for place, peak in enumerate(peaks.values()):
        axes.annotate(
            f"{peak:.3g} A", (peak, place), (4, 0), textcoords="offset points", va="center"
        )
    axes.axvline(
        protection_trip_current, color=plotting.RED, linestyle="--", label="trip of the protection"
    )
    axes.invert_yaxis()
    axes.set_xlim(0.0, 1.1 * max(protection_trip_current, *peaks.values()))
    axes.set_xlabel("highest current (A)")
    plotting.legend(figure)
    return figure


@analysis(
    validated_by=(
        "tests/analyses/test_soft_start.py",
        "tests/analyses/physics/test_switched_input.py",
    )
)
def soft_start_waveform(
    battery_voltage: V,
    cells_in_series: count,
    cells_in_parallel: count,
    cell_pulse_resistance: mohm,
    resistance_activation: kJ_per_mol,
    cell_temperature: degC,
    harness_resistance: mohm,
    input_path_resistance: mohm,
    precharge_resistor: ohm,
    input_inductance: uH,
    saturated_share: ratio,
    saturation_current: A,
    input_capacitance: uF,
    bypass_window: V,
    standby_current: mA,
    discharge_power: W,
    load_start_delay: ms,
    reset_voltage: V,
    contact_gap: us,
) -> SoftStartWaveform:
    """Integrate current and voltage of the switch-on with a saturating inductor and a real load.

    **Model.** The circuit of `soft_start`, marched in time (`analyses/physics/switched_input.py`):
    precharge, bypass, start of the converters at constant power all at once, and a contact that is
    lost under full load and comes back. The inductance falls along a smooth curve as its core
    saturates. Converters let go below their reset level: a margin that is not above zero is a start
    that is tried again and again.

    **Assumptions.** As for `soft_start`; the converters start a declared time after switch-on,
    whether or not the precharge has come to its end, so that a precharge that is too slow shows as
    a start without margin.

    **Sources.** Kirchhoff's laws; curve of saturation: common practice, no source. The closed forms
    of `soft_start` bound its currents from above.

    **Not covered.** As for `soft_start`. A march is evaluated on numbers only.

    **Caution.** As for `soft_start`.
    """
    wave = waveform(
        battery_voltage, cells_in_series, cells_in_parallel, cell_pulse_resistance,
        resistance_activation, cell_temperature, harness_resistance, input_path_resistance,
        precharge_resistor, input_inductance, saturated_share, saturation_current,
        input_capacitance, bypass_window, standby_current, discharge_power, load_start_delay,
        reset_voltage, contact_gap,
    )  # fmt: skip
    lowest = min(wave.voltages[wave.load_started_at :])
    return SoftStartWaveform(
        peak_current=max(wave.currents),
        peak_voltage=max(wave.voltages),
        lowest_voltage=lowest,
        reset_margin=lowest - reset_voltage,
    )


@soft_start_waveform.figure
def inrush_waveform(
    battery_voltage: V,
    cells_in_series: count,
    cells_in_parallel: count,
    cell_pulse_resistance: mohm,
    resistance_activation: kJ_per_mol,
    cell_temperature: degC,
    harness_resistance: mohm,
    input_path_resistance: mohm,
    precharge_resistor: ohm,
    input_inductance: uH,
    saturated_share: ratio,
    saturation_current: A,
    input_capacitance: uF,
    bypass_window: V,
    standby_current: mA,
    discharge_power: W,
    load_start_delay: ms,
    reset_voltage: V,
    contact_gap: us,
) -> Figure:
    """Current of the inductor and voltage at the distribution from switch-on on, at the inputs:
    precharge, bypass, start of the converters, and a contact that is lost and comes back. Look at
    the highest current, and at how far the voltage stays above the reset level. All data are
    invented.
    """
    from analyses import plotting

    wave = waveform(
        battery_voltage, cells_in_series, cells_in_parallel, cell_pulse_resistance,
        resistance_activation, cell_temperature, harness_resistance, input_path_resistance,
        precharge_resistor, input_inductance, saturated_share, saturation_current,
        input_capacitance, bypass_window, standby_current, discharge_power, load_start_delay,
        reset_voltage, contact_gap,
    )  # fmt: skip
    times = [1e3 * time for time in wave.times]

    figure, (above, below) = plotting.panels(2, height=5.4, sharex=True)
    above.plot(times, wave.currents, color=plotting.BLUE, label="current")
    above.set_ylabel("current of the inductor (A)")
    below.plot(times, wave.voltages, color=plotting.GREEN, label="voltage")
    plotting.limit(below, reset_voltage, "reset level")
    for axes in (above, below):
        plotting.moment(axes, times[wave.load_started_at], "start of the converters")
    below.set_ylabel("voltage at the distribution (V)")
    below.set_xlabel("time after switch-on (ms)")
    plotting.legend(figure, 4)
    return figure


def waveform(
    battery_voltage: V,
    cells_in_series: count,
    cells_in_parallel: count,
    cell_pulse_resistance: mohm,
    resistance_activation: kJ_per_mol,
    cell_temperature: degC,
    harness_resistance: mohm,
    input_path_resistance: mohm,
    precharge_resistor: ohm,
    input_inductance: uH,
    saturated_share: ratio,
    saturation_current: A,
    input_capacitance: uF,
    bypass_window: V,
    standby_current: mA,
    discharge_power: W,
    load_start_delay: ms,
    reset_voltage: V,
    contact_gap: us,
) -> Waveform:
    """Return current and voltage of the switch-on; arguments as soft_start_waveform has them."""
    cells = cell_loop_resistance(
        cells_in_series, cells_in_parallel, cell_pulse_resistance, resistance_activation,
        cell_temperature,
    )  # fmt: skip
    bypassed = cells + (harness_resistance + input_path_resistance) / 1e3
    return switch_on(
        Input(
            source_voltage=battery_voltage,
            precharge_resistance=bypassed + precharge_resistor,
            bypass_resistance=bypassed,
            inductor=Inductor(input_inductance / 1e6, saturation_current, saturated_share),
            capacitance=input_capacitance / 1e6,
            bypass_window=bypass_window,
            standby_current=standby_current / 1e3,
            load_power=discharge_power,
            load_start=load_start_delay / 1e3,
            reset_voltage=reset_voltage,
            gap=contact_gap / 1e6,
        )
    )


def cell_loop_resistance(
    in_series: count, in_parallel: count, pulse: mohm, activation: kJ_per_mol, temperature: degC
) -> ohm:
    """Return the resistance of the battery's cells in ohm, from that of one at 20 degC in mohm."""
    warmer = arrhenius_factor(activation, temperature, REFERENCE_TEMPERATURE)
    return in_series / in_parallel * pulse / 1e3 / warmer


def bypass_peak(window: V, standby: A, resistance: ohm, inductance: H, capacitance: F) -> A:
    """Return the highest current when the precharge resistor is bypassed, under a standby load."""
    inrush = series_rlc.peak_current(window, resistance, inductance, capacitance)
    z = series_rlc.damping_ratio(resistance, inductance, capacitance)
    return inrush + standby * series_rlc.load_gain(z)
