"""Points of conditions that are given as a range, for methods that cannot cover a range."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

from closeout.arithmetic.types import Box

# Points on each range, by how many ranges there are; its ends alone where there are more.
POINTS = {1: 5, 2: 3}


def points_of(sides: Box) -> Iterator[dict[str, float]]:
    """Yield every combination of evenly spread points of the ranges, the ends among them."""
    count = POINTS.get(len(sides), 2)
    lines = [
        [low + (high - low) * k / (count - 1) for k in range(count - 1)] + [high]
        for _, low, high in sides
    ]
    for values in product(*lines):
        yield dict(zip((name for name, _, _ in sides), values, strict=True))
