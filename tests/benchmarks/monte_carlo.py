"""Monte Carlo of the link margin: closeout beside the same expression in NumPy, in one run.

``python tests/benchmarks/monte_carlo.py`` draws the parameters of ``link_margin`` and computes its
margin at each station for a million samples,

    (a) by hand: NumPy's own generator, and the expression written out for whole arrays,
    (b) the same by hand in chunks that fit the cache,
    (c) closeout: its streams, and the analysis itself evaluated on arrays in chunks,

drawing included on each side, in turn, several rounds, and prints the medians as a table, and how
far the means of the margins lie apart in standard errors. It measures; it asserts nothing. The
parameters are those of the mission, invented.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy
import yaml
from numpy.typing import NDArray

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from analyses.link_margin import DATA, link_margin, system_noise  # noqa: E402
from analyses.physics.dvbs2 import read_modes  # noqa: E402
from analyses.physics.stations import read_stations  # noqa: E402
from closeout.arithmetic.array import array  # noqa: E402
from closeout.arithmetic.chance.sampling import (  # noqa: E402
    Distribution,
    Normal,
    Stream,
    Uniform,
    distribution,
    seed_of,
)
from tests.analyses.declared import found_for  # noqa: E402

Array = NDArray[numpy.float64]
CONDITIONS = {"link_elevation": 5.0, "stage_geometric_altitude": 500.0}


def spreads() -> dict[str, Distribution]:
    """Return the distributions of the arguments that have a spread, in the analysis' units."""
    given = yaml.safe_load((ROOT / "analyses" / "link.yaml").read_text())["parameters"]
    found = {}
    for name in link_margin.function.__annotations__:
        if name == "return" or name in CONDITIONS:
            continue
        spread = given[name]
        if "from" in spread:
            value, (low, high) = found_for(name)
            found[name] = distribution(value, low, high)
            continue
        value = _number(spread["value"])
        if "sigma" in spread:
            found[name] = distribution(value, sigma=_number(spread["sigma"]))
        else:
            reach = _number(spread["tolerance"])
            found[name] = distribution(value, value - reach, value + reach)
    return found


def _number(text: str) -> float:
    return float(str(text).split()[0])


def by_hand(n: int, given: Mapping[str, Distribution]) -> dict[str, Array]:
    """Return the margin at each station, as one would write it for this case alone."""
    generator = numpy.random.default_rng(1)
    x = {name: _drawn(generator, one.shape, n) for name, one in given.items()}
    return expression(x)


def by_hand_in_chunks(n: int, given: Mapping[str, Distribution]) -> dict[str, Array]:
    """Return the same, chunk after chunk."""
    generator = numpy.random.default_rng(1)
    parts = []
    for start in range(0, n, array.CHUNK):
        size = min(array.CHUNK, n - start)
        parts.append(expression({k: _drawn(generator, s.shape, size) for k, s in given.items()}))
    return {name: numpy.concatenate([part[name] for part in parts]) for name in parts[0]}


def _drawn(generator: numpy.random.Generator, shape: Any, n: int) -> Array:
    if isinstance(shape, Normal):
        return generator.normal(shape.mean, shape.sigma, n)
    assert isinstance(shape, Uniform)
    return generator.uniform(shape.low, shape.high, n)


