"""Power flux density of the downlink at the ground, against the limits of the Radio Regulations."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

from analyses.physics import radio
from analyses.physics.csv_table import number, read_rows
from closeout import analysis
from closeout.math import minimum, table
from closeout.units import MHz, Msymbol_s, Unit, W, dB, dBic, dBW, kHz, km, ratio

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DATA = Path(__file__).parent / "data"
ELEVATIONS = (0, 5, 10, 15, 20, 25, 30, 45, 60, 75, 90)  # deg; the limit bends at 5 and 25

ByElevation = Annotated[Mapping[str, float], Unit("dB")]
Density = Annotated[Mapping[str, float], Unit("dB(W/m^2/4kHz)")]


class GroundFlux(NamedTuple):
    highest_eirp: dBW  # in whatever direction
    spreading: dB  # share of the power that falls in 4 kHz, modulated
    flux_limit: Density
    flux_density: Density  # modulated
    flux_margin: ByElevation
    unmodulated_flux_density: Density
    unmodulated_flux_margin: ByElevation
    band_clearance: MHz  # from the occupied band to the nearest edge of the allocated one


class FluxLimits(NamedTuple):
    """The limits of one band: edges in MHz, bandwidth in kHz, points (deg, dB(W/m^2))."""

    band_low: MHz
    band_high: MHz
    bandwidth: kHz
    points: Sequence[tuple[float, float]]


@analysis(validated_by="tests/analyses/test_ground_flux.py")
def ground_flux(
    carrier_frequency: MHz,
    transmit_power: W,
    transmit_feeder_loss: dB,
    antenna_peak_gain: dBic,
    installed_gain_rise: dB,
    symbol_rate: Msymbol_s,
    roll_off: ratio,
    spectral_peaking: dB,
    stage_geometric_altitude: km,
) -> GroundFlux:
    """Power flux density at the ground in 4 kHz, modulated and not, against the limit by elevation.

    Model: EIRP - 10 log10(4 pi d^2), the share of it in 4 kHz, against the limit at the angle of
    arrival. This is the corner opposite to link_margin: the highest EIRP in whatever direction the
    stage may point (peak gain, and what reflections on the stage's structure add to it), the
    straight path from the altitude that is asked for, no loss in the air, by pointing or by
    polarisation. An attitude cannot make it worse.

    Sources: ITU Radio Regulations, Article 21, Table 21-4, 2200 MHz to 2300 MHz (from memory; in
    analyses/data/flux_limits.csv): the edition that the licence names holds. A signal shaped by a
    root raised cosine has a flat top of power / symbol rate, so the modulated share is
    4 kHz / symbol rate, raised by the ripple and lines that were allowed for. An unmodulated
    carrier has its whole power in 4 kHz. Spherical Earth, no refraction.

    Assumptions: the symbol rate is above 4 kHz, below that the modulated figure is too high. The
    occupied band is symbol rate x (1 + roll-off) around the carrier. Density rises with falling
    altitude, so the lowest altitude at which the transmitter is on has to be asked for.
    Between the elevations shown the margin dips at most 0.1 dB below its neighbours (from 200 km to
    500 km); the smallest of all is at the zenith, which is shown.

    Not covered: spurious emissions and harmonics, other bands and services, several transmitters at
    once, aggregate limits, and the coordination itself.

    Caution: radiate only under the licence and inside the keep-out distance of the launch site's
    procedure; the launcher's range-safety receiver goes first. The radio authority decides, not
    this number.
    """
    limits = read_limits(DATA / "flux_limits.csv")
    eirp = radio.to_db(transmit_power) - transmit_feeder_loss
    eirp = eirp + antenna_peak_gain + installed_gain_rise
    spreading = radio.to_db(limits.bandwidth * 1.0e-3) - radio.to_db(symbol_rate) + spectral_peaking
    whole = {
        f"{elevation} deg": radio.flux_density(
            eirp, radio.slant_range(stage_geometric_altitude, float(elevation))
        )
        for elevation in ELEVATIONS
    }
    limit = {f"{e} deg": table(float(e), limits.points) for e in ELEVATIONS}
    spread = {case: density + spreading for case, density in whole.items()}
    half = half_bandwidth(symbol_rate, roll_off)
    return GroundFlux(
        highest_eirp=eirp,
        spreading=spreading,
        flux_limit=limit,
        flux_density=spread,
        flux_margin={case: limit[case] - density for case, density in spread.items()},
        unmodulated_flux_density=whole,
        unmodulated_flux_margin={case: limit[case] - density for case, density in whole.items()},
        band_clearance=minimum(
            carrier_frequency - limits.band_low, limits.band_high - carrier_frequency
        )
        - half,
    )


def half_bandwidth(symbol_rate: Msymbol_s, roll_off: ratio) -> MHz:
    """Return half of the width that a shaped signal takes: Rs (1 + a)/2."""
    return 0.5 * symbol_rate * (1.0 + roll_off)


@ground_flux.figure
def flux_by_angle(
    carrier_frequency: MHz,
    transmit_power: W,
    transmit_feeder_loss: dB,
    antenna_peak_gain: dBic,
    installed_gain_rise: dB,
    symbol_rate: Msymbol_s,
    roll_off: ratio,
    spectral_peaking: dB,
    stage_geometric_altitude: km,
) -> Figure:
    """Power flux density at the ground in 4 kHz against the angle of arrival, at the inputs, with
    the limit of the Radio Regulations. Look at where the modulated curve is nearest to the limit
    (dots: angles that are judged); unmodulated, the whole carrier falls in 4 kHz. All data of the
    mission are invented.
    """
    from analyses import plotting

    found = ground_flux(
        carrier_frequency, transmit_power, transmit_feeder_loss, antenna_peak_gain,
        installed_gain_rise, symbol_rate, roll_off, spectral_peaking, stage_geometric_altitude,
    )  # fmt: skip
    angles = [float(angle) for angle in range(91)]
    whole = [
        radio.flux_density(found.highest_eirp, radio.slant_range(stage_geometric_altitude, angle))
        for angle in angles
    ]
    limits = read_limits(DATA / "flux_limits.csv")

    figure, (axes,) = plotting.panels()
    for color, line, text, curve, judged in (
        (plotting.BLUE, "-", "modulated", [d + found.spreading for d in whole], found.flux_density),
        (plotting.ORANGE, "-.", "unmodulated carrier", whole, found.unmodulated_flux_density),
    ):
        axes.plot(angles, curve, line, color=color, label=text)
        axes.plot(ELEVATIONS, list(judged.values()), "o", color=color, markersize=4)
    axes.plot(
        angles, [table(angle, limits.points) for angle in angles], "--", color=plotting.RED,
        label="limit",
    )  # fmt: skip
    axes.set_xticks(range(0, 91, 15))
    axes.set_xlabel("angle of arrival above the horizon (deg)")
    axes.set_ylabel("power flux density\n(dBW/m\N{SUPERSCRIPT TWO} in 4 kHz)")
    plotting.legend(figure)
    return figure


def read_limits(path: Path) -> FluxLimits:
    """Return the limits of the one band that the table holds.

    Raises:
        ValueError: the table holds several bands or bandwidths, or its elevations do not rise.
    """
    names = ("band_low_mhz", "band_high_mhz", "bandwidth_khz", "elevation_deg", "limit_dbw_m2")
    rows = [[number(path, row, name) for name in names] for row in read_rows(path, names)]
    points = [(row[3], row[4]) for row in rows]
    if any(row[:3] != rows[0][:3] for row in rows):
        raise ValueError(f"{path.name}: more than one band or bandwidth")
    if any(left[0] >= right[0] for left, right in pairwise(points)):
        raise ValueError(f"{path.name}: elevations do not rise")
    band_low, band_high, bandwidth = rows[0][:3]
    return FluxLimits(band_low, band_high, bandwidth, points)
