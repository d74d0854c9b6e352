"""Temperatures of the battery: balances by hand, directions, and the march inside the bounds."""

from __future__ import annotations

import math
import random
from pathlib import Path
from typing import Any, get_type_hints

import pytest
from scipy.integrate import solve_ivp

from analyses import thermal_cases as thermal
from analyses.mission_sequence import mission_sequence
from analyses.pad_hold_energy import pad_hold_energy
from analyses.pad_temperatures import pad_temperatures
from analyses.physics import heat_balance as heat
from tests.analyses.declared import Declared, declarations

ROOT = Path(__file__).parents[2]
SIGMA = 5.670374419e-8


# Round numbers for what is checked by hand; what the mission declares and finds stands in BOX.
ROUND = {
    "active_heat": 26.0, "cell_heat": 1.0,
    "housing_capacity": 2000.0, "battery_heat_capacity": 400.0, "cell_conductance": 0.6,
    "housing_area": 0.11, "radiating_area": 0.05, "thermal_duration": 1.8,
}  # fmt: skip


def inputs(analysis: Any) -> list[str]:
    return [name for name in get_type_hints(analysis.function) if name != "return"]


CASES, COURSE = inputs(thermal.thermal_cases), inputs(thermal.thermal_course)
DECLARED = (Declared(thermal.thermal_cases), Declared(thermal.thermal_course))
VALUES = DECLARED[0].values | DECLARED[1].values | ROUND
BOX = DECLARED[0].box | DECLARED[1].box


def cases(**changed: float) -> thermal.ThermalCases:
    return thermal.thermal_cases(**{name: changed.get(name, VALUES[name]) for name in CASES})


def marched(**changed: float) -> thermal.ThermalCourse:
    return thermal.thermal_course(**{name: changed.get(name, VALUES[name]) for name in COURSE})


# --- the pad --------------------------------------------------------------------------------------


def test_pad_against_integration() -> None:
    """scipy.integrate.solve_ivp of C dT/dt = h A (T_wall - T)."""
    found = cases(cooling_loss_duration=6)
    end = solve_ivp(
        lambda t, y: [1.5 * 0.11 * (33.0 - y[0]) / 2400.0], (0, 6 * 3600), [19.0],
        rtol=1e-10, atol=1e-10,
    ).y[0, -1]  # fmt: skip
    assert found.predicted_temperature["pad, hot"] == pytest.approx(end, abs=1e-6)
    assert found.pad_time_constant == pytest.approx(2400 / (1.5 * 0.11) / 3600)


def test_a_wall_that_is_milder_than_the_air_is_no_worst_case() -> None:
    found = cases(hot_wall_temperature=10, cold_wall_temperature=25).predicted_temperature
    assert found["pad, hot"] == found["pad, cold"] == pytest.approx(19)


@pytest.mark.parametrize(
    ("name", "value", "case", "sign"),
    [
        ("cooling_loss_duration", 40.0, "pad, hot", 1),
        ("hot_wall_temperature", 38.0, "pad, hot", 1),
        ("heating_loss_duration", 4.0, "pad, cold", -1),
        ("cold_wall_temperature", 5.0, "pad, cold", -1),
        ("pad_film_conductance", 2.0, "pad, cold", -1),
        ("pad_film_conductance", 2.0, "pad, hot", 1),
        ("housing_capacity", 1500.0, "pad, cold", -1),
    ],
)  # fmt: skip
def test_loss_of_conditioning(name: str, value: float, case: str, sign: int) -> None:
    """S: longer loss, worse wall, more film, less capacity: hotter if hot, colder if cold."""
    before = cases(cooling_loss_duration=6).predicted_temperature[case]
    after = cases(**{"cooling_loss_duration": 6, name: value}).predicted_temperature[case]
    assert sign * (after - before) > 0


def test_the_pad_alone_is_the_pad_of_the_cases() -> None:
    """At corners: what the hold is computed at is what the cases find, by name."""
    own = Declared(pad_temperatures)
    for point in own.points(40):
        whole, found = cases(**point).predicted_temperature, own.find(**point)
        assert found.coldest_on_pad == whole["pad, cold"]
        assert found.hottest_on_pad == whole["pad, hot"]


# --- ascent and orbit -------------------------------------------------------------------------


