"""Figures: they draw, say their units, and show what the analysis answers.

Expected values are those of the analysis called beside the figure, whose own tests hold them
against the outside, and sums, slopes and areas that are taken here of what was drawn.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

from analyses import reception_plan
from analyses.downlink_strategy import content_of
from analyses.physics import spin
from analyses.physics.frames import EARTH_RATE, to_inertial
from analyses.physics.orbit import Burn
from analyses.physics.turning_link import gate, heard, stretches
from analyses.pressure_threshold_timing import DRAWN_ERROR, pressure_threshold_timing
from analyses.station_windows import fly
from closeout.evaluate.attached import drawn
from tests.analyses import box_models
from tests.analyses.declared import ROOT, Declared
from tests.analyses.drawing import (
    across,
    curve,
    declared_of,
    down,
    draw,
    function_of,
    inputs_of,
    line,
    with_figures,
)

FIGURES = tuple(with_figures())
EXPECTED = {
    "charge_over_hold", "pressure_in_ascent", "peaks_of_switch_on", "inrush_waveform",
    "margin_along_passes", "recovery_by_repeats", "windows_over_time", "flux_by_angle",
    "response_spectrum", "temperatures_over_time", "energy_by_phase", "log_and_prediction",
    "emission_lines", "spectrum_and_mask",
}  # fmt: skip
UNIT = re.compile(r"\([^()]+\)$")


# --- all of them --------------------------------------------------------------------------------


def test_all_are_found() -> None:
    assert set(FIGURES) == EXPECTED


@pytest.mark.parametrize("name", FIGURES)
def test_axes_have_labels_with_units_and_no_title(name: str) -> None:
    figure, _ = draw(name)
    shown = [axes for axes in figure.axes if axes.axison]
    assert shown
    for axes in shown:
        assert axes.has_data()
        assert axes.get_title() == ""
        for axis in (axes.xaxis, axes.yaxis):
            names = [text.get_text() for text in axis.get_ticklabels()]
            by_name = any(re.match(r"[A-Za-z]", text) for text in names)
            below = axis is axes.xaxis and not axis.get_tick_params()["labelbottom"]
            if not by_name and not below:
                assert UNIT.search(axis.label.get_text()), (axis, axis.label.get_text())


@pytest.mark.parametrize("name", FIGURES)
def test_caption_says_that_data_are_invented(name: str) -> None:
    caption = " ".join((function_of(name).__doc__ or "").split("\n\n")[0].split())
    assert re.search(r"invented\.$", caption)
    assert re.search(r"\b[Ll]ook\b", caption)
    assert "at the inputs" in caption.lower()


@pytest.mark.parametrize(
    "name",
    [
        pytest.param(name, marks=pytest.mark.slow if name == "recovery_by_repeats" else ())
        for name in FIGURES
    ],
)
def test_it_draws_at_corners(name: str) -> None:
    declared = declared_of(name)
    for point in list(declared.points(4, seed=7))[1::2]:
        figure = function_of(name)(**inputs_of(name, **point))
        assert any(axes.has_data() for axes in figure.axes)


def test_svg_is_one_that_other_readers_take() -> None:
    made = drawn(
        with_figures()["flux_by_angle"], "figure", "flux_by_angle", inputs_of("flux_by_angle")
    )
    ((file, text),) = made.files
    assert file == "flux_by_angle.svg"
    assert ET.fromstring(text).tag == "{http://www.w3.org/2000/svg}svg"
    assert b"<dc:date>" not in text


DIGEST = """
import base64, hashlib, json, sys
from closeout.evaluate.attached import drawn
from tests.analyses.drawing import inputs_of, with_figures
for name in sys.argv[1:]:
    ((_, text),) = drawn(with_figures()[name], "figure", name, inputs_of(name)).files
    print(name, hashlib.sha256(text).hexdigest())
"""


def digests(names: tuple[str, ...], folder: Path, seed: str, settings: str) -> str:
    """Draw in a process of its own, with a user's settings of matplotlib."""
    folder.mkdir()
    (folder / "matplotlibrc").write_text(settings)
    told = {"MATPLOTLIBRC": str(folder), "PYTHONHASHSEED": seed}
    path = os.pathsep.join([str(ROOT), str(ROOT / "trace")])
    done = subprocess.run(
        [sys.executable, "-c", DIGEST, *names], cwd=ROOT, text=True, capture_output=True,
        timeout=120, check=True, env={**os.environ, **told, "PYTHONPATH": path},
    )  # fmt: skip
    return done.stdout


