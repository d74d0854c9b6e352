"""A voltage step on resistance, inductance and capacitance in series.

Voltage in V, current in A, resistance in ohm, inductance in H, capacitance in F, time in s. The
circuit obeys L di/dt = E - R i - v and C dv/dt = i, a second-order system of natural frequency
w0 = 1/sqrt(L C) and damping ratio z = R/2 sqrt(C/L) (C. K. Alexander, M. N. O. Sadiku, Fundamentals
of Electric Circuits, chapter 8). Overshoot and envelope of such a system: N. S. Nise, Control
Systems Engineering, section 4.6.

Below z = 1 it rings, above it creeps, and formulas change their form there. Each function here
gives the right one on both sides. Within CRITICAL of z = 1 the value at that distance stands for
all: the peak is then off by less than two parts in 10^8.
"""

from __future__ import annotations

import math
from typing import Annotated, NamedTuple

from closeout.math import acos, atan, exp, log, log1prel, maximum, minimum, pi, sqrt, where
from closeout.units import A, F, H, J, Unit, V, ohm, rad, ratio, s

rad_per_s = Annotated[float, Unit("rad/s")]

CRITICAL = 1e-8


class Moment(NamedTuple):
    """Voltage of the capacitor in V, and current of the inductor in A."""

    voltage: V
    current: A


AT_REST = Moment(0.0, 0.0)


def damping_ratio(resistance: ohm, inductance: H, capacitance: F) -> ratio:
    """Return z = R/2 sqrt(C/L)."""
    return resistance / 2 * sqrt(capacitance / inductance)


def natural_frequency(inductance: H, capacitance: F) -> rad_per_s:
    """Return w0 = 1/sqrt(L C) in rad/s."""
    return 1 / sqrt(inductance * capacitance)


def damped_frequency(damping: ratio, natural: rad_per_s) -> rad_per_s:
    """Return the frequency at which a ringing circuit rings, w0 sqrt(1 - z^2), in rad/s."""
    return natural * sqrt((1 - damping) * (1 + damping))


def overshoot(damping: ratio) -> ratio:
    """Return by what share of the step the capacitor's voltage goes beyond its end value.

    exp(-pi z / sqrt(1 - z^2)) for z below 1; nothing above.
    """
    return where(damping < 1.0, exp(-pi * _tangent(damping)), 0.0 * damping)


def _tangent(damping: ratio) -> ratio:
    """Return z / sqrt(1 - z^2) of a circuit that rings; acos(z) is pi/2 - atan of it.

    Written so, the angle has bounds that stay tight on ranges.
    """
    ringing = minimum(damping, 1 - CRITICAL)
    return ringing / sqrt((1 - ringing) * (1 + ringing))


def phase_of_peak(damping: ratio) -> rad:
    """Return w0 t of the highest current: acos(z)/sqrt(1 - z^2), or acosh(z)/sqrt(z^2 - 1).

    The second is written with s = sqrt((z - 1)/(z + 1)), since acosh(z) = 2 atanh(s), and without
    the difference of nearly equal numbers.
    """
    ringing = minimum(damping, 1 - CRITICAL)
    below = acos(ringing) / sqrt((1 - ringing) * (1 + ringing))
    creeping = maximum(damping, 1 + CRITICAL)
    s = sqrt((creeping - 1) / (creeping + 1))
    above = (1 + s) * log1prel(s * (1 + s) * (1 + creeping))
    return where(damping < 1.0, below, above)


def peak_current(step: V, resistance: ohm, inductance: H, capacitance: F) -> A:
    """Return the highest current after a voltage step, from rest: step sqrt(C/L) e^(-z w0 t_peak).

    di/dt = 0 there, put into i(t) of the three forms. Where it creeps the same is written with
    p = z + sqrt(z^2 - 1) as step/R (1 + 1/p^2) p^(-2/(p^2 - 1)), which shows that it never reaches
    step / R. It rises as resistance or inductance falls, and as capacitance or step rises.

    With an inductance that falls with the current the value at the lowest inductance is an upper
    bound: while the current rises, di/dv = C (E - R i - v) / (L(i) i) falls with L at each point
    of the plane of v and i, so the path with less inductance lies above.
    """
    z = damping_ratio(resistance, inductance, capacitance)
    below = _peak_ringing(step, inductance, capacitance, z)
    above = _peak_creeping(step, resistance, z)
    return where(z < 1.0, below, above)


def _peak_ringing(step: V, inductance: H, capacitance: F, damping: ratio) -> A:
    """Return the highest current where the circuit rings."""
    t = _tangent(damping)
    return step * sqrt(capacitance / inductance) * exp(-t * (pi / 2 - atan(t)))


