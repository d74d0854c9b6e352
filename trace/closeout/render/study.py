"""A study of a verification as text: sensitivity, break-even, uncertainty, derivation."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import ROUND_CEILING, ROUND_FLOOR, Context, Decimal

from closeout.model.difference_unit import difference_unit
from closeout.model.study import Driver, Edge, Ends, Study
from closeout.render.numbers import (
    number,
    show,
    show_beside,
    show_extent,
    show_margin,
    with_unit,
)
from closeout.render.picture import NO_BOUNDARY, boundary_lines
from closeout.render.plain import columns, flow, pad, safe
from closeout.render.terminal import Paint, wrap

BAR = 20
EDGE_DIGITS = 5
LEAST_INDEX = 0.005
# What a break-even value is known to, relative to it or to the present value.
KNOWN_TO = 1e-12
# Parts of the uncertainty; each of them is there or not.
_SPREADS = {"extreme value", "quantiles"}


def searched_lines(study: Study, paint: Paint, width: int) -> Iterator[str]:
    """Yield break-even, sensitivity and uncertainty.

    As lines of at most ``width`` columns where numbers allow it.
    """
    name = named(study.quantity, study.case)
    if study.failure is not None:
        text = f"no study of {name} ({study.failure.kind}): {flow(study.failure.message)}"
        yield from wrap(text, width, 4)
        return
    yield from ("", "    " + paint.strong(f"Break-even: {name}"))
    yield from _edges(study, width)
    if study.boundary is not None:
        yield ""
        lines = boundary_lines(study.boundary) if study.boundary.turns else [NO_BOUNDARY]
        yield from ("      " + line for line in lines)
    yield from because(study, "boundary", width)
    yield from ("", "    " + paint.strong(f"Sensitivity: {name}"))
    yield from _drivers(study, width)
    yield from _sobol(study, width)
    if study.ends or study.quantiles is not None or _SPREADS & set(study.reasons):
        yield from ("", "    " + paint.strong(f"Uncertainty: {name}"))
        yield from _spreads(study, width)


def unused_text(identifier: str, options: Sequence[str], width: int) -> str:
    """Return which options had no effect, since there is no study that they could change."""
    if not options:
        return ""
    note = (
        f"{', '.join(options)} had no effect: only a quantity that an analysis verifies has a"
        " study,"
        f" and {safe(identifier)} has none"
    )
    return "\n" + "\n".join(wrap(note, width)) + "\n"


def how(drivers: Sequence[Driver]) -> str:
    """Return how the slopes were found."""
    return "exact derivatives" if all(one.exact for one in drivers) else "by differences"


def named(quantity: str, case: str | None) -> str:
    """Return a quantity as ``margin [far]``, safe to print."""
    return safe(quantity) if case is None else f"{safe(quantity)} [{safe(case)}]"


def because(study: Study, part: str, width: int) -> Iterator[str]:
    if part in study.reasons:
        about = f"no {part}" if part in _SPREADS else "incomplete"
        yield from wrap(f"{about}: {flow(study.reasons[part])}", width, 6)


# ---- uncertainty


def _spreads(study: Study, width: int) -> Iterator[str]:
    rows = [ends_row(one, study.unit) for one in study.ends]
    yield from columns_of(
        [(name, low, high and f"to {high}", remark) for name, low, high, remark in rows]
    )
    if study.quantiles is not None:
        yield from wrap(quantile_words(study), width, 6)
    for part in ("extreme value", "quantiles"):
        yield from because(study, part, width)


def ends_row(one: Ends, unit: str) -> tuple[str, str, str, str]:
    """Return method, ends and remark of one way to find how far a quantity spreads."""
    if one.low is None or one.high is None:
        return one.method, "", "", flow(one.remark)
    _, low, high = show_extent(one.low, one.low, one.high, safe(unit))
    return one.method, low, high, flow(one.remark)


def quantile_words(study: Study) -> str:
    """Return the bounds of a share of all values in one sentence, in the quantity's unit.

    Tolerance bounds in the sense of ISO 16269-6, each one-sided.
    """
    found = study.quantiles
    assert found is not None
    share, sure = (f"{100 * part:.15g} %" for part in (found.coverage, found.confidence))
    _, low, high = show_extent(found.low, found.low, found.high, safe(study.unit))
    drawn = f"; taken as uniform: {', '.join(map(safe, study.assumed))}" if study.assumed else ""
    return (
        f"tolerance bounds: with confidence {sure}, at least {share} of all values are above"
        f" {low}, and at least as many below {high} (order statistics by Wilks, {found.samples}"
        f" samples{drawn})"
    )


# ---- sensitivity


def _sobol(study: Study, width: int) -> Iterator[str]:
    rows = sobol_rows(study)
    if rows:
        yield ""
        yield from columns_of([("Sobol index", "first order", "total"), *rows])
        text = "from samples, with standard error; conditions fixed, negligible indices left out"
        yield from wrap(text, width, 6)
    yield from because(study, "Sobol indices", width)


def sobol_rows(study: Study) -> list[tuple[str, str, str]]:
    """Return the factors of which more is left than their own error, the greatest first."""
    return [
        (
            " and ".join(map(safe, one.names)),
            f"{one.first:.3f} +/- {one.first_error:.3f}",
            f"{one.total:.3f} +/- {one.total_error:.3f}",
        )
        for one in study.factors
        if one.total > max(LEAST_INDEX, 2.0 * one.total_error)
    ]


def _drivers(study: Study, width: int) -> Iterator[str]:
    drivers = study.drivers
    yield from because(study, "sensitivities", width)
    if not drivers:
        if "sensitivities" not in study.reasons:
            yield "      no input has a tolerance here"
        return
    unit = difference_unit(study.unit)
    largest = max(map(_spread, drivers))
    idle = [safe(one.parameter) for one in drivers if has_no_effect(one)]
    moving = [one for one in drivers if not has_no_effect(one)]
    yield from columns_of([_driver(one, largest, unit) for one in moving])
    if idle:
        yield from wrap(f"no effect, to first order: {', '.join(idle)}", width, 6)
    text = "share of the uncertainty, and effect of either end of the tolerance"
    yield from wrap(f"{text}; first order, {how(drivers)}", width, 6)


def has_no_effect(one: Driver) -> bool:
    """Return whether neither end of an input's tolerance changes anything, to first order."""
    return one.share is not None and not _spread(one)