def same_in_two_processes(names: tuple[str, ...], folder: Path) -> None:
    hostile = "font.family: serif\naxes.grid: False\nsavefig.bbox: tight\nfigure.facecolor: 0.5\n"
    first = digests(names, folder / "a", "1", "")
    assert first.count("\n") == len(names)
    assert first == digests(names, folder / "b", "2", hostile)


@pytest.mark.slow
def test_same_bytes_whatever_the_settings_of_the_user(tmp_path: Path) -> None:
    same_in_two_processes(("flux_by_angle",), tmp_path)


@pytest.mark.slow
def test_each_has_the_same_bytes_whatever_the_settings_of_the_user(tmp_path: Path) -> None:
    same_in_two_processes(FIGURES, tmp_path)


# --- battery ------------------------------------------------------------------------------------


def test_charge_at_the_end_of_the_hold() -> None:
    figure, found = draw("charge_over_hold", hold_duration=40.0)
    (axes,) = figure.axes
    days, charge = curve(axes, "charge left")
    assert charge[0] == pytest.approx(found.charge_at_start, rel=1e-12)
    assert np.interp(40.0, days, charge) == pytest.approx(found.charge_left, rel=1e-4)
    (dot,) = [one for one in axes.lines if one.get_marker() == "o"]
    assert dot.get_xydata().tolist() == [[40.0, found.charge_left]]
    floor = across(axes, "kept back by cold and cut-off")
    assert floor == pytest.approx(found.cold_charge + found.cut_off_charge, rel=1e-12)
    assert down(axes, "end of the hold") == 40.0
    # Both areas at the end of the hold: drained, and lost by self-discharge.
    taken, lost = (one.get_paths()[0] for one in axes.collections)
    assert taken.contains_point((40.0, found.charge_at_start - 0.5 * found.drained))
    assert lost.contains_point((40.0, found.charge_left + 0.5 * found.self_discharged))
    assert not lost.contains_point((40.0, found.charge_at_start - 0.5 * found.drained))


def test_battery_that_ends_in_the_hold() -> None:
    figure, found = draw("charge_over_hold", sleep_current=30e3)
    _, charge = curve(figure.axes[0], "charge left")
    assert charge[-1] == found.charge_left == pytest.approx(0.0, abs=1e-12)
    assert charge.min() >= 0.0


def test_bench_log_and_prediction() -> None:
    figure, found = draw("log_and_prediction")
    above, below = figure.axes
    _, readings = curve(above, "readings")
    text = (ROOT / "analyses/data/bench_soak.csv").read_text("utf-8").splitlines()
    rows = [row.split(",") for row in text if row[0].isdigit()]
    assert len(readings) == sum(bool(row[1].strip()) for row in rows)
    (x0, x1), (y0, y1) = curve(above, "fitted line")
    rate = (y0 - y1) / (x1 - x0) / 100.0  # 1/d; a month is 30.4375 d
    assert 1.0 - np.exp(-rate * 30.4375) == pytest.approx(found.measured_self_discharge, rel=1e-9)
    (band,) = above.collections
    assert np.ptp(band.get_paths()[0].vertices[:, 1]) == pytest.approx(
        y0 - y1 + 400.0 * found.fit_residual
    )
    for label, value in (
        ("energy, expected", found.soak_energy),
        ("energy, 95 % bound", found.soak_energy_bound),
    ):
        assert np.interp(28.0, *curve(below, label)) == pytest.approx(value, rel=1e-4)
    assert across(below, "asked for") == 52.0
    assert down(below, "length of the log") == found.log_length
    assert down(below, "end of the hold") == 28.0


def test_energy_by_phase() -> None:
    figure, found = draw("energy_by_phase", computer_resets=1.0)
    above, below = figure.axes
    names = [text.get_text() for text in above.get_yticklabels()]
    bars = dict(zip(names, above.patches, strict=True))
    assert bars["guaranteed"].get_width() == 52.0
    for phase, energy in found.phase_energy.items():
        assert abs(bars[phase].get_width()) == pytest.approx(energy)
    assert abs(bars["computer reset"].get_width()) == pytest.approx(found.reset_energy)
    assert bars["reserve at burn-up"].get_width() == pytest.approx(found.reserve_at_burn_up)
    # Each bar begins where the one before ended; the last of them ends at the reserve.
    assert bars["slip after arming"].get_x() == pytest.approx(found.reserve_at_burn_up)
    assert bars["boot"].get_x() + bars["boot"].get_width() == pytest.approx(52.0)
    widths = [bar.get_width() for bar in below.patches]
    planned = sum(found.phase_energy.values())
    assert sum(widths) == pytest.approx(planned, rel=1e-9)
    assert f"{found.reserve_at_burn_up:.2f}" in [text.get_text() for text in above.texts]


