"""The inputs at the end that decides, met or not: what is printed of them replays to the bit.

The invented project has what makes a replay go wrong: levels, tolerances in percent, several parts
of one tolerance, contingencies, amounts in other units than the analysis', cases, conditions that
are given as a range or hold as declared, and the uncertainty of a model.
"""

from __future__ import annotations

import json
import shlex
from pathlib import Path
from typing import Any

import pytest

from tests.cli.project import Project, make

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

CHARTER = """\
project:
  name: Relay
  note: Invented for a test.
  reviews: [CDR]
  policy:
    contingency:
      - {parameters: ["*_mass"], by_maturity: {estimated: 10 %}}
"""

PARAMETERS = """\
parameters:
  antenna_gain: {value: 5.1 dBi, sigma: 0.3 dB, source: Invented}
  power: {value: 31.7 dBm, tolerance: 0.7 dB, source: Invented}
  loss: {value: 0.7 dB, range: [0.3 dB, 1.9 dB], source: Invented}
  arm: {value: 32.3 cm, tolerance: {initial: 0.3 %, ageing: 2.5 mm}, source: Invented}
  box_mass: {value: 1.3 kg, tolerance: 7 %, source: Invented, maturity: estimated}
  drum_mass: {value: 1700 g, tolerance: 30 g, source: Invented, maturity: measured}
  share: {value: 90 %, tolerance: 0.7 %, source: Invented}
  angle: {value: 33.3 deg, tolerance: 1.1 deg, source: Invented}
  warmth: {value: 20 degC, condition: true, source: Invented}
  wind: {value: 3 km/h, range: [1 km/h, 7 km/h], condition: declared, source: Invented}
"""

MODULE = '''\
"""A relay in the wind."""
from collections.abc import Mapping
from typing import Annotated, NamedTuple

from closeout import analysis
from closeout.math import cos, sin
from closeout.units import K, N_m, Unit, dB, dBW, dBi, g, kg, m, m_s, rad, ratio


class Link(NamedTuple):
    margin: Annotated[Mapping[str, float], Unit("dB")]


@analysis(model_uncertainty={"margin": "0.35 dB"})
def link(antenna_gain: dBi, power: dBW, loss: dB) -> Link:
    """Power at the end of two lines."""
    return Link({"near": antenna_gain + power - loss, "far": antenna_gain + power - 2.0 * loss})


class Torque(NamedTuple):
    torque: N_m
    peak: ratio


@analysis
def torque(
    arm: m, box_mass: g, drum_mass: kg, share: ratio, angle: rad, wind: m_s, warmth: K
) -> Torque:
    """A torque, and a number that is the greatest inside of the box."""
    pull = 9.81 * (box_mass / 1000.0 + share * drum_mass) * arm * sin(angle)
    middle = warmth - 280.3
    return Torque(
        pull + 0.1 * wind * wind * cos(angle),
        10.0 - 0.01 * middle * middle + 0.001 * wind,
    )


@analysis
def march(arm: m, box_mass: g, angle: rad) -> Torque:
    """A torque by steps, which asks for one number and is not proved."""
    total, step = 0.0, 0
    while step < float(3.0):
        total, step = total + 9.81e-3 * box_mass * arm * sin(angle) / 3.0, step + 1
    return Torque(total, float(angle))
'''

WARM = "given: {warmth: [0 degC, 20 degC]}"
VERIFICATIONS = (
    "analysis: link, quantity: margin, at_least: 1 dB",
    "analysis: link, quantity: margin, at_least: 5.5 dB",
    f"analysis: torque, quantity: torque, at_most: 6 N m, {WARM}",
    f"analysis: torque, quantity: torque, at_most: 50 N cm, {WARM}",
    f"analysis: torque, quantity: torque, at_least: 1 N m, at_most: 60 N m, {WARM}",
    f"analysis: torque, quantity: peak, at_most: 10.1, {WARM}",
    f"analysis: torque, quantity: peak, at_most: 9.99, {WARM}",
    "analysis: torque, quantity: peak, at_least: 8, given: {warmth: 20 degC}",
    "analysis: march, quantity: torque, at_most: 2.7 N m",
    "analysis: march, quantity: torque, at_most: 9 N m, basis: nominal",
)
# By these no point of the box is the end; what stands at a point are conditions given as a range.
CHANCES = (
    f"analysis: torque, quantity: peak, at_most: 10.1, {WARM}, basis: root sum square",
    f"analysis: torque, quantity: peak, at_most: 9.9, {WARM}, basis: root sum square",
    f"analysis: torque, quantity: peak, at_least: 9, {WARM},"
    " basis: {probability: 0.9, confidence: 0.9}",
)


@pytest.fixture(scope="module")
def relay(tmp_path_factory: pytest.TempPathFactory) -> Project:
    items = "".join(
        f"  - id: R-{number}\n    title: Relay\n    source: Invented\n"
        "    statement: The relay shall hold.\n    verification:\n"
        f"      - {{method: analysis, {one}}}\n"
        for number, one in enumerate((*VERIFICATIONS, *CHANCES))
    )
    return make(
        tmp_path_factory.mktemp("relay") / "p",
        {
            "requirements/project.yaml": CHARTER,
            "requirements/r.yaml": f"requirements:\n{items}",
            "analyses/p.yaml": PARAMETERS,
            "analyses/a.py": MODULE,
        },
    )


def entries(document: Any) -> dict[tuple[str, str | None], dict[str, Any]]:
    return {
        (result["id"], found["case"]): found
        for result in document["requirements"]
        for found in result["verification"]
    }


