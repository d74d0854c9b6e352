"""Figures of the analyses, drawn at declared values, and what stands in them."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from closeout import Analysis
from closeout.evaluate.describe import analyses_of
from tests.analyses.declared import ROOT, Declared


@cache
def with_figures() -> dict[str, Analysis[..., Any]]:
    """Return the analysis of each figure of the mission, by the name of the figure."""
    modules = [import_module(f"analyses.{path.stem}") for path in _sources(ROOT / "analyses")]
    return {
        figure.__name__: analysis
        for module in modules
        for analysis in analyses_of(module)
        for figure in analysis.figures
    }


def _sources(folder: Path) -> Iterator[Path]:
    return (path for path in sorted(folder.glob("*.py")) if path.stem != "plotting")


@cache
def declared_of(name: str) -> Declared:
    """Return the declared values of the analysis of a figure."""
    return Declared(with_figures()[name])


def function_of(name: str) -> Any:
    """Return the function that draws a figure."""
    return next(f for f in with_figures()[name].figures if f.__name__ == name)


def inputs_of(name: str, **changed: float) -> dict[str, float]:
    """Return the arguments of a figure at the declared values, but for what is changed."""
    code = function_of(name).__code__
    values = {**declared_of(name).values, **changed}
    return {each: values[each] for each in code.co_varnames[: code.co_argcount]}


def draw(name: str, **changed: float) -> tuple[Figure, Any]:
    """Return a figure at the declared values, but for what is changed, and the result there."""
    figure = function_of(name)(**inputs_of(name, **changed))
    assert isinstance(figure, Figure)
    return figure, declared_of(name).find(**changed)


def line(axes: Axes, label: str) -> Line2D:
    """Return the one line that the legend calls so."""
    (found,) = [one for one in axes.lines if one.get_label() == label]
    return found


def curve(axes: Axes, label: str) -> tuple[Any, Any]:
    """Return x and y of the one line that the legend calls so, as arrays."""
    one = line(axes, label)
    return np.asarray(one.get_xdata(), float), np.asarray(one.get_ydata(), float)


def across(axes: Axes, label: str) -> float:
    """Return where a straight line across the axes stands."""
    low, high = curve(axes, label)[1]
    assert low == high
    return float(low)


def down(axes: Axes, label: str) -> float:
    """Return where a straight line down the axes stands."""
    low, high = curve(axes, label)[0]
    assert low == high
    return float(low)