def test_switch_on() -> None:
    figure, found = draw("inrush_waveform", battery_voltage=16.8)
    above, below = figure.axes
    times, current = curve(above, "current")
    _, voltage = curve(below, "voltage")
    start = down(above, "start of the converters")
    assert current.max() == found.peak_current
    assert voltage.max() == found.peak_voltage
    assert voltage[times >= start].min() == found.lowest_voltage
    reset = across(below, "reset level")
    assert found.lowest_voltage - reset == pytest.approx(found.reset_margin)
    assert start == pytest.approx(3.0)  # ms, load_start_delay


def test_peaks_of_the_switch_on() -> None:
    figure, found = draw("peaks_of_switch_on", battery_voltage=16.8)
    (axes,) = figure.axes
    widths = [bar.get_width() for bar in axes.patches]
    assert max(widths) == found.peak_current
    assert [widths[0], *widths[2:]] == [
        found.precharge_peak, found.start_peak, found.contact_peak
    ]  # fmt: skip
    trip = down(axes, "trip of the protection")
    assert trip - max(widths) == pytest.approx(found.trip_margin)
    assert axes.get_xlim()[1] > trip


# --- ascent -------------------------------------------------------------------------------------


@pytest.mark.parametrize("error", [-1.5, 0.0, 1.5])
def test_pressure_passes_the_threshold_when_the_analysis_says(error: float) -> None:
    figure, found = draw("pressure_in_ascent", pressure_sensor_error=error)
    (axes,) = figure.axes
    times, pressure = curve(axes, "in the compartment")
    threshold = across(axes, "threshold")
    assert threshold == 55.0 - error
    assert np.interp(-threshold, -pressure, times) == pytest.approx(found.crossing_time, abs=1e-9)
    # The pad: what the analysis leaves as margin, with the drop by wind of 1 kPa.
    assert pressure[0] - 1.0 - threshold == pytest.approx(found.ground_margin)
    cabin = across(axes, "cabin in transport")
    assert cabin - threshold == pytest.approx(found.transport_margin)
    gap = down(axes, "release of the fairing") - down(axes, "cameras record, after a restart")
    assert gap == pytest.approx(found.margin_to_fairing_release)
    spans = {patch.get_label(): patch for patch in axes.patches}
    wake = spans["wake-up, earliest to latest"].get_window_extent()
    left, right = axes.transData.inverted().transform([(wake.x0, 0.0), (wake.x1, 0.0)])[:, 0]
    assert [left, right] == pytest.approx([found.earliest_wake_time, found.latest_wake_time])


def test_band_of_the_threshold_holds_the_declared_error() -> None:
    low, high = Declared(pressure_threshold_timing).box["pressure_sensor_error"]
    assert low >= -DRAWN_ERROR
    assert high <= DRAWN_ERROR


# --- structure and temperatures -----------------------------------------------------------------


def test_area_of_the_response_is_its_mean_square() -> None:
    figure, found = draw("response_spectrum")
    (axes,) = figure.axes
    for one in axes.lines:
        label = str(one.get_label())
        f, density = np.asarray(one.get_xydata()).T
        if label.startswith("test"):
            continue
        axis = label[0]
        rms = np.sqrt(np.trapezoid(density, f))
        assert rms == pytest.approx(found.integrated_response[axis], rel=5e-3)
        assert f"{found.integrated_response[axis]:.3g}" in label
        drawn = np.log(density) - np.interp(
            np.log(f), *np.log(np.asarray(axes.lines[0].get_xydata()).T)
        )
        if axis == "z":  # one mode: |H|^2 = 1 + Q^2 at it, with Q = 9
            assert np.exp(drawn[np.argmax(density)]) == pytest.approx(82.0, rel=5e-3)
        else:  # both modes as SciPy has them
            exact = box_models.lateral(declared_of("response_spectrum").values, axis)
            known = np.interp(np.log(f), np.log(box_models.FREQUENCIES), np.log(exact.gain))
            assert drawn == pytest.approx(known, abs=5e-3)


