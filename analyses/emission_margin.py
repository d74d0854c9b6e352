"""Unwanted emission of the recorder against the limits of the launcher and the licence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

from analyses.physics import emission, radio
from analyses.physics.csv_table import number, read_rows
from closeout import analysis
from closeout.math import minimum
from closeout.units import MHz, Msymbol_s, Unit, W, dB, dBic, dBW, kHz, m, ratio

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DATA = Path(__file__).parent / "data"
TABLE_DISTANCE = 1.0  # m, at which radiated lines and limits are stated
ALONE = "transmitter alone"  # the place of a band that holds nothing else

Decibel = Annotated[Mapping[str, float], Unit("dB")]


class EmissionMargins(NamedTuple):
    """A case is a band of the table of limits and the frequency of a line in it.

    So the smallest margin names its place.
    """

    highest_eirp: dBW  # of the carrier, in whatever direction
    radiated_margin: Decibel
    carrier_margin: Decibel
    conducted_margin: Decibel


class OccupiedSpectrum(NamedTuple):
    occupied_bandwidth: MHz
    mask_margin: Decibel  # by offset from the carrier


class Band(NamedTuple):
    """A band with its limit at the two ends in dB; MHz and kHz."""

    kind: str
    low: MHz
    high: MHz
    low_limit: float
    high_limit: float
    bandwidth: kHz
    detector: str
    transmitter: dB | None  # dB to the carrier

    def limit(self, frequency: MHz) -> float:
        """Return the limit at a frequency in MHz inside the band."""
        return emission.limit_at(
            frequency, (self.low, self.low_limit), (self.high, self.high_limit)
        )


class Line(NamedTuple):
    """An emission of one unit as it was read; MHz, dB, kHz."""

    kind: str
    unit: str
    frequency: MHz
    level: float
    bandwidth: kHz
    detector: str
    character: str


@analysis(validated_by=("tests/analyses/test_emission_margin.py",))
def emission_margin(
    transmit_power: W,
    transmit_feeder_loss: dB,
    antenna_peak_gain: dBic,
    installed_gain_rise: dB,
    emission_reading_error: dB,
    flight_unit_spread: dB,
    emission_installed_rise: dB,
    receiver_distance: m,
) -> EmissionMargins:
    """Margin of radiated and conducted emission to its limit, band by band and line by line.

    **Model.** Limit less emission, in dB, at each line of `analyses/data/emission_lines.csv` and at
    the lower end of the limit in each band. Emissions of several units that lie within one
    bandwidth of the limit add up as amplitudes in phase (20 log), the upper bound; the
    transmitter's spurious and noise add up with them in each radiated band, also where no line is:
    EIRP in whatever direction, as in ground_flux, less the suppression that the table states as a
    bound. dBuV/m and dBuA are 20 log. A reading is raised to the bandwidth of the limit (lines not,
    noise by 10 log, pulses by 20 log of the ratio) and never lowered; a reading with a weaker
    detector than the limit's, and a line that no band holds, are refused. To each line come the
    error of the reading and the spread from unit to unit, and to radiated ones the reflections at
    the place where the recorder is installed; the transmitter's are in its installed gain.

    **The wanted carrier** has a case of its own: its field at the nearest receiver against what
    that stands. Carrier and spurious are counted in all bands, though the transmitter is off until
    after the last release: the range-safety receiver comes first, and this asks nothing of the
    inhibits.

    **Sources.** E = sqrt(30 P)/d (ITU-R P.525); sums of levels, any text; order of the detectors
    CISPR 16-1-1 (from memory). Limits: chapter 7 of the agreement, invented.

    **Assumptions.** Limits and lines are stated at 1 m; a receiver that is nearer is counted with
    20 dB a decade, which below 50 MHz (near field at 1 m) may be too little, and one further away
    with no gain. The antenna's gain outside its band is that on its axis. Lines of the engineering
    models are those of flight; the spread stands for the rest.

    **Not covered.** Lines that were not seen, intermodulation, the transmitter's own band
    (`occupied_spectrum`, `ground_flux`), susceptibility, electrostatic discharge, a harness that
    differs from the one in the test.

    **Caution.** Radiate only under the licence, inside the keep-out distance and with the consent
    of range safety. No inhibit is shown here. The launch authority decides on compatibility.
    """
    eirp, found = judged(
        transmit_power, transmit_feeder_loss, antenna_peak_gain, installed_gain_rise,
        emission_reading_error, flight_unit_spread, emission_installed_rise, receiver_distance,
    )  # fmt: skip
    margins: dict[str, dict[str, float]] = {"radiated": {}, "carrier": {}, "conducted": {}}
    for name, band, place, frequency, level, away in found:
        margins[band.kind][f"{name}, {place}"] = band.limit(frequency) - level - away
    return EmissionMargins(eirp, margins["radiated"], margins["carrier"], margins["conducted"])


@emission_margin.figure
def emission_lines(
    transmit_power: W,
    transmit_feeder_loss: dB,
    antenna_peak_gain: dBic,
    installed_gain_rise: dB,
    emission_reading_error: dB,
    flight_unit_spread: dB,
    emission_installed_rise: dB,
    receiver_distance: m,
) -> Figure:
    """Emission at each line (dots) and of the transmitter alone (crosses) with all that is added to
    the readings, against the limit of each band: radiated above, conducted below, at the inputs.
    Look at the shortest distance from a limit, and into the notches of the receivers. All data are
    invented.
    """
    from analyses import plotting

    _, found = judged(
        transmit_power, transmit_feeder_loss, antenna_peak_gain, installed_gain_rise,
        emission_reading_error, flight_unit_spread, emission_installed_rise, receiver_distance,
    )  # fmt: skip
    figure, panels = plotting.panels(2, height=6.4)
    for axes, kind, unit in zip(
        panels, ("radiated", "conducted"), ("dB\N{MICRO SIGN}V/m at 1 m", "dB\N{MICRO SIGN}A"),
        strict=True,
    ):  # fmt: skip
        shown = [one for one in found if one.band.kind == kind]
        for band in dict.fromkeys(one.band for one in shown):
            axes.plot(
                (band.low, band.high), (band.low_limit, band.high_limit), color=plotting.RED,
                label="limit",
            )  # fmt: skip
        for one in shown:
            reached = one.level + one.away
            axes.vlines(
                one.frequency, reached, one.band.limit(one.frequency), color=plotting.GREY,
                linewidth=0.8, label="margin",
            )  # fmt: skip
        for alone, mark, text in ((False, "o", "lines"), (True, "x", "transmitter alone")):
            points = [(x.frequency, x.level + x.away) for x in shown if (x.place == ALONE) == alone]
            if points:
                axes.plot(
                    *zip(*points, strict=True), mark, color=plotting.BLUE, markersize=5, label=text
                )
        axes.set_xscale("log")
        axes.set_xlabel("frequency (MHz)")
        axes.set_ylabel(f"{kind} emission\n({unit})")
    plotting.legend(figure)
    return figure


class Judged(NamedTuple):
    """An emission at a place of a band: MHz, dB; what a nearer receiver adds, in dB."""

    name: str  # of the band
    band: Band
    place: str
    frequency: MHz
    level: float
    away: dB


def judged(
    transmit_power: W,
    transmit_feeder_loss: dB,
    antenna_peak_gain: dBic,
    installed_gain_rise: dB,
    emission_reading_error: dB,
    flight_unit_spread: dB,
    emission_installed_rise: dB,
    receiver_distance: m,
) -> tuple[float, list[Judged]]:
    """Return the EIRP of the carrier, and what stands at each place; arguments as emission_margin.

    Raises:
        ValueError: as refuse_what_is_not_judged and sums.
    """
    bands = read_bands(DATA / "emission_limits.csv")
    lines = read_lines(DATA / "emission_lines.csv")
    refuse_what_is_not_judged(bands, lines)
    eirp = radio.to_db(transmit_power) - transmit_feeder_loss
    eirp = eirp + antenna_peak_gain + installed_gain_rise
    carrier = emission.field_of_eirp(eirp, TABLE_DISTANCE)
    error = emission_reading_error + flight_unit_spread
    nearer = emission.at_distance(0.0, TABLE_DISTANCE, minimum(receiver_distance, TABLE_DISTANCE))
    found: list[Judged] = []
    for name, band in bands.items():
        away = 0.0 if band.kind == "conducted" else nearer
        rise = error + emission_installed_rise if band.kind == "radiated" else error
        background = [] if band.transmitter is None else [carrier + band.transmitter]
        found += [Judged(name, band, *one, away) for one in sums(band, lines, rise, background)]
    return eirp, found


def sums(
    band: Band, lines: Sequence[Line], rise: dB, background: Sequence[float]
) -> list[tuple[str, float, float]]:
    """Return (place, MHz, dB) of what stands at each line of a band, and of the background alone.

    The background alone is taken where the limit is lowest.

    Args:
        band: the band with its limit.
        lines: all lines; those of the band's kind that lie in it are used.
        rise: what is added to the level of each line, in dB.
        background: levels that stand everywhere in the band.

    Raises:
        ValueError: there is neither a line nor a background, so nothing was looked at.
    """
    inside = [
        line for line in lines if line.kind == band.kind and band.low <= line.frequency <= band.high
    ]
    if not inside and not background:
        raise ValueError(f"no emission was read from {band.low:g} MHz to {band.high:g} MHz")
    found = []
    for frequency in sorted({line.frequency for line in inside}):
        near = [
            each.level
            + emission.bandwidth_rise(each.bandwidth, band.bandwidth, each.character)
            + rise
            for each in inside
            if abs(each.frequency - frequency) * 1000.0 <= band.bandwidth
        ]
        level = emission.amplitude_sum([*near, *background])
        found.append((f"{frequency:g} MHz", frequency, level))
    if background:
        end = band.low if band.low_limit <= band.high_limit else band.high
        found.append((ALONE, end, emission.amplitude_sum(background)))
    return found


def refuse_what_is_not_judged(bands: Mapping[str, Band], lines: Sequence[Line]) -> None:
    """Refuse lines that no band covers, and readings with a weaker detector than their limit's.

    Raises:
        ValueError: names each line with its fault.
    """
    faults = []
    for line in lines:
        over = [
            band
            for band in bands.values()
            if band.kind == line.kind and band.low <= line.frequency <= band.high
        ]
        name = f"{line.kind} line of {line.unit} at {line.frequency:g} MHz"
        if not over:
            faults.append(f"{name}: no band of the limits holds it")
        faults += [
            f"{name}: {line.detector} reading against a {band.detector} limit"
            for band in over
            if emission.STRENGTH[line.detector] < emission.STRENGTH[band.detector]
        ]
    if faults:
        raise ValueError("; ".join(faults))


def read_bands(path: Path) -> dict[str, Band]:
    """Return the limits by band, in the order of the file.

    Raises:
        ValueError: a band stands there twice, has no width, or its kind or detector is unknown.
    """
    names = ("low_mhz", "high_mhz", "low_limit_db", "high_limit_db", "bandwidth_khz")
    found: dict[str, Band] = {}
    for row in read_rows(path, ("kind", "band", *names, "detector", "transmitter_dbc")):
        low, high, low_limit, high_limit, bandwidth = (number(path, row, name) for name in names)
        kind, name, detector = row["kind"], row["band"], row["detector"]
        known = kind in ("radiated", "carrier", "conducted") and detector in emission.STRENGTH
        if name in found or not 0.0 < low < high or not known:
            raise ValueError(f"{path.name}: band {name!r} is there twice, empty or unknown")
        transmitter = None
        if row["transmitter_dbc"] != "-":
            transmitter = number(path, row, "transmitter_dbc")
        found[name] = Band(kind, low, high, low_limit, high_limit, bandwidth, detector, transmitter)
    return found


def read_lines(path: Path) -> list[Line]:
    """Return the emissions that were read, in the order of the file.

    Raises:
        ValueError: a detector or character is unknown.
    """
    columns = ("frequency_mhz", "level_db", "bandwidth_khz")
    found = []
    for row in read_rows(path, ("kind", "unit", *columns, "detector", "character")):
        if row["detector"] not in emission.STRENGTH or row["character"] not in emission.GROWTH:
            raise ValueError(f"{path.name}: unknown detector or character of {row['unit']}")
        frequency, level, bandwidth = (number(path, row, column) for column in columns)
        found.append(
            Line(
                row["kind"], row["unit"], frequency, level, bandwidth, row["detector"],
                row["character"],
            )
        )  # fmt: skip
    return found


@analysis(validated_by=("tests/analyses/test_emission_margin.py",))
def occupied_spectrum(
    symbol_rate: Msymbol_s, roll_off: ratio, spectrum_reading_error: dB, spectral_peaking: dB
) -> OccupiedSpectrum:
    """Occupied bandwidth of the downlink, and its spectrum against the mask of the licence.

    **Model.** Bandwidth (1 + roll-off) x symbol rate, outside of which a raised-cosine spectrum has
    nothing; it holds more than the 99 % of the definition, so it is an upper bound of that. At each
    offset of the mask: limit less the spectrum that was read, less the error of the reading, less
    the ripple that was allowed for. Beyond the shaped band the amplifier's regrowth counts, so the
    spectrum is a measured one (`analyses/data/emission_mask.csv`, invented).

    **Sources.** ITU Radio Regulations 1.153 (99 %, from memory); the raised cosine of any text on
    digital communication.

    **Assumptions.** The spectrum was read at rated power and scales with the symbol rate only
    within its clock's tolerance. **Not covered**: harmonics and spurious (`emission_margin`), drift
    of the carrier (`ground_flux`), other modulations.

    **Caution.** The licence's own mask and edition hold; radiate only under it.
    """
    margins = {
        f"{offset:g} MHz": limit - level - spectrum_reading_error - spectral_peaking
        for offset, limit, level in read_mask(DATA / "emission_mask.csv")
    }
    return OccupiedSpectrum(emission.shaped_bandwidth(symbol_rate, roll_off), margins)


def read_mask(path: Path) -> list[tuple[float, float, float]]:
    """Return offset from the carrier in MHz, limit and spectrum that was read in dB, row by row."""
    columns = ("offset_mhz", "limit_dbr", "spectrum_dbr")
    rows = [[number(path, row, column) for column in columns] for row in read_rows(path, columns)]
    return [(offset, limit, level) for offset, limit, level in rows]


@occupied_spectrum.figure
def spectrum_and_mask(
    symbol_rate: Msymbol_s,
    roll_off: ratio,
    spectrum_reading_error: dB,
    spectral_peaking: dB,
) -> Figure:
    """Spectrum of the downlink on one side of the carrier, at the inputs: as shaped, and as read
    with its error and ripple (dots), against the mask of the licence at its offsets. Look at the
    shortest distance from the mask. All data are invented.
    """
    from analyses import plotting

    mask = read_mask(DATA / "emission_mask.csv")
    offsets = [offset for offset, _, _ in mask]
    half = 0.5 * emission.shaped_bandwidth(symbol_rate, roll_off)
    shaped = [0.999 * half * i / 200 for i in range(201)]
    figure, (axes,) = plotting.panels()
    axes.plot(
        shaped,
        [radio.to_db(emission.raised_cosine(x, symbol_rate, roll_off)) for x in shaped],
        color=plotting.GREEN, label="as shaped",
    )  # fmt: skip
    axes.plot(
        offsets, [level + spectrum_reading_error + spectral_peaking for _, _, level in mask],
        "o-", color=plotting.BLUE, label="as read, with error and ripple",
    )  # fmt: skip
    axes.plot(offsets, [limit for _, limit, _ in mask], "s--", color=plotting.RED, label="mask")
    plotting.moment(axes, half, "half of the occupied bandwidth")
    axes.set_xlabel("offset from the carrier, either side (MHz)")
    axes.set_ylabel("density to that in the middle (dB)")
    axes.set_ylim(top=5.0)
    plotting.legend(figure, 2)
    return figure
