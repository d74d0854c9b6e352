"""Margin of the S-band downlink at each ground station, and mode by mode at the weakest one."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, NamedTuple

from analyses.physics import radio
from analyses.physics.dvbs2 import Mode, read_modes
from analyses.physics.stations import Station, read_stations
from closeout import analysis
from closeout.math import minimum
from closeout.units import K, MHz, Msymbol_s, Unit, W, dB, dB_per_K, dBic, dBW, deg, km

DATA = Path(__file__).parent / "data"

dB_W_per_K = Annotated[float, Unit("dB(W/K)")]
StationDecibel = Annotated[Mapping[str, float], Unit("dB")]


class LinkBudget(NamedTuple):
    peak_eirp: dBW  # on the antenna's axis
    attitude_loss: dB  # from the axis to the line of sight
    slant_range: km
    path_loss: dB  # free space
    gas_loss: StationDecibel
    rain_loss: StationDecibel  # rain and cloud
    scintillation_loss: StationDecibel
    station_pointing_loss: StationDecibel
    polarisation_loss: StationDecibel
    system_noise: Annotated[Mapping[str, float], Unit("K")]  # at the antenna flange
    g_over_t: Annotated[Mapping[str, float], Unit("dB/K")]  # at the antenna flange
    es_n0: StationDecibel
    required_es_n0: StationDecibel  # ideal, of the planned mode
    link_margin: StationDecibel
    bit_rate: Annotated[Mapping[str, float], Unit("Mbit/s")]  # user bits in the planned mode


class ModeMargins(NamedTuple):
    mode_margin: Annotated[Mapping[str, float], Unit("dB")]  # at the weakest station
    mode_bit_rate: Annotated[Mapping[str, float], Unit("Mbit/s")]


class Receiver(NamedTuple):
    """What one station adds to the budget, in the same units."""

    gas_loss: dB
    rain_loss: dB
    scintillation_loss: dB
    pointing_loss: dB
    polarisation_loss: dB
    system_noise: K
    g_over_t: dB_per_K

    @property
    def losses(self) -> dB:
        """Return the sum of the losses on the way into the receiver, in dB."""
        air = self.gas_loss + self.rain_loss + self.scintillation_loss
        return air + self.pointing_loss + self.polarisation_loss


@analysis(validated_by="tests/analyses/test_link_margin.py")
def link_margin(
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
    link_elevation: deg,
    stage_geometric_altitude: km,
) -> LinkBudget:
    """Margin of the downlink at each ground station in its planned DVB-S2 mode, line by line.

    Model: Es/N0 = EIRP - losses + G/T - k - 10 log10(symbol rate); the margin is what is left
    above the ideal Es/N0 of the mode and the implementation loss. Es/N0 goes with the symbol rate,
    not with the bit rate, and not with the occupied bandwidth. G and T have one reference plane,
    the station's antenna flange, in front of line and low-noise amplifier.

    Sources: free space ITU-R P.525; ideal Es/N0 and bits per symbol ETSI EN 302 307-1, Table 13;
    noise chain by Friis' formula with noise figures at 290 K; sky noise and scintillation against
    elevation ITU-R P.618, gases ITU-R P.676 (values at 5 deg stand in the station table, and go
    with the cosecant). Rain, cloud and gas take signal and add noise. Main lobes are quadratic,
    12 (angle/beamwidth)^2, a common practice. Spherical Earth, no refraction.

    Assumptions: the gain is the one at the attitude, peak gain less the fall over the angle between
    antenna axis and line of sight. The stage turns; in how much of a turn it offers that angle, and
    what comes down in it, is downlink_strategy's. Gain is in dBic, for a
    circular wave; the polarisation loss is the one at the worst tilt of two ellipses of one sense,
    so a linear feed costs 3 dB and the axial ratio on top. Station pointing error holds what the
    dispersion of the trajectory leaves. White noise and an acquired carrier: acquisition at Doppler
    and Doppler rate is carrier_doppler's.

    Not covered: interference, multipath off the ground and the stage, the plume, sun in the beam,
    horizon masks (a station is taken as if it saw the stage), ionospheric scintillation, and the
    keyhole of a dish at the zenith.

    Caution: radiate only under the licence and inside the keep-out distance of the launch site's
    procedure; the launcher's range-safety receiver goes first. The radio authority decides, not
    this number.
    """
    modes = read_modes(DATA / "dvbs2_modes.csv")
    stations = read_stations(DATA / "stations.csv")
    eirp = radio.to_db(transmit_power) - transmit_feeder_loss + antenna_peak_gain
    attitude_loss = radio.beam_loss(antenna_off_axis, antenna_beamwidth)
    distance = radio.slant_range(stage_geometric_altitude, link_elevation)
    path_loss = radio.free_space_loss(carrier_frequency, distance)
    received = eirp - attitude_loss - path_loss
    floor = noise_floor(symbol_rate)
    receivers = {
        name: receiver_at(
            station,
            carrier_frequency,
            antenna_axial_ratio,
            station_pointing_error,
            station_g_over_t_error,
            link_elevation,
        )
        for name, station in stations.items()
    }
    es_n0 = {n: received - r.losses + r.g_over_t - floor for n, r in receivers.items()}
    planned = {name: planned_mode(modes, name, station) for name, station in stations.items()}
    return LinkBudget(
        peak_eirp=eirp,
        attitude_loss=attitude_loss,
        slant_range=distance,
        path_loss=path_loss,
        gas_loss={n: r.gas_loss for n, r in receivers.items()},
        rain_loss={n: r.rain_loss for n, r in receivers.items()},
        scintillation_loss={n: r.scintillation_loss for n, r in receivers.items()},
        station_pointing_loss={n: r.pointing_loss for n, r in receivers.items()},
        polarisation_loss={n: r.polarisation_loss for n, r in receivers.items()},
        system_noise={n: r.system_noise for n, r in receivers.items()},
        g_over_t={n: r.g_over_t for n, r in receivers.items()},
        es_n0=es_n0,
        required_es_n0={n: mode.ideal_es_n0 for n, mode in planned.items()},
        link_margin={
            n: es_n0[n] - implementation_loss - mode.ideal_es_n0 for n, mode in planned.items()
        },
        bit_rate={n: symbol_rate * mode.spectral_efficiency for n, mode in planned.items()},
    )


@analysis(validated_by="tests/analyses/test_link_margin.py")
def mode_margin(
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
    link_elevation: deg,
    stage_geometric_altitude: km,
) -> ModeMargins:
    """Margin and user bit rate of each DVB-S2 mode, at the station that receives least.

    The budget of link_margin with the mode left open: which modes the operators may step to when
    a pass is better or worse than planned, whichever station it is over. Model, sources,
    assumptions, gaps and caution are those of link_margin. User bits are without pilots; with
    pilots they are about 2.4 % fewer.
    """
    budget = link_margin(
        carrier_frequency,
        transmit_power,
        transmit_feeder_loss,
        antenna_peak_gain,
        antenna_beamwidth,
        antenna_off_axis,
        antenna_axial_ratio,
        symbol_rate,
        implementation_loss,
        station_pointing_error,
        station_g_over_t_error,
        link_elevation,
        stage_geometric_altitude,
    )
    first, *others = budget.es_n0.values()
    weakest = first
    for es_n0 in others:
        weakest = minimum(weakest, es_n0)
    left = weakest - implementation_loss
    modes = read_modes(DATA / "dvbs2_modes.csv")
    return ModeMargins(
        mode_margin={name: left - mode.ideal_es_n0 for name, mode in modes.items()},
        mode_bit_rate={n: symbol_rate * mode.spectral_efficiency for n, mode in modes.items()},
    )


def planned_mode(modes: Mapping[str, Mode], name: str, station: Station) -> Mode:
    """Return the planned mode of a station."""
    if station.mode not in modes:
        raise ValueError(f"stations.csv: mode {station.mode!r} of {name} is not in dvbs2_modes.csv")
    return modes[station.mode]


def noise_floor(symbol_rate: Msymbol_s) -> dB_W_per_K:
    """Return the noise in the bandwidth of a symbol for each kelvin: 10 log10(k Rs)."""
    return radio.BOLTZMANN + radio.to_db(symbol_rate) + 60.0


def receiver_at(
    station: Station,
    frequency: MHz,
    axial_ratio: dB,
    pointing_error: deg,
    g_over_t_error: dB,
    elevation: deg,
) -> Receiver:
    """Return the lines of the budget that belong to one station; MHz, dB, deg, dB, deg."""
    gas = radio.at_elevation(station.gas_5deg_db, elevation)
    rain = radio.at_elevation(station.rain_5deg_db, elevation)
    beamwidth = radio.dish_beamwidth(station.dish_m, frequency)
    noise = system_noise(station, gas + rain, elevation)
    gain = radio.dish_gain(station.dish_m, frequency, station.efficiency)
    return Receiver(
        gas_loss=gas,
        rain_loss=rain,
        scintillation_loss=radio.scintillation_at_elevation(
            station.scintillation_5deg_db, elevation
        ),
        pointing_loss=radio.beam_loss(pointing_error, beamwidth),
        polarisation_loss=radio.polarisation_loss(axial_ratio, station.feed_axial_ratio_db),
        system_noise=noise,
        g_over_t=gain - radio.to_db(noise) + g_over_t_error,
    )


def system_noise(station: Station, attenuation: dB, elevation: deg) -> K:
    """Return a station's noise temperature in K at its antenna flange.

    Sky behind the attenuation (dB) of gas, rain and cloud, ground in the side lobes, and the chain
    of line, low-noise amplifier, cable and receiver.
    """
    antenna = radio.sky_noise(attenuation) + radio.spillover_noise(
        station.spillover_5deg_k, station.spillover_zenith_k, elevation
    )
    chain = radio.cascade_noise(
        [
            (radio.noise_of_loss(station.line_loss_db), -station.line_loss_db),
            (radio.noise_of_figure(station.lna_noise_figure_db), station.lna_gain_db),
            (radio.noise_of_loss(station.cable_loss_db), -station.cable_loss_db),
            (radio.noise_of_figure(station.receiver_noise_figure_db), 0.0),
        ]
    )
    return antenna + chain