def test_extremes_of_the_temperatures() -> None:
    figure, found = draw("temperatures_over_time")
    (axes,) = figure.axes
    hours, hot = curve(axes, "cells, hot")
    assert hot.max() + 5.0 == pytest.approx(found.cell_temperature_in_use["hot"])
    assert hours[hot.argmax()] * 3600.0 == pytest.approx(found.time_of_extreme["hot"])
    assert curve(axes, "cells, cold")[1].min() - 5.0 == pytest.approx(
        found.cell_temperature_in_use["cold"]
    )
    for case, end in (("hot", np.max), ("cold", np.min)):
        housing = end(curve(axes, f"housing, {case}")[1])
        assert housing == pytest.approx(found.housing_temperature[case])
        (band,) = [c for c in axes.collections if c.get_label() == f"uncertainty, {case}"]
        assert end(band.get_paths()[0].vertices[:, 1]) == pytest.approx(
            found.cell_temperature_in_use[case]
        )


# --- radio --------------------------------------------------------------------------------------


def test_flux_against_the_limit() -> None:
    figure, found = draw("flux_by_angle", stage_geometric_altitude=200.0)
    (axes,) = figure.axes
    # ITU Radio Regulations, Table 21-4, 2200 MHz to 2300 MHz (from memory).
    angles, limit = curve(axes, "limit")
    stated = [-154.0, -154.0, -149.0, -144.0, -144.0]
    assert np.interp([0.0, 5.0, 15.0, 25.0, 90.0], angles, limit) == pytest.approx(stated)
    for label, margins in (
        ("modulated", found.flux_margin),
        ("unmodulated carrier", found.unmodulated_flux_margin),
    ):
        _, density = curve(axes, label)
        judged = [int(case.removesuffix(" deg")) for case in margins]
        assert (limit - density)[judged] == pytest.approx(list(margins.values()))
    dots = [one for one in axes.lines if one.get_marker() == "o"]
    assert list(dots[0].get_ydata()) == list(found.flux_density.values())
    assert list(dots[1].get_ydata()) == list(found.unmodulated_flux_density.values())


def test_emission_lines_and_their_limits() -> None:
    figure, found = draw("emission_lines", receiver_distance=0.8)
    above, below = figure.axes
    for axes, margins in ((above, found.radiated_margin), (below, found.conducted_margin)):
        stems = [path.vertices for one in axes.collections for path in one.get_paths()]
        assert [float(v[1, 1] - v[0, 1]) for v in stems] == pytest.approx(list(margins.values()))
        points = {
            tuple(p) for one in axes.lines if one.get_marker() in "ox" for p in one.get_xydata()
        }
        assert points == {tuple(v[0]) for v in stems}
        limits = [one.get_xydata() for one in axes.lines if one.get_label() == "limit"]
        for stem in stems:
            frequency, top = stem[1]
            at = [
                np.interp(np.log(frequency), np.log(x), y)
                for x, y in (np.asarray(each).T for each in limits)
                if x[0] <= frequency <= x[1]
            ]
            assert min(abs(np.array(at) - top)) < 1e-9


def test_spectrum_and_mask() -> None:
    figure, found = draw("spectrum_and_mask", spectrum_reading_error=1.0)
    (axes,) = figure.axes
    offsets, mask = curve(axes, "mask")
    _, read = curve(axes, "as read, with error and ripple")
    assert mask - read == pytest.approx(list(found.mask_margin.values()))
    assert [f"{x:g} MHz" for x in offsets] == list(found.mask_margin)
    assert 2.0 * down(axes, "half of the occupied bandwidth") == found.occupied_bandwidth
    # A raised cosine is 3.01 dB down at half the symbol rate of 5 Msymbol/s.
    assert np.interp(2.5, *curve(axes, "as shaped")) == pytest.approx(-3.01, abs=0.02)


# --- stations -----------------------------------------------------------------------------------


def test_windows_as_bars() -> None:
    figure, found = draw("windows_over_time")
    above, below = figure.axes
    names = [text.get_text() for text in above.get_yticklabels()]
    assert names == list(found.passes)
    paths = [path.vertices for one in above.collections for path in one.get_paths()]
    spans = {round(float(v[:, 1].mean())): (v[:, 0].min(), v[:, 0].max()) for v in paths}
    seen = [name for name in names if found.passes[name] == 1.0]
    assert [names[place] for place in spans] == seen
    for place, (begin, end) in spans.items():
        assert begin == pytest.approx(found.rise[names[place]])
        assert end == pytest.approx(found.set[names[place]])
    times = np.linspace(60.0, 110.0, 100_001)
    open_now = sum(((times >= a) & (times <= b)).astype(int) for a, b in spans.values())
    step = 60.0 * (times[1] - times[0])
    assert step * (open_now >= 1).sum() == pytest.approx(found.covered, abs=1.0)
    assert step * (open_now >= 2).sum() == pytest.approx(found.overlap, abs=1.0)
    tops = [max(one.get_ydata()) for one in below.lines if len(one.get_xdata()) > 2]
    assert tops == pytest.approx([found.highest_elevation[name] for name in seen], abs=0.2)
    marks = [float(x.get_xdata()[0]) for x in above.lines]
    assert marks == pytest.approx([found.transmit_start, found.transmit_stop])
    texts = [text.get_text() for text in above.texts]
    assert texts.count("never rises") == names.count("Petrel") == 1