def expression(x: Mapping[str, Array]) -> dict[str, Array]:
    """Return the margins; what no sample changes is computed once, what stations share too."""
    elevation, altitude = CONDITIONS["link_elevation"], CONDITIONS["stage_geometric_altitude"]
    sine, radius = numpy.sin(numpy.radians(elevation)), 6378.137
    across = radius * numpy.cos(numpy.radians(elevation))
    distance = numpy.sqrt((radius + altitude) ** 2 - across**2) - radius * sine
    f = x["carrier_frequency"]
    level_f = 20.0 * numpy.log10(f)
    path = 20.0 * numpy.log10(4.0e6 * numpy.pi / 299792.458) + level_f + 20 * numpy.log10(distance)
    shared = (
        10.0 * numpy.log10(x["transmit_power"]) - x["transmit_feeder_loss"]
        + x["antenna_peak_gain"] - 12.0 * (x["antenna_off_axis"] / x["antenna_beamwidth"]) ** 2
        - path + 228.599167 - 10.0 * numpy.log10(x["symbol_rate"]) - 60.0
        + x["station_g_over_t_error"] - x["implementation_loss"]
    )  # fmt: skip
    tilt = numpy.arctan(10.0 ** (-0.05 * x["antenna_axial_ratio"]))
    offset = (x["station_pointing_error"] * f) ** 2
    modes, margins = read_modes(DATA / "dvbs2_modes.csv"), {}
    for name, s in read_stations(DATA / "stations.csv").items():
        air = s.gas_5deg_db + s.rain_5deg_db
        noise = 10.0 * numpy.log10(system_noise(s, air, elevation))
        beam = 70.0 * 299792.458 / (1.0e3 * s.dish_m)
        gain = 10.0 * numpy.log10(s.efficiency) + 20.0 * numpy.log10(
            numpy.pi * s.dish_m * 1.0e3 / 299792.458
        )
        matched = numpy.sin(tilt + numpy.arctan(10.0 ** (-0.05 * s.feed_axial_ratio_db)))
        fixed = gain - noise - air - s.scintillation_5deg_db - modes[s.mode].ideal_es_n0
        margins[name] = (
            shared + level_f + fixed - 12.0 / beam**2 * offset + 20.0 * numpy.log10(matched)
        )
    return margins


def by_closeout(n: int, given: Mapping[str, Distribution]) -> dict[str, Array]:
    """Return the margins from the analysis as it stands."""

    def evaluate(point: Mapping[str, Any]) -> dict[tuple[str, str | None], Any]:
        return {("link_margin", k): v for k, v in link_margin(**point).link_margin.items()}

    keys = [("link_margin", name) for name in read_stations(DATA / "stations.csv")]
    evaluator, stream = array.ArrayEvaluator(evaluate, keys), Stream(given, seed_of("COM-040"))
    parts = []
    for start in range(0, n, array.CHUNK):
        parts.append(evaluator.at({**stream.take(min(array.CHUNK, n - start)), **CONDITIONS}))
    assert evaluator.fallback is None, evaluator.fallback
    return {str(k[1]): numpy.concatenate([part[k] for part in parts]) for k in keys}


def main() -> None:
    """Time all three in turn and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--samples", type=int, default=10**6)
    parser.add_argument("--rounds", type=int, default=7)
    told = parser.parse_args()
    given = spreads()
    ways: dict[str, Callable[[int, Mapping[str, Distribution]], dict[str, Array]]] = {
        "by hand, whole arrays": by_hand,
        "by hand, in chunks": by_hand_in_chunks,
        "closeout": by_closeout,
    }
    seconds: dict[str, list[float]] = {name: [] for name in ways}
    values: dict[str, dict[str, Array]] = {}
    for way in ways.values():
        way(array.CHUNK, given)  # what is imported or read for the first time counts for none
    for _ in range(told.rounds):
        for name, way in ways.items():
            begun = time.perf_counter()
            values[name] = way(told.samples, given)
            seconds[name].append(time.perf_counter() - begun)
    hand, ours = values["by hand, whole arrays"], values["closeout"]
    base = statistics.median(seconds["by hand, whole arrays"])
    print(f"{told.samples} samples, {len(given)} drawn parameters, {told.rounds} rounds, medians")
    print(f"{'':<24}{'seconds':>9}{'lowest':>9}{'times':>8}")
    for name, measured in seconds.items():
        median = statistics.median(measured)
        print(f"{name:<24}{median:>9.3f}{min(measured):>9.3f}{median / base:>8.2f}")
    print("\nmean margin, dB             by hand closeout   apart, standard errors")
    for station, one in hand.items():
        error = one.std() * numpy.sqrt(2.0 / told.samples)
        apart = (ours[station].mean() - one.mean()) / error
        print(f"  {station:<24}{one.mean():>9.4f}{ours[station].mean():>9.4f}{apart:>10.1f}")


if __name__ == "__main__":
    main()
