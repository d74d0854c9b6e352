"""A preloaded bolted joint: stiffness, preload and its scatter, margins of safety.

SI units: m, N, N m, Pa, K. A margin of safety is allowable load over load with its factors, less
one: a number without unit, not below zero where the part holds. Sources: ECSS-E-HB-32-23A, Threaded
fasteners handbook, VDI 2230 and NASA-STD-5020 (each from memory), and Budynas and Nisbett,
Shigley's Mechanical Engineering Design, chapter 8. Nothing here releases a joint for lifting or
pressure.
"""

from __future__ import annotations

from closeout.math import exp, hypot, log, pi, power, sqrt
from closeout.units import N, N_m, N_per_m, Pa, m, m2, ratio

THREAD_DEPTH = 0.9382  # of the pitch; ISO 898-1, nominal stress area
SHEAR_STRENGTH = 0.6  # of the tensile strength (common practice, no source)
CONE = 0.57735  # tangent of the half angle of the pressure cone, 30 deg (Shigley)


def stress_area(diameter: m, pitch: m) -> m2:
    """Return the nominal stress area of a metric thread: pi/4 (d - 0.9382 p)^2 (ISO 898-1)."""
    return pi / 4.0 * power(diameter - THREAD_DEPTH * pitch, 2)


def bolt_stiffness(elastic_modulus: Pa, area: m2, length: m) -> N_per_m:
    """Return the stiffness of a bolt that is threaded over its grip: E A / L."""
    return elastic_modulus * area / length


def frustum_stiffness(elastic_modulus: Pa, diameter: m, head_diameter: m, thickness: m) -> N_per_m:
    """Return the stiffness of one clamped part, the frustum of a cone of pressure.

    Shigley, equation 8-20, with a half angle of 30 deg: pi E d tan(30 deg) over the logarithm of
    ((2 t tan + D - d)(D + d)) / ((2 t tan + D + d)(D - d)); D is the smaller end.
    """
    spread = 2.0 * CONE * thickness
    wide = (spread + head_diameter - diameter) * (head_diameter + diameter)
    narrow = (spread + head_diameter + diameter) * (head_diameter - diameter)
    return CONE * pi * elastic_modulus * diameter / log(wide / narrow)


def load_share(bolt: N_per_m, clamped: N_per_m) -> ratio:
    """Return the highest share of an outer tension that the bolt takes: k_b / (k_b + k_c).

    It is that of a tension that acts under head and nut, and of a bolt without the flexibility of
    its head and thread: an upper bound, safe for the stress of the bolt. It is unsafe for the
    clamping force, which :func:`gapping_margin` and :func:`slip_margin` take as losing everything.
    """
    return bolt / (bolt + clamped)


def thread_arm(diameter: m, pitch: m, friction: ratio) -> m:
    """Return the torque in the thread for a unit of preload, in m: 0.16 p + 0.58 d2 mu.

    With the pitch diameter d2 = d - 0.6495 p (ISO 68-1). VDI 2230 (from memory): the helix, p/(2
    pi), and friction on flanks of 60 deg, d2 mu/(2 cos 30 deg).
    """
    return 0.16 * pitch + 0.58 * (diameter - 0.6495 * pitch) * friction


def collar_arm(head_diameter: m, hole_diameter: m, friction: ratio) -> m:
    """Return the torque under the head for a unit of preload, in m: (D + d_h)/4 x mu.

    Friction at the mean radius of the ring between hole and edge of the head; VDI 2230 (from
    memory).
    """
    return (head_diameter + hole_diameter) / 4.0 * friction


def preload_of_torque(torque: N_m, thread: m, collar: m) -> N:
    """Return the preload of a torque that turns thread and collar: F = T / (thread + collar).

    The arms are those of :func:`thread_arm` and :func:`collar_arm`; their sum over the diameter is
    the nut factor K of other texts. VDI 2230 (from memory).
    """
    return torque / (thread + collar)


