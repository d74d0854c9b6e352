"""The declared values and tolerances of the mission's parameters, read apart from the tool.

Numbers are in the units of the parameter files, which are those of the analyses but for shares in
percent. A parameter that a record measured has its value and its expanded uncertainty. One that an
analysis finds has the value that its function gives at the declared values, and the ends that it
gives with each input at the end that is worse by itself.
"""

from __future__ import annotations

import importlib
import itertools
import random
import re
from collections.abc import Callable, Iterator
from functools import cache, cached_property
from pathlib import Path
from typing import Any, get_type_hints

import yaml

ROOT = Path(__file__).parents[2]
_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


class Declared:
    """Value and ends of each argument of an analysis."""

    def __init__(self, analysis: Any, **instead: float) -> None:
        """Take an analysis, and values other than those declared."""
        self.function: Callable[..., Any] = analysis.function
        self._instead = instead

    @cached_property
    def values(self) -> dict[str, float]:
        return {name: value for name, (value, _) in self._found.items()} | self._instead

    @cached_property
    def box(self) -> dict[str, tuple[float, float]]:
        return {name: ends for name, (_, ends) in self._found.items()}

    @cached_property
    def _found(self) -> dict[str, tuple[float, tuple[float, float]]]:
        """Worked out when it is asked for: modules that hold one are imported in every run."""
        known = declarations()
        names = [name for name in get_type_hints(self.function) if name != "return"]
        return {
            name: found_for(name) if "from" in known[name] else _stated(known[name])
            for name in names
        }

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

    def extreme(self, quantity: Callable[[Any], float], worse: Callable[..., float]) -> float:
        """Return a quantity with each input at the end that is worse; `worse` is min or max."""
        corner = {
            name: worse(self.box[name], key=lambda end, n=name: quantity(self.find(**{n: end})))
            for name in self.wide()
        }
        return quantity(self.find(**corner))


@cache
def loaded(path: Path) -> dict[str, Any]:
    """Return what a file of the mission holds; to be read only."""
    found: dict[str, Any] = yaml.load(path.read_text("utf-8"), _LOADER)
    return found


@cache
def declarations() -> dict[str, Any]:
    """Return what the parameter files say of each parameter."""
    known: dict[str, Any] = {}
    for path in sorted((ROOT / "analyses").glob("*.yaml")):
        known.update(loaded(path)["parameters"])
    return known


@cache
def found_for(name: str) -> tuple[float, tuple[float, float]]:
    """Return value and ends of a parameter that a limit, a record or one or two quantities say."""
    fields = declarations()[name]
    links = fields["from"] if isinstance(fields["from"], list) else [fields["from"]]
    if links[0].rpartition(".")[2] in ("at_least", "at_most"):
        requirement, quantity, key = links[0].split(".")
        _, number = limits(requirement, quantity, key)
        return number, (number, number)
    record, _, measured = links[0].rpartition(".")
    if record in records():
        value, wide = map(_number, records()[record][measured].partition(" (")[0].split(" +/- "))
        return value, (value - wide, value + wide)
    owners, quantities = zip(*(link.split(".") for link in links), strict=True)

    def quantity(text: str) -> Callable[[Any], float]:
        def of(result: Any) -> float:
            value = getattr(result, text)
            return float(value[fields["case"]] if "case" in fields else value)

        return of

    low, high = (Declared(analysis_named(owner)) for owner in (owners[0], owners[-1]))
    first, last = quantity(quantities[0]), quantity(quantities[-1])
    value = 0.5 * (first(low.find()) + last(high.find()))
    return value, (low.extreme(first, min), high.extreme(last, max))


@cache
def records() -> dict[str, dict[str, str]]:
    """Return what each record measured, as it stands there."""
    found: dict[str, dict[str, str]] = {}
    for path in sorted((ROOT / "requirements").glob("*.yaml")):
        for record in yaml.safe_load(path.read_text("utf-8")).get("records", []):
            found[record["id"]] = record.get("measured", {})
    return found


@cache
def analysis_named(name: str) -> Any:
    """Return an analysis of the mission by its name."""
    for path in sorted((ROOT / "analyses").glob("*.py")):
        if re.search(rf"^def {name}\(", path.read_text("utf-8"), re.MULTILINE):
            return getattr(importlib.import_module(f"analyses.{path.stem}"), name)
    raise AssertionError(f"no analysis {name}")


@cache
def limits(requirement: str, quantity: str, wanted: str | None = None) -> tuple[str, float]:
    """Return key and number of the limit of a requirement; its first verification states it.

    Of a quantity with limits on both sides the key says which is wanted.
    """
    for path in sorted((ROOT / "requirements").glob("*.yaml")):
        for found in loaded(path).get("requirements", []):
            for verification in found.get("verification", []):
                if found["id"] == requirement and verification.get("quantity") == quantity:
                    keys = {"at_least", "at_most"} if wanted is None else {wanted}
                    (key,) = keys & set(verification)
                    return key, _number(verification[key])
    raise AssertionError(f"{requirement} has no limit of {quantity}")


def _number(text: object) -> float:
    number, _, unit = str(text).partition(" ")
    return float(number) / (100 if unit.startswith("%") else 1)


def _stated(fields: dict[str, Any]) -> tuple[float, tuple[float, float]]:
    value = _number(fields["value"])
    return value, _ends(fields, value)


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
