"""A quantity that a record measured under a misspelt name is an error that names the right one."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.project import base, make, power, requirement

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

TEST = """\
  - id: PWR-020
    title: Voltage of the battery
    statement: The battery shall give the voltage that the limit says.
    source: Invented
    verification:
      - {method: test, level: system, stage: qualification, review: CDR, quantity: bus_voltage,
         at_least: 11 V, records: RECORDS}
records:
  - id: TR-001
    method: test
    date: 2026-03-02
    title: Invented
    judged: {PWR-020: A}
    measured: {MEASURED}
"""
GOOD = "bus_voltage: 12 V +/- 0.1 V (k = 2)"
WRONG = "bus_votlage: 12 V +/- 0.1 V (k = 2)"


@pytest.mark.parametrize(
    ("records", "measured", "found"),
    [
        ("[TR-001]", WRONG, True),
        ("[]", WRONG, True),  # the record says itself what it judged
        ("[TR-001]", GOOD, False),
        # More than what is asked for is no slip, however near its name.
        ("[TR-001]", f"{GOOD}, bus_voltage_2: 12 V +/- 0.1 V (k = 2)", False),
        ("[TR-001]", f"{GOOD}, humidity: 40 % +/- 1 % (k = 2)", False),
        # That another requirement limits it is no slip either.
        ("[TR-001]", "energy: 60 W h +/- 1 W h (k = 2)", False),
    ],
)
def test_a_misspelt_quantity_of_a_record_is_an_error_with_a_suggestion(
    tmp_path: Path, records: str, measured: str, found: bool
) -> None:
    text = TEST.replace("RECORDS", records).replace("MEASURED", measured)
    run = make(tmp_path, base(power=power(requirement()) + text)).run("lint")
    assert ("did you mean bus_voltage?" in run.stdout) is found, run.stdout
    assert ("[unknown-quantity]" in run.stdout) is found
    assert not found or run.status == 2
    assert not found or "TR-001 measured bus_votlage" in run.stdout
