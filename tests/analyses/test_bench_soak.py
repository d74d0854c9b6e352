"""The soak: the fit finds what a simulated battery has; bounds cover; directions; bad logs."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.stats import linregress, t

import analyses.bench_soak
from analyses.bench_soak import LOG, bench_soak
from analyses.pad_hold_energy import pad_hold_energy
from analyses.physics.lithium_ion import OPEN_CIRCUIT_VOLTAGE, open_circuit_voltage
from analyses.physics.soak_log import Log, fit_soak, mean_and_deviation, read_log
from tests.analyses.declared import Declared, limits

SOAK, HOLD = Declared(bench_soak), Declared(pad_hold_energy)
find = SOAK.find
HEADER = "day,battery_voltage_V,current_uA,cell_temperature_degC\n"


def simulated(
    loss: float, microamperes: float, days: float, noise: float, seed: int, start: float = 0.946
) -> Log:
    """Return a log of a battery of 6.58 A h by SciPy's integrator, with noise on the voltage."""
    chance = np.random.default_rng(seed)
    rate = -math.log(1 - loss) / 30.4375
    times = np.arange(0, days + 1e-9, 0.25)
    times = times[(times < 8.6) | (times > 10.9)]  # a gap
    march = solve_ivp(
        lambda _, x: -rate * x - microamperes * 24e-6 / 6.58, (0, days), [start], t_eval=times,
        rtol=1e-10, atol=1e-12,
    )  # fmt: skip
    volts = [4 * open_circuit_voltage(float(x)) for x in march.y[0]]
    volts = [v + float(chance.normal(0, noise)) for v in volts]
    currents = [microamperes + float(chance.normal(0, noise * 1000)) for _ in times]
    return Log(list(times), volts, currents, [23.0] * len(times), days, 2.5)


# the fit


@pytest.mark.parametrize(
    ("loss", "microamperes"), [(0.01, 50.0), (0.02, 66.0), (0.03, 100.0), (0.02, 0.5)]
)
def test_the_fit_finds_what_was_simulated(loss: float, microamperes: float) -> None:
    soak = fit_soak(simulated(loss, microamperes, 22, 0.0, 1), 4, 6.58, 0.0, 0.0)
    assert 1 - math.exp(-soak.rate * 30.4375) == pytest.approx(loss, rel=2e-4)
    assert soak.current == pytest.approx(microamperes, rel=1e-12)
    assert soak.rate_uncertainty < 1e-4 * soak.rate


def test_uncertainty_of_the_fit_covers_as_often_as_it_says() -> None:
    """In 200 noisy logs the true rate is in the interval of 95 % about 190 times (12 to 2 out)."""
    true, out = -math.log(0.98) / 30.4375, 0
    for seed in range(200):
        soak = fit_soak(simulated(0.02, 66.0, 22, 0.0012, seed), 4, 6.58, 0.0, 0.0)
        reach = t.ppf(0.975, soak.line.degrees_of_freedom) * soak.rate_uncertainty
        out += abs(soak.rate - true) > reach
    assert 2 <= out <= 20  # binomial(200, 5 %): outside of it once in thousands


def test_the_log_of_the_mission_by_scipy() -> None:
    """Read and fit again with NumPy and SciPy, apart from the project's modules."""
    lines = [x for x in LOG.read_text("utf-8").splitlines() if not x.startswith("#")][1:]
    table = np.array([[float(f) if f else math.nan for f in line.split(",")] for line in lines])
    drain = np.nanmean(table[:, 2])
    rows = table[~np.isnan(table[:, 1])]
    x, y = zip(*OPEN_CIRCUIT_VOLTAGE, strict=True)
    fraction = np.interp(rows[:, 1] / 4, y, x)
    steps = np.diff(rows[:, 0]) * (fraction[1:] + fraction[:-1]) / 2
    integral = np.concatenate([[0], np.cumsum(steps)])
    fit = linregress(integral, fraction + drain * 24e-6 * rows[:, 0] / 6.58)
    found = find()
    assert found.measured_drain == pytest.approx(drain - 1.6, rel=1e-12)
    assert found.measured_self_discharge == pytest.approx(
        1 - math.exp(fit.slope * 30.4375), rel=1e-9
    )
    relative = fit.stderr * 30.4375 * math.exp(fit.slope * 30.4375)
    assert found.self_discharge_uncertainty == pytest.approx(relative, rel=1e-9)
    assert found.bench_temperature == pytest.approx(np.nanmean(table[:, 3]), rel=1e-12)
    assert found.log_length == 22
    assert found.longest_gap == 2.5  # the power cut
    assert np.isnan(table).any()  # readings that are missing


