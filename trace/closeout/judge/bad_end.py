"""Where in a range an analysis finds its bad end."""

from __future__ import annotations

from closeout.graph import Request
from closeout.model.answer import Extent

Point = tuple[tuple[str, float], ...]
Texts = tuple[tuple[str, str], ...]


def bad_end(extent: Extent, request: Request, point: Point) -> Texts:
    """Return the conditions given as a range at the point that decides, as texts of amounts.

    One that is the same at the good end is left out: nothing was seen to depend on it.
    """
    if extent.low is None or extent.high is None:
        return ()
    # A point names what differs from the inputs.
    inputs = {used.name: used.value for used in request.inputs}
    low, high, here = (inputs | dict(at) for at in (extent.low_at, extent.high_at, point))
    ranges = [
        used.name for used in request.inputs if used.origin == "given" and used.low is not None
    ]
    differ = [name for name in ranges if low[name] != high[name]]
    return ranges_at(tuple((name, here[name]) for name in differ), request)


def ranges_at(point: Point, request: Request) -> Texts:
    """Return inputs at a point as texts of amounts."""
    at = dict(point)
    units = {used.name: "" if used.unit == "1" else f" {used.unit}" for used in request.inputs}
    return tuple((name, f"{at[name]!r}{unit}") for name, unit in units.items() if name in at)
