"""A preloaded bolted joint: stiffness, preload and its scatter, margins of safety.

SI units: m, N, N m, Pa, K. A margin of safety is allowable load over load with its factors, less
one: a number without unit, not below zero where the part holds. Sources: ECSS-E-HB-32-23A, Threaded
fasteners handbook (from memory), and Budynas and Nisbett, Shigley's Mechanical Engineering Design,
chapter 8. Nothing here releases a joint for lifting or pressure.
"""

from __future__ import annotations

from closeout.math import hypot, log, pi, power, sqrt

THREAD_DEPTH = 0.9382  # of the pitch; ISO 898-1, nominal stress area
SHEAR_STRENGTH = 0.6  # of the tensile strength (common practice, no source)
CONE = 0.57735  # tangent of the half angle of the pressure cone, 30 deg (Shigley)


def stress_area(diameter: float, pitch: float) -> float:
    """Return the nominal stress area of a metric thread: pi/4 (d - 0.9382 p)^2 (ISO 898-1)."""
    return pi / 4.0 * power(diameter - THREAD_DEPTH * pitch, 2)


def bolt_stiffness(elastic_modulus: float, area: float, length: float) -> float:
    """Return the stiffness of a bolt that is threaded over its grip: E A / L."""
    return elastic_modulus * area / length


def frustum_stiffness(
    elastic_modulus: float, diameter: float, head_diameter: float, thickness: float
) -> float:
    """Return the stiffness of one clamped part, the frustum of a cone of pressure.

    Shigley, equation 8-20, with a half angle of 30 deg: pi E d tan(30 deg) over the logarithm of
    ((2 t tan + D - d)(D + d)) / ((2 t tan + D + d)(D - d)); D is the smaller end.
    """
    spread = 2.0 * CONE * thickness
    wide = (spread + head_diameter - diameter) * (head_diameter + diameter)
    narrow = (spread + head_diameter + diameter) * (head_diameter - diameter)
    return CONE * pi * elastic_modulus * diameter / log(wide / narrow)


def load_share(bolt: float, clamped: float) -> float:
    """Return the share of an outer tension that the bolt takes: k_b / (k_b + k_c)."""
    return bolt / (bolt + clamped)


def preload_of_torque(torque: float, nut_factor: float, diameter: float) -> float:
    """Return the preload of a torque: F = T / (K d), with the nut factor K of the lubrication."""
    return torque / (nut_factor * diameter)


def thermal_preload(
    expansion_difference: float, warming: float, bolt: float, clamped: float, length: float
) -> float:
    """Return how far a change of temperature moves the preload, of parts unlike the bolt.

    Difference of the coefficients of expansion x kelvins x grip x k_b k_c / (k_b + k_c).
    """
    return expansion_difference * warming * length * bolt * clamped / (bolt + clamped)


def torsion_stress(preload: float, diameter: float, pitch: float, friction: float) -> float:
    """Return the shear stress in the thread by tightening, at the surface of the stress section.

    Torque of the thread F (0.16 p + 0.58 d2 mu) with d2 = d - 0.6495 p (VDI 2230, from memory; ISO
    68-1), over pi d_s^3/16 with the diameter d_s of the stress area.
    """
    torque = preload * (0.16 * pitch + 0.58 * (diameter - 0.6495 * pitch) * friction)
    return 16.0 * torque / (pi * power(diameter - THREAD_DEPTH * pitch, 3))


def yield_margin(
    strength: float,
    area: float,
    preload: float,
    tension: float,
    share: float,
    torsion: float,
    factor: float,
) -> float:
    """Return the margin of a bolt against yield, at its highest preload.

    sigma_y / sqrt(sigma^2 + 3 (tau/2)^2) - 1 (von Mises), with sigma A = F_preload + share x F x
    factor: the factor is on the load from outside, the preload has its own scatter. Half of the
    torsion by tightening is left in service. ECSS-E-HB-32-23A, VDI 2230 (both from memory).
    """
    pulled = (preload + share * tension * factor) / area
    return strength / hypot(pulled, sqrt(0.75) * torsion) - 1.0


def combined_margin(
    strength: float,
    area: float,
    preload: float,
    tension: float,
    share: float,
    shear: float,
    factor: float,
) -> float:
    """Return the margin of a bolt in tension that takes the whole shear as well.

    1 / sqrt(R_t^2 + R_s^2) - 1, with the ratios of load to allowable; the shear plane cuts the
    thread. A bolt in a joint that does not slip sees no shear: this is on the safe side.
    """
    pulled = (preload + share * tension * factor) / (strength * area)
    sheared = shear * factor / (SHEAR_STRENGTH * strength * area)
    return 1.0 / hypot(pulled, sheared) - 1.0


def gapping_margin(preload: float, tension: float, share: float, factor: float) -> float:
    """Return the margin against gapping, at the lowest preload.

    The joint opens where (1 - share) x F x factor takes off the whole preload.
    """
    return preload / ((1.0 - share) * tension * factor) - 1.0


def slip_margin(
    preload: float, tension: float, share: float, shear: float, friction: float, factor: float
) -> float:
    """Return the margin against slip, at the lowest preload.

    Friction x clamping force, which the tension from outside lowers, over shear x factor. Tension
    counts with the factor too.
    """
    clamping = preload - (1.0 - share) * tension * factor
    return friction * clamping / (shear * factor) - 1.0