@pytest.fixture(scope="module")
def judged(relay: Project) -> dict[tuple[str, str | None], dict[str, Any]]:
    """Every entry, its proofs followed to their ends."""
    assert relay.run("matrix", "-o", "m.json").status == 0
    found = entries(json.loads((relay.path / "m.json").read_text("utf-8")))
    assert len(found) == len(VERIFICATIONS) + len(CHANCES) + 2
    assert {entry["state"] for entry in found.values()} == {"met", "not met"}
    assert {entry["assurance"] for entry in found.values()} == {
        "bounded", "linearised", "searched", "nominal", "sampled",
    }  # fmt: skip
    return found


def end(entry: dict[str, Any]) -> float:
    """Return the end of the analysis that is nearest to, or furthest beyond, a limit."""
    low = entry["value"] if entry["low"] is None else entry["low"]
    high = entry["value"] if entry["high"] is None else entry["high"]
    under = None if entry["at_least"] is None else low - entry["at_least"]
    over = None if entry["at_most"] is None else entry["at_most"] - high
    found: float = low if over is None or (under is not None and under <= over) else high
    return found


@pytest.mark.parametrize("number", range(len(VERIFICATIONS)))
def test_what_decides_replays_to_the_judged_value(
    relay: Project, judged: dict[tuple[str, str | None], dict[str, Any]], number: int
) -> None:
    some = {case: one for (name, case), one in judged.items() if name == f"R-{number}"}
    for case, entry in some.items():
        assert entry["at"]
        assert all(text.endswith(" exactly") for text in entry["at"].values())
        assert entry["counterexample"] == (entry["at"] if entry["state"] == "not met" else {})
        sets = [f"--set={name}={text}" for name, text in entry["at"].items()]
        run = relay.verify("--only", f"R-{number}", *sets)
        again = entries(run.json)[f"R-{number}", case]
        assert again["state"] == entry["state"]
        assert (again["low"], again["high"], again["at"]) == (None, None, {})
        # Sums of levels have their ends in corners, where the number that was seen is the bound.
        if entry["assurance"] == "bounded" and entry["quantity"] != "margin":
            # Proved within a millionth of the end; where the end was seen it is that number.
            assert again["value"] == pytest.approx(end(entry), rel=1e-6)
            assert again["margin"] == pytest.approx(
                entry["margin"], abs=1e-6 * max(abs(end(entry)), 1e-9)
            )
        else:
            assert again["value"] == end(entry)
            assert again["margin"] == entry["margin"]


def test_every_input_with_a_spread_is_held_and_no_other(
    judged: dict[tuple[str, str | None], dict[str, Any]],
) -> None:
    # By hand: 5.1 dBi less three times 0.3 dB, 31.7 dBm less 0.7 dB is 1.0 dBW, and 1.9 dB lost.
    assert judged["R-1", "far"]["at"] == {
        "antenna_gain": "4.2 dBi exactly",
        "power": "1 dBW exactly",
        "loss": "1.9 dB exactly",
    }
    # At most so much torque: 1.3 kg and 10 % more, then 7 % of the value that was estimated.
    torque = judged["R-2", None]["at"]
    assert list(torque) == ["arm", "box_mass", "drum_mass", "share", "angle", "wind", "warmth"]
    assert torque["box_mass"] == "1521 g exactly"
    assert torque["drum_mass"] == "1.73 kg exactly"
    assert torque["share"] == "0.907 exactly"
    # A condition that is given as one value has no spread; a nominal basis holds the values.
    assert "warmth" not in judged["R-7", None]["at"]
    assert judged["R-9", None]["at"]["box_mass"] == "1430 g exactly"


@pytest.mark.parametrize(
    ("number", "at"),
    # By hand, of points from 273.15 K on, 5 K apart: 278.15 K is the nearest to the peak at
    # 280.3 K, and 293.15 K, which is given as 20 degC, the farthest.
    [(0, "278.15 K exactly"), (1, "278.15 K exactly"), (2, "20 degC exactly")],
)
def test_conditions_are_held_where_the_inputs_spread_at_any_end(
    relay: Project, judged: dict[tuple[str, str | None], dict[str, Any]], number: int, at: str
) -> None:
    name = f"R-{len(VERIFICATIONS) + number}"
    entry = judged[name, None]
    assert entry["at"] == {"warmth": at}
    assert entry["counterexample"] == {}
    run = relay.verify("--only", name, f"--set=warmth={at}")
    again = entries(run.json)[name, None]
    assert (again["state"], again["assurance"]) == (entry["state"], entry["assurance"])
    if number < 2:
        assert again["margin"] == entry["margin"]


def test_the_printed_command_is_the_one_that_replays(
    relay: Project, judged: dict[tuple[str, str | None], dict[str, Any]]
) -> None:
    for name, command in (("R-8", ("verify", "--only", "R-8")), ("R-5", ("explain", "R-5"))):
        entry = judged[name, None]
        run = relay.run(*command)
        (line,) = [text for text in run.stdout.split("\n") if "closeout verify --set" in text]
        words = shlex.split(line)
        assert words[:2] == ["closeout", "verify"]
        pairs = (f"{parameter}={text}" for parameter, text in entry["at"].items())
        assert words[2:] == [word for pair in pairs for word in ("--set", pair)]


@pytest.mark.slow
def test_the_package_tells_the_inputs_of_the_end_that_decides(
    relay: Project, tmp_path: Path
) -> None:
    assert relay.run("package", "-o", str(tmp_path / "out")).status == 0
    report = next((tmp_path / "out").rglob("link.md")).read_text("utf-8")
    worst = report.split("Worst case\n")[1].split("\n## ")[0]
    assert "Inputs with a tolerance at the end that decides" in worst
    assert "| antenna_gain | 4.2 dBi |" in worst
    assert "exactly" not in report