def thermal_preload(
    expansion_difference: float, warming: float, bolt: N_per_m, clamped: N_per_m, length: m
) -> N:
    """Return how far a change of temperature moves the preload, of parts unlike the bolt.

    Difference of the coefficients of expansion x kelvins x grip x k_b k_c / (k_b + k_c).
    """
    return expansion_difference * warming * length * bolt * clamped / (bolt + clamped)


def torsion_stress(torque: N_m, diameter: m, pitch: m) -> Pa:
    """Return the shear stress of a torque in the shank, at the surface of the stress section.

    16 T/(pi d_s^3) with the diameter d_s of the stress area: elastic, so above the plastic value
    of VDI 2230 by a third, on the safe side.
    """
    return 16.0 * torque / (pi * power(diameter - THREAD_DEPTH * pitch, 3))


def tightening_margin(strength: Pa, area: m2, preload: N, torsion: Pa) -> ratio:
    """Return the margin of a bolt against yield while it is tightened, at its highest preload.

    sigma_y / sqrt(sigma^2 + 3 tau^2) - 1 (von Mises) with the whole torsion of the thread: what the
    tool puts in less what the collar takes. Nothing acts from outside then, so there is no factor.
    VDI 2230, ECSS-E-HB-32-23A (both from memory).
    """
    return strength / hypot(preload / area, sqrt(3.0) * torsion) - 1.0


def yield_margin(
    strength: Pa,
    area: m2,
    preload: N,
    tension: N,
    share: ratio,
    torsion: Pa,
    factor: ratio,
) -> ratio:
    """Return the margin of a bolt against yield in service, at its highest preload.

    sigma_y / sqrt(sigma^2 + 3 (tau/2)^2) - 1 (von Mises), with sigma A = F_preload + share x F x
    factor: the factor is on the load from outside, the preload has its own scatter. Half of the
    torsion by tightening is left in service; all of it counts in :func:`tightening_margin`.
    ECSS-E-HB-32-23A, VDI 2230 (both from memory).
    """
    pulled = (preload + share * tension * factor) / area
    return strength / hypot(pulled, sqrt(0.75) * torsion) - 1.0


def combined_margin(
    strength: Pa,
    area: m2,
    preload: N,
    tension: N,
    share: ratio,
    shear: N,
    factor: ratio,
) -> ratio:
    """Return a lower bound of the margin of a bolt in tension that takes the whole shear as well.

    1 / sqrt(R_t^2 + R_s^1.2) - 1, with the ratios of load to allowable; the shear plane cuts the
    thread, for which NASA-STD-5020 (from memory) has R_t^2 + R_s^1.2 at most 1. Where the margin m
    is above zero, (1 + m)^1.2 is at most (1 + m)^2, so that this root is at most the true one; the
    sign is the true one. A bolt in a joint that does not slip sees no shear: on the safe side.
    """
    pulled = (preload + share * tension * factor) / (strength * area)
    sheared = shear * factor / (SHEAR_STRENGTH * strength * area)
    return 1.0 / sqrt(power(pulled, 2) + exp(1.2 * log(sheared))) - 1.0


def gapping_margin(preload: N, tension: N, factor: ratio) -> ratio:
    """Return a lower bound of the margin against gapping, at the lowest preload: F_V/(F x factor).

    The whole outer tension is taken off the clamping force, as where it acts at the faces that are
    clamped (VDI 2230, from memory: load introduction factor 0). Where the bolt takes a share, less
    is taken off: safe for gapping and slip.
    """
    return preload / (tension * factor) - 1.0


def slip_margin(preload: N, tension: N, shear: N, friction: ratio, factor: ratio) -> ratio:
    """Return a lower bound of the margin against slip, at the lowest preload.

    Friction x clamping force, over shear x factor. The whole outer tension, with the factor too, is
    taken off the clamping force, as in :func:`gapping_margin`.
    """
    clamping = preload - tension * factor
    return friction * clamping / (shear * factor) - 1.0