def test_sunlit_balance_by_hand() -> None:
    found = cases(
        ascent_wall_temperature=0, fairing_release_time=0, plume_duration=0, radiating_area=0
    )
    view = (6378.137 / 6878.137) ** 2
    sun = 0.27 * 1361 * (0.032 + 0.3 * view * 0.032)
    infrared = 0.86 * view * 230 * 0.032
    own = 26 + 1.0
    rho = math.exp(math.log(9.708e-8) + 0.6 * math.log(2.222e-8 / 9.708e-8))
    assert found.free_molecular_flux == pytest.approx(0.5 * rho * 4300**3, rel=1e-12)
    late = 0.032 * heat.free_molecular_dose(116, 4300, 1000) / 2000
    expected = 15 + (own + sun + infrared) / 3.6 + late + 1.0 / 0.6
    assert found.predicted_temperature["sunlit, hot"] == pytest.approx(expected, rel=1e-9)


def test_dark_balance_by_hand() -> None:
    """Sent at 288.15 K, less Earth's infrared and own heat, through the mounting."""
    found = cases(active_heat=2, earth_infrared=0, fairing_release_time=0, plume_duration=0)
    sent = 0.05 * 0.86 * SIGMA * 288.15**4
    assert found.predicted_temperature["dark, cold"] == pytest.approx(15 - (sent - 2) / 3.6)


def test_what_the_reaction_takes_up_makes_cold_cells_colder() -> None:
    """S: 0.9 W out of the cells through 0.6 W/K are 1.5 K, and 0.25 K more of the housing.

    On the pad the recorder sleeps; in the hot cases heat that is taken up is no help to count on.
    """
    calm = {"active_heat": 2.0, "fairing_release_time": 0.0, "plume_duration": 0.0}
    none, some = (cases(**calm, cell_heat=x).predicted_temperature for x in (0.0, -0.9))
    assert none["ascent, cold"] - some["ascent, cold"] == pytest.approx(0.9 / 0.6)
    assert none["dark, cold"] - some["dark, cold"] == pytest.approx(0.9 / 0.6 + 0.9 / 3.6)
    assert none["pad, cold"] == some["pad, cold"]


def test_cells_that_take_up_heat_are_within_the_bounds_of_the_cold_case() -> None:
    """The march over two orbits, with the least heat of the recorder: no colder than the bound."""
    own = {"active_heat": 12.0, "cell_heat": -0.9}
    bound = min(t for case, t in cases(**own).battery_temperature.items() if "cold" in case)
    assert marched(**own, thermal_duration=3.2).cell_temperature_in_use["cold"] >= bound


HOT = ["ascent, hot", "sunlit, hot"]


@pytest.mark.parametrize(
    ("name", "factor", "where"),
    [
        ("fairing_release_speed", 1.2, HOT), ("fairing_release_climb_rate", 0.7, HOT),
        ("ascent_wall_temperature", 1.2, ["ascent, hot"]), ("plume_flux", 1.5, ["ascent, hot"]),
        ("plume_duration", 1.5, ["ascent, hot"]), ("ram_area", 1.5, HOT),
        ("upper_density_ratio", 1.5, HOT),
        ("active_heat", 1.2, HOT), ("cell_heat", 1.5, HOT), ("cell_conductance", 0.7, HOT),
        ("earth_infrared", 1.1, HOT), ("albedo", 1.3, HOT), ("solar_constant", 1.05, HOT),
        ("solar_absorptance", 1.3, HOT), ("sun_area", 1.3, HOT), ("earth_area", 1.3, HOT),
        ("mount_conductance", 0.7, ["sunlit, hot"]), ("housing_capacity", 0.8, ["ascent, hot"]),
    ],
)  # fmt: skip
def test_what_makes_it_hotter(name: str, factor: float, where: list[str]) -> None:
    """S: free-molecular heating, inner wall, plume, infrared and albedo raise the hot cases.

    The sunlit end is looked at alone: the ascent is made short there, so that it does not lead.
    """
    for case in where:
        calm = {"fairing_release_time": 5.0, "plume_duration": 1.0} if "sunlit" in case else {}
        before = cases(**calm).predicted_temperature[case]
        after = cases(**{**calm, name: factor * VALUES[name]}).predicted_temperature[case]
        assert after > before, case


def test_a_lower_release_of_the_fairing_is_hotter() -> None:
    """S: free-molecular heating falls with altitude."""
    high, low = cases(fairing_release_geometric_altitude=120), cases()
    assert low.free_molecular_flux > high.free_molecular_flux
    hot = "ascent, hot"
    assert low.predicted_temperature[hot] > high.predicted_temperature[hot]


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("active_heat", 2.0), ("earth_infrared", 0.0), ("radiating_area", 0.2),
        ("infrared_emittance", 1.4), ("stage_temperature", 12.0), ("mount_conductance", 2.0),
    ],
)  # fmt: skip
def test_what_makes_the_dark_arc_colder(name: str, value: float) -> None:
    calm = {"active_heat": 5.0, "fairing_release_time": 0.0, "plume_duration": 0.0}
    before = cases(**calm).predicted_temperature["dark, cold"]
    after = cases(**{**calm, name: value}).predicted_temperature["dark, cold"]
    assert after < before