def test_the_log_says_that_it_is_invented() -> None:
    text = LOG.read_text("utf-8")
    assert text.startswith("#")
    assert "Invented" in text.split("day,")[0]


def test_what_the_log_says_is_within_what_is_declared() -> None:
    """At 20 degC, by the rule of van 't Hoff, within the range of pad_hold_energy."""
    found = find()
    at_20 = found.measured_self_discharge / 2 ** ((found.bench_temperature - 20) / 10)
    low, high = HOLD.box["self_discharge"]
    assert low < at_20 < high
    assert found.measured_drain < HOLD.find().sleep_drain


def test_mean_and_deviation_by_hand() -> None:
    assert mean_and_deviation([2.0, 4.0, 4.0, 4.0, 5.0, 5.0, 7.0, 9.0]) == pytest.approx(
        (5.0, math.sqrt(32 / 7))
    )


# the prediction


def test_expected_charge_solves_the_differential_equation() -> None:
    p, found = SOAK.values, find()
    capacity = 2 * p["cell_capacity"] * 0.97 * 0.99
    rate = -math.log(1 - found.measured_self_discharge) / 30.4375
    rate *= p["self_discharge_q10"] ** ((p["hold_temperature"] - found.bench_temperature) / 10)
    volts = read_log(LOG).voltages
    drain = found.measured_drain * np.mean(volts) / 12 * 24e-6 / capacity
    march = solve_ivp(
        lambda _, x: -rate * x - drain, (0, 28), [p["charge_level"] - p["cell_imbalance"]],
        rtol=1e-11, atol=1e-12,
    )  # fmt: skip
    assert found.charge_left == pytest.approx(float(march.y[0, -1]), rel=1e-9)


def test_bound_is_that_of_a_monte_carlo() -> None:
    """JCGM 101: draw rate and drain of 200 000 flight batteries; 5 % are below the bound."""
    p, found = SOAK.values, find()
    chance = np.random.default_rng(7)
    soak = fit_soak(read_log(LOG), 4, 6.58, 0.0, 0.0)
    many, freedom = 200_000, soak.line.degrees_of_freedom
    rate = soak.rate + soak.rate_uncertainty * chance.standard_t(freedom, many)
    rate *= 1 + p["pack_spread"] * chance.standard_normal(many)
    rate *= p["self_discharge_q10"] ** ((p["hold_temperature"] - soak.temperature) / 10)
    capacity = 2 * p["cell_capacity"] * 0.97 * 0.99
    drain = found.measured_drain * np.mean(read_log(LOG).voltages) / 12 * 24e-6 / capacity
    drain *= 1 + p["pack_spread"] * chance.standard_normal(many)
    decay = np.exp(-rate * 28)
    left = (p["charge_level"] - p["cell_imbalance"]) * decay - drain * (1 - decay) / rate
    assert np.std(left) == pytest.approx(found.charge_uncertainty, rel=0.03)
    assert np.quantile(left, 0.05) == pytest.approx(found.charge_bound, abs=1.5e-4)


def test_a_bound_of_another_battery_is_no_confidence_of_a_mean() -> None:
    same = find(pack_spread=0)
    assert same.charge_uncertainty < 0.4 * find().charge_uncertainty
    assert find(pack_spread=0.12).soak_energy_bound < find(pack_spread=0.05).soak_energy_bound
    assert find().charge_bound < same.charge_bound < same.charge_left


def test_energy_is_that_of_pad_hold() -> None:
    """The same discharge, with the self-discharge and drain of the declared parameters."""
    found = find()
    shared = {name: value for name, value in SOAK.values.items() if name in HOLD.values}
    at_20 = 1 - (1 - found.measured_self_discharge) ** (
        SOAK.values["self_discharge_q10"] ** ((20 - found.bench_temperature) / 10)
    )
    hold = HOLD.find(**shared, self_discharge=at_20)
    missing = (hold.sleep_drain - found.measured_drain * 16.44 / 12) * 24e-6 * 28  # A h
    assert found.soak_energy == pytest.approx(hold.usable_energy + 16 * missing, abs=0.3)


