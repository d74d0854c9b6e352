"""What an analysis answers, and the limits that its answer is about.

Named tuples, since workers load it (``evaluate/forking.py``).
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from math import inf
from typing import NamedTuple

# Why nothing is proved of a quantity that is none of those asked for.
NOT_ASKED = "no verification asks for it"


class Assurance(StrEnum):
    """How surely a judged value is known; always over the declared tolerances only."""

    BOUNDED = "bounded"
    SEARCHED = "searched"
    LINEARISED = "linearised"
    SAMPLED = "sampled"
    NOMINAL = "nominal"


class Bounds(NamedTuple):
    """Limits as doubles in the quantity's own unit, inclusive, each rounded once.

    What answers are compared with, and all of a limit that crosses to a worker: fractions would
    cost it imports, and it compares doubles anyway.
    """

    at_least: float | None = None
    at_most: float | None = None

    def margins(self, low: float, high: float) -> tuple[float, float]:
        """Return how far an extent lies inside of each limit, infinitely far of one that is not."""
        under = inf if self.at_least is None else low - self.at_least
        return under, inf if self.at_most is None else self.at_most - high


class Sought(NamedTuple):
    """What an answer has to say of a quantity: whether it keeps bounds.

    None for these where its extent itself is wanted, and not only that it keeps them.
    """

    quantity: str
    bounds: Bounds | None


class Cut(NamedTuple):
    """The ends of a quantity over a box in which computed inputs stand for what lies below them.

    ``variables`` are these inputs: nothing is proved of the analyses that compute them, so each
    takes all values between the ends that were found, whatever the others are. ``low_at`` and
    ``high_at`` are points of that box.
    """

    variables: tuple[str, ...]
    low: float
    high: float
    low_at: tuple[tuple[str, float], ...] = ()
    high_at: tuple[tuple[str, float], ...] = ()


class Extent(NamedTuple):
    """The values of one quantity and case in the analysis' own unit.

    ``value`` is at the inputs, ``low`` and ``high`` over the box, with the points of the box (the
    arguments that differ from the inputs) where they were found; a nominal question has no ends.
    ``absent`` is the reason why a case has no value (then the numbers are None), also where it has
    none at some point of the box only.

    ``proved_low`` and ``proved_high`` are proved of every point of the box, None where nothing is,
    with the reason in ``unproved``; ``low_tight`` and ``high_tight`` where they are as near to low
    and high as was asked, ``low_reached`` and ``high_reached`` where nothing but the rounding of
    the formula lies between.
    ``off`` is how far straight lines are off, where ends are by root sum square.
    ``cut`` are ends beyond which it does not go, where a chain of analyses could not be evaluated
    as one formula; ``low`` and ``high`` are then what the whole chain gave on numbers.
    """

    value: float | None
    low: float | None = None
    high: float | None = None
    low_at: tuple[tuple[str, float], ...] = ()
    high_at: tuple[tuple[str, float], ...] = ()
    absent: str | None = None
    proved_low: float | None = None
    proved_high: float | None = None
    low_tight: bool = False
    high_tight: bool = False
    unproved: str | None = None
    off: float | None = None
    low_reached: bool = False
    high_reached: bool = False
    cut: Cut | None = None

    @property
    def tight(self) -> bool:
        """Whether both ends are proved to the tolerance."""
        return self.low_tight and self.high_tight


class Decided(NamedTuple):
    """What samples say of one case of a criterion: met, not met, or undecided at the last look.

    ``required`` is the probability asked for, ``lower`` and ``upper`` the Clopper-Pearson bounds.
    ``taken_uniform`` are parameters of which only a tolerance is known, ``fallback`` is why samples
    were evaluated one by one, ``at`` the ends of given conditions at which it was worst.
    """

    case: str | None
    outcome: str
    required: float
    estimate: float
    lower: float
    upper: float
    samples: int
    taken_uniform: tuple[str, ...]
    fallback: str | None
    at: tuple[tuple[str, float], ...]


class Answer(NamedTuple):
    """What an analysis answered: extents by quantity and case (None where it has no cases).

    ``decisions`` stand beside them where a probability was asked. ``of_limits`` where the ends
    might differ for other limits.
    """

    extents: Mapping[tuple[str, str | None], Extent]
    assurance: Assurance
    evaluations: int
    decisions: tuple[Decided, ...] = ()
    of_limits: bool = False

    def of(self, quantity: str) -> list[tuple[str | None, Extent]]:
        """Return the cases of a quantity, in the order in which the analysis gave them."""
        return [(case, extent) for (name, case), extent in self.extents.items() if name == quantity]
