"""The energy after the pad hold: budget, direction of each input, integration, worst corner."""

import itertools
import math
import random
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from analyses.pad_hold_energy import PadHold, pad_hold_energy
from analyses.physics.lithium_ion import open_circuit_voltage
from tests.analyses.declared import Declared

ROOT = Path(__file__).parents[2]
# What reaches usable_energy through the drain alone, and what does not reach it at all.
DRAIN = (
    "sleep_current", "sleep_rail_voltage", "sleep_efficiency", "regulator_quiescent",
    "protection_leakage", "divider_resistance", "soft_start_leakage",
)  # fmt: skip


OWN = Declared(pad_hold_energy)
NOMINAL, BOX = OWN.values, OWN.box


def find(**changed: float) -> PadHold:
    return pad_hold_energy(**{**NOMINAL, **changed})


@st.composite
def points(draw: st.DrawFn) -> dict[str, float]:
    """Return a point of the box of declared tolerances, with any hold from 0 to 400 d."""
    point = {name: draw(st.floats(*side)) for name, side in BOX.items()}
    return {**point, "hold_duration": draw(st.floats(0, 400))}


def limit(requirement: str, quantity: str) -> tuple[str, float]:
    """Return key and number of the limit that an analysis must keep."""
    text = (ROOT / "requirements/power.yaml").read_text("utf-8")
    (found,) = (r for r in yaml.safe_load(text)["requirements"] if r["id"] == requirement)
    for verification in found["verification"]:
        if verification["method"] == "analysis" and verification["quantity"] == quantity:
            (key,) = {"at_least", "at_most"} & set(verification)
            return key, float(verification[key].split()[0])
    raise AssertionError(f"{requirement} has no limit of {quantity}")


# budget and physical limits


@given(points())
def test_budget_adds_up_and_nothing_is_below_zero(point: dict[str, float]) -> None:
    found = pad_hold_energy(**point)
    left = found.charge_at_start - found.self_discharged - found.drained
    assert left == pytest.approx(found.charge_left, abs=1e-9)
    usable = found.charge_left - found.cold_charge - found.cut_off_charge
    assert found.usable_charge == pytest.approx(max(usable, 0), abs=1e-9)
    assert all(math.isfinite(value) for value in found)
    assert min(found) >= -1e-12
    assert found.charge_left <= found.charge_at_start
    most = 4.2 * point["cells_in_series"] * found.usable_charge
    assert found.usable_energy <= most + 1e-9


def test_a_battery_that_is_empty_stays_at_zero() -> None:
    found = find(hold_duration=40_000)
    assert found.charge_left == pytest.approx(0, abs=1e-9)
    assert found.self_discharged + found.drained == pytest.approx(found.charge_at_start, rel=1e-9)
    assert 0 < found.drained < found.charge_at_start
    assert 0 < found.self_discharged < found.charge_at_start
    assert (found.usable_charge, found.usable_energy) == (0, 0)
    assert found.lowest_cell_voltage == pytest.approx(2.5, abs=1e-6)


def test_no_hold_takes_nothing() -> None:
    found = find(hold_duration=0)
    assert found.charge_left == pytest.approx(found.charge_at_start, rel=1e-14)
    assert (found.self_discharged, found.drained) == pytest.approx((0, 0), abs=1e-12)


def test_a_battery_without_losses_keeps_its_charge() -> None:
    nothing = dict.fromkeys(
        ("sleep_current", "regulator_quiescent", "protection_leakage", "soft_start_leakage"), 0.0
    )
    found = find(self_discharge=0, divider_resistance=1e12, **nothing)
    assert found.charge_left == pytest.approx(found.charge_at_start, rel=1e-6)


def test_more_power_than_the_battery_gives_at_the_cut_off_leaves_nothing() -> None:
    found = find(discharge_power=2000)
    assert (found.usable_charge, found.usable_energy) == (0, 0)


def test_sleep_drain_by_hand() -> None:
    # 3.3 V x 95 uA / (80 % x 12 V) + 12 uA + 6 uA + 3 uA + 16.8 V / 1200 kohm (14 uA)
    assert find().sleep_drain == pytest.approx(32.65625 + 12 + 6 + 3 + 14, rel=1e-12)


def test_charge_at_start_by_hand() -> None:
    # 2 x 3.35 A h x 97 % x 99 % x 96.5 %
    assert find().charge_at_start == pytest.approx(2 * 3.35 * 0.97 * 0.99 * 0.965, rel=1e-12)


