"""What to write instead of a word that is no unit symbol."""

from __future__ import annotations

import difflib
import re

from closeout.measure.symbols import GAINS, LEVELS, POINTS, SPELLINGS

_KNOWN = (*SPELLINGS, *POINTS, *LEVELS, *GAINS)

# Common spellings of the trade that are refused, with the one that is read.
_INSTEAD = {
    "sec": "s", "secs": "s", "second": "s", "seconds": "s", "minute": "min", "minutes": "min",
    "mins": "min", "hr": "h", "hrs": "h", "hour": "h", "hours": "h", "day": "d", "days": "d",
    "months": "month", "mo": "month", "year": "a", "years": "a", "yr": "a", "y": "a",
    "week": "d", "weeks": "d", "msec": "ms", "usec": "us", "nsec": "ns",
    "b": "bit, or B for byte", "bps": "bit/s", "kbps": "kbit/s", "Mbps": "Mbit/s",
    "Gbps": "Gbit/s", "sps": "symbol/s, or Hz for samples",
    "ksps": "ksymbol/s, or kHz for samples", "Msps": "Msymbol/s, or MHz for samples",
    "baud": "symbol/s", "Bd": "symbol/s",
    "bits": "bit", "bytes": "byte", "symbols": "symbol", "counts": "count",
    "percent": "%", "pct": "%", "ppb": "ppm (1 ppb is 0.001 ppm)",
    "celsius": "degC", "Celsius": "degC", "oC": "degC", "kelvin": "K", "degK": "K",
    "degree": "deg", "degrees": "deg", "degs": "deg", "rev": "turn", "revs": "turn",
    "rads": "rad", "meter": "m", "metre": "m", "meters": "m", "metres": "m", "micron": "um",
    "cc": "cm^3", "l": "L", "ml": "mL", "tonne": "t", "ton": "t", "gram": "g",
    "volt": "V", "volts": "V", "amp": "A", "amps": "A", "watt": "W", "watts": "W",
    "ohms": "ohm", "mho": "S", "newton": "N", "hertz": "Hz", "lux": "lx",
    "G": "g0 (standard gravity)", "gn": "g0", "gs": "g0", "gee": "g0", "Grms": "g0",
    "gRMS": "g0", "grms": "g0", "GRMS": "g0", "Vrms": "V", "Arms": "A",
    "Vpp": "V, and say peak to peak in the name", "Vp": "V, and say peak in the name",
    "VA": "V A, or W", "var": "V A, and say reactive in the name",
    "krad": "Gy (1 krad is 10 Gy)", "Mrad": "Gy (1 Mrad is 10000 Gy); for an angle mrad or rad",
    "psi": "kPa, as absolute pressure (1 psi is 6.894757 kPa)",
    "psia": "kPa (1 psi is 6.894757 kPa)", "ksi": "MPa (1 ksi is 6.894757 MPa)",
    "Msi": "GPa (1 Msi is 6.894757 GPa)", "bara": "bar",
    "Torr": "Pa (1 Torr is 133.3224 Pa)", "torr": "Pa (1 Torr is 133.3224 Pa)",
    "mmHg": "Pa (1 mmHg is 133.3224 Pa)", "in": "mm (1 in is 25.4 mm)",
    "inch": "mm (1 in is 25.4 mm)", "mil": "mm (1 mil is 0.0254 mm)",
    "ft": "m (1 ft is 0.3048 m)", "mi": "km (1 mi is 1.609344 km)",
    "lb": "kg (1 lb is 0.45359237 kg)", "lbs": "kg (1 lb is 0.45359237 kg)",
    "lbm": "kg (1 lb is 0.45359237 kg)", "oz": "g (1 oz is 28.349523 g)",
    "lbf": "N (1 lbf is 4.448222 N)", "kgf": "N (1 kgf is 9.80665 N)",
    "gf": "mN (1 gf is 9.80665 mN)", "dyn": "N (1 dyn is 1e-5 N)",
    "nmi": "km (1 nmi is 1.852 km)", "kn": "m/s (1 kn is 1.852 km/h)",
    "kt": "m/s (1 knot is 1.852 km/h)", "mph": "m/s (1 mph is 0.44704 m/s)",
    "kph": "km/h", "kmh": "km/h", "fps": "Hz for frames, m/s for a speed (1 ft/s is 0.3048 m/s)",
    "cal": "J (1 cal is 4.184 J)", "kcal": "kJ (1 kcal is 4.184 kJ)",
    "BTU": "J (1 BTU is 1055.056 J)", "erg": "J (1 erg is 1e-7 J)",
    "hp": "W (1 hp is 745.6999 W)", "gauss": "T (1 gauss is 1e-4 T)",
    "Gs": "T (1 gauss is 1e-4 T)", "Oe": "A/m (1 Oe is 79.57747 A/m)",
    "u": "kg (1 u is 1.660539e-27 kg)", "amu": "kg (1 u is 1.660539e-27 kg)",
    "FIT": "1/h (1 FIT is 1e-9/h)", "FITs": "1/h (1 FIT is 1e-9/h)",
    "RH": "% alone, and say relative humidity in the name",
    "oct": "dB alone, and say for each octave in the name",
    "dec": "dB alone, and say for each decade in the name",
    "sqrt": "the density of the square, as nT^2/Hz or V^2/Hz",
    "sccm": "cm^3/min, and say at which pressure and temperature in the name",
    "gal": "L (1 US gallon is 3.785412 L)",
    "Whr": "W h", "Ahr": "A h", "mAhr": "mA h", "kWhr": "kW h", "kwh": "kW h", "KWh": "kW h",
    "mah": "mA h", "mAH": "mA h", "MAh": "mA h",
    "Mb": "Mbit or MB", "Gb": "Gbit or GB", "kb": "kbit or kB", "Kb": "kbit or kB",
    "KB": "kB (1000 byte) or KiB (1024 byte)", "Kbit": "kbit (1000 bit) or Kibit (1024 bit)",
}  # fmt: skip
# Words this long are names; a shorter one is like too many symbols, of any dimension.
_LONG = 5

