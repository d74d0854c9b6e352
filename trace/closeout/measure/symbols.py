"""The allow-list of unit symbols: what each one is, and which prefixes the trade puts before it.

Definitions: SI Brochure, 9th edition (2019), tables 2 to 8; ISO 80000-3 (turn, rpm); IEC 80000-13
(bit, byte, binary prefixes). Standard gravity 9.80665 m/s^2: 3rd CGPM (1901). Standard atmosphere
101 325 Pa: 10th CGPM (1954). The Julian year of 365.25 d is the IAU's; a month is a twelfth of it,
common practice, no source. Every number is exact but pi, which is cut after 64 decimals.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

# From memory, compared with mpmath by a test.
PI = "3.1415926535897932384626433832795028841971693993751058209749445923"

PREFIXES = {
    "f": ("femto", Fraction(1, 10**15)),
    "p": ("pico", Fraction(1, 10**12)),
    "n": ("nano", Fraction(1, 10**9)),
    "u": ("micro", Fraction(1, 10**6)),
    "m": ("milli", Fraction(1, 1000)),
    "c": ("centi", Fraction(1, 100)),
    "d": ("deci", Fraction(1, 10)),
    "h": ("hecto", Fraction(100)),
    "k": ("kilo", Fraction(10**3)),
    "M": ("mega", Fraction(10**6)),
    "G": ("giga", Fraction(10**9)),
    "T": ("tera", Fraction(10**12)),
    "Ki": ("kibi", Fraction(2**10)),
    "Mi": ("mebi", Fraction(2**20)),
    "Gi": ("gibi", Fraction(2**30)),
    "Ti": ("tebi", Fraction(2**40)),
}


@dataclass(frozen=True, slots=True)
class Symbol:
    """A symbol, its name and definition in the registry, and the prefixes that it may carry."""

    text: str
    name: str
    definition: str
    prefixes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Factor:
    """A symbol with its prefix; ``times`` is 1 but for a reference bandwidth as ``4kHz``."""

    prefix: str
    symbol: Symbol
    times: Fraction = Fraction(1)

    @property
    def text(self) -> str:
        return self.prefix + self.symbol.text

    @property
    def name(self) -> str:
        """The name in the registry: ``kilometre``."""
        return (PREFIXES[self.prefix][0] if self.prefix else "") + self.symbol.name


def _symbol(text: str, name: str, definition: str, prefixes: str = "") -> Symbol:
    return Symbol(text, name, definition, tuple(prefixes.split()))


_DATA = "k M G T Ki Mi Gi Ti"

SYMBOLS = (
    # base units; bit, symbol, count and angle are not plain numbers
    _symbol("m", "metre", "[length]", "p n u m c d k"),
    _symbol("s", "second", "[time]", "p n u m"),
    _symbol("kg", "kilogram", "[mass]"),
    _symbol("A", "ampere", "[current]", "p n u m k"),
    _symbol("K", "kelvin", "[temperature]", "u m"),
    _symbol("mol", "mole", "[substance]", "u m k"),
    _symbol("cd", "candela", "[luminosity]"),
    _symbol("rad", "radian", "[angle]", "u m"),
    _symbol("bit", "bit", "[data]", _DATA),
    _symbol("symbol", "symbol", "[symbol]", "k M G"),
    _symbol("count", "count", "[count]"),
    _symbol("dB", "decibel", "[level]"),
    # ratios
    _symbol("%", "percent", "0.01"),
    _symbol("ppm", "ppm", "0.000001"),
    # time and rate
    _symbol("min", "minute", "60 * second"),
    _symbol("h", "hour", "3600 * second"),
    _symbol("d", "day", "86400 * second"),
    _symbol("month", "month", "30.4375 * day"),
    _symbol("a", "year", "365.25 * day"),
    _symbol("Hz", "hertz", "1 / second", "m k M G T"),
    # angle
    _symbol("deg", "degree", f"{PI} / 180 * radian", "m"),
    _symbol("arcmin", "arcminute", "degree / 60"),
    _symbol("arcsec", "arcsecond", "degree / 3600", "m"),
    _symbol("turn", "turn", "360 * degree"),
    _symbol("rpm", "revolution_per_minute", "turn / minute"),
    _symbol("sr", "steradian", "radian ** 2"),
    # mechanics
    _symbol("g", "gram", "0.001 * kilogram", "n u m"),
    _symbol("t", "tonne", "1000 * kilogram"),
    _symbol("L", "litre", "0.001 * metre ** 3", "m"),
    _symbol("g0", "standard_gravity", "9.80665 * metre / second ** 2", "u m"),
    _symbol("N", "newton", "kilogram * metre / second ** 2", "u m k M"),
    _symbol("Pa", "pascal", "newton / metre ** 2", "u m h k M G"),
    _symbol("bar", "bar", "100000 * pascal", "m"),
    _symbol("atm", "atmosphere", "101325 * pascal"),
    _symbol("J", "joule", "newton * metre", "n u m k M G"),
    _symbol("eV", "electronvolt", "1.602176634e-19 * joule", "m k M G"),
    _symbol("W", "watt", "joule / second", "f p n u m k M"),
    # electricity
    _symbol("C", "coulomb", "ampere * second", "p n u m"),
    _symbol("V", "volt", "watt / ampere", "n u m k"),
    _symbol("ohm", "ohm", "volt / ampere", "u m k M G"),
    _symbol("S", "siemens", "ampere / volt", "n u m"),
    _symbol("F", "farad", "coulomb / volt", "p n u m"),
    _symbol("Wb", "weber", "volt * second", "n u m"),
    _symbol("T", "tesla", "weber / metre ** 2", "p n u m"),
    _symbol("H", "henry", "weber / ampere", "n u m"),
    # light, dose, data
    _symbol("lm", "lumen", "candela * steradian"),
    _symbol("lx", "lux", "lumen / metre ** 2"),
    _symbol("Gy", "gray", "joule / kilogram", "u m k"),
    _symbol("byte", "byte", "8 * bit", "k M G T"),
    _symbol("B", "byte", "8 * bit", _DATA),
)

# Points on the temperature scale: kelvin = number * factor + offset. SI Brochure, 2.3.1; NIST SP
# 811 B.8 for degF.
POINTS = {
    "degC": (Fraction(1), Fraction(27315, 100)),
    "degF": (Fraction(5, 9), Fraction(45967, 100) * Fraction(5, 9)),
}

SPELLINGS = {
    prefix + symbol.text: Factor(prefix, symbol)
    for symbol in SYMBOLS
    for prefix in ("", *symbol.prefixes)
}

# Levels that have a name: the reference that they are to; 10 or 20 log, see measure.level.
LEVELS = {
    "dBW": "W", "dBm": "mW", "dBkW": "kW", "dBuW": "uW", "dBpW": "pW",
    "dBV": "V", "dBmV": "mV", "dBuV": "uV", "dBmA": "mA", "dBuA": "uA", "dBpT": "pT",
    "dBHz": "Hz", "dBkHz": "kHz", "dBMHz": "MHz", "dBK": "K", "dBJ": "J", "dBsm": "m^2",
}  # fmt: skip

# Levels whose reference is no unit: the dimension that each of them has for itself.
GAINS = {
    "dBi": "gain over an isotropic antenna",
    "dBic": "gain over a circularly polarised isotropic antenna",
    "dBc": "level to the carrier",
}

# Other signs for the same symbol: micro and mu, omega and ohm, degree Celsius.
_SIGNS = str.maketrans(
    {"\u00b5": "u", "\u03bc": "u", "\u03a9": "ohm", "\u2126": "ohm", "\u2103": "degC"}
)


def plain(word: str) -> str:
    """Return a word with the micro, ohm and degree signs written out: ``µΩ`` is ``uohm``."""
    word = word.translate(_SIGNS)
    return {"°C": "degC", "°F": "degF", "°": "deg"}.get(word, word)
