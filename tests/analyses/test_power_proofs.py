"""The closed forms of the power analyses are proved over their declared tolerances."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from analyses.cell_balance import cell_balance, cell_transport, weakest_cell
from analyses.mission_energy import mission_energy
from analyses.soft_start import soft_start, soft_start_waveform
from closeout.arithmetic.proof.bound import prove
from tests.analyses.declared import Declared

# Differences of two voltages of one curve over a wide box: valid, but not to the last digit.
LOOSE = {"cell_balance": {"voltage_spread", "recharge_voltage"}}


def flat(found: Any) -> dict[tuple[str, str | None], Any]:
    """Return the values by quantity and case."""
    values: dict[tuple[str, str | None], Any] = {}
    for name, value in found._asdict().items():
        if isinstance(value, Mapping):
            values.update({(name, case): one for case, one in value.items()})
        else:
            values[name, None] = value
    return values


@pytest.mark.parametrize(
    "analysis",
    [soft_start, cell_balance, weakest_cell, cell_transport, mission_energy],
    ids=lambda one: one.__name__,
)
def test_closed_forms_are_proved(analysis: Any) -> None:
    declared = Declared(analysis)
    box = tuple((name, *declared.box[name]) for name in declared.wide())
    keys = list(flat(declared.find()))
    found = prove(lambda p: flat(declared.function(**p)), declared.values, box, keys)
    assert found.unproved == {}
    loose = {quantity for (quantity, _), one in found.proved.items() if not one.tight}
    assert loose <= LOOSE.get(analysis.__name__, set())
    for point in declared.points(200, seed=9):
        for key, value in flat(declared.function(**point)).items():
            assert found.proved[key].low <= value <= found.proved[key].high, key


def test_a_march_is_not_proved_and_says_so() -> None:
    declared = Declared(soft_start_waveform)
    box = tuple((name, *declared.box[name]) for name in declared.wide())
    keys = list(flat(declared.find()))
    found = prove(lambda p: flat(declared.function(**p)), declared.values, box, keys)
    assert found.proved == {}
    assert set(found.unproved) == set(keys)
