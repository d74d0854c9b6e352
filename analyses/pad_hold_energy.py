"""Battery energy that is left after the wait on the pad."""

from typing import TYPE_CHECKING, Annotated, NamedTuple

from analyses.physics.lithium_ion import (
    FULL_CELL_VOLTAGE,
    LOWEST_DRAIN,
    arrhenius_factor,
    charge_after,
    charge_fraction,
    charge_leaked,
    charge_per_day,
    days_until_charge,
    open_circuit_voltage,
    q10_factor,
    self_discharge_rate,
    stored_energy,
)
from analyses.physics.source_under_load import (
    discharge_efficiency,
    regulator_input_current,
    source_voltage_at,
)
from closeout import analysis
from closeout.math import maximum, minimum
from closeout.units import (
    A_h,
    Unit,
    V,
    W,
    W_h,
    count,
    day,
    degC,
    kJ_per_mol,
    kohm,
    mohm,
    per_day,
    per_K,
    per_month,
    ratio,
    uA,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

A_h_per_day = Annotated[float, Unit("A h/d")]

REFERENCE_TEMPERATURE = 20.0  # degC, at which the cells were measured


class Emptying(NamedTuple):
    """How the weakest group loses its charge while the recorder sleeps; charge in fractions."""

    capacity: A_h
    start: ratio
    rate: per_day  # of self-discharge
    taken: A_h_per_day  # by the sleeping recorder

    @property
    def drain(self) -> per_day:
        """Return the charge fraction that the recorder takes in a day."""
        return self.taken / self.capacity

    def until(self, left: ratio) -> day:
        """Return the days until no more than a charge fraction is left."""
        return days_until_charge(self.start, self.rate, self.drain, left)


class Use(NamedTuple):
    """What cold and cut-off keep back, in charge fractions, and the share that is delivered."""

    cut_off: ratio
    cold: ratio
    floor: ratio
    efficiency: ratio


class PadHold(NamedTuple):
    """The charge of the battery from the end of the last charge to its last usable W h.

    The battery is the weakest group of parallel cells, in charge; times the cells in series, in
    voltage. charge_left = charge_at_start - self_discharged - drained, and usable_charge =
    charge_left - cold_charge - cut_off_charge where that is above zero.
    """

    charge_at_start: A_h
    highest_cell_voltage: V  # of the fullest group at rest, then
    sleep_drain: uA  # from the battery, while the recorder sleeps; a bound from above
    least_sleep_drain: uA  # a bound from below, for what the drain makes better
    self_discharged: A_h  # inside the cells
    drained: A_h  # by the sleeping recorder
    charge_left: A_h  # at the end of the hold
    lowest_cell_voltage: V  # of the weakest group at rest, then
    cold_charge: A_h  # held back by the cold
    cut_off_charge: A_h  # below the cut-off under load
    usable_charge: A_h
    usable_energy: W_h  # at the terminals of the battery


@analysis(
    validated_by="tests/analyses/test_pad_hold_energy.py",
    model_uncertainty={"usable_energy": "0.5 W h"},
)
def pad_hold_energy(
    cell_capacity: A_h,
    cells_in_series: count,
    cells_in_parallel: count,
    capacity_fade: ratio,
    cell_spread: ratio,
    charge_level: ratio,
    cell_imbalance: ratio,
    self_discharge: per_month,
    self_discharge_q10: ratio,
    hold_temperature: degC,
    hold_duration: day,
    sleep_current: uA,
    sleep_rail_voltage: V,
    sleep_efficiency: ratio,
    regulator_quiescent: uA,
    protection_leakage: uA,
    divider_resistance: kohm,
    soft_start_leakage: uA,
    cell_temperature: degC,
    cold_capacity_loss: per_K,
    cell_resistance: mohm,
    resistance_growth: ratio,
    resistance_activation: kJ_per_mol,
    harness_resistance: mohm,
    discharge_power: W,
    cutoff_voltage: V,
) -> PadHold:
    """Compute the energy that the battery can still give at the end of the hold.

    **Model.** Self-discharge and drain empty the battery together, dq/dt = -k q - I (closed form,
    `lithium_ion.charge_after`); at zero charge both end. k follows from the loss in a month at
    20 degC and the rule of van 't Hoff, at the *hold* temperature. I is what the wake-up circuit
    takes through its regulator, at the cut-off voltage, where the regulator draws most; its own
    quiescent current; and the leakage of protection, divider (at the full voltage) and soft start.
    At the *use* temperature the cold holds back a share of the capacity in proportion to the
    kelvins below 20 degC, and the resistance grows by the law of Arrhenius and with age. The
    discharge ends where the voltage under load meets the cut-off, E = U + R P / U
    (`source_under_load.source_voltage_at`). The energy is the integral of the open-circuit voltage
    down to there, times the share U / E that reaches the terminals. `hold_reserve` has the days
    until a reserve is left, by the same formulas turned round.

    **Least drain.** The regulator at the full voltage, where it draws least, and the divider at the
    cut-off: no battery does both at once.

    **On the safe side.** The battery is as weak as its weakest group of cells, both in charge and
    in voltage, the other groups being taken as weak as it. The fullest group ends the charge, so
    the weakest is filled less by the imbalance. The hold is spent at one temperature, the discharge
    at one power. The share U / E is taken at the cut-off, where it is lowest. Cold and resistance
    overlap in part, and both are counted.

    **Assumptions.** hold_duration counts from the end of the *last charge*, not from the arrival
    on the pad: integration, transport, closing of the fairing and slips after that charge are in
    it. First-order self-discharge is itself an assumption, larger than the difference between this
    closed form and adding the two losses. Law of cold capacity, ageing and imbalance: common
    practice, no source; their numbers are declared parameters. Open-circuit voltage: a table, taken
    as independent of temperature and age. cell_resistance is that of a nearly empty cell after
    minutes of load, as the cut-off meets it: a pulse on a full cell would promise too much.

    **Model uncertainty.** 0.5 W h of the usable energy, invented: how far the table of open-circuit
    voltage and the law of the cold capacity may be off, which are the same for every battery.

    **Not covered.** What the active phase needs (`mission_energy`); peaks shorter than the
    cells' response, inrush and trip of the protection; charging; cells driven into reversal; a
    sensor or recorder that wakes up during the hold; heaters; damage by launch loads.

    **Caution.** Lithium cells vent and burn. Never recover an over-discharged, reversed, swollen or
    shaken cell on a number from here. Charge under a licensed procedure, attended and contained;
    the local rules of laboratory, carrier and launch site come first. Cells and batteries that
    travel have passed UN Manual of Tests and Criteria 38.3; for their testing see
    ECSS-E-HB-20-02A.
    """
    # Worked in charge fractions, so that the capacity stands in few places: bounds stay tight.
    full_voltage = cells_in_series * FULL_CELL_VOLTAGE
    sleep_drain = drain_in_sleep(
        sleep_current, sleep_rail_voltage, sleep_efficiency, cutoff_voltage, regulator_quiescent,
        protection_leakage, soft_start_leakage, divider_resistance, full_voltage,
    )  # fmt: skip
    least_drain = drain_in_sleep(
        sleep_current, sleep_rail_voltage, sleep_efficiency, full_voltage, regulator_quiescent,
        protection_leakage, soft_start_leakage, divider_resistance, cutoff_voltage,
    )  # fmt: skip
    hold = emptying(
        weakest_capacity(cells_in_parallel, cell_capacity, capacity_fade, cell_spread),
        charge_level - cell_imbalance, self_discharge, self_discharge_q10, hold_temperature,
        sleep_drain,
    )  # fmt: skip
    days = minimum(hold_duration, hold.until(0.0))
    left = maximum(charge_after(hold.start, hold.rate, hold.drain, days), 0.0)
    use = use_of(
        cells_in_series, cells_in_parallel, cell_resistance, resistance_growth,
        resistance_activation, cell_temperature, cold_capacity_loss, harness_resistance,
        discharge_power, cutoff_voltage,
    )  # fmt: skip
    at_floor = stored_energy(use.floor)
    delivered = cells_in_series * hold.capacity * use.efficiency
    at_start = hold.capacity * hold.start
    return PadHold(
        charge_at_start=at_start,
        highest_cell_voltage=open_circuit_voltage(charge_level),
        sleep_drain=sleep_drain,
        least_sleep_drain=least_drain,
        self_discharged=charge_leaked(at_start, hold.rate, hold.taken, days),
        drained=hold.taken * days,
        charge_left=hold.capacity * left,
        lowest_cell_voltage=open_circuit_voltage(left),
        cold_charge=hold.capacity * use.cold,
        cut_off_charge=hold.capacity * use.cut_off,
        usable_charge=hold.capacity * maximum(left - use.floor, 0.0),
        usable_energy=delivered * maximum(stored_energy(left) - at_floor, 0.0),
    )


@pad_hold_energy.figure
def charge_over_hold(
    cell_capacity: A_h,
    cells_in_series: count,
    cells_in_parallel: count,
    capacity_fade: ratio,
    cell_spread: ratio,
    charge_level: ratio,
    cell_imbalance: ratio,
    self_discharge: per_month,
    self_discharge_q10: ratio,
    hold_temperature: degC,
    hold_duration: day,
    sleep_current: uA,
    sleep_rail_voltage: V,
    sleep_efficiency: ratio,
    regulator_quiescent: uA,
    protection_leakage: uA,
    divider_resistance: kohm,
    soft_start_leakage: uA,
    cell_temperature: degC,
    cold_capacity_loss: per_K,
    cell_resistance: mohm,
    resistance_growth: ratio,
    resistance_activation: kJ_per_mol,
    harness_resistance: mohm,
    discharge_power: W,
    cutoff_voltage: V,
) -> "Figure":
    """Charge of the battery against days since the last charge, at the inputs of the evaluation.
    Look at how far the curve at the end of the hold (dotted) lies above what cold and cut-off keep
    back (dashed), and when it would meet that. All data are invented.
    """
    from analyses import plotting

    def after(days: float) -> PadHold:
        return pad_hold_energy(
            cell_capacity, cells_in_series, cells_in_parallel, capacity_fade, cell_spread,
            charge_level, cell_imbalance, self_discharge, self_discharge_q10, hold_temperature,
            days, sleep_current, sleep_rail_voltage, sleep_efficiency, regulator_quiescent,
            protection_leakage, divider_resistance, soft_start_leakage, cell_temperature,
            cold_capacity_loss, cell_resistance, resistance_growth, resistance_activation,
            harness_resistance, discharge_power, cutoff_voltage,
        )  # fmt: skip

    kept = after(hold_duration)
    end = 2.5 * max(hold_duration, 1.0)
    days = [end * i / 60 for i in range(61)]
    course = [after(day) for day in days]
    left = [one.charge_left for one in course]
    full = [one.charge_at_start for one in course]
    asleep = [one.charge_at_start - one.drained for one in course]

    figure, (axes,) = plotting.panels()
    axes.fill_between(
        days, asleep, full, color=plotting.ORANGE, alpha=0.5, label="taken by the sleeping recorder"
    )
    axes.fill_between(
        days, left, asleep, color=plotting.SKY, alpha=0.5, label="lost by self-discharge"
    )
    axes.plot(days, left, color=plotting.BLUE, label="charge left")
    axes.plot([hold_duration], [kept.charge_left], "o", color=plotting.BLUE)
    plotting.limit(axes, kept.cold_charge + kept.cut_off_charge, "kept back by cold and cut-off")
    plotting.moment(axes, hold_duration, "end of the hold")
    axes.set_xlabel("time since the last charge (d)")
    axes.set_ylabel("charge of the battery (A h)")
    axes.set_ylim(bottom=0.0)
    plotting.legend(figure)
    return figure


def weakest_capacity(parallel: count, capacity: A_h, fade: ratio, spread: ratio) -> A_h:
    """Return the capacity of the weakest group of parallel cells in the unit of a cell's."""
    return parallel * capacity * (1 - fade) * (1 - spread)


def drain_in_sleep(
    current: uA,
    rail_voltage: V,
    efficiency: ratio,
    battery_voltage: V,
    quiescent: uA,
    protection: uA,
    soft_start: uA,
    divider_kohm: kohm,
    divider_voltage: V,
) -> uA:
    """Return what the sleeping recorder takes from the battery; currents in uA.

    The regulator draws more as the voltage falls and the divider less, so each has its own.
    """
    return (
        regulator_input_current(rail_voltage, current, efficiency, battery_voltage)
        + quiescent
        + protection
        + soft_start
        + divider_current(divider_voltage, divider_kohm)
    )


def divider_current(voltage: V, resistance: kohm) -> uA:
    """Return what a divider takes: U / R."""
    return voltage * 1e3 / resistance


def emptying(
    capacity: A_h,
    start: ratio,
    loss_per_month: per_month,
    q10: ratio,
    temperature: degC,
    drain: uA,
) -> Emptying:
    """Return how a group of cells loses its charge at a temperature in degC; drain in uA."""
    rate = self_discharge_rate(loss_per_month) * q10_factor(q10, temperature, REFERENCE_TEMPERATURE)
    return Emptying(capacity, start, rate, maximum(charge_per_day(drain), LOWEST_DRAIN))


def use_of(
    series: count,
    parallel: count,
    cell_resistance: mohm,
    growth: ratio,
    activation: kJ_per_mol,
    temperature: degC,
    cold_loss: per_K,
    harness_resistance: mohm,
    power: W,
    cutoff_voltage: V,
) -> Use:
    """Return what the use at a temperature in degC keeps back; resistances in mohm."""
    resistance = harness_resistance / 1e3 + series / parallel * aged_resistance(
        cell_resistance / 1e3, growth, activation, temperature
    )
    cut_off = charge_fraction(source_voltage_at(cutoff_voltage, resistance, power) / series)
    cold = held_by_cold(cold_loss, temperature)
    efficiency = discharge_efficiency(cutoff_voltage, resistance, power)
    return Use(cut_off, cold, minimum(cut_off + cold, 1.0), efficiency)


def held_by_cold(cold_loss: per_K, temperature: degC) -> ratio:
    """Return the charge fraction that cold holds back, in proportion to the kelvins below 20 degC.

    A loss of capacity for each kelvin; nothing above.
    """
    return cold_loss * maximum(REFERENCE_TEMPERATURE - temperature, 0.0)


def aged_resistance(
    fresh: float, growth: ratio, activation: kJ_per_mol, temperature: degC
) -> float:
    """Return the resistance of an aged cell at a temperature, in the unit of the fresh one's.

    It grows with age by a declared factor, and falls with temperature as the ions move faster, by
    the law of Arrhenius.
    """
    return fresh * growth / arrhenius_factor(activation, temperature, REFERENCE_TEMPERATURE)
