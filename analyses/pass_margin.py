"""Margin of the link at the top of the pass of the station that is weakest at low elevation."""

from __future__ import annotations

from typing import NamedTuple

from analyses.link_margin import link_margin
from closeout import analysis
from closeout.units import MHz, Msymbol_s, W, dB, dBic, deg, km

STATION = "Razorbill"  # a linear feed, until its refit


class PassMargin(NamedTuple):
    margin_at_top: dB


@analysis(validated_by="tests/analyses/test_pass_margin.py")
def pass_margin(
    carrier_frequency: MHz,
    transmit_power: W,
    transmit_feeder_loss: dB,
    antenna_peak_gain: dBic,
    antenna_beamwidth: deg,
    antenna_off_axis: deg,
    antenna_axial_ratio: dB,
    symbol_rate: Msymbol_s,
    implementation_loss: dB,
    station_pointing_error: deg,
    station_g_over_t_error: dB,
    pass_elevation: deg,
    stage_geometric_altitude: km,
) -> PassMargin:
    """Compute the link margin in the planned mode at the highest elevation of one pass.

    **Model.** The budget of `link_margin` at one elevation, which is the highest that the station
    sees in its longest window (`station_windows`): the path is short there, and the losses of air
    and ground are small.

    **On the safe side.** The lowest of the highest elevations over the launcher's dispersion.
    Altitude is given apart from the elevation: the highest one makes the longest path.

    **Sources, assumptions, not covered, caution.** Those of `link_margin`. How long the stage stays
    there, and whether its antenna looks at the station then, is `downlink_strategy`'s.
    """
    budget = link_margin(
        carrier_frequency, transmit_power, transmit_feeder_loss, antenna_peak_gain,
        antenna_beamwidth, antenna_off_axis, antenna_axial_ratio, symbol_rate, implementation_loss,
        station_pointing_error, station_g_over_t_error, pass_elevation, stage_geometric_altitude,
    )  # fmt: skip
    return PassMargin(budget.link_margin[STATION])
