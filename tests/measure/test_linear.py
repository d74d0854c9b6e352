"""Factors and dimensions of linear units beside pint, which reads the same definitions."""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from random import Random
from typing import Any

import pint

from closeout.measure import Units
from closeout.measure.expression import parse
from closeout.measure.linear import DIMENSIONS, coherent
from closeout.measure.symbols import PREFIXES, SPELLINGS, SYMBOLS
from closeout.model.amount import read_amount
from closeout.render.units import importable


@cache
def registry() -> Any:
    """Return a registry of nothing but our definitions, in fractions."""
    found: Any = pint.UnitRegistry(None, non_int_type=Fraction)
    prefixes = [f"{name}- = {value}" for name, value in PREFIXES.values()]
    units = {symbol.name: f"{symbol.name} = {symbol.definition}" for symbol in SYMBOLS}
    found.load_definitions([*prefixes, *units.values()])
    return found


def by_pint(text: str) -> tuple[Fraction, dict[str, int]]:
    """Return factor and powers of the dimensions of a unit text, as pint multiplies them."""
    names: dict[str, int] = {}
    for factor, exponent in parse(text).items():
        names[factor.name] = names.get(factor.name, 0) + exponent
    container = registry().UnitsContainer(names)
    ratio, _ = registry().get_root_units(container)
    dimensions = registry().get_dimensionality(container)
    return Fraction(ratio), {key.strip("[]"): int(value) for key, value in dimensions.items()}


def agrees(text: str) -> bool:
    ratio, dimension = coherent(parse(text))
    factor, powers = by_pint(text)
    powers = {"level difference" if key == "level" else key: n for key, n in powers.items() if n}
    shown = [key + (f"^{n}" if n != 1 else "") for key, n in powers.items()]
    return ratio == factor and sorted(_parts(dimension)) == sorted(shown)


def _parts(dimension: str) -> list[str]:
    if dimension == "1":
        return []
    return [part.replace("_", " ") for part in
            dimension.replace("level difference", "level_difference").split()]  # fmt: skip


def test_every_symbol_with_every_prefix() -> None:
    assert [text for text in SPELLINGS if not agrees(text)] == []
    assert len(SPELLINGS) > 160


def test_every_unit_that_authors_import() -> None:
    linear = [text for text in importable().values() if not text.startswith(("dB", "deg"))]
    assert [text for text in linear if not agrees(text)] == []
    assert len(linear) > 50


def test_a_thousand_products_and_quotients() -> None:
    random = Random(13)
    symbols = sorted(set(SPELLINGS) - {"g", "mg", "ug", "ng", "T", "pT", "nT", "uT", "mT"})
    for _ in range(1000):
        above, below = random.sample(symbols, 2), random.sample(symbols, random.randint(0, 2))
        text = " ".join(f"{one}^{random.randint(1, 3)}" for one in above)
        text += "".join(f"/{one}^{random.randint(1, 3)}" for one in below)
        assert agrees(text), text


def test_a_dimension_is_written_in_one_order() -> None:
    assert coherent(parse("A s^2 kg/m")) == (1, "length^-1 mass time^2 current")
    assert coherent({}) == (1, "1")
    assert len(DIMENSIONS) == len(set(DIMENSIONS))


def test_ten_thousand_conversions_are_exact() -> None:
    units = Units()
    amounts = [read_amount(f"{i}.25 mA h") for i in range(10_000)]
    total = sum(units.convert(amount, "A h") for amount in amounts)
    assert total == Fraction(sum(range(10_000)) * 4 + 10_000, 4000)
