"""Pattern of a patch antenna off its axis: gain that falls, circle that becomes a line.

Angles in deg, ratios in dB. Nothing is counted behind the antenna's plane (90 deg and more): there
the structure that it is mounted on decides.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from math import inf

from analyses.physics import radio
from closeout.math import cos, log, log10, maximum
from closeout.units import dB, dBi, deg, ratio

DATA_SHEET_CONE = (
    30.0  # deg; inside it the stated axial ratio holds (parameter antenna_axial_ratio)
)
EDGE = 89  # deg, the last of the table of losses


def lobe_exponent(beamwidth: deg) -> ratio:
    """Return the exponent n of the power pattern cos(angle)^n with a full width at half power.

    n = log(1/2) / log(cos(beamwidth / 2)). A short dipole across its axis has 90 deg and n = 2.
    """
    return log(0.5) / log(cos(radio.radians(0.5 * beamwidth)))


def cosine_loss(offset: deg, beamwidth: deg) -> dB:
    """Return in dB how far the gain of a lobe cos(angle)^n falls at an angle from its axis."""
    return -10.0 * lobe_exponent(beamwidth) * log10(cos(radio.radians(offset)))


def lobe_directivity(exponent: ratio) -> dBi:
    """Return the directivity in dBi of cos(angle)^n into one half space: 2 (n + 1)."""
    return radio.to_db(2.0 * (exponent + 1.0))


def pattern_loss(offset: deg, beamwidth: deg) -> dB:
    """Return in dB how far the gain falls: the greater of the quadratic and the cosine lobe.

    Both have their half power at the same angle (3.00 dB and 3.01 dB). Inside of it the quadratic
    one falls more and is that of the link budget; outside of it the cosine one, which ends at
    90 deg as a patch on a plane does, while the quadratic one would leave gain to the back.
    """
    return maximum(radio.beam_loss(offset, beamwidth), cosine_loss(offset, beamwidth))


def axial_ratio(on_axis: dB, offset: deg) -> dB:
    """Return the axial ratio in dB at an angle from the axis.

    Two crossed dipoles fed in quadrature, the form of every circular patch, have 1 / cos(angle):
    seen from the side one of them vanishes. Inside the cone of the data sheet its value holds; the
    growth from there on comes on top.
    """
    growth = 20.0 * log10(cos(radio.radians(DATA_SHEET_CONE)) / cos(radio.radians(offset)))
    return on_axis + maximum(growth, 0.0)


def off_axis_losses(beamwidth: deg, on_axis_ratio: dB, feed_ratio: dB) -> list[dB]:
    """Return the losses in dB of gain and polarisation together at 0, 1, 2 ... 89 deg.

    ``feed_ratio`` is the axial ratio of the receiving antenna. They grow with the angle.
    """
    return [
        pattern_loss(float(angle), beamwidth)
        + radio.polarisation_loss(axial_ratio(on_axis_ratio, float(angle)), feed_ratio)
        for angle in range(EDGE + 1)
    ]


def reach(losses: Sequence[dB], allowed: dB) -> deg | None:
    """Return how far from its axis in deg the antenna may point; None where not even on its axis.

    ``losses`` are those of :func:`off_axis_losses`. Straight lines between whole degrees lie above
    the curve, so the reach is not too wide.
    """
    if allowed < losses[0]:
        return None
    last = bisect_right(losses, allowed) - 1
    if last == EDGE:
        return float(EDGE)
    return last + (allowed - losses[last]) / (losses[last + 1] - losses[last])


def loss_at(losses: Sequence[dB], offset: deg) -> dB:
    """Return the loss in dB at an angle in deg from the axis, on the lines that `reach` follows.

    ``losses`` are those of :func:`off_axis_losses`; beyond their end nothing is counted: infinite.
    """
    degree = int(offset)
    if degree >= EDGE:
        return losses[EDGE] if offset == EDGE else inf
    return losses[degree] + (offset - degree) * (losses[degree + 1] - losses[degree])
