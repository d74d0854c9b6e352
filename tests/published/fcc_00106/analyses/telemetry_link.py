"""Telemetry link of the public filing SAT-MOD-20050523-00106."""

from typing import NamedTuple

from closeout import analysis
from closeout.units import MHz, dB, dB_Hz, dB_per_K, dBW, km

BOLTZMANN = -228.6  # dB(W/(K Hz)), rounded as link budgets print it
FREE_SPACE = 32.447783  # dB at 1 MHz and 1 km, ITU-R P.525


class TelemetryLink(NamedTuple):
    implied_range: km  # at which free space alone has the printed path loss
    carrier_to_noise: dB
    margin: dB


@analysis(validated_by="tests/analyses/test_published_budgets.py")
def telemetry_link(
    carrier_frequency: MHz,
    transmit_eirp: dBW,
    path_loss: dB,
    receive_g_over_t: dB_per_K,
    noise_bandwidth: dB_Hz,
    required_carrier_to_noise: dB,
) -> TelemetryLink:
    """Margin of a telemetry link from the lines of its printed budget.

    Model: C/N = EIRP - path loss + G/T - k - bandwidth, all in dB. The path loss is taken as it is
    printed; the distance at which free space alone would have it (ITU-R P.525) shows that loss and
    frequency belong together. Nominal values only, as the filing prints no tolerance.
    """
    above_1_mhz_km = path_loss - FREE_SPACE
    distance = 10.0 ** (above_1_mhz_km / 20.0) / carrier_frequency
    carrier_to_noise = transmit_eirp - path_loss + receive_g_over_t - BOLTZMANN - noise_bandwidth
    return TelemetryLink(distance, carrier_to_noise, carrier_to_noise - required_carrier_to_noise)
