"""Proved bounds of every closed form of the demonstration mission, against a search on numbers."""

from collections.abc import Mapping
from pathlib import Path
from typing import get_type_hints

import numpy as np
import pytest
import yaml

from analyses.carrier_doppler import carrier_doppler
from analyses.ground_flux import ground_flux
from analyses.link_margin import link_margin, mode_margin
from analyses.pad_hold_energy import pad_hold_energy
from analyses.pressure_threshold_timing import pressure_threshold_timing
from closeout.arithmetic.proof.bound import BUDGET, prove
from tests.analyses.declared import found_for

ROOT = Path(__file__).parents[2]
# Values in the unit of the file are those in the unit of the analysis, but for these.
FACTORS = {"%": 0.01, "%/month": 0.01, "%/K": 0.01}
CLOSED = [carrier_doppler, ground_flux, link_margin, mode_margin, pad_hold_energy]


def read(text, value=None):
    """Return the number of an amount; a share of a value is one of it."""
    number, _, unit = str(text).partition(" ")
    if unit == "%" and value is not None:
        return float(number) / 100 * value
    return float(number) * FACTORS.get(unit, 1.0)


def declared():
    """Return value and ends of each parameter; three sigma where there is a sigma."""
    found = {}
    for path in sorted(ROOT.glob("analyses/*.yaml")):
        for name, fields in yaml.safe_load(path.read_text("utf-8"))["parameters"].items():
            if "from" in fields:  # found where an analysis takes it
                continue
            value = read(fields["value"])
            low = high = value
            if "range" in fields:
                low, high = map(read, fields["range"])
            elif "tolerance" in fields:
                parts = fields["tolerance"]
                parts = parts.values() if isinstance(parts, dict) else [parts]
                share = [
                    read(p, None if str(fields["value"]).endswith("%") else value) for p in parts
                ]
                low, high = value - sum(share), value + sum(share)
            elif "sigma" in fields:
                low, high = value - 3 * read(fields["sigma"]), value + 3 * read(fields["sigma"])
            found[name] = value, low, high
    return found


def evaluator(analysis):
    """Return the analysis as a function of a point to values by quantity and case."""

    def evaluate(point):
        found = {}
        for name, value in analysis.function(**point)._asdict().items():
            if isinstance(value, Mapping):
                found.update({(name, case): one for case, one in value.items()})
            else:
                found[name, None] = value
        return found

    return evaluate


def asked(analysis, parameters):
    """Return inputs, box, function and keys."""
    parameters = with_found(analysis, parameters)
    names = [name for name in get_type_hints(analysis.function) if name != "return"]
    inputs = {name: parameters[name][0] for name in names}
    box = tuple((n, *parameters[n][1:]) for n in names if parameters[n][1] < parameters[n][2])
    evaluate = evaluator(analysis)
    return evaluate, inputs, box, list(evaluate(inputs))


def with_found(analysis, parameters):
    """Return parameters with those that an analysis takes and that others find."""
    names = {name for name in get_type_hints(analysis.function) if name != "return"}
    found = {name: found_for(name) for name in names - parameters.keys()}
    return {**parameters, **{name: (value, *ends) for name, (value, ends) in found.items()}}


def climbed(evaluate, inputs, box, keys):
    """Return the extremes by corners, random points and a climb side by side, all on numbers."""
    random = np.random.default_rng(42)
    low, high = np.array([s[1] for s in box]), np.array([s[2] for s in box])
    names = [s[0] for s in box]
    seen, extremes = set(), {}

    def look(point):
        if point in seen:
            return
        seen.add(point)
        found = evaluate({**inputs, **dict(zip(names, point, strict=True))})
        for key, value in found.items():
            for sign in (-1.0, 1.0):
                if (key, sign) not in extremes or sign * value > extremes[key, sign][0]:
                    extremes[key, sign] = sign * value, point

    for i in range(300):
        shares = random.integers(0, 2, len(box)) if i % 2 else random.uniform(0, 1, len(box))
        look(tuple(map(float, np.clip(low + shares * (high - low), low, high))))
    for key, sign in list(extremes):
        for _ in range(2):
            for i, (_, start, end) in enumerate(box):
                point = extremes[key, sign][1]
                for value in (start, end):
                    look((*point[:i], value, *point[i + 1 :]))
    return {key: (-extremes[key, -1.0][0], extremes[key, 1.0][0]) for key in keys}


@pytest.mark.parametrize("analysis", CLOSED, ids=lambda one: one.__name__)
def test_closed_forms_are_proved(analysis):
    evaluate, inputs, box, keys = asked(analysis, declared())
    result = prove(evaluate, inputs, box, keys)
    assert result.unproved == {}
    assert list(result.proved) == keys
    assert result.evaluations <= BUDGET + 50
    assert all(found.tight for found in result.proved.values())
    reference = climbed(evaluate, inputs, box, keys)
    for key, found in result.proved.items():
        low, high = reference[key]
        assert found.low <= low, key
        assert found.high >= high, key
        scale = 1.01e-6 * max(abs(low), abs(high), high - low) + 1e-12
        assert low - found.low <= scale, key
        assert found.high - high <= scale, key
        for end, at in ((found.seen_low, found.low_at), (found.seen_high, found.high_at)):
            assert evaluate({**inputs, **dict(at)})[key] == end


def test_usable_energy_is_proved_at_its_worst_corner():
    """The corner by physics: least capacity, most loss, cold, full load, high cut-off."""
    evaluate, inputs, box, _ = asked(pad_hold_energy, declared())
    key = "usable_energy", None
    found = prove(evaluate, inputs, box, [key]).proved[key]
    worst_is_high = {
        "capacity_fade", "cell_spread", "cell_imbalance", "self_discharge", "self_discharge_q10",
        "hold_temperature", "sleep_current", "sleep_rail_voltage", "regulator_quiescent",
        "protection_leakage", "soft_start_leakage", "cold_capacity_loss", "cell_resistance",
        "resistance_growth", "resistance_activation", "harness_resistance", "discharge_power",
        "cutoff_voltage",
    }  # fmt: skip
    corner = {name: high if name in worst_is_high else low for name, low, high in box}
    assert found.seen_low == pytest.approx(evaluate({**inputs, **corner})[key], rel=1e-12)
    assert found.low == pytest.approx(found.seen_low, rel=1e-12)


def test_a_time_march_is_not_proved_and_says_so():
    evaluate, inputs, box, keys = asked(pressure_threshold_timing, declared())
    result = prove(evaluate, inputs, box, keys)
    assert result.proved == {}
    assert set(result.unproved) == set(keys)
    assert all("cannot be looked up" in reason for reason in result.unproved.values())
    assert result.evaluations <= 5