def test_uncertainty_then_acceptance_then_qualification() -> None:
    """S: each is added at both ends, one after the other."""
    found = cases()
    for case, predicted in found.predicted_temperature.items():
        sign = 1 if case.endswith("hot") else -1
        assert found.battery_temperature[case] == pytest.approx(predicted + sign * 5)
        assert found.qualification_temperature[case] == pytest.approx(predicted + sign * 15)
    assert cases(prediction_uncertainty=6).battery_temperature["pad, hot"] == pytest.approx(
        found.battery_temperature["pad, hot"] + 1
    )


# --- the march ------------------------------------------------------------------------------------


def scipy_course(hot: bool) -> tuple[float, float]:
    """Return (warmest, coldest) cells in degC at the declared values, by SciPy, own formulas."""
    period = 2 * math.pi * math.sqrt(6878.137**3 / 398600.4418)
    dark = period / math.pi * math.asin(6378.137 / 6878.137)
    view = (6378.137 / 6878.137) ** 2
    sun = 0.27 * 1361 * (0.032 + 0.3 * view * 0.032)
    infrared = 0.86 * view * 230 * 0.032
    air, base, radiating = 292.15, 288.15, 0.05 * 0.86
    wall = radiating * SIGMA * (363.15**4 - air**4)
    dose = 0.032 * heat.free_molecular_dose(116, 4300, 1000)

    def outside(t: float) -> float:
        if t < 170:
            return wall if hot else 0.0
        phase = (t - 170) % period
        sunlit = phase < period - dark if hot else phase >= dark
        found = infrared + (sun if sunlit else 0.0)
        if hot and t < 210:
            found += dose / 40
        if hot and t < 290:
            found += 0.032 * 400
        return found

    def rates(t: float, y: list[float]) -> list[float]:
        sky = radiating * ((SIGMA * air**4 if t < 170 else 0.0) - SIGMA * y[0] ** 4)
        between = 0.6 * (y[1] - y[0])
        outer = 26 + outside(t) + 3.6 * (base - y[0]) + between + sky
        return [outer / 2000, (1.0 - between) / 400]

    end = solve_ivp(
        rates,
        (0, 3600 * VALUES["thermal_duration"]),
        [air, air],
        max_step=2.0,
        rtol=1e-8,
        atol=1e-8,
    )
    return max(end.y[1]) - 273.15, min(end.y[1]) - 273.15


def test_course_against_scipy() -> None:
    found = marched().cell_temperature_in_use
    assert found["hot"] - 5 == pytest.approx(scipy_course(True)[0], abs=0.01)
    assert found["cold"] + 5 == pytest.approx(scipy_course(False)[1], abs=0.01)


def test_step_is_short_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    coarse = marched()
    monkeypatch.setattr(thermal, "STEP", thermal.STEP / 2)
    fine = marched()
    for case in ("hot", "cold"):
        assert fine.cell_temperature_in_use[case] == pytest.approx(
            coarse.cell_temperature_in_use[case], abs=2e-3
        )


@pytest.mark.parametrize("seed", range(25))
def test_the_bounds_hold_the_course(seed: int) -> None:
    """Closed form against march, at corners and inside of the declared box, wider by a third."""
    chance = random.Random(seed)
    point = {}
    for name in VALUES:
        low, high = BOX[name]
        wide = (high - low) / 6
        if declarations()[name].get("condition"):
            wide = 0
        low, high = low - wide, high + wide
        point[name] = chance.choice([low, high, chance.uniform(low, high)])
    point["fairing_release_geometric_altitude"] = chance.uniform(105, 125)
    bounds, course = cases(**point).battery_temperature, marched(**point).cell_temperature_in_use
    assert course["hot"] <= max(bounds["ascent, hot"], bounds["sunlit, hot"]) + 1e-9
    assert course["cold"] >= min(bounds["ascent, cold"], bounds["dark, cold"]) - 1e-9