def _peak_creeping(step: V, resistance: ohm, damping: ratio) -> A:
    """Return the highest current where the circuit creeps."""
    creeping = maximum(damping, 1 + CRITICAL)
    root = sqrt((creeping - 1) * (creeping + 1))
    p = creeping + root
    return step / resistance * (1 + 1 / (p * p)) * exp(-log1prel(2 * root * p))


def time_of_peak(resistance: ohm, inductance: H, capacitance: F) -> s:
    """Return when the current is highest, in s after the step."""
    z = damping_ratio(resistance, inductance, capacitance)
    return phase_of_peak(z) / natural_frequency(inductance, capacitance)


def load_gain(damping: ratio) -> ratio:
    """Return how many times a load's current can appear in the inductor, for any course of it.

    A load across the capacitor that takes from 0 to I at any time adds to the inductor's current
    what the step response rises by, each rise counted and no fall. With the overshoot o the rises
    are (1 + o) (1 + o^2 + o^4 + ...) = 1 / (1 - o); the sum of a geometric series.
    """
    return 1 / (1 - overshoot(damping))


def peak_after_gap(load: A, gap: s, inductance: H, capacitance: F) -> A:
    """Return an upper bound of the current after a lost contact of so many s under a steady load.

    At its end the current is off its steady value by the load's, I, and the voltage by I gap / C.
    Resistance lets the energy of the two, L i^2/2 + C v^2/2, only fall, so the current swings to
    the other side by at most I sqrt(1 + gap^2 / (L C)) (conservation of energy).
    """
    return load * (1 + sqrt(1 + gap * gap / (inductance * capacitance)))


def damping_with_constant_power(damping: ratio, stability: ratio) -> ratio:
    """Return the damping ratio while a load takes constant power, for small swings.

    Its conductance -P/U^2 takes from R/L, so z (1 - 1/S), where S = R C U^2 / (L P); the frequency
    falls too, by sqrt(1 - R P / U^2), which is left out: on the safe side. At least 0.01.
    """
    return maximum(damping * (1 - 1 / stability), 0.01)


def settling_time(damping: ratio, natural: rad_per_s, band: ratio) -> s:
    """Return a time in s after which the voltage stays within a share of the step from its end.

    By the envelope, so the first time may be earlier: e^(-z w0 t)/sqrt(1 - z^2) where it rings, and
    the slower exponential p2/(p2 - p1) e^(-p1 t) where it creeps.
    """
    ringing = minimum(damping, 1 - CRITICAL)
    root = sqrt((1 - ringing) * (1 + ringing))
    below = log(1 / (band * root)) / ringing
    creeping = maximum(damping, 1 + CRITICAL)
    spread = sqrt((creeping - 1) * (creeping + 1))
    fast = creeping + spread  # fast pole over w0; the slow one is 1 / fast
    above = log(fast / (2 * spread * band)) * fast
    return where(damping < 1.0, below, above) / natural


def energy_lost(capacitance: F, step: V) -> J:
    """Return the energy in J that the resistance turns to heat, C V^2/2, whatever resistance it is.

    The source gives C V^2 and half of it is stored (Alexander and Sadiku, chapter 6, with the
    charge C V at the voltage V of the source).
    """
    return capacitance * step * step / 2


def moment_after(
    time: s,
    source: V,
    resistance: ohm,
    inductance: H,
    capacitance: F,
    start: Moment = AT_REST,
) -> Moment:
    """Return the state a time in s after the step, from any state at the step; for curves.

    With x = v - E and a = R/(2 L): x = e^(-a t) (x0 c + (x0' + a x0) s), and
    x' = e^(-a t) (x0' c - (w0^2 x0 + a x0') s), where c and s are cos(w t) and sin(w t)/w, or 1 and
    t, or cosh(b t) and sinh(b t)/b.
    """
    a, natural = resistance / (2 * inductance), natural_frequency(inductance, capacitance)
    c, s = _decaying(time, a, natural)
    x, slope = start.voltage - source, start.current / capacitance
    return Moment(
        voltage=source + x * c + (slope + a * x) * s,
        current=capacitance * (slope * c - (natural * natural * x + a * slope) * s),
    )


def _decaying(time: float, a: float, natural: float) -> tuple[float, float]:
    """Return e^(-a t) times c and s."""
    if a == natural:
        return math.exp(-a * time), time * math.exp(-a * time)
    if a < natural:
        w = math.sqrt((natural - a) * (natural + a))
        decay = math.exp(-a * time)
        return decay * math.cos(w * time), decay * math.sin(w * time) / w
    b = math.sqrt((a - natural) * (a + natural))
    slow, fast = math.exp(-natural * natural / (a + b) * time), math.exp(-(a + b) * time)
    return (slow + fast) / 2, (slow - fast) / (2 * b)
