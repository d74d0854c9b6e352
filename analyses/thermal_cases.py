"""Temperature of the battery on the pad, in the ascent and in orbit, hot and cold."""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil
from typing import TYPE_CHECKING, Annotated, NamedTuple

from analyses.pad_temperatures import ends_on_pad, pad_time_constant
from analyses.physics import heat_balance as heat
from analyses.physics.heat_balance import ZERO_CELSIUS, TwoNodes
from closeout import analysis
from closeout.math import exp, maximum, minimum
from closeout.units import (
    J_per_K,
    K,
    Unit,
    W,
    W_m2,
    W_per_K,
    degC,
    hour,
    km,
    km_s,
    m2,
    per_s,
    ratio,
    s,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

J_per_m2 = Annotated[float, Unit("J/m^2")]

STEP = 40.0  # s of the march; halving it moves no temperature of the cells by 0.002 K

Temperatures = Annotated[Mapping[str, float], Unit("degC")]
W_per_m2_K = Annotated[float, Unit("W/(m^2 K)")]


class ThermalCases(NamedTuple):
    predicted_temperature: Temperatures  # of the cells, bound in each case
    battery_temperature: Temperatures  # with the uncertainty of the prediction
    qualification_temperature: Temperatures  # of the test, hot and cold
    free_molecular_flux: W_m2  # at the release of the fairing
    pad_time_constant: hour


class ThermalCourse(NamedTuple):
    """What a march through ascent and orbit finds; uncertainty is in cells, not in the housing."""

    cell_temperature_in_use: Temperatures
    housing_temperature: Temperatures
    time_of_extreme: Annotated[Mapping[str, float], Unit("s")]  # after lift-off, of the cells


class Ascent(NamedTuple):
    """Heat that comes from outside between lift-off and orbit; SI units, temperatures in K."""

    wall_temperature: K
    release_time: s
    flux: W_m2  # free-molecular, at the release
    dose: J_per_m2  # free-molecular, of the whole climb, J/m2
    ram_area: m2
    plume_flux: W_m2
    plume_time: s


@analysis(validated_by=("tests/analyses/test_thermal_cases.py",))
def thermal_cases(
    fairing_air_temperature: degC,
    hot_wall_temperature: degC,
    cold_wall_temperature: degC,
    cooling_loss_duration: hour,
    heating_loss_duration: hour,
    pad_film_conductance: W_per_m2_K,
    housing_area: m2,
    housing_capacity: J_per_K,
    battery_heat_capacity: J_per_K,
    cell_conductance: W_per_K,
    mount_conductance: W_per_K,
    stage_temperature: degC,
    active_heat: W,
    cell_heat: W,
    ascent_wall_temperature: degC,
    fairing_release_time: s,
    fairing_release_geometric_altitude: km,
    fairing_release_speed: km_s,
    fairing_release_climb_rate: km_s,
    upper_density_ratio: ratio,
    ram_area: m2,
    plume_flux: W_m2,
    plume_duration: s,
    sun_area: m2,
    earth_area: m2,
    radiating_area: m2,
    solar_absorptance: ratio,
    infrared_emittance: ratio,
    solar_constant: W_m2,
    albedo: ratio,
    earth_infrared: W_m2,
    stage_geometric_altitude: km,
    prediction_uncertainty: K,
    acceptance_margin: K,
    qualification_margin: K,
) -> ThermalCases:
    """Bounds of the battery's temperature in six cases, in closed form, and the test temperatures.

    **Model, pad.** Battery and housing as one body in the air of the fairing, which starts at the
    conditioned temperature; then conditioning is lost and the body goes to the wall's temperature
    with the time constant C/(h A). Heat of the sleeping recorder is left out: a milliwatt warms it
    by less than a hundredth of a kelvin.

    **Model, ascent.** Hot: all heat stays in the housing (its own, from the fairing's inner wall by
    radiation onto the area that the blanket leaves free,
    free-molecular heating after it, plume), and the cells are at most
    as warm as the housing in the end and their own heat through their mounting. Cold: no heat but
    what leaves to the wall, to the base and to space, over the same time. What the reaction of the
    cells takes up comes through their mounting, so that they are as much colder than the housing;
    the housing itself is warmed by more than that by the recorder's own heat, which is left out.

    **Model, orbit.** The end temperature of each case held for ever, which a body that starts
    inside of it never passes. Hot, sunlit: own heat, Sun, albedo and Earth's infrared, less what
    the radiating area sends to space at the temperature of its base, which is no more than it
    sends; the rest goes through the mounting. Cold, dark: own heat and Earth's infrared less what
    the radiating area sends to space at the temperature of its base, through the mounting; it is no
    warmer than that. The cells have no heat of their own, and what their reaction takes up makes
    them colder than their housing, and it colder too. Start temperatures count too.

    **Uncertainty and margins.** The prediction's uncertainty is added to each hot and taken off
    each cold temperature; the test temperatures are further out by the acceptance and then by the
    qualification margin (order of ECSS-E-ST-31C, from memory).

    **Sources.** Stefan and Boltzmann; first-order bodies; 1/2 rho v^3 with the density of the U.S.
    Standard Atmosphere 1976 times the ratio of the day's to it (that is a mean, and a bound for no
    use; the densest day is safe for heat, and would not be where drag has to slow something); view
    factor of a plate that faces Earth. The solar constant is a parameter with its source.

    **Assumptions.** The ascent begins with cells at the temperature of conditioned air: after a
    loss of conditioning the count goes on only when the cells read it again (LSA 4.5). An ascent
    from the end of the hot pad case would pass 45 degC. The own heat is that of one phase,
    the least or the most, and not a mean: the housing follows a phase within minutes.

    **On the safe side.** Albedo as below the noon meridian, sun and albedo on the same face at
    once, no heat taken up by capacity in orbit. Each input is worst in each case by itself.
    `thermal_course` marches the same body through time and lies inside these bounds.

    **Not covered.** Gradients among the cells and inside the housing, a fairing that stays on, a
    stage that turns its radiating face to the Sun for hours beyond the declared areas, heaters
    (none), ageing in orbit, and running away of a cell: no temperature here is proof against that.

    **Caution.** Lithium cells vent and burn when hot. Never recover a cell that passed its limits
    on a number from here. No pressure statement. A thermal vacuum test is attended.
    """
    air = fairing_air_temperature + ZERO_CELSIUS
    tau = pad_time_constant(
        housing_capacity + battery_heat_capacity, pad_film_conductance, housing_area
    )
    on_pad = ends_on_pad(
        air, hot_wall_temperature, cold_wall_temperature, cooling_loss_duration,
        heating_loss_duration, tau,
    )  # fmt: skip
    ascent = make_ascent(
        ascent_wall_temperature, fairing_release_time, fairing_release_geometric_altitude,
        fairing_release_speed, fairing_release_climb_rate, upper_density_ratio, ram_area,
        plume_flux, plume_duration,
    )  # fmt: skip
    base = stage_temperature + ZERO_CELSIUS
    radiating = radiating_area * infrared_emittance
    own = active_heat + cell_heat
    inside = cell_heat / cell_conductance
    view = heat.view_of_earth(stage_geometric_altitude)
    infrared = infrared_emittance * view * earth_infrared * earth_area
    sun = solar_absorptance * solar_constant * (sun_area + albedo * view * earth_area)
    nodes = TwoNodes(
        housing_capacity, battery_heat_capacity, mount_conductance, cell_conductance, radiating
    )
    climbed = hottest_after_ascent(nodes, air, base, own, sun + infrared, ascent, radiating)
    chilled = coldest_after_ascent(nodes, air, base, ascent)
    late = ascent.ram_area * ascent.dose / housing_capacity
    sent = radiating * heat.radiated(base)
    kept = maximum(own + sun + infrared - sent, 0.0)
    sunlit = maximum(base + kept / mount_conductance + late, climbed)
    heat_taken_up = minimum(cell_heat, 0.0)
    lost = maximum(sent - infrared - active_heat - heat_taken_up, 0.0)
    below = heat_taken_up / cell_conductance
    dark = minimum(base - lost / mount_conductance, chilled) + below
    hot = {
        "pad, hot": on_pad.hottest,
        "ascent, hot": climbed + inside,
        "sunlit, hot": sunlit + inside,
    }
    cold = {
        "pad, cold": on_pad.coldest, "ascent, cold": chilled + below,
        "dark, cold": dark,
    }  # fmt: skip
    predicted = {case: t - ZERO_CELSIUS for case, t in (hot | cold).items()}
    judged = {case: t + prediction_uncertainty for case, t in predicted.items() if case in hot}
    judged |= {case: t - prediction_uncertainty for case, t in predicted.items() if case in cold}
    further = acceptance_margin + qualification_margin
    return ThermalCases(
        predicted_temperature=predicted,
        battery_temperature=judged,
        qualification_temperature={
            case: t + further if case in hot else t - further for case, t in judged.items()
        },
        free_molecular_flux=ascent.flux,
        pad_time_constant=tau / 3600.0,
    )


def make_ascent(
    wall_temperature: degC,
    release_time: s,
    geometric_altitude: km,
    speed: km_s,
    climb_rate: km_s,
    density_ratio: ratio,
    ram_area: m2,
    plume_flux: W_m2,
    plume_time: s,
) -> Ascent:
    """Return the heat of the ascent in SI units, of degC, s, km and km/s."""
    metres = 1000.0 * speed
    return Ascent(
        wall_temperature + ZERO_CELSIUS,
        release_time,
        density_ratio * heat.free_molecular_flux(heat.upper_density(geometric_altitude), metres),
        density_ratio * heat.free_molecular_dose(geometric_altitude, metres, 1000.0 * climb_rate),
        ram_area,
        plume_flux,
        plume_time,
    )


def hottest_after_ascent(
    nodes: TwoNodes,
    air: K,
    base: K,
    own: W,
    outside: W,
    ascent: Ascent,
    wall_area: m2,
) -> K:
    """Return the highest temperature of the housing at the end of the ascent, in K.

    All heat stays in the housing alone: its own, that of a wall warmer than the air and of a base
    warmer than the air, and after the release Sun, Earth, plume and the air that it meets.
    """
    wall = wall_area * (heat.radiated(ascent.wall_temperature) - heat.radiated(air))
    base_heat = nodes.base_conductance * maximum(base - air, 0.0)
    length = ascent.release_time + ascent.plume_time
    gained = (own + base_heat) * length + maximum(wall, 0.0) * ascent.release_time
    gained = gained + outside * ascent.plume_time
    gained = gained + ascent.ram_area * (ascent.dose + ascent.plume_flux * ascent.plume_time)
    return air + gained / nodes.outer_capacity


def coldest_after_ascent(nodes: TwoNodes, air: K, base: K, ascent: Ascent) -> K:
    """Return the lowest temperature of housing and cells at the end of the ascent, in K.

    From the air's temperature towards a colder base, and what the radiating area sends to space at
    the air's temperature from lift-off on, all of it taken from the housing alone.
    """
    length = ascent.release_time + ascent.plume_time
    rate = cooling_rate(nodes.base_conductance, nodes.outer_capacity)
    fallen = maximum(air - base, 0.0) * (1.0 - exp(-rate * length))
    sent = cooled_by(nodes.radiating_area, heat.radiated(air), length, nodes.outer_capacity)
    return air - fallen - sent


def cooling_rate(conductance: W_per_K, capacity: J_per_K) -> per_s:
    """Return one over the time constant of a body: G/C."""
    return conductance / capacity


def cooled_by(area: m2, flux: W_m2, time: s, capacity: J_per_K) -> K:
    """Return how much colder a body gets that sends a flux for a time: A q t/C."""
    return area * flux * time / capacity


@analysis(validated_by=("tests/analyses/test_thermal_cases.py",))
def thermal_course(
    fairing_air_temperature: degC,
    housing_capacity: J_per_K,
    battery_heat_capacity: J_per_K,
    cell_conductance: W_per_K,
    mount_conductance: W_per_K,
    stage_temperature: degC,
    active_heat: W,
    cell_heat: W,
    ascent_wall_temperature: degC,
    fairing_release_time: s,
    fairing_release_geometric_altitude: km,
    fairing_release_speed: km_s,
    fairing_release_climb_rate: km_s,
    upper_density_ratio: ratio,
    ram_area: m2,
    plume_flux: W_m2,
    plume_duration: s,
    sun_area: m2,
    earth_area: m2,
    radiating_area: m2,
    solar_absorptance: ratio,
    infrared_emittance: ratio,
    solar_constant: W_m2,
    albedo: ratio,
    earth_infrared: W_m2,
    stage_geometric_altitude: km,
    thermal_duration: hour,
    prediction_uncertainty: K,
) -> ThermalCourse:
    """Course of the temperatures of housing and cells through ascent and orbit, hot and cold.

    **Model.** Two nodes, housing and battery: the housing is tied to the stage, radiates to wall or
    space and takes in its own heat, free-molecular heating, plume, Sun, albedo and Earth's
    infrared; the battery is tied to the housing. Hot: fairing wall and plume, then the sunlit arc
    first, then the dark one, and so on. Cold: no wall, no plume, no free-molecular heat, the dark
    arc first. Arcs are those of a circular orbit with the Sun in its plane. Fourth-order
    Runge-Kutta, `heat_balance.march`. The prediction's uncertainty is added (hot) or taken off
    (cold) for the cells.

    **Assumptions, sources, caution**: those of `thermal_cases`, whose closed-form bounds hold this
    course inside. Here capacity and radiation count, so it is nearer to what will be seen.
    **Not covered**: as there; and the march is evaluated on numbers only, so a worst case is
    searched, not proved. **Caution**: no number here makes a hot cell safe.
    """
    courses = both_courses(
        fairing_air_temperature, housing_capacity, battery_heat_capacity, cell_conductance,
        mount_conductance, stage_temperature, active_heat, cell_heat, ascent_wall_temperature,
        fairing_release_time, fairing_release_geometric_altitude, fairing_release_speed,
        fairing_release_climb_rate, upper_density_ratio, ram_area, plume_flux, plume_duration,
        sun_area, earth_area, radiating_area, solar_absorptance, infrared_emittance,
        solar_constant, albedo, earth_infrared, stage_geometric_altitude, thermal_duration,
    )  # fmt: skip
    hot = max(courses["hot"], key=lambda moment: moment.cells)
    cold = min(courses["cold"], key=lambda moment: moment.cells)
    return ThermalCourse(
        {
            "hot": hot.cells - ZERO_CELSIUS + prediction_uncertainty,
            "cold": cold.cells - ZERO_CELSIUS - prediction_uncertainty,
        },
        {
            "hot": max(moment.housing for moment in courses["hot"]) - ZERO_CELSIUS,
            "cold": min(moment.housing for moment in courses["cold"]) - ZERO_CELSIUS,
        },
        {"hot": hot.time, "cold": cold.time},
    )


@thermal_course.figure
def temperatures_over_time(
    fairing_air_temperature: degC,
    housing_capacity: J_per_K,
    battery_heat_capacity: J_per_K,
    cell_conductance: W_per_K,
    mount_conductance: W_per_K,
    stage_temperature: degC,
    active_heat: W,
    cell_heat: W,
    ascent_wall_temperature: degC,
    fairing_release_time: s,
    fairing_release_geometric_altitude: km,
    fairing_release_speed: km_s,
    fairing_release_climb_rate: km_s,
    upper_density_ratio: ratio,
    ram_area: m2,
    plume_flux: W_m2,
    plume_duration: s,
    sun_area: m2,
    earth_area: m2,
    radiating_area: m2,
    solar_absorptance: ratio,
    infrared_emittance: ratio,
    solar_constant: W_m2,
    albedo: ratio,
    earth_infrared: W_m2,
    stage_geometric_altitude: km,
    thermal_duration: hour,
    prediction_uncertainty: K,
) -> Figure:
    """Temperatures of cells and housing after lift-off in the hot and in the cold case, at the
    inputs; the bands add the prediction's uncertainty to the cells. Look at the ends of the bands
    and at when they come. All data are invented.
    """
    from analyses import plotting

    courses = both_courses(
        fairing_air_temperature, housing_capacity, battery_heat_capacity, cell_conductance,
        mount_conductance, stage_temperature, active_heat, cell_heat, ascent_wall_temperature,
        fairing_release_time, fairing_release_geometric_altitude, fairing_release_speed,
        fairing_release_climb_rate, upper_density_ratio, ram_area, plume_flux, plume_duration,
        sun_area, earth_area, radiating_area, solar_absorptance, infrared_emittance,
        solar_constant, albedo, earth_infrared, stage_geometric_altitude, thermal_duration,
    )  # fmt: skip
    figure, (axes,) = plotting.panels(height=4.4)
    for case, color, sign in (("hot", plotting.ORANGE, 1.0), ("cold", plotting.BLUE, -1.0)):
        hours = [moment.time / 3600.0 for moment in courses[case]]
        cells = [moment.cells - ZERO_CELSIUS for moment in courses[case]]
        housing = [moment.housing - ZERO_CELSIUS for moment in courses[case]]
        axes.plot(hours, cells, color=color, label=f"cells, {case}")
        axes.plot(hours, housing, "--", color=color, label=f"housing, {case}")
        axes.fill_between(
            hours, cells, [cell + sign * prediction_uncertainty for cell in cells], color=color,
            alpha=0.2, linewidth=0.0, label=f"uncertainty, {case}",
        )  # fmt: skip
    plotting.moment(axes, fairing_release_time / 3600.0, "release of the fairing")
    axes.set_xlabel("time after lift-off (h)")
    axes.set_ylabel("temperature (\N{DEGREE SIGN}C)")
    plotting.legend(figure)
    return figure


def both_courses(
    fairing_air_temperature: degC,
    housing_capacity: J_per_K,
    battery_heat_capacity: J_per_K,
    cell_conductance: W_per_K,
    mount_conductance: W_per_K,
    stage_temperature: degC,
    active_heat: W,
    cell_heat: W,
    ascent_wall_temperature: degC,
    fairing_release_time: s,
    fairing_release_geometric_altitude: km,
    fairing_release_speed: km_s,
    fairing_release_climb_rate: km_s,
    upper_density_ratio: ratio,
    ram_area: m2,
    plume_flux: W_m2,
    plume_duration: s,
    sun_area: m2,
    earth_area: m2,
    radiating_area: m2,
    solar_absorptance: ratio,
    infrared_emittance: ratio,
    solar_constant: W_m2,
    albedo: ratio,
    earth_infrared: W_m2,
    stage_geometric_altitude: km,
    thermal_duration: hour,
) -> dict[str, list[Moment]]:
    """Return the hot and the cold course; arguments as thermal_course has them."""
    nodes = TwoNodes(
        housing_capacity, battery_heat_capacity, mount_conductance, cell_conductance,
        radiating_area * infrared_emittance,
    )  # fmt: skip
    ascent = make_ascent(
        ascent_wall_temperature, fairing_release_time, fairing_release_geometric_altitude,
        fairing_release_speed, fairing_release_climb_rate, upper_density_ratio, ram_area,
        plume_flux, plume_duration,
    )  # fmt: skip
    view = heat.view_of_earth(stage_geometric_altitude)
    infrared = infrared_emittance * view * earth_infrared * earth_area
    sun = solar_absorptance * solar_constant * (sun_area + albedo * view * earth_area)
    air = fairing_air_temperature + ZERO_CELSIUS
    wall = nodes.radiating_area * max(
        heat.radiated(ascent.wall_temperature) - heat.radiated(air), 0.0
    )
    return {
        case: course(
            nodes, air, stage_temperature + ZERO_CELSIUS, (active_heat, cell_heat),
            Outside(
                ascent, case == "hot", wall, sun, infrared,
                heat.orbit_period(stage_geometric_altitude),
                heat.longest_shadow(stage_geometric_altitude),
            ),
            3600.0 * thermal_duration,
        )
        for case in ("hot", "cold")
    }  # fmt: skip


class Moment(NamedTuple):
    """Time in s after lift-off, temperatures in K."""

    time: s
    housing: K
    cells: K


class Outside(NamedTuple):
    """What warms the housing from outside; W, and K."""

    ascent: Ascent
    hot: bool
    wall: W
    sun: W  # with albedo
    infrared: W
    period: s  # of the orbit
    dark: s  # s of it, in the shadow of the Earth

    def sunlit(self, time: s) -> bool:
        """Say whether the Sun shines; the hot case begins in the Sun, the cold one in the dark."""
        phase = (time - self.ascent.release_time) % self.period
        return phase < self.period - self.dark if self.hot else phase >= self.dark

    def at(self, time: s) -> W:
        """Return the heat in W at a time in s after lift-off.

        The free-molecular dose falls evenly over the step behind the release: it is all but over
        by then.
        """
        ascent = self.ascent
        if time < ascent.release_time:
            return self.wall if self.hot else 0.0
        found = self.infrared + (self.sun if self.sunlit(time) else 0.0)
        if self.hot and time < ascent.release_time + STEP:
            found += ascent.ram_area * ascent.dose / STEP
        if self.hot and time < ascent.release_time + ascent.plume_time:
            found += ascent.ram_area * ascent.plume_flux
        return found

    def breaks(self, end: s) -> list[s]:
        """Return the times in s at which the heat jumps."""
        start = self.ascent.release_time
        period = self.period
        turn = period - self.dark if self.hot else self.dark
        found = [start, start + STEP, start + self.ascent.plume_time]
        for orbit in range(ceil(end / period)):
            found += [start + orbit * period + turn, start + (orbit + 1) * period]
        return [time for time in found if time < end]


def course(
    nodes: TwoNodes,
    air: K,
    base: K,
    own: tuple[float, float],
    outside: Outside,
    duration: s,
) -> list[Moment]:
    """Return the course of housing and cells from lift-off for a time in s; own heat in W."""
    release = outside.ascent.release_time
    steps = [STEP * i for i in range(ceil(duration / STEP))]
    times = sorted({*steps, *outside.breaks(duration), duration})
    found = heat.march(
        nodes,
        (air, air),
        lambda time: (own[0] + outside.at(time), own[1], base),
        lambda time: heat.radiated(air) if time < release else 0.0,
        times,
    )
    return [Moment(time, *both) for time, both in zip(times, found, strict=True)]
