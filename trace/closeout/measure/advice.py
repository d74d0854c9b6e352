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
    "bps": "bit/s", "kbps": "kbit/s", "Mbps": "Mbit/s", "Gbps": "Gbit/s", "sps": "symbol/s",
    "ksps": "ksymbol/s", "Msps": "Msymbol/s", "baud": "symbol/s", "Bd": "symbol/s",
    "bits": "bit", "bytes": "byte", "symbols": "symbol", "counts": "count",
    "percent": "%", "pct": "%", "ppb": "ppm (1 ppb is 0.001 ppm)",
    "celsius": "degC", "Celsius": "degC", "oC": "degC", "kelvin": "K", "degK": "K",
    "degree": "deg", "degrees": "deg", "degs": "deg", "rev": "turn", "revs": "turn",
    "meter": "m", "metre": "m", "meters": "m", "metres": "m", "micron": "um", "cc": "cm^3",
    "l": "L", "ml": "mL", "tonne": "t", "ton": "t", "gram": "g",
    "volt": "V", "volts": "V", "amp": "A", "amps": "A", "watt": "W", "watts": "W",
    "ohms": "ohm", "mho": "S", "newton": "N", "hertz": "Hz",
    "G": "g0 (standard gravity)", "gn": "g0", "gs": "g0", "gee": "g0", "Grms": "g0",
    "gRMS": "g0", "grms": "g0", "GRMS": "g0", "Vrms": "V", "Arms": "A", "VA": "W, or V A",
    "krad": "Gy (1 krad is 10 Gy)", "psia": "kPa (1 psi is 6.894757 kPa)",
    "psi": "kPa, as absolute pressure (1 psi is 6.894757 kPa)", "bara": "bar",
    "Torr": "Pa (1 Torr is 133.3224 Pa)", "mmHg": "Pa (1 mmHg is 133.3224 Pa)",
    "in": "mm (1 in is 25.4 mm)", "inch": "mm (1 in is 25.4 mm)", "ft": "m (1 ft is 0.3048 m)",
    "lb": "kg (1 lb is 0.45359237 kg)", "lbf": "N (1 lbf is 4.448222 N)", "week": "d", "weeks": "d",
    "nmi": "km (1 nmi is 1.852 km)", "kn": "m/s (1 kn is 1.852 km/h)",
    "cal": "J (1 cal is 4.184 J)",
    "Mb": "Mbit or MB", "Gb": "Gbit or GB", "kb": "kbit or kB", "Kb": "kbit or kB",
    "KB": "kB (1000 byte) or KiB (1024 byte)", "Kbit": "kbit (1000 bit) or Kibit (1024 bit)",
}  # fmt: skip

# A first part that engineers run together with a length or a time, as in Nm, Wh, mAh, Pas.
_RUN_ON = re.compile(r"([umkMG]?(?:N|W|A|V|J|C|Pa|ohm)|kg|g)(m|mm|h|s|min)((?:m|s|h)?)")


def instead_of(word: str) -> str:
    """Return the cure for a word that is no symbol: ``write N m``."""
    if word in _INSTEAD:
        return f"write {_INSTEAD[word]}"
    if word in POINTS:
        return "write K: degC and degF are points on a scale and stand alone"
    run_on = _RUN_ON.fullmatch(word)
    if run_on and all(part in SPELLINGS for part in run_on.groups() if part):
        return f"write {' '.join(part for part in run_on.groups() if part)}"
    same = _other_case(word)
    if same:
        return f"write {' or '.join(same)}"
    parts = _split(word)
    if parts:
        return f"write {parts}"
    near = difflib.get_close_matches(word, [*_KNOWN, *_INSTEAD], n=3, cutoff=0.6)
    near = list(dict.fromkeys(_INSTEAD.get(text, text) for text in near))
    if near:
        return f"write {', '.join(near[:-1]) + ' or ' if near[1:] else ''}{near[-1]}, if meant"
    return "write SI symbols, as W h, m/s^2 or %/month; a prefix only where the trade uses it"


def _other_case(word: str) -> list[str]:
    return [text for text in _KNOWN if text.casefold() == word.casefold()]


def _split(word: str) -> str | None:
    """Return a word as two symbols with a space between, where it is just these two."""
    for i in range(len(word) - 1, 0, -1):
        if word[:i] in SPELLINGS and word[i:] in SPELLINGS:
            return f"{word[:i]} {word[i:]}"
    return None
