"""Level of the random vibration test, and what the recorder on its bracket makes of it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

from analyses.box_on_bracket import Body, Bracket, lateral_modes, make_bracket, upright_mode
from analyses.physics import two_modes, vibration
from analyses.physics.csv_table import number, read_rows
from analyses.physics.two_modes import TwoModes
from analyses.physics.vibration import Spectrum
from closeout import analysis
from closeout.math import clip, hypot
from closeout.units import GPa, Hz, Unit, g0, kg, mm, ratio

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DATA = Path(__file__).parent / "data"

kN_per_mm = Annotated[float, Unit("kN/mm")]
ByAxis = Annotated[Mapping[str, float], Unit("g0")]


Levels = Annotated[dict[str, float], Unit("g0")]


class RandomResponse(NamedTuple):
    """An overturning response is the moment in the mounting plane over mass and height of the
    centre of gravity: an acceleration, in the unit of the others.
    """

    overall_level: g0  # rms, of the nominal spectrum
    mode: Annotated[
        Mapping[str, float], Unit("Hz")
    ]  # both modes along x and y, and the one along z
    miles_response: ByAxis  # rms of each mode by itself, times its share of the shear
    integrated_response: ByAxis  # rms at the centre of gravity, over the whole spectrum
    highest_response: ByAxis  # rms, upper bound, for the margins of safety
    integrated_overturning: ByAxis  # rms
    highest_overturning: ByAxis  # rms, upper bound, for the margins of safety
    miles_shortfall: Annotated[Mapping[str, float], Unit("1")]  # integrated over Miles, less one


class Response(NamedTuple):
    """Upper bounds of the rms responses by axis, in g0; z has no overturning of its own."""

    acceleration: Levels
    overturning: Levels


def read_spectrum(path: Path = DATA / "vibration_spectrum.csv") -> Spectrum:
    """Return the points (Hz, g0^2/Hz) of a spectrum, frequency rising.

    Raises:
        ValueError: frequencies do not rise, or a value is not above zero.
    """
    names = ("frequency_hz", "density_g02_per_hz")
    rows = [[number(path, row, name) for name in names] for row in read_rows(path, names)]
    points = [(frequency, density) for frequency, density in rows]
    frequencies = [frequency for frequency, _ in points]
    if frequencies != sorted(set(frequencies)) or min(min(row) for row in rows) <= 0:
        raise ValueError(f"{path.name}: frequencies must rise, and all values be above zero")
    return points


def highest_responses(
    lateral: Mapping[str, TwoModes], upright: Hz, amplification: ratio, spectrum: Spectrum
) -> Response:
    """Return what no response is above, whatever the shape of the spectrum: safe for loads."""
    highest = max(density for _, density in spectrum)
    acceleration = {
        axis: two_modes.flat_response(modes.frequency, modes.shear, amplification, highest)
        for axis, modes in lateral.items()
    }
    overturning = {
        axis: two_modes.flat_response(modes.frequency, modes.moment, amplification, highest)
        for axis, modes in lateral.items()
    }
    along = vibration.flat_response(upright, amplification, highest)
    return Response(acceleration | {"z": along}, overturning)


@analysis(validated_by="tests/analyses/test_random_vibration.py")
def random_response(
    design_mass: kg,
    cg_height: mm,
    gyration_radius: mm,
    leg_modulus: GPa,
    leg_width: mm,
    leg_thickness: mm,
    leg_height: mm,
    bolt_spacing_x: mm,
    bolt_spacing_y: mm,
    joint_axial_stiffness: kN_per_mm,
    joint_lateral_stiffness: kN_per_mm,
    mode_model_error: ratio,
    amplification: ratio,
) -> RandomResponse:
    """Level of the vibration test, and rms response of each axis by Miles and by integration.

    **Model.** Along x and y the recorder has two modes, of sliding and rocking together, without
    approximation; along z it has one. All have the amplification Q, on a rigid flange that moves.
    The base is loaded by the shear m x'' and by the moment m h x'' + m r^2 theta'' in the mounting
    plane: the box resists being turned, so the moment is more than the shear times the height.
    Each response is the integral of |H|^2 S(f) over the spectrum (GSFC-STD-7000A, Table 2.4-3),
    with the transfer function H of both modes together.

    **Bounds, and what they are safe for.** The margins of safety take `highest_response` and
    `highest_overturning`: the exact response of both modes to a flat spectrum at the highest
    density from zero to infinity. It is an upper bound whatever the shape, safe for loads. Miles'
    formula is no bound: it has one mode, and takes the spectrum as flat around it, so it is shown
    mode by mode and only compared (`miles_shortfall` above zero: Miles, even as a root sum of
    squares over the modes, is too low). The lower bound of the first frequency that is asked for in
    `natural_frequencies` is unsafe here, since loads rise with frequency: it is not used.

    **Sources.** Miles (1954), as in R. Simmons, NASA GSFC FEMCI (2001); the two modes and their
    common term as `analyses/physics/two_modes.py` says; area of a spectrum of straight lines on
    log-log paper.

    **Assumptions.** Viscous damping of each mode, equal Q. Motion along x and along y do not touch
    each other, nor z: the centre of gravity is off the middle by a few millimetres, whose moments
    `structure_margins` takes at rest with the whole acceleration.

    **Not covered.** Bending of the box and its parts (the board has a mode of its own), torsion
    about z as a mode, notching and force limiting, the clipping of peaks at 3 sigma, fatigue. The
    integrals are evaluated on numbers only.

    **Caution.** Vibration tests with lithium cells aboard are attended and contained, by the rules
    of the laboratory.
    """
    spectrum = read_spectrum()
    body = Body(design_mass, cg_height / 1e3, gyration_radius / 1e3, 0.0)
    bracket = make_bracket(
        leg_modulus, leg_width, leg_thickness, leg_height, bolt_spacing_x, bolt_spacing_y,
        joint_axial_stiffness, joint_lateral_stiffness, mode_model_error,
    )  # fmt: skip
    lateral, upright = lateral_modes(body, bracket), upright_mode(body, bracket)
    highest = highest_responses(lateral, upright, amplification, spectrum)
    miles = miles_by_mode(lateral, upright, amplification, spectrum)
    integrated, overturning = integrated_responses(lateral, upright, amplification, spectrum)
    return RandomResponse(
        overall_level=vibration.overall_level(spectrum),
        mode=by_mode(lateral, upright),
        miles_response=miles,
        integrated_response=integrated,
        highest_response=highest.acceleration,
        integrated_overturning=overturning,
        highest_overturning=highest.overturning,
        miles_shortfall={
            axis: found / together - 1.0
            for (axis, found), together in zip(
                integrated.items(),
                (
                    hypot(miles["x, first"], miles["x, second"]),
                    hypot(miles["y, first"], miles["y, second"]),
                    miles["z"],
                ),
                strict=True,
            )
        },
    )


def by_mode(
    lateral: Mapping[str, TwoModes], upright: Hz
) -> Annotated[dict[str, float], Unit("Hz")]:
    """Return the frequency of each mode in Hz by its name."""
    pairs = {axis: modes.frequency for axis, modes in lateral.items()}
    return {
        f"{axis}, {name}": pair[place]
        for axis, pair in pairs.items()
        for place, name in enumerate(("first", "second"))
    } | {"z": upright}


def miles_by_mode(
    lateral: Mapping[str, TwoModes], upright: Hz, amplification: ratio, spectrum: Spectrum
) -> Levels:
    """Return Miles' response in g0 of each mode times its share of the shear.

    A mode outside the spectrum is given the density of the nearer end, as nothing is stated there.
    """
    shares = [share for modes in lateral.values() for share in modes.shear] + [1.0]
    found = {}
    for (name, frequency), share in zip(by_mode(lateral, upright).items(), shares, strict=True):
        inside = clip(frequency, spectrum[0][0], spectrum[-1][0])
        density = vibration.density_at(inside, spectrum)
        found[name] = share * vibration.miles(frequency, amplification, density)
    return found


def integrated_responses(
    lateral: Mapping[str, TwoModes], upright: Hz, amplification: ratio, spectrum: Spectrum
) -> Response:
    """Return the responses to the spectrum by integration, for numbers alone."""

    def along(modes: TwoModes, shares: tuple[float, float]) -> float:
        return two_modes.integrated_response(modes.frequency, shares, amplification, spectrum)

    straight = {axis: along(modes, modes.shear) for axis, modes in lateral.items()}
    return Response(
        straight | {"z": vibration.integrated_response(upright, amplification, spectrum)},
        {axis: along(modes, modes.moment) for axis, modes in lateral.items()},
    )


@random_response.figure
def response_spectrum(
    design_mass: kg,
    cg_height: mm,
    gyration_radius: mm,
    leg_modulus: GPa,
    leg_width: mm,
    leg_thickness: mm,
    leg_height: mm,
    bolt_spacing_x: mm,
    bolt_spacing_y: mm,
    joint_axial_stiffness: kN_per_mm,
    joint_lateral_stiffness: kN_per_mm,
    mode_model_error: ratio,
    amplification: ratio,
) -> Figure:
    """Spectral density of the vibration at the bolts, and of the response of the recorder in each
    axis, at the inputs. Look at where the peaks stand in the spectrum of the test, the second of
    two modes along x and y among them, and at the rms responses in the legend, which are the roots
    of the areas. All data are invented.
    """
    from analyses import plotting

    spectrum = read_spectrum()
    body = Body(design_mass, cg_height / 1e3, gyration_radius / 1e3, 0.0)
    bracket = make_bracket(
        leg_modulus, leg_width, leg_thickness, leg_height, bolt_spacing_x, bolt_spacing_y,
        joint_axial_stiffness, joint_lateral_stiffness, mode_model_error,
    )  # fmt: skip
    levels = integrated_responses(
        lateral_modes(body, bracket), upright_mode(body, bracket), amplification, spectrum
    ).acceleration
    figure, (axes,) = plotting.panels(height=4.4)
    axes.plot(
        *zip(*spectrum, strict=True), "--", color=plotting.GREY,
        label=f"test, {vibration.overall_level(spectrum):.3g} g\N{SUBSCRIPT ZERO} rms",
    )  # fmt: skip
    for series, (axis, curve) in enumerate(
        response_densities(body, bracket, amplification, spectrum).items()
    ):
        axes.plot(
            *zip(*curve, strict=True),
            linestyle=plotting.LINES[series], color=plotting.SERIES[series],
            label=f"{axis}: {levels[axis]:.3g} g\N{SUBSCRIPT ZERO} rms",
        )  # fmt: skip
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_ylim(bottom=0.01 * min(density for _, density in spectrum))
    axes.set_xlabel("frequency (Hz)")
    axes.set_ylabel(
        "spectral density of the acceleration\n(g\N{SUBSCRIPT ZERO}\N{SUPERSCRIPT TWO}/Hz)"
    )
    plotting.legend(figure, 2)
    return figure


def response_densities(
    body: Body, bracket: Bracket, amplification: ratio, spectrum: Spectrum, points: int = 600
) -> dict[str, list[tuple[float, float]]]:
    """Return (Hz, g0^2/Hz) of the response over its base's spectrum by axis; for curves.

    Points are even on the logarithm of the frequency, and one stands at each mode.
    """
    low, high = spectrum[0][0], spectrum[-1][0]
    even = [low * (high / low) ** (i / points) for i in range(1, points)]
    lateral, upright = lateral_modes(body, bracket), upright_mode(body, bracket)
    alone = TwoModes((upright, upright), (1.0, 0.0), (1.0, 0.0))
    return {
        axis: [
            (
                f,
                vibration.density_at(f, spectrum)
                * two_modes.gain_squared(f, modes.frequency, modes.shear, amplification),
            )
            for f in sorted({low, *even, *(clip(f, low, high) for f in modes.frequency), high})
        ]
        for axis, modes in {**lateral, "z": alone}.items()
    }