# against numerical integration


def integrate(p: dict[str, float]) -> tuple[float, float]:
    """Return (charge left, energy at the terminals) of a point, by SciPy, with its own formulas.

    The hold is marched; the discharge at constant power is integrated with the voltage that the
    loaded battery has at each charge, not with that at the cut-off.
    """
    capacity = p["cells_in_parallel"] * p["cell_capacity"]
    capacity *= (1 - p["capacity_fade"]) * (1 - p["cell_spread"])
    wake_up = p["sleep_rail_voltage"] * p["sleep_current"] / p["sleep_efficiency"]
    drain = wake_up / p["cutoff_voltage"] + p["regulator_quiescent"] + p["protection_leakage"]
    drain += p["soft_start_leakage"] + 4.2e3 * p["cells_in_series"] / p["divider_resistance"]
    rate = -math.log(1 - p["self_discharge"]) / 30.4375
    rate *= p["self_discharge_q10"] ** ((p["hold_temperature"] - 20) / 10)
    start = capacity * (p["charge_level"] - p["cell_imbalance"])
    march = solve_ivp(
        lambda _, q: -rate * q - drain * 24e-6, (0, p["hold_duration"]), [start],
        method="DOP853", rtol=1e-11, atol=1e-12,
    )  # fmt: skip
    left = march.y[0, -1]

    inverse = 1 / (p["cell_temperature"] + 273.15) - 1 / 293.15
    growth = p["resistance_growth"] * math.exp(
        p["resistance_activation"] / 8.314462618e-3 * inverse
    )
    ohms = p["cell_resistance"] * growth * p["cells_in_series"] / p["cells_in_parallel"]
    ohms = (ohms + p["harness_resistance"]) / 1000

    def loaded(charge: float) -> float:
        source = p["cells_in_series"] * open_circuit_voltage(charge / capacity)
        inside = source * source / 4 - p["discharge_power"] * ohms
        return source / 2 + math.sqrt(inside) if inside > 0 else 0.0

    charges = np.linspace(0, left, 50_001)
    volts = np.array([loaded(charge) for charge in charges])
    cut_off = charges[np.argmax(volts >= p["cutoff_voltage"])]
    floor = cut_off + capacity * p["cold_capacity_loss"] * max(20 - p["cell_temperature"], 0)
    energy = float(np.trapezoid(np.where(charges >= floor, volts, 0.0), charges))
    return left, energy


@pytest.mark.parametrize("seed", range(12))
def test_energy_is_a_little_below_what_integration_gives(seed: int) -> None:
    chance = random.Random(seed)
    point = {name: chance.uniform(*side) for name, side in BOX.items()}
    left, energy = integrate(point)
    found = pad_hold_energy(**point)
    assert found.charge_left == pytest.approx(left, rel=1e-9)
    assert 0.97 * energy <= found.usable_energy <= energy


# directions


@pytest.mark.parametrize(
    ("name", "worse"),
    [
        ("hold_duration", +1),  # counted from the end of the last charge: each day of it costs
        ("hold_temperature", +1),  # a hot hold raises self-discharge
        ("cell_temperature", -1),  # a cold use lowers capacity and raises resistance
        ("self_discharge", +1),
        ("self_discharge_q10", +1),
        ("sleep_current", +1),
        ("sleep_efficiency", -1),
        ("regulator_quiescent", +1),
        ("protection_leakage", +1),
        ("divider_resistance", -1),
        ("soft_start_leakage", +1),
        ("cell_resistance", +1),
        ("resistance_growth", +1),
        ("resistance_activation", +1),
        ("harness_resistance", +1),
        ("discharge_power", +1),
        ("cutoff_voltage", +1),
        ("cold_capacity_loss", +1),
        ("cell_capacity", -1),
        ("capacity_fade", +1),
        ("cell_spread", +1),
        ("charge_level", -1),
        ("cell_imbalance", +1),
    ],
)
def test_a_worse_input_leaves_less(name: str, worse: int) -> None:
    low, high = BOX[name] if name != "hold_duration" else (28.0, 33.0)
    good, bad = (low, high) if worse > 0 else (high, low)
    before, after = find(**{name: good}), find(**{name: bad})
    assert after.usable_energy < before.usable_energy