def _spread(one: Driver) -> float:
    if one.effect_low is None or one.effect_high is None:
        return 0.0
    return abs(one.effect_high - one.effect_low) / 2.0


def _driver(one: Driver, largest: float, unit: str | None) -> tuple[str, ...]:
    if one.share is None or one.effect_low is None or one.effect_high is None:
        return safe(one.parameter), "", "", "no value near the inputs"
    filled = round(BAR * _spread(one) / largest) if largest > 0.0 else 0
    low, high = (show_margin(effect, None) for effect in (one.effect_low, one.effect_high))
    effect = with_unit(f"{low} to {high}", unit)
    return safe(one.parameter), pad("#" * filled, BAR), f"{one.share:5.1f} %", effect


# ---- break-even


def _edges(study: Study, width: int) -> Iterator[str]:
    yield from because(study, "break-even", width)
    if "probability" in study.reasons:
        yield from wrap(flow(study.reasons["probability"]), width, 6)
    for others in ("nominal", "worst"):
        edges = [one for one in study.edges if one.other_inputs == others]
        if not edges:
            continue
        yield f"      other parameters at {others}"
        rows = [edge_row(one) for one in edges if one.value is not None]
        yield from columns_of([(name, f"now {now}", *rest) for name, now, *rest in rows], 8)
        yield from _not_found(edges, width)


def _not_found(edges: Sequence[Edge], width: int) -> Iterator[str]:
    """Say what does not turn the verdict, and over which range that was searched."""
    message = not_turning(edges)
    if message:
        yield from wrap(message, width, 8)


def not_turning(edges: Sequence[Edge]) -> str:
    """Return which parameters alone do not turn the verdict, and how far each was searched."""
    idle = [one for one in edges if one.value is None]
    if not idle:
        return ""
    listed = ", ".join(_searched(one) for one in idle)
    if len(idle) < len(edges):
        return f"no break-even of one parameter alone within {listed}"
    state = "met" if idle[0].holds else "not met"
    return f"no break-even of any single parameter, {state} within {listed}"


def _searched(one: Edge) -> str:
    name, low, high = searched_row(one)
    return f"{name} from {low} to {high}" if high else f"{name} ({low})"


def searched_row(one: Edge) -> tuple[str, str, str]:
    """Return a parameter that turns nothing and from where to where, or why it was not searched."""
    if one.low is None or one.high is None:
        return safe(one.parameter), f"not searched: {flow(one.reason or '')}", ""
    _, low, high = show_extent(one.now, one.low, one.high, safe(one.unit))
    return safe(one.parameter), low, high


def edge_row(one: Edge) -> tuple[str, str, str, str]:
    """Return parameter, present value, where it turns and how many tolerances away."""
    now = show(one.now, safe(one.unit))
    value = with_unit(toward_the_safe_side(one), safe(one.unit))
    relation = f"not met {one.direction} {value}" if one.holds else _from(one, value)
    if one.tolerances is None:
        return safe(one.parameter), now, relation, "no tolerance"
    (away,), _ = show_beside((one.tolerances,), (1.0,), 3)
    return safe(one.parameter), now, relation, f"{away} tolerances away"


def _from(one: Edge, value: str) -> str:
    return f"met from {value} {'up' if one.direction == 'above' else 'down'}"


def toward_the_safe_side(edge: Edge) -> str:
    """Return a break-even value rounded to the side on which the criterion holds."""
    assert edge.value is not None
    finest = KNOWN_TO * max(abs(edge.value), abs(edge.now))
    if abs(edge.value) <= finest:
        return "0"
    # An edge at 4 that came out as 3.9999999999999996 is shown as 4.
    value = Context(prec=12).create_decimal(repr(edge.value))
    is_upper_end = (edge.direction == "above") == edge.holds
    rounding = ROUND_FLOOR if is_upper_end else ROUND_CEILING
    rounded = Context(prec=EDGE_DIGITS, rounding=rounding).plus(Decimal(value))
    return number(float(rounded), EDGE_DIGITS)


def columns_of(body: Sequence[tuple[str, ...]], indent: int = 6) -> Iterator[str]:
    if not body:
        return
    widths = [max(map(columns, column)) for column in zip(*body, strict=True)]
    for row in body:
        cells = (pad(text, wide) for text, wide in zip(row, widths, strict=True))
        yield (" " * indent + "  ".join(cells)).rstrip()
