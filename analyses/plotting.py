"""One look for the figures of the analyses: size, type, grid, colours, limits, legend.

Imported inside the functions that draw, as matplotlib is: an evaluation needs neither, and its
answer does not hang on how it is drawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import matplotlib
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure

# The palette of M. Okabe and K. Ito, Color Universal Design (2008), which the colour-blind can tell
# apart; its yellow is left out, it is too light for a line.
BLUE, ORANGE, GREEN, PURPLE, SKY = "#0072B2", "#E69F00", "#009E73", "#CC79A7", "#56B4E9"
RED, BLACK, GREY = "#D55E00", "#000000", "#777777"
SERIES = (BLUE, ORANGE, GREEN, PURPLE, SKY, BLACK)  # in the order of use; red is for limits
LINES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)), (0, (1, 1)))  # as well as by colour

_STYLE: Any = {
    "font.family": "DejaVu Sans",  # comes with matplotlib, so it is the same everywhere
    "font.size": 10.0,
    "axes.axisbelow": True,
    "axes.grid": True,
    "axes.spines.right": False,
    "axes.spines.top": False,
    "axes.xmargin": 0.02,
    "grid.color": "#dddddd",
    "grid.linewidth": 0.6,
    "legend.frameon": False,
    "legend.fontsize": 9.0,
    "lines.linewidth": 1.6,
}


def panels(
    rows: int = 1,
    columns: int = 1,
    *,
    height: float = 4.0,
    heights: Sequence[float] | None = None,
    sharex: bool = False,
) -> tuple[Figure, list[Axes]]:
    """Return a figure 7.5 in wide and its axes, row by row.

    Settings of the process are put back to matplotlib's own before, since those of a user's file
    would change the figure from one machine to the next.
    """
    matplotlib.rcdefaults()
    matplotlib.rcParams.update(_STYLE)
    figure = Figure(figsize=(7.5, height), layout="constrained")
    grid = figure.subplots(rows, columns, squeeze=False, sharex=sharex, height_ratios=heights)
    return figure, [axes for row in grid for axes in row]


def limit(axes: Axes, value: float, text: str) -> None:
    """Draw a limit across the axes, with its text for the legend."""
    axes.axhline(value, color=RED, linestyle="--", linewidth=1.4, label=text)


def moment(axes: Axes, time: float, text: str, color: str = GREY, style: str = ":") -> None:
    """Draw a time down the axes, with its text for the legend."""
    axes.axvline(time, color=color, linestyle=style, linewidth=1.2, label=text)


def note(figure: Figure, text: str) -> None:
    """Write in the middle of a figure why it shows nothing."""
    figure.text(0.5, 0.5, text, ha="center", va="center")


def legend(figure: Figure, columns: int = 3) -> None:
    """Put one legend below all axes, so that it hides nothing; what is told twice stands once."""
    found: dict[str, Artist] = {}
    for one in figure.axes:
        for handle, text in zip(*one.get_legend_handles_labels(), strict=True):
            found.setdefault(str(text), handle)
    figure.legend(list(found.values()), list(found), loc="outside lower center", ncols=columns)
