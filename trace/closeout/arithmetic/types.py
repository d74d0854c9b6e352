"""Types that all arithmetics share: what is evaluated, where, and what comes back.

An analysis is seen from here as a function from its arguments to the values of its quantities.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

# A quantity, and one of its cases; None where it has no cases.
Key = tuple[str, str | None]
Values = Mapping[Key, float]
# An analysis: takes numbers by argument, or values of another arithmetic, which it lets through.
Evaluate = Callable[[Mapping[str, Any]], Mapping[Key, Any]]
# An argument that has a spread, with its low and its high end; the box holds all of them.
Side = tuple[str, float, float]
Box = tuple[Side, ...]
# A number for each side of a box, in their order.
Point = tuple[float, ...]
# Arguments and their values: where something was found. Those that are missing are at the inputs.
At = tuple[tuple[str, float], ...]
# The least and the greatest derivative by a side.
Slope = tuple[float, float]