# A first part that engineers run together with a length or a time, as in Nm, Wh, mAh, Pas.
_RUN_ON = re.compile(r"([umkMG]?(?:N|W|A|V|J|C|Pa|ohm)|kg|g)(m|mm|h|s|min)((?:m|s|h)?)")


def instead_of(word: str) -> str:
    """Return the cure for a word that is no symbol: ``write N m``."""
    if word in _INSTEAD:
        return f"write {_INSTEAD[word]}"
    if word in POINTS:
        return "write K: degC and degF are points on a scale and must be alone"
    run_on = _RUN_ON.fullmatch(word)
    if run_on and all(part in SPELLINGS for part in run_on.groups() if part):
        return f"write {' '.join(part for part in run_on.groups() if part)}"
    same = _other_case(word)
    if same:
        return f"write {' or '.join(same)}"
    parts = _split(word)
    if parts:
        return f"write {parts}"
    names = [known for known in _INSTEAD if len(known) >= _LONG]
    near = difflib.get_close_matches(word, names, n=1, cutoff=0.8) if len(word) >= _LONG else []
    if near:
        return f"write {_INSTEAD[near[0]]}, if {near[0]} is meant"
    return "write SI symbols, as W h, m/s^2 or %/month; a prefix only where the trade uses it"


def _other_case(word: str) -> list[str]:
    """Return the symbols that differ in case alone; never just milli for mega, or the reverse."""
    alike = [text for text in _KNOWN if text.casefold() == word.casefold()]
    return [] if len(alike) == 1 and {alike[0][0], word[0]} == {"m", "M"} else alike


def _split(word: str) -> str | None:
    """Return a word as two symbols with a space between, where it is just these two."""
    for i in range(len(word) - 1, 0, -1):
        if word[:i] in SPELLINGS and word[i:] in SPELLINGS:
            return f"{word[:i]} {word[i:]}"
    return None
