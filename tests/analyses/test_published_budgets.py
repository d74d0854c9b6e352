"""Two complete link budgets of public filings, rebuilt as projects: the margin that they print.

Filings to the Federal Communications Commission, SAT-LOI-20110809-00148 and
SAT-MOD-20050523-00106. All levels are printed to 0.1 dB, so a sum is held to half of that.
"""

from __future__ import annotations

import importlib.util
import inspect
import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import yaml

PUBLISHED = Path(__file__).parents[1] / "published"

# folder, printed C/N in dB, printed margin in dB
FILINGS = [("fcc_00148", 18.9, 9.9), ("fcc_00106", 21.1, 10.7)]

# What the filings print: MHz, dBW, dB, dB/K, dB(Hz), dB.
PRINTED = {
    "fcc_00148": (19700.5, 22.0, 210.2, 37.5, 59.0, 9.0),
    "fcc_00106": (20198.0, 17.2, 210.4, 37.7, 52.0, 10.4),
}


def load(folder: str) -> Any:
    """Return the analysis of a fixture, from its file."""
    path = PUBLISHED / folder / "analyses" / "telemetry_link.py"
    spec = importlib.util.spec_from_file_location(f"published_{folder}", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.telemetry_link


def parameters(folder: str) -> dict[str, str]:
    """Return the value of each parameter as its text."""
    text = (PUBLISHED / folder / "analyses" / "link.yaml").read_text("utf-8")
    found = yaml.load(text, yaml.BaseLoader)["parameters"]
    return {name: entry["value"] for name, entry in found.items()}


@pytest.mark.parametrize(("folder", "carrier_to_noise", "margin"), FILINGS)
def test_printed_margin(folder: str, carrier_to_noise: float, margin: float) -> None:
    found = load(folder)(*PRINTED[folder])
    assert found.carrier_to_noise == pytest.approx(carrier_to_noise, abs=0.05)
    assert found.margin == pytest.approx(margin, abs=0.05)


@pytest.mark.parametrize(("folder", "carrier_to_noise", "margin"), FILINGS)
def test_the_project_holds_the_printed_numbers(
    folder: str, carrier_to_noise: float, margin: float
) -> None:
    names = list(inspect.signature(load(folder).function).parameters)
    texts = parameters(folder)
    assert list(texts) == names
    assert tuple(float(texts[name].split()[0]) for name in names) == PRINTED[folder]


@pytest.mark.parametrize("folder", PRINTED)
def test_path_loss_and_frequency_are_those_of_a_geostationary_satellite(folder: str) -> None:
    """Between 35 786 km below it and 41 679 km at the horizon (R = 6378.137 km, Pythagoras)."""
    assert 35_786.0 < load(folder)(*PRINTED[folder]).implied_range < 41_679.0


@pytest.mark.parametrize(("folder", "carrier_to_noise", "margin"), FILINGS)
def test_the_command_gives_the_printed_margin(
    folder: str, carrier_to_noise: float, margin: float, tmp_path: Path
) -> None:
    project = tmp_path / folder
    shutil.copytree(PUBLISHED / folder, project, ignore=shutil.ignore_patterns("__pycache__"))
    run = subprocess.run(
        [sys.executable, "-m", "closeout", "verify", "--json", "-"],
        cwd=project,
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stdout + run.stderr
    told = json.loads(run.stdout)
    evidence = told["requirements"][0]["verification"][0]
    assert evidence["quantity"] == "margin"
    assert evidence["unit"] == "dB"
    assert evidence["value"] == pytest.approx(margin, abs=0.05)
    assert evidence["margin"] == pytest.approx(margin - 3.0, abs=0.05)
    assert (evidence["state"], evidence["assurance"]) == ("met", "nominal")
    assert told["requirements"][0]["compliance"] == "C"
