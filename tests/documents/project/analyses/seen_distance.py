"""Distance at which the buoy's light is seen, by bearing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, NamedTuple

from closeout import analysis
from closeout.math import sqrt
from closeout.units import Unit

LEAST_ILLUMINANCE = 1.0  # lx at 1 km; invented, it stands for what an eye still sees
OF_BEARING = {
    "north": 1.0,
    "east": 1.2,
    "south": 0.6,
}  # share of the intensity that leaves the mast


class SeenDistance(NamedTuple):
    distance: Annotated[Mapping[str, float], Unit("km")]


@analysis(validated_by="tests/test_buoy.py")
def seen_distance(intensity: Annotated[float, Unit("cd")]) -> SeenDistance:
    """Compute the distance at which the light is as bright as an eye needs, in clear air.

    **Model.** The inverse square of the distance; nothing is lost in the air.
    """
    return SeenDistance(
        {name: sqrt(share * intensity / LEAST_ILLUMINANCE) for name, share in OF_BEARING.items()}
    )
