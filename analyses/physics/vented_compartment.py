"""Pressure inside a vented compartment of an ascending vehicle.

The local pressure at a vent is that of the free stream plus a pressure coefficient times the
dynamic pressure (definition of the coefficient, as in J. D. Anderson, Fundamentals of
Aerodynamics). The compartment follows it with a first-order lag, which holds as long as the
pressure difference is small against the pressure and the flow through the vent is proportional to
it. The flow of a sharp orifice goes with the root of the difference, so a lag that is matched to it
at the largest difference is late everywhere else.
"""

from __future__ import annotations

from collections.abc import Sequence

from closeout.math import exp
from closeout.units import ratio, s


def local_pressure(
    free_stream_pressure: float, dynamic_pressure: float, pressure_coefficient: ratio
) -> float:
    """Return the pressure at a vent, in the unit of the two pressures."""
    return free_stream_pressure + pressure_coefficient * dynamic_pressure


def follow(times: Sequence[s], outside: Sequence[float], time_constant: s) -> list[float]:
    """Return the inside pressure at each time, from equilibrium at the first one.

    tau dp/dt = outside - p, solved exactly for an outside pressure that runs straight between its
    points, so no step is too long for a short time constant. Times and time constant in s.

    Raises:
        ValueError: a negative time constant, or sequences of different length.
    """
    if time_constant < 0.0:
        raise ValueError(f"the time constant of a vent is {time_constant:g} s, below zero")
    if time_constant == 0.0:
        return list(outside)
    inside = [outside[0]]
    for i in range(1, len(times)):
        step = times[i] - times[i - 1]
        behind = time_constant * (outside[i] - outside[i - 1]) / step
        decay = exp(-step / time_constant)
        inside.append(outside[i] - behind + (inside[-1] - outside[i - 1] + behind) * decay)
    return inside