def test_the_cut_off_under_load_is_above_the_one_at_rest() -> None:
    at_rest = find(discharge_power=0, cell_temperature=20)
    loaded = find(cell_temperature=20)
    cold = find(cell_temperature=5)
    assert 0 < at_rest.cut_off_charge < loaded.cut_off_charge < cold.cut_off_charge
    assert loaded.usable_charge < loaded.charge_left - at_rest.cut_off_charge


def test_one_shared_temperature_hides_the_worst_corner() -> None:
    low, high = BOX["cell_temperature"][0], BOX["hold_temperature"][1]
    worst = find(hold_temperature=high, cell_temperature=low).usable_energy
    for shared in range(int(low), int(high) + 1):
        assert find(hold_temperature=shared, cell_temperature=shared).usable_energy > worst


def test_adding_the_losses_apart_is_on_the_safe_side() -> None:
    p = NOMINAL
    both = find(hold_duration=180)
    rate = -math.log(1 - p["self_discharge"]) / 30.4375
    rate *= p["self_discharge_q10"] ** ((p["hold_temperature"] - 20) / 10)
    apart = both.charge_at_start * math.exp(-rate * 180) - both.sleep_drain * 24e-6 * 180
    assert apart < both.charge_left


def test_regulator_draws_more_as_the_voltage_falls() -> None:
    assert find(cutoff_voltage=11.0).sleep_drain > find(cutoff_voltage=12.0).sleep_drain


def test_the_weakest_group_counts() -> None:
    found = find(cell_spread=0.10)
    assert found.charge_at_start == pytest.approx(find(cell_spread=0).charge_at_start * 0.9)


# the worst corner of the declared tolerances


def corners(names: list[str]) -> Iterable[tuple[float, ...]]:
    return itertools.product(*(BOX[name] for name in names))


def worst_drain() -> dict[str, float]:
    """Return the corner of the inputs of the drain at which it is highest, of all of them."""
    return max(
        (dict(zip(DRAIN, corner, strict=True)) for corner in corners(list(DRAIN))),
        key=lambda corner: find(**corner).sleep_drain,
    )


def wide(apart_from: tuple[str, ...]) -> list[str]:
    return [name for name, (low, high) in BOX.items() if low < high and name not in apart_from]


def test_the_drain_keeps_its_limit_at_each_corner() -> None:
    key, most = limit("PWR-010", "sleep_drain")
    assert key == "at_most"
    for corner in corners([*DRAIN, "cutoff_voltage"]):
        values = dict(zip([*DRAIN, "cutoff_voltage"], corner, strict=True))
        assert find(**values).sleep_drain <= most


def test_limits_are_kept_at_each_corner() -> None:
    """Evaluate 2^16 corners; the drain, that leads to the energy alone, stands at its worst."""
    names = wide(DRAIN)
    base = {**NOMINAL, **worst_drain()}
    found = [
        pad_hold_energy(**{**base, **dict(zip(names, corner, strict=True))})
        for corner in corners(names)
    ]
    assert len(found) == 2**16
    for requirement, quantity in (
        ("PWR-020", "usable_energy"),
        ("PWR-040", "lowest_cell_voltage"),
    ):
        key, least = limit(requirement, quantity)
        assert key == "at_least"
        assert min(getattr(corner, quantity) for corner in found) >= least
    key, most = limit("PWR-040", "highest_cell_voltage")
    assert key == "at_most"
    assert max(corner.highest_cell_voltage for corner in found) <= most
    margin = min(corner.usable_energy for corner in found) - limit("PWR-020", "usable_energy")[1]
    assert margin >= 5.2  # W h: 10 % of the limit, the margin that the project asks for at its CDR


@given(points())
def test_no_point_inside_is_worse_than_the_worst_corner(point: dict[str, float]) -> None:
    names = wide(())
    worst = {
        name: min(BOX[name], key=lambda end, name=name: find(**{name: end}).usable_energy)
        for name in names
    }
    at_hold = {**point, "hold_duration": NOMINAL["hold_duration"]}
    assert pad_hold_energy(**at_hold).usable_energy >= find(**worst).usable_energy - 1e-9


def test_the_statement_s_conditions_are_inside_the_box() -> None:
    assert NOMINAL["hold_duration"] == 28
    assert BOX["cell_temperature"] == (5, 20)
    assert BOX["discharge_power"][1] == 60
    assert NOMINAL["cutoff_voltage"] == 12
