"""Coldest and hottest temperature of the battery on the pad."""

from __future__ import annotations

from typing import Annotated, NamedTuple

from analyses.physics.heat_balance import ZERO_CELSIUS, approach
from closeout import analysis
from closeout.math import maximum, minimum
from closeout.units import J_per_K, K, Unit, degC, hour, m2, s

W_per_m2_K = Annotated[float, Unit("W/(m^2 K)")]


class PadTemperatures(NamedTuple):
    """Of the cells in the fairing, predicted, without the uncertainty of the prediction."""

    coldest_on_pad: degC
    hottest_on_pad: degC


class Ends(NamedTuple):
    """Temperatures in K."""

    coldest: K
    hottest: K


@analysis(validated_by="tests/analyses/test_thermal_cases.py")
def pad_temperatures(
    fairing_air_temperature: degC,
    hot_wall_temperature: degC,
    cold_wall_temperature: degC,
    cooling_loss_duration: hour,
    heating_loss_duration: hour,
    pad_film_conductance: W_per_m2_K,
    housing_area: m2,
    housing_capacity: J_per_K,
    battery_heat_capacity: J_per_K,
) -> PadTemperatures:
    """Compute what the battery's temperature comes to on the pad when conditioned air is lost.

    **Model, assumptions, sources, caution**: those of the pad in `thermal_cases`, which adds the
    uncertainty of the prediction. This is for the temperature at which the hold is computed
    (`pad_hold_energy`). **Not covered**: as there.
    """
    tau = pad_time_constant(
        housing_capacity + battery_heat_capacity, pad_film_conductance, housing_area
    )
    ends = ends_on_pad(
        fairing_air_temperature + ZERO_CELSIUS, hot_wall_temperature, cold_wall_temperature,
        cooling_loss_duration, heating_loss_duration, tau,
    )  # fmt: skip
    return PadTemperatures(ends.coldest - ZERO_CELSIUS, ends.hottest - ZERO_CELSIUS)


def pad_time_constant(capacity: J_per_K, film_conductance: W_per_m2_K, area: m2) -> s:
    """Return the time constant of a body in still air in s: C/(h A)."""
    return capacity / (film_conductance * area)


def ends_on_pad(
    air: K,
    hot_wall: degC,
    cold_wall: degC,
    cooling_loss: hour,
    heating_loss: hour,
    time_constant: s,
) -> Ends:
    """Return the ends of a body in air at a temperature in K, with and without a loss of it.

    Walls in degC, losses in h, time constant in s.
    """
    cold = approach(air, cold_wall + ZERO_CELSIUS, 3600.0 * heating_loss, time_constant)
    hot = approach(air, hot_wall + ZERO_CELSIUS, 3600.0 * cooling_loss, time_constant)
    return Ends(minimum(air, cold), maximum(air, hot))