@pytest.mark.parametrize(
    ("name", "value", "case", "sign"),
    [
        ("active_heat", 40.0, "hot", 1), ("cell_heat", 3.0, "hot", 1), ("albedo", 0.5, "hot", 1),
        ("solar_constant", 1420.0, "hot", 1), ("earth_infrared", 300.0, "hot", 1),
        ("stage_temperature", 5.0, "cold", -1), ("active_heat", 0.0, "cold", -1),
        ("radiating_area", 0.2, "cold", -1), ("fairing_air_temperature", 12.0, "cold", -1),
        ("prediction_uncertainty", 6.0, "hot", 1), ("prediction_uncertainty", 6.0, "cold", -1),
    ],
)  # fmt: skip
def test_direction_of_the_course(name: str, value: float, case: str, sign: int) -> None:
    calm = {"active_heat": 15.0} if case == "cold" else {}
    before = marched(**calm).cell_temperature_in_use[case]
    after = marched(**{**calm, name: value}).cell_temperature_in_use[case]
    assert sign * (after - before) > 0


def test_the_hot_case_begins_in_the_sun_and_the_cold_one_in_the_dark() -> None:
    ascent = thermal.make_ascent(90, 170, 116, 4.3, 1.0, 1.0, 0.03, 400, 120)
    dark = heat.longest_shadow(500.0)
    period = heat.orbit_period(500.0)
    hot = thermal.Outside(ascent, True, 0.0, 20.0, 5.0, period, dark)
    cold = hot._replace(hot=False)
    assert hot.sunlit(171)
    assert not cold.sunlit(171)
    assert cold.sunlit(171 + dark)
    assert not hot.sunlit(171 + period - dark)
    lit = sum(hot.sunlit(170 + t) for t in range(round(period)))
    assert lit == pytest.approx(period - dark, abs=2)


# --- against the rest of the mission --------------------------------------------------------------


def worst(declared: Declared, case: str) -> float:
    """Return the most (hot) or least (cold) predicted temperature of a case, end by end."""
    hot = case.endswith("hot")
    ends_of = {
        name: (max if hot else min)(
            declared.box[name],
            key=lambda end, n=name: declared.find(**{n: end}).predicted_temperature[case],
        )
        for name in declared.wide()
    }
    return float(declared.find(**ends_of).predicted_temperature[case])


def test_cells_in_the_hold_are_inside_the_temperatures_that_power_counts_with() -> None:
    """hold_temperature of pad_hold_energy is what the pad case predicts, one day in the warm."""
    hold = Declared(pad_hold_energy).box["hold_temperature"]
    assert worst(Declared(thermal.thermal_cases), "pad, hot") <= hold[1]


def test_a_warm_day_with_its_uncertainty_leaks_less_than_the_hold_that_is_counted() -> None:
    """S: 27 d of air at its warmest and one hot day, both 5 K warmer, against 28 d at the hot end.

    The leak goes with q10^(T/10 K) (rule of van 't Hoff), here by hand.
    """
    power, declared = Declared(pad_hold_energy), Declared(thermal.thermal_cases)
    air = declared.box["fairing_air_temperature"][1] + 5
    day = worst(declared, "pad, hot") + 5
    assert power.values["hold_duration"] == 28
    for q10 in power.box["self_discharge_q10"]:
        course = 27 * q10 ** (air / 10) + q10 ** (day / 10)
        assert course < 28 * q10 ** (power.box["hold_temperature"][1] / 10)


def test_switch_on_is_no_warmer_than_the_soft_start_counts_with() -> None:
    """S: warm cells have less resistance; the ascent begins in conditioned air (LSA 4.5)."""
    warmest = Declared(thermal.thermal_cases).box["fairing_air_temperature"][1]
    assert warmest + VALUES["prediction_uncertainty"] <= 35  # PWR-060 to PWR-066


def test_an_ascent_from_a_hot_pad_would_be_too_hot() -> None:
    """S: so the docstring asks for conditioned air first."""
    declared = Declared(thermal.thermal_cases)
    hot = worst(declared, "pad, hot")
    after = declared.find(fairing_air_temperature=hot).battery_temperature["ascent, hot"]
    before = declared.find().battery_temperature["ascent, hot"]
    assert after > before + (hot - VALUES["fairing_air_temperature"]) / 2


def test_the_course_lasts_as_long_as_the_recorder_is_on() -> None:
    """The latest wake-up, 61 s late and with one reset, on a slow clock; the units then go off."""
    sequence = Declared(mission_sequence)
    latest = sequence.find(
        **{
            n: sequence.box[n][1]
            for n in ("wake_time", "wake_up_delay", "computer_resets", "timer_error")
        }
    ).event_time["last transmission"]
    assert 3600 * BOX["thermal_duration"][1] == pytest.approx(latest)
