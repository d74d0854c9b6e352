"""Units for the annotations of analyses: ``def f(hold_duration: day) -> ...``.

Each short name is ``Annotated[float, Unit(text)]``; a unit without a short name here is written so
in the analysis itself, as is a quantity with cases: ``Annotated[Mapping[str, float], Unit("dB")]``.
The text is read by the tool (:mod:`closeout.measure`) at the boundary of the analysis; inside, an
analysis sees plain numbers. d = 86 400 s, month = 30.4375 d, a = 365.25 d; g is the gram, g0 is
standard gravity. Standard library only.
"""

from __future__ import annotations

from typing import Annotated, NamedTuple


class Unit(NamedTuple):
    """The unit of an argument or a quantity, as text: ``Unit("W h")``, ``Unit("dB/K")``."""

    text: str


# time
s = Annotated[float, Unit("s")]
ms = Annotated[float, Unit("ms")]
us = Annotated[float, Unit("us")]
minute = Annotated[float, Unit("min")]
hour = Annotated[float, Unit("h")]
day = Annotated[float, Unit("d")]
month = Annotated[float, Unit("month")]
year = Annotated[float, Unit("a")]

# rate
per_s = Annotated[float, Unit("1/s")]
per_hour = Annotated[float, Unit("1/h")]
per_day = Annotated[float, Unit("1/d")]
per_month = Annotated[float, Unit("1/month")]
per_year = Annotated[float, Unit("1/a")]
percent_per_month = Annotated[float, Unit("%/month")]
Hz = Annotated[float, Unit("Hz")]
kHz = Annotated[float, Unit("kHz")]
MHz = Annotated[float, Unit("MHz")]
GHz = Annotated[float, Unit("GHz")]

# ratio
ratio = Annotated[float, Unit("1")]
percent = Annotated[float, Unit("%")]
ppm = Annotated[float, Unit("ppm")]

# charge, voltage, power
A = Annotated[float, Unit("A")]
mA = Annotated[float, Unit("mA")]
uA = Annotated[float, Unit("uA")]
nA = Annotated[float, Unit("nA")]
A_h = Annotated[float, Unit("A h")]
mA_h = Annotated[float, Unit("mA h")]
C = Annotated[float, Unit("C")]
V = Annotated[float, Unit("V")]
mV = Annotated[float, Unit("mV")]
uV = Annotated[float, Unit("uV")]
W = Annotated[float, Unit("W")]
mW = Annotated[float, Unit("mW")]
kW = Annotated[float, Unit("kW")]
W_h = Annotated[float, Unit("W h")]
J = Annotated[float, Unit("J")]
kJ = Annotated[float, Unit("kJ")]
ohm = Annotated[float, Unit("ohm")]
mohm = Annotated[float, Unit("mohm")]
kohm = Annotated[float, Unit("kohm")]
H = Annotated[float, Unit("H")]
uH = Annotated[float, Unit("uH")]
F = Annotated[float, Unit("F")]
uF = Annotated[float, Unit("uF")]

# temperature
K = Annotated[float, Unit("K")]
degC = Annotated[float, Unit("degC")]
per_K = Annotated[float, Unit("1/K")]
K_per_s = Annotated[float, Unit("K/s")]
W_per_K = Annotated[float, Unit("W/K")]
J_per_K = Annotated[float, Unit("J/K")]
W_m2 = Annotated[float, Unit("W/m^2")]
kJ_per_mol = Annotated[float, Unit("kJ/mol")]

# length, motion
m = Annotated[float, Unit("m")]
mm = Annotated[float, Unit("mm")]
um = Annotated[float, Unit("um")]
km = Annotated[float, Unit("km")]
m2 = Annotated[float, Unit("m^2")]
mm2 = Annotated[float, Unit("mm^2")]
m3 = Annotated[float, Unit("m^3")]
m_s = Annotated[float, Unit("m/s")]
km_s = Annotated[float, Unit("km/s")]
m_s2 = Annotated[float, Unit("m/s^2")]
g0 = Annotated[float, Unit("g0")]
g0_rms = Annotated[float, Unit("g0")]
g02_per_Hz = Annotated[float, Unit("g0^2/Hz")]
rad = Annotated[float, Unit("rad")]
deg = Annotated[float, Unit("deg")]
deg_per_s = Annotated[float, Unit("deg/s")]
rpm = Annotated[float, Unit("rpm")]

# mass, force, pressure
kg = Annotated[float, Unit("kg")]
g = Annotated[float, Unit("g")]
kg_s = Annotated[float, Unit("kg/s")]
kg_m3 = Annotated[float, Unit("kg/m^3")]
N = Annotated[float, Unit("N")]
kN = Annotated[float, Unit("kN")]
N_m = Annotated[float, Unit("N m")]
N_per_m = Annotated[float, Unit("N/m")]
Pa = Annotated[float, Unit("Pa")]
hPa = Annotated[float, Unit("hPa")]
kPa = Annotated[float, Unit("kPa")]
MPa = Annotated[float, Unit("MPa")]
GPa = Annotated[float, Unit("GPa")]

# levels
dB = Annotated[float, Unit("dB")]
dBi = Annotated[float, Unit("dBi")]
dBic = Annotated[float, Unit("dBic")]
dBW = Annotated[float, Unit("dBW")]
dBm = Annotated[float, Unit("dBm")]
dB_per_K = Annotated[float, Unit("dB/K")]
dB_Hz = Annotated[float, Unit("dB(Hz)")]
dBV = Annotated[float, Unit("dBV")]
dBuV = Annotated[float, Unit("dBuV")]
dBuV_per_m = Annotated[float, Unit("dBuV/m")]
dBuA = Annotated[float, Unit("dBuA")]
dBW_m2 = Annotated[float, Unit("dB(W/m^2)")]
dBW_m2_4kHz = Annotated[float, Unit("dB(W/m^2/4kHz)")]
dB_per_deg = Annotated[float, Unit("dB/deg")]

# data
bit = Annotated[float, Unit("bit")]
byte = Annotated[float, Unit("byte")]
kB = Annotated[float, Unit("kB")]
MB = Annotated[float, Unit("MB")]
GB = Annotated[float, Unit("GB")]
KiB = Annotated[float, Unit("KiB")]
MiB = Annotated[float, Unit("MiB")]
GiB = Annotated[float, Unit("GiB")]
bit_s = Annotated[float, Unit("bit/s")]
kbit_s = Annotated[float, Unit("kbit/s")]
Mbit_s = Annotated[float, Unit("Mbit/s")]
symbol_s = Annotated[float, Unit("symbol/s")]
ksymbol_s = Annotated[float, Unit("ksymbol/s")]
Msymbol_s = Annotated[float, Unit("Msymbol/s")]
count = Annotated[float, Unit("count")]
