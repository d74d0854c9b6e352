"""A direct-current source with inner resistance, and a load that takes constant power from it.

Voltage in V, current in A, resistance in ohm, power in W. Kirchhoff's voltage law, U = E - I R with
P = U I, is the source of each formula.
"""

from closeout.math import sqrt
from closeout.units import A, V, W, ohm, ratio


def terminal_voltage(source_voltage: V, resistance: ohm, power: W) -> V:
    """Return the voltage at the terminals while the load takes this power.

    The upper root of U^2 - E U + P R = 0, at which a loaded source works. Raises ValueError above
    the power that the source can give, E^2 / (4 R).
    """
    return source_voltage / 2 + sqrt(source_voltage * source_voltage / 4 - power * resistance)


def source_voltage_at(terminal: V, resistance: ohm, power: W) -> V:
    """Return the open-circuit voltage at which the loaded terminals stand at this voltage.

    E = U + R P / U.
    """
    return terminal + resistance * (power / terminal)


def discharge_efficiency(terminal: V, resistance: ohm, power: W) -> ratio:
    """Return U / E: the share of the energy leaving the source that reaches its terminals.

    U / E = 1 / (1 + R P / U^2). At constant power it falls with the voltage, so its value at the
    cut-off is a lower bound of its value before.
    """
    return 1 / (1 + resistance * (power / (terminal * terminal)))


def regulator_input_current(
    output_voltage: V, output_current: float, efficiency: ratio, input_voltage: V
) -> float:
    """Return what a regulator draws: I_in = U_out I_out / (efficiency U_in).

    It takes constant power, so it draws more as its input voltage falls. Its own quiescent current
    comes on top. Currents in one unit of your choice.
    """
    return output_voltage * output_current / (efficiency * input_voltage)


def current_at(power: W, voltage: V) -> A:
    """Return the current of a power at a voltage: P / U."""
    return power / voltage