@pytest.mark.parametrize(
    "name", ["windows_over_time", "margin_along_passes", "recovery_by_repeats"]
)
def test_no_station_sees_the_stage(name: str) -> None:
    figure, _ = draw(name, link_elevation=89.0)
    if name == "windows_over_time":
        texts = [text.get_text() for text in figure.axes[0].texts]
        assert texts.count("never rises") == 5
    else:
        assert "no station sees the stage" in {text.get_text() for text in figure.texts}


def test_margin_is_above_the_reserve_while_the_gates_are_open() -> None:
    """Against the way of the analysis, which finds times of reception without any margin."""
    x = declared_of("margin_along_passes").values
    flight = fly(
        0.0, x["first_release_time"] + 2 * x["release_interval"],
        (x["release_latitude"], x["release_longitude"], x["release_geometric_altitude"]),
        (x["release_speed"], x["release_heading"]),
        Burn(x["deorbit_start_time"], x["deorbit_duration"], x["deorbit_speed_loss"]),
        (x["wake_time"] + x["transmit_start_delay"], x["wake_time"] + x["transmit_stop_delay"]),
        x["transmit_end_altitude"], x["link_elevation"],
    )  # fmt: skip
    link = reception_plan.Link(
        x["carrier_frequency"], x["transmit_power"], x["transmit_feeder_loss"],
        x["antenna_peak_gain"], x["antenna_beamwidth"], x["antenna_axial_ratio"],
        x["symbol_rate"], x["implementation_loss"], x["reception_reserve"],
        x["station_pointing_error"], x["station_g_over_t_error"],
    )  # fmt: skip
    content = content_of(3.0, 5.0, x["picture_size"], x["picture_overhead"], 10.0)
    modes = reception_plan.planned_modes(flight)
    pieces = reception_plan.pieces_of(
        flight, content, modes, x["symbol_rate"], x["mode_guard_time"]
    )
    first = flight.ephemeris[0]
    axes_of_spin = spin.orbit_axes(to_inertial(first.state, EARTH_RATE * first.time))
    rate, cone = np.radians(x["spin_rate"]), np.radians(x["antenna_spin_angle"])
    times: dict[str, float] = {}
    for leg in reception_plan.legs_of(flight, link, pieces):
        for part in stretches(leg.moments, axes_of_spin, cone):
            for begin, end in heard(gate(part, rate), 0.0, 0.0):
                times[leg.station] = times.get(leg.station, 0.0) + end - begin

    figure, _ = draw("margin_along_passes")
    drawn_times = {}
    for panel in figure.axes:
        if not panel.axison:
            continue
        (name,) = [text.get_text() for text in panel.texts]
        minutes, margin = curve(panel, "as the stage turns")
        step = 60.0 * (minutes[1] - minutes[0])
        drawn_times[name] = step * (margin >= across(panel, "reserve")).sum()
        toward = curve(panel, "antenna on the station")[1]
        assert (margin <= toward + 1e-9).all()
    assert drawn_times == pytest.approx(times, abs=12.0)  # s; points are 2 s apart, edges differ
    assert min(drawn_times.values()) > 50.0


@pytest.mark.slow
def test_recovery_against_repeats() -> None:
    figure, _ = draw("recovery_by_repeats")
    together, alone = figure.axes
    modes = [str(one.get_label()) for one in together.lines]
    assert modes == ["QPSK 1/4", "QPSK 2/5", "QPSK 1/2", "QPSK 3/5"]  # planned, of stations in view
    assert [str(one.get_label()) for one in alone.lines] == [
        "Fulmar", "Guillemot", "Kittiwake", "Razorbill"
    ]  # fmt: skip
    for one in (*together.lines, *alone.lines):
        rounds, chance = np.asarray(one.get_xydata()).T
        assert list(rounds) == list(range(1, len(rounds) + 1))
        assert (np.diff(chance) <= 1e-9).all()
        assert chance.min() >= 1e-8
    # All passes lost with a common cause: 10 % of 2 %, below which no repeat helps.
    for one in together.lines:
        assert len(one.get_xdata()) == 30
        assert one.get_ydata()[-1] == pytest.approx(2e-3, rel=0.01)
    assert line(alone, "Fulmar").get_ydata()[0] > 0.5
