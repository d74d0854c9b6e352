"""The declared values and tolerances of the mission's parameters, read apart from the tool.

Numbers are in the units of the parameter files, which are those of the analyses but for shares in
percent.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any, get_type_hints

import yaml

ROOT = Path(__file__).parents[2]


class Declared:
    """Value and ends of each argument of an analysis."""

    def __init__(self, analysis: Any) -> None:
        files = sorted((ROOT / "analyses").glob("*.yaml"))
        known: dict[str, Any] = {}
        for path in files:
            known.update(yaml.safe_load(path.read_text("utf-8"))["parameters"])
        self.function: Callable[..., Any] = analysis.function
        self.values: dict[str, float] = {}
        self.box: dict[str, tuple[float, float]] = {}
        for name in get_type_hints(self.function):
            if name != "return":
                self.values[name] = _number(known[name]["value"])
                self.box[name] = _ends(known[name], self.values[name])

    def find(self, **changed: float) -> Any:
        """Return what the analysis finds at the declared values, but for what is changed."""
        assert set(changed) <= set(self.values), set(changed) - set(self.values)
        return self.function(**{**self.values, **changed})

    def wide(self) -> list[str]:
        """Return the names that have a tolerance."""
        return [name for name, (low, high) in self.box.items() if low < high]

    def corners(self, *names: str) -> Iterator[dict[str, float]]:
        """Yield every corner of some arguments."""
        for ends in itertools.product(*(self.box[name] for name in names)):
            yield dict(zip(names, ends, strict=True))

    def points(self, many: int, seed: int = 1) -> Iterator[dict[str, float]]:
        """Yield corners and inner points in turn, the same on every machine."""
        chance = random.Random(seed)
        for i in range(many):
            sides = self.box.items()
            if i % 2:
                yield {name: chance.choice(side) for name, side in sides}
            else:
                yield {name: chance.uniform(*side) for name, side in sides}


@cache
def limits(requirement: str, quantity: str) -> tuple[str, float]:
    """Return key and number of the limit that an analysis must keep for a requirement."""
    for path in sorted((ROOT / "requirements").glob("*.yaml")):
        for found in yaml.safe_load(path.read_text("utf-8")).get("requirements", []):
            for verification in found.get("verification", []):
                if (
                    found["id"] == requirement
                    and verification["method"] == "analysis"
                    and verification.get("quantity") == quantity
                ):
                    (key,) = {"at_least", "at_most"} & set(verification)
                    return key, _number(verification[key])
    raise AssertionError(f"{requirement} has no limit of {quantity}")


def _number(text: object) -> float:
    number, _, unit = str(text).partition(" ")
    return float(number) / (100 if unit.startswith("%") else 1)


def _ends(fields: dict[str, Any], value: float) -> tuple[float, float]:
    if "range" in fields:
        low, high = map(_number, fields["range"])
        return low, high
    parts = fields.get("tolerance", 0)
    own = str(fields["value"]).partition(" ")[2]
    wide = 0.0
    for part in parts.values() if isinstance(parts, dict) else [parts]:
        share = str(part).endswith("%") and not own.startswith("%")
        wide += value * _number(part) if share else _number(part)
    return value - wide, value + wide
