"""What an author of analyses imports: ``analysis`` and ``absent``.

The bottom of the package, together with :mod:`closeout.units` and :mod:`closeout.math`: standard
library only, so that a worker process starts in milliseconds.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Generic, ParamSpec, TypeVar, overload

__all__ = ["Absent", "Analysis", "absent", "analysis"]
__version__ = "0.1.0"

P = ParamSpec("P")
R = TypeVar("R")
F = TypeVar("F", bound=Callable[..., Any])


class Absent(float):
    """A case that has no value, with the reason; see :func:`absent`.

    It is a float (NaN) only so that it may stand in a ``Mapping[str, float]``; the tool looks at
    the type, never at the number.
    """

    reason: str

    def __new__(cls, reason: str) -> Absent:
        self = super().__new__(cls, float("nan"))
        self.reason = reason
        return self

    def __repr__(self) -> str:
        return f"absent({self.reason!r})"


def absent(reason: str) -> Absent:
    """Return the value of a case that has none: an answer (``absent("never rises")``), no error.

    A criterion is not met in such a case, unless it says ``cases: at least N``.
    """
    if not isinstance(reason, str) or not reason.strip():
        raise ValueError("absent() needs the reason why the case has no value")
    return Absent(reason)


class Analysis(Generic[P, R]):
    """An executable analysis: still the function it was made of, and what hangs on it."""

    def __init__(
        self,
        function: Callable[P, R],
        validated_by: tuple[str, ...],
        time_limit: float,
        model_uncertainty: Mapping[str, str] | None = None,
        evaluations: int | None = None,
    ) -> None:
        self.function = function
        self.validated_by = validated_by
        self.time_limit = time_limit
        self.model_uncertainty = {} if model_uncertainty is None else model_uncertainty
        self.evaluations = evaluations
        self.figures: list[Callable[..., Any]] = []
        self.artifacts: list[Callable[..., Any]] = []
        self.__name__ = function.__name__
        self.__qualname__ = function.__qualname__
        self.__module__ = function.__module__
        self.__doc__ = function.__doc__
        self.__wrapped__ = function

    def __call__(self, *args: P.args, **kwargs: P.kwargs) -> R:
        return self.function(*args, **kwargs)

    def __repr__(self) -> str:
        return f"<analysis {self.__module__}.{self.__qualname__}>"

    def figure(self, function: F) -> F:
        """Hang a figure on the analysis; return the function unchanged.

        It takes any of the analysis' arguments by name, and returns a matplotlib Figure, or the
        text of an SVG; its docstring is the caption.
        """
        self.figures.append(function)
        return function

    def artifact(self, function: F) -> F:
        """Hang files on the analysis; return the function unchanged.

        It takes any of the analysis' arguments by name, and returns text or bytes by file name.
        """
        self.artifacts.append(function)
        return function


@overload
def analysis(function: Callable[P, R], /) -> Analysis[P, R]: ...
@overload
def analysis(
    *,
    validated_by: str | tuple[str, ...] = (),
    time_limit: float = 300.0,
    model_uncertainty: Mapping[str, str] | None = None,
    evaluations: int | None = None,
) -> Callable[[Callable[P, R]], Analysis[P, R]]: ...
def analysis(
    function: Callable[P, R] | None = None,
    /,
    *,
    validated_by: str | tuple[str, ...] = (),
    time_limit: float = 300.0,
    model_uncertainty: Mapping[str, str] | None = None,
    evaluations: int | None = None,
) -> Analysis[P, R] | Callable[[Callable[P, R]], Analysis[P, R]]:
    """Mark a function as an executable analysis.

    Args:
        validated_by: test file or files, from the project's root, that validate it
            (ECSS-E-ST-10-02C Rev.1, 5.2.6.5).
        time_limit: seconds of processor time, its own and of what it starts, after which one
            run of it is ended and told as an error. How long that takes by the clock does not
            matter, but for what waits for ever.
        model_uncertainty: how far the model itself may be off, by quantity: a difference as
            ``"0.5 dB"``, or a share of the value as ``"5 %"``. It is taken off on the bad side of
            each judged value. Where nothing is declared the output says so.
        evaluations: how many evaluations a proof of its worst case may take, on numbers and on
            ranges together; left out, what the project's policy says, or 4000.
    """
    evidence = (validated_by,) if isinstance(validated_by, str) else tuple(validated_by)

    def mark(function: Callable[P, R]) -> Analysis[P, R]:
        return Analysis(function, evidence, time_limit, model_uncertainty, evaluations)

    return mark if function is None else mark(function)
