"""Heat of the cells: by hand, energy balance of the discharge by SciPy, directions."""

from __future__ import annotations

import math

import pytest
from scipy.optimize import brentq

from analyses.cell_heating import CellHeating, cell_heating
from tests.analyses.declared import Declared

OWN = Declared(cell_heating)
HIGHEST, LEAST = "highest_cell_heat", "least_cell_heat"
AT_REFERENCE = {"cell_temperature": 20.0, "resistance_growth": 1.0, "entropy_coefficient": 0.0}


def test_heat_by_hand() -> None:
    """24 W at 12 V are 2 A; 4 cells of 30 mohm over 2 and 20 mohm are 80 mohm: 0.32 W.

    16.8 W at 16.8 V are 1 A; 4 cells of 15 mohm over 2 are 30 mohm: 0.03 W.
    """
    found = OWN.find(
        **AT_REFERENCE, cell_resistance=30.0, cell_pulse_resistance=15.0, harness_resistance=20.0,
        recording_power=24.0, downlink_power=16.8,
    )  # fmt: skip
    assert found.highest_cell_heat == pytest.approx(0.32, rel=1e-12)
    assert found.least_cell_heat == pytest.approx(0.03, rel=1e-12)


def test_cold_by_hand() -> None:
    """Arrhenius from 20 degC to 5 degC with 20 kJ/mol and R = 8.314462618 J/(mol K) (CODATA)."""
    factor = math.exp(20e3 / 8.314462618 * (1 / 278.15 - 1 / 293.15))
    no_entropy = {"entropy_coefficient": 0.0}
    warm, cold = (OWN.find(**no_entropy, cell_temperature=t).least_cell_heat for t in (20.0, 5.0))
    assert cold / warm == pytest.approx(factor, rel=1e-6)


def test_what_the_source_gives_is_heat_and_terminal_power() -> None:
    """The voltage of the source that drives the power through its resistance, by brentq.

    E I = P + heat, for the current that makes P at the cut-off.
    """
    p = OWN.values
    ohms = 2 * p["cell_resistance"] * p["resistance_growth"] / 1e3 + p["harness_resistance"] / 1e3
    power, volts = p["recording_power"], p["cutoff_voltage"]
    source = brentq(lambda e: (e - volts) / ohms * volts - power, volts, 2 * volts)
    current = (source - volts) / ohms
    found = OWN.find(cell_temperature=20.0, entropy_coefficient=0.0).highest_cell_heat
    assert found == pytest.approx(source * current - power, rel=1e-9)


@pytest.mark.parametrize(
    ("name", "quantity", "sign"),
    [
        ("recording_power", HIGHEST, +1), ("cutoff_voltage", HIGHEST, -1),
        ("cell_resistance", HIGHEST, +1), ("harness_resistance", HIGHEST, +1),
        ("resistance_growth", HIGHEST, +1), ("cell_temperature", HIGHEST, -1),
        ("cell_pulse_resistance", LEAST, +1), ("cell_temperature", LEAST, -1),
        ("entropy_coefficient", HIGHEST, -1), ("entropy_coefficient", LEAST, -1),
    ],
)  # fmt: skip
def test_directions(name: str, quantity: str, sign: int) -> None:
    more = getattr(OWN.find(**{name: OWN.values[name] * 1.05}), quantity)
    assert sign * (more - getattr(OWN.find(), quantity)) > 0


def test_the_reaction_by_hand() -> None:
    """24 W at 12 V are 2 A; 4 groups, 0.25 mV/K at 318.15 K: 2 A x 4 x 79.5 mV = 0.6363 W.

    Bernardi et al. (1985), from memory: I (U - V) - I T dU/dT.
    """
    now = {**AT_REFERENCE, "recording_power": 24.0, "downlink_power": 16.8}
    now |= {"hottest_cell_temperature": 45.0, "cutoff_voltage": 12.0}
    none, some = OWN.find(**now), OWN.find(**{**now, "entropy_coefficient": 0.25})
    assert none.highest_cell_heat - some.highest_cell_heat == pytest.approx(0.6363, abs=1e-9)
    # With full cells 24 W are 24/16.8 A, and recording takes up more than sending.
    joule = 4 / 2 * OWN.values["cell_pulse_resistance"] / 1e3 * (24 / 16.8) ** 2
    assert some.least_cell_heat == pytest.approx(joule - 0.6363, rel=1e-9)


def test_the_energy_balance_of_a_cell_with_an_entropy() -> None:
    """First law: what leaves as work and heat is what the reaction's enthalpy falls by.

    Gibbs and Helmholtz: the enthalpy of the charge is U - T dU/dT for each unit of charge.
    """
    rest = 3.6  # V, of each group; any
    volts, ohms, rise, hot = 12.0, 0.08, 0.2e-3, 318.15
    current = (4 * rest - volts) / ohms
    now = {**AT_REFERENCE, "entropy_coefficient": 1e3 * rise, "cutoff_voltage": volts}
    found = OWN.find(
        **now, recording_power=volts * current, cell_resistance=30.0, harness_resistance=20.0,
        hottest_cell_temperature=hot - 273.15,
    ).highest_cell_heat  # fmt: skip
    enthalpy = 4 * current * (rest - hot * rise)
    assert found + volts * current == pytest.approx(enthalpy, rel=1e-12)


def test_the_hotter_the_more_the_reaction_gives_off_or_takes_up() -> None:
    """S: both ends move outwards with the temperature that is taken for it."""
    up, down = ({"entropy_coefficient": x} for x in OWN.box["entropy_coefficient"])
    for coefficient, quantity, sign in ((up, HIGHEST, 1), (down, LEAST, -1)):
        low, high = (
            getattr(OWN.find(**coefficient, hottest_cell_temperature=t), quantity)
            for t in (20.0, 45.0)
        )
        assert sign * (high - low) > 0


def test_the_least_is_below_the_highest_all_over_the_declared_ranges() -> None:
    """S: a band of no width, or a swapped one, would be no worst case for cold or hot."""
    for point in OWN.points(200):
        found: CellHeating = cell_heating.function(**point)
        assert -1.2 < found.least_cell_heat < found.highest_cell_heat < 1.8
