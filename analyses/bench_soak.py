"""What a soak of the battery on the bench says of the flight battery at the end of the hold."""

from __future__ import annotations

from math import exp, hypot
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from analyses.pad_hold_energy import held_by_cold
from analyses.physics.linear_fit import student_probability, student_quantile
from analyses.physics.lithium_ion import (
    DAYS_PER_MONTH,
    A_h_PER_DAY,
    arrhenius_factor,
    charge_after,
    charge_fraction,
    charge_fraction_of_energy,
    q10_factor,
    stored_energy,
)
from analyses.physics.soak_log import fit_soak, read_log
from analyses.physics.source_under_load import discharge_efficiency, source_voltage_at
from closeout import analysis
from closeout.math import maximum, minimum
from closeout.units import (
    A_h,
    K,
    V,
    W,
    W_h,
    count,
    day,
    degC,
    kJ_per_mol,
    mohm,
    mV,
    per_K,
    per_month,
    ratio,
    uA,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LOG = Path(__file__).parent / "data" / "bench_soak.csv"
REFERENCE_TEMPERATURE = 20.0  # degC, at which the cells were measured
CONFIDENCE = 0.95  # of the prediction bound, one-sided


class BenchSoak(NamedTuple):
    """What was measured, and what it predicts; uncertainties are standard ones."""

    log_length: day
    longest_gap: day
    extrapolation: ratio  # length of the hold over that of the log
    bench_temperature: degC
    measured_drain: uA  # without the voltmeter's own
    drain_uncertainty: uA
    measured_self_discharge: per_month  # loss in a month at the bench's temperature
    self_discharge_uncertainty: per_month
    fit_residual: ratio  # charge fraction, standard deviation of one reading about the line
    charge_left: ratio  # of the flight battery at the end of the hold, expected
    charge_uncertainty: ratio
    charge_bound: ratio  # prediction bound, 95 %
    soak_energy: W_h  # usable, expected
    soak_energy_bound: W_h  # prediction bound, 95 %
    soak_confidence: ratio  # that the flight battery has the energy that is asked for


@analysis(
    validated_by=(
        "tests/analyses/test_bench_soak.py",
        "tests/analyses/physics/test_linear_fit.py",
    )
)
def bench_soak(
    bench_capacity: A_h,
    bench_instrument_drain: uA,
    bench_voltage_drift: mV,
    bench_temperature_error: K,
    ocv_slope_error: ratio,
    pack_spread: ratio,
    cell_capacity: A_h,
    cells_in_series: count,
    cells_in_parallel: count,
    capacity_fade: ratio,
    cell_spread: ratio,
    charge_level: ratio,
    cell_imbalance: ratio,
    self_discharge_q10: ratio,
    hold_temperature: degC,
    hold_duration: day,
    cell_temperature: degC,
    cold_capacity_loss: per_K,
    cell_resistance: mohm,
    resistance_growth: ratio,
    resistance_activation: kJ_per_mol,
    harness_resistance: mohm,
    discharge_power: W,
    cutoff_voltage: V,
    guaranteed_energy: W_h,
) -> BenchSoak:
    """Fit a log of the development battery, and predict the flight battery at the end of the hold.

    **Model.** The log (`analyses/data/bench_soak.csv`) has voltage, current and temperature of the
    battery with the sleeping recorder on it. The mean current, less the voltmeter's own, is the
    drain. Charge fraction from the voltage plus charge drained falls with the time integral of the
    fraction; the slope of that line, by least squares, is the rate of self-discharge
    (`analyses/physics/soak_log.py`). It goes from the bench's to the pad's temperature by the
    declared rule of van 't Hoff, and the drain as a constant power from the bench's voltage to the
    cut-off. From there on it is the hold and the discharge of `pad_hold_energy`.

    **Prediction.** The bound is one for *another battery*, not the confidence of a mean: the spread
    between packs is added in squares to the uncertainty of the fit, and stays however long the log
    is. Uncertainties go through by differences (JCGM 100:2008, 5.1.2 and 5.1.3), and the bound is
    95 %, one-sided, of Student's t with the degrees of freedom of the fit. `soak_confidence` is the
    probability by the same distribution that the energy asked for is there. What is no chance but a
    limit of error (drift and offset of the instruments, slope of the voltage curve) is a declared
    tolerance, and the worst case goes to its end.

    **Flat curve.** Between 0.90 and 0.95 of charge a cell changes by 0.6 mV for a thousandth of its
    charge: a drift of the voltmeter by 1 mV in 16 V, or an error of the slope, is seen as
    self-discharge. **Extrapolation.** A hold of more than twice the length of the log is a finding
    for whoever reads `extrapolation`.

    **Assumptions.** First-order self-discharge; readings with independent errors of one size. The
    log begins two days after the charge, when the voltage has come to rest.

    **Sources.** JCGM 100:2008, H.3 (straight line); Montgomery, Peck and Vining, Introduction to
    Linear Regression Analysis, section 2.5 (prediction).

    **Not covered.** Readings that hang together in time, which make uncertainties too low; a cell
    with an internal short; the acceptance soak of the flight battery itself (TR-PWR-004), whose log
    takes this one's place. Evaluated on numbers only.

    **Caution.** A soak of lithium cells is attended and contained, under the laboratory's rules. No
    number from here says that a cell is safe; one that leaks more than the others is taken out of
    service, not charged again.
    """
    log = read_log(LOG)
    soak = fit_soak(
        log, cells_in_series, bench_capacity, bench_voltage_drift / 1e3, ocv_slope_error
    )
    freedom = soak.line.degrees_of_freedom
    drain = soak.current - bench_instrument_drain
    bench_temperature = soak.temperature + bench_temperature_error

    # the flight battery in the hold, in charge fractions
    capacity = cells_in_parallel * cell_capacity * (1 - capacity_fade) * (1 - cell_spread)
    mean_voltage = sum(log.voltages) / len(log.voltages)
    flight_drain = drain * mean_voltage / cutoff_voltage * A_h_PER_DAY / capacity
    warmer = q10_factor(self_discharge_q10, hold_temperature, bench_temperature)
    rate = max(soak.rate, 0.0) * warmer
    rate_uncertainty = hypot(soak.rate_uncertainty * warmer, pack_spread * rate)
    drain_share = hypot(soak.current_uncertainty / drain, pack_spread)
    start = charge_level - cell_imbalance

    def left(k: float, i: float) -> float:
        return charge_after(start, k, i, hold_duration)

    expected = left(rate, flight_drain)
    by_rate = expected - left(rate + rate_uncertainty, flight_drain)
    by_drain = expected - left(rate, flight_drain * (1 + drain_share))
    uncertainty = hypot(by_rate, by_drain)
    bound = maximum(expected - student_quantile(CONFIDENCE, freedom) * uncertainty, 0.0)

    # what of it is usable, as in pad_hold_energy
    cells = (
        cells_in_series / cells_in_parallel * cell_resistance / 1e3 * resistance_growth
        / arrhenius_factor(resistance_activation, cell_temperature, REFERENCE_TEMPERATURE)
    )  # fmt: skip
    resistance = harness_resistance / 1e3 + cells
    empty = charge_fraction(
        source_voltage_at(cutoff_voltage, resistance, discharge_power) / cells_in_series
    )
    cold = held_by_cold(cold_capacity_loss, cell_temperature)
    at_floor = stored_energy(minimum(empty + cold, 1.0))
    efficiency = discharge_efficiency(cutoff_voltage, resistance, discharge_power)
    delivered = cells_in_series * capacity * efficiency
    asked = charge_fraction_of_energy(at_floor + guaranteed_energy / delivered)
    return BenchSoak(
        log_length=log.length,
        longest_gap=log.longest_gap,
        extrapolation=hold_duration / log.length,
        bench_temperature=bench_temperature,
        measured_drain=drain,
        drain_uncertainty=soak.current_uncertainty,
        measured_self_discharge=1 - exp(-soak.rate * DAYS_PER_MONTH),
        self_discharge_uncertainty=soak.rate_uncertainty
        * DAYS_PER_MONTH
        * exp(-soak.rate * DAYS_PER_MONTH),
        fit_residual=soak.line.residual,
        charge_left=expected,
        charge_uncertainty=uncertainty,
        charge_bound=bound,
        soak_energy=delivered * maximum(stored_energy(maximum(expected, 0.0)) - at_floor, 0.0),
        soak_energy_bound=delivered * maximum(stored_energy(bound) - at_floor, 0.0),
        soak_confidence=student_probability((expected - asked) / uncertainty, freedom),
    )


@bench_soak.figure
def log_and_prediction(
    bench_capacity: A_h,
    bench_instrument_drain: uA,
    bench_voltage_drift: mV,
    bench_temperature_error: K,
    ocv_slope_error: ratio,
    pack_spread: ratio,
    cell_capacity: A_h,
    cells_in_series: count,
    cells_in_parallel: count,
    capacity_fade: ratio,
    cell_spread: ratio,
    charge_level: ratio,
    cell_imbalance: ratio,
    self_discharge_q10: ratio,
    hold_temperature: degC,
    hold_duration: day,
    cell_temperature: degC,
    cold_capacity_loss: per_K,
    cell_resistance: mohm,
    resistance_growth: ratio,
    resistance_activation: kJ_per_mol,
    harness_resistance: mohm,
    discharge_power: W,
    cutoff_voltage: V,
    guaranteed_energy: W_h,
) -> Figure:
    """Above: readings of the bench log with the fitted line and two standard deviations either way;
    its slope is the self-discharge. Below: usable energy of the flight battery from that, expected
    and with 95 % confidence, against the energy asked for. Look at whether the readings bend away
    from the line, and how far behind the log the hold ends. At the inputs; all data are invented.
    """
    from analyses import plotting

    def after(days: float) -> BenchSoak:
        return bench_soak(
            bench_capacity, bench_instrument_drain, bench_voltage_drift, bench_temperature_error,
            ocv_slope_error, pack_spread, cell_capacity, cells_in_series, cells_in_parallel,
            capacity_fade, cell_spread, charge_level, cell_imbalance, self_discharge_q10,
            hold_temperature, days, cell_temperature, cold_capacity_loss, cell_resistance,
            resistance_growth, resistance_activation, harness_resistance, discharge_power,
            cutoff_voltage, guaranteed_energy,
        )  # fmt: skip

    log = read_log(LOG)
    soak = fit_soak(
        log, cells_in_series, bench_capacity, bench_voltage_drift / 1e3, ocv_slope_error
    )
    integrals, levels = zip(*soak.points, strict=True)
    ends = (integrals[0], integrals[-1])
    fitted = [100.0 * (soak.line.intercept + soak.line.slope * x) for x in ends]
    wide = 200.0 * soak.line.residual
    days = [1.1 * max(hold_duration, log.length) * i / 40 for i in range(1, 41)]
    course = [after(day) for day in days]

    figure, (above, below) = plotting.panels(2, height=6.2)
    above.plot(
        integrals, [100.0 * level for level in levels], ".", color=plotting.BLUE, label="readings"
    )
    above.plot(ends, fitted, color=plotting.BLACK, label="fitted line")
    above.fill_between(
        ends, [y - wide for y in fitted], [y + wide for y in fitted], color=plotting.GREY,
        alpha=0.25, linewidth=0.0, label="two standard deviations",
    )  # fmt: skip
    above.set_xlabel("time integral of the charge fraction (d)")
    above.set_ylabel("charge and what\nwas drained (%)")
    below.plot(
        days, [one.soak_energy for one in course], color=plotting.BLUE, label="energy, expected"
    )
    below.plot(
        days, [one.soak_energy_bound for one in course], "--", color=plotting.ORANGE,
        label="energy, 95 % bound",
    )  # fmt: skip
    plotting.limit(below, guaranteed_energy, "asked for")
    plotting.moment(below, log.length, "length of the log", style="-.")
    plotting.moment(below, hold_duration, "end of the hold")
    below.set_xlim(left=0.0)
    below.set_ylim(bottom=0.0)
    below.set_xlabel("time since the last charge (d)")
    below.set_ylabel("usable energy (W h)")
    plotting.legend(figure)
    return figure
