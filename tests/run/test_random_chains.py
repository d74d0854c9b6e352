"""Random chains: bounds against samples, and stored answers against a run from nothing."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any

import numpy
import pytest

from closeout.model.answer import Assurance
from closeout.model.dossier import Dossier
from tests.run.chains import Function, evidence, judged, written

# Each project starts processes; a default run has the chains of test_computed_inputs.
pytestmark = pytest.mark.slow

SAMPLES = 20_000
# By how much a number of the first unit is multiplied to be one of the second (exact).
UNITS = {("m", "cm"): 100.0, ("cm", "m"): 0.01, ("m", "m"): 1.0, ("cm", "cm"): 1.0,
         ("m", "mm"): 1000.0, ("cm", "mm"): 10.0, ("mm", "m"): 0.001, ("mm", "cm"): 0.1,
         ("mm", "mm"): 1.0}  # fmt: skip


@dataclass
class Made:
    """A chain: roots with value and tolerance, and its analyses from below to above."""

    roots: dict[str, tuple[float, float]]
    functions: list[Function]
    links: dict[str, tuple[str, ...]]
    march: frozenset[str]
    off: dict[str, float]

    def parameters(self) -> str:
        lines = [
            f"{name}: {{value: {value!r} m, tolerance: {width!r} m, source: x}}"
            for name, (value, width) in self.roots.items()
        ]
        lines += [
            f"{name}: {{from: {of[0] if len(of) == 1 else '[' + ', '.join(of) + ']'}}}"
            for name, of in self.links.items()
        ]
        return "\n".join(lines)

    def values(self, random: numpy.random.Generator) -> Any:
        """Return the values of the last analysis' y in its unit at samples of the whole box."""
        known: dict[str, tuple[Any, str]] = {}
        for name, (value, width) in self.roots.items():
            ends = random.uniform(-1, 1, SAMPLES)
            ends[:64] = numpy.sign(ends[:64])
            known[name] = value + width * ends, "m"
        outputs: dict[str, tuple[Any, str]] = {}
        for function in self.functions:
            for name in function.takes:
                if name in known:
                    continue
                ends = [outputs[text] for text in self.links[name]]
                low, unit = ends[0]
                high = ends[-1][0] * UNITS[ends[-1][1], unit]
                place = random.choice([0.0, 1.0, 0.3], SAMPLES)
                known[name] = low + place * (high - low), unit
            inputs = {n: known[n][0] * UNITS[known[n][1], u] for n, u in function.takes.items()}
            spaces = {**inputs, "minimum": numpy.minimum, "R": lambda *values: values}
            body = function.body.splitlines()[-1].removeprefix("return ")
            found = eval(body, spaces)
            for (name, unit), value in zip(function.gives.items(), found, strict=True):
                off = self.off.get(f"{function.name}.{name}", 0.0)
                moved = value + random.choice([-off, off, 0.0], SAMPLES)
                outputs[f"{function.name}.{name}"] = moved, unit
            last = found[0]
        return last


def made(seed: int) -> Made:
    """Return a random chain of two to four analyses over shared inputs."""
    random = Random(seed)
    roots = {f"r{i}": (random.choice([1.0, 2.5, 4.0]), random.choice([0.1, 0.25, 0.5]))
             for i in range(random.randint(2, 4))}  # fmt: skip
    functions: list[Function] = []
    links: dict[str, tuple[str, ...]] = {}
    march: set[str] = set()
    off: dict[str, float] = {}
    depth = random.randint(2, 4)
    for level in range(depth):
        taken = {name: random.choice(["m", "cm"]) for name in
                 random.sample(sorted(roots), random.randint(1, len(roots)))}  # fmt: skip
        for below in functions[-2:]:
            name = f"x{level}_{below.name}"
            two = random.random() < 0.3
            links[name] = (f"{below.name}.y", f"{below.name}.z")[: 2 if two else 1]
            taken[name] = random.choice(["m", "cm", "mm"])
        names = list(taken)
        terms = [f"{random.choice(['1.0', '0.5', '-0.25'])} * {name}" for name in names]
        y = " + ".join(terms) + f" + 0.01 * {names[0]} * {names[-1]}"
        z = f"minimum({y}, {names[0]}) + 2.0 * {names[-1]}"
        body, unit, mark = f"return R({y}, {z})", random.choice(["m", "cm"]), "@analysis"
        function = f"f{level}"
        if level < depth - 1 and random.random() < 0.3:
            body = "\n".join(f"{name} = float({name})" for name in names) + "\n" + body
            march.add(function)
        if level < depth - 1 and random.random() < 0.3:
            off[f"{function}.y"] = 0.125
            mark = f'@analysis(model_uncertainty={{"y": "0.125 {unit}"}})'
        functions.append(Function(function, taken, {"y": unit, "z": unit}, body, mark))
    return Made(roots, functions, links, frozenset(march), off)


def _written(folder: Path, one: Made) -> Path:
    last = one.functions[-1]
    unit = last.gives["y"]
    said = [
        f"analysis: {last.name}, quantity: y, at_most: {limit} {unit}" for limit in (1e15, -1e15)
    ]
    return written(folder, one.parameters(), one.functions, said)


def _verdicts(dossier: Dossier) -> list[Any]:
    return [
        (e.state, e.margin, e.low, e.high, e.at, e.counterexample, e.assurance)
        for e in (evidence(dossier, 1), evidence(dossier, 2))
    ]


@pytest.mark.parametrize("seed", range(24))
def test_bounds_hold_all_samples_and_points_replay(tmp_path: Path, seed: int) -> None:
    one = made(seed)
    folder = _written(tmp_path, one)
    dossier = judged(folder)
    met, failed = evidence(dossier, 1), evidence(dossier, 2)
    assert met.state.value == "met", met.message
    values = one.values(numpy.random.default_rng(seed))
    assert met.low is not None
    assert met.high is not None
    slack = 1e-9 * max(1.0, abs(values).max())
    assert met.low - slack <= values.min()
    assert values.max() <= met.high + slack
    if not one.march:
        assert met.assurance is Assurance.BOUNDED
        # Tight: the samples hold corners of the box, and the formulas bend little.
        width = met.high - met.low
        assert values.max() >= met.high - 0.35 * width
    assert failed.state.value == "not met", failed.message
    assert failed.counterexample
    again = evidence(judged(folder, set=dict(failed.counterexample)), 2)
    assert again.state.value == "not met"
    assert again.value == pytest.approx(failed.high, rel=1e-6)  # to which a bound is tight
    replayed = evidence(judged(folder, set=dict(met.at)), 1)
    assert replayed.value == pytest.approx(met.high, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("seed", range(100, 108))
def test_a_changed_root_is_as_a_run_from_nothing(tmp_path: Path, seed: int) -> None:
    one, random = made(seed), Random(seed)
    folder = _written(tmp_path / "kept", one)
    judged(folder)
    for step in range(3):
        name = random.choice(sorted(one.roots))
        value, width = one.roots[name]
        one.roots[name] = value + random.choice([0.5, -0.25]), width
        _written(folder, one)
        fresh = judged(_written(tmp_path / f"fresh{step}", one))
        assert _verdicts(judged(folder)) == _verdicts(fresh)