def test_confidence_is_one_half_where_just_the_expected_is_asked_for() -> None:
    found = find()
    half = find(guaranteed_energy=found.soak_energy)
    assert half.soak_confidence == pytest.approx(0.5, abs=1e-6)
    bound = find(guaranteed_energy=found.soak_energy_bound)
    assert bound.soak_confidence == pytest.approx(0.95, abs=1e-6)
    assert find(guaranteed_energy=found.soak_energy + 3).soak_confidence < 0.01


# directions


@pytest.mark.parametrize(
    ("name", "worse"),
    [
        ("bench_instrument_drain", -1),  # less of the current was the voltmeter's
        ("bench_voltage_drift", +1),  # a reading that rose by drift hides self-discharge
        ("ocv_slope_error", +1),  # a flatter curve is more charge
        ("bench_temperature_error", -1),  # a colder bench, so a faster leak on the pad
        ("hold_temperature", +1),
        ("self_discharge_q10", +1),
        ("pack_spread", +1),
        ("charge_level", -1),
        ("cell_imbalance", +1),
        ("cell_capacity", -1),
        ("cell_temperature", -1),
        ("discharge_power", +1),
        ("cutoff_voltage", +1),
    ],
)
def test_a_worse_input_leaves_less(name: str, worse: int) -> None:
    low, high = SOAK.box[name]
    good, bad = (low, high) if worse > 0 else (high, low)
    assert find(**{name: bad}).soak_energy_bound < find(**{name: good}).soak_energy_bound


def test_a_drift_of_a_millivolt_is_seen_as_self_discharge() -> None:
    """1 mV in 16 V is 1/4 mV a cell, 4e-4 of charge: 2.7 % of the loss of the log."""
    apart = find(bench_voltage_drift=1).measured_self_discharge - find().measured_self_discharge
    # 0.25 mV / (0.6 V for a charge of 1) over 22 d at 0.935 of charge, in a month
    assert apart == pytest.approx(0.25e-3 / 0.6 / 22 * 30.4375 / 0.935, rel=0.05)


def test_a_longer_hold_is_extrapolated_further() -> None:
    assert find(hold_duration=28).extrapolation == pytest.approx(28 / 22)
    assert find(hold_duration=60).extrapolation > limits("PWR-025", "extrapolation")[1]
    assert find(hold_duration=60).charge_uncertainty > find().charge_uncertainty


def test_limits_are_kept_at_points() -> None:
    for point in SOAK.points(400):
        found = SOAK.function(**point)
        assert found.soak_energy_bound >= limits("PWR-025", "soak_energy_bound")[1]
        assert found.soak_confidence >= limits("PWR-025", "soak_confidence")[1]


# bad logs


def row(day: float, volts: str = "16.450", amperes: str = "68.0") -> str:
    return f"{day},{volts},{amperes},23.0\n"


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ("".join(row(d) for d in range(5)), "5 voltages and 5 currents"),
        ("".join(row(d, amperes="") for d in range(20)), "20 voltages and 0 currents"),
        ("".join(row(d) for d in (*range(12), 3)), "do not rise"),
        ("".join(row(d) for d in range(12)) + ",16.4,68.0,23.0\n", "1 rows have no day"),
        ("".join(row(d, "high") for d in range(12)), "'high' is no number"),
        ("", "no rows"),
    ],
)
def test_a_bad_log_is_told(rows: str, message: str, tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(HEADER + rows, "utf-8")
    with pytest.raises(ValueError, match=message) as caught:
        read_log(path)
    assert "log.csv" in str(caught.value)


def test_a_battery_that_does_not_leak_is_taken_as_one_that_does_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A voltage that rises (a log that began too early) is no gain of charge on the pad."""
    path = tmp_path / "log.csv"
    rows = "".join(row(d, f"{16.40 + 0.001 * d:.3f}") for d in range(30))
    path.write_text(HEADER + rows, "utf-8")
    monkeypatch.setattr(analyses.bench_soak, "LOG", path)
    found = find()
    assert found.measured_self_discharge < 0
    assert found.charge_left <= SOAK.values["charge_level"] - SOAK.values["cell_imbalance"]
