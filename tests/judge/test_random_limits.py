"""Verdicts on limits, margins and model uncertainties that were drawn, beside exact fractions.

The outside reference is :mod:`fractions`: whether a value with what its model may be off keeps a
limit with a margin on it is asked of the definition, with no limit moved and nothing inverted.
"""

from __future__ import annotations

import struct
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from math import inf, nextafter
from random import Random

import pytest

from closeout.judge.findings.evidence import thin_margins
from closeout.model.answer import Answer, Extent
from closeout.model.dossier import Evidence, State
from closeout.render import rows
from tests.graph.projects import answer, build, only_entry, requirement, requirements, spec

# Criterion's unit, quantity's unit, and one of the first in the second: exact, by definition.
PAIRS = [
    ("min", "h", Fraction(1, 60)),
    ("kJ", "W h", Fraction(10, 36)),
    ("%", "1", Fraction(1, 100)),
    ("km/h", "m/s", Fraction(10, 36)),
    ("mbar", "kPa", Fraction(1, 10)),
]
AT_ONCE = 250


@dataclass(frozen=True)
class Width:
    """A difference in the criterion's unit or a share, as written, and as fractions."""

    text: str
    fixed: Fraction = Fraction(0)
    share: Fraction = Fraction(0)

    def of(self, number: Fraction) -> Fraction:
        return self.fixed + self.share * abs(number)


@dataclass(frozen=True)
class Drawn:
    """A limit, at least (1) or at most (-1), with a margin and a model; all in the first unit."""

    unit: str
    own: str
    ratio: Fraction
    sign: int
    limit: Fraction
    text: str
    margin: Width
    of: str
    enforce: bool
    model: Width | None
    value: float = 0.0

    def judged(self, value: Fraction) -> Fraction:
        """Return a value of the analysis with what its model may be off, in the first unit."""
        value /= self.ratio
        return value if self.model is None else value - self.sign * self.model.of(value)

    def inside(self, value: Fraction) -> Fraction:
        """Return how far a value is inside of the limit."""
        return self.sign * (self.judged(value) - self.limit)

    def has_margin(self, value: Fraction) -> Fraction:
        """Return how far a value is inside of the limit, beyond the margin that is required."""
        of = self.limit if self.of == "limit" else self.judged(value)
        return self.inside(value) - self.margin.of(of)

    def keeps(self, rule: Callable[[Fraction], Fraction]) -> bool:
        """Return whether the value is not outside of the double that is nearest to the threshold.

        The threshold rounds to the value or further out where it lies outside of the middle between
        the value and the next double inward; in the middle it rounds to the even one.
        """
        return _keeps(self.value, self.sign, rule)

    def is_tie(self, rule: Callable[[Fraction], Fraction]) -> bool:
        """Return whether the value is that nearest double."""
        outward = nextafter(self.value, -self.sign * inf)
        return self.keeps(rule) and not _keeps(outward, self.sign, rule)


def _keeps(value: float, sign: int, rule: Callable[[Fraction], Fraction]) -> bool:
    middle = rule((Fraction(value) + Fraction(nextafter(value, sign * inf))) / 2)
    even = struct.unpack("<Q", struct.pack("<d", value))[0] % 2 == 0
    return middle > 0 or (middle == 0 and even)


def _threshold(rule: Callable[[Fraction], Fraction], around: Fraction) -> Fraction:
    """Return where a rule that is straight on each side of a few kinks is zero."""
    at = around
    for _ in range(60):
        value = rule(at)
        if value == 0:
            return at
        step = abs(at) / 2**40 + Fraction(1, 2**60)
        slope = (rule(at + step) - value) / step
        at -= value / slope
    raise AssertionError("no threshold was found")


def _decimal(random: Random) -> tuple[Fraction, str]:
    digits = random.randint(1, 4)
    text = f"{random.choice(['', '', '', '-'])}{random.randint(1, 9999) / 10**digits:.{digits}f}"
    return Fraction(text), text


def _width(random: Random, limit: Fraction, unit: str, largest: int) -> Width:
    thousandths = random.randint(0, largest)
    if random.random() < 0.5:
        fixed = Fraction(round(abs(limit) * thousandths), 1000)
        return Width(f"{float(fixed):.5f} {unit}", fixed=fixed)
    # Beside a quantity in % so many per cent are points; ppm is a share of it.
    return Width(f"{thousandths * 1000} ppm", share=Fraction(thousandths, 1000))


def _model(random: Random, limit: Fraction, unit: str) -> Width:
    """Return what a model may be off; of a plain number a width in % is a share, no points."""
    width = _width(random, limit, unit, 300)
    if unit == "%" and not width.share:
        return replace(width, text=f"{float(width.fixed / 100):.7f}")
    return width


def _draw(random: Random) -> Drawn:
    unit, own, ratio = random.choice(PAIRS)
    limit, text = _decimal(random)
    one = Drawn(
        unit,
        own,
        ratio,
        random.choice([1, -1]),
        limit,
        f"{text} {unit}",
        _width(random, limit, unit, 400),
        random.choice(["limit", "value"]),
        random.random() < 0.5,
        _model(random, limit, unit) if random.random() < 0.7 else None,
    )
    rule = random.choice([one.inside, one.has_margin])
    exact = _threshold(rule, limit * ratio)
    value = float(exact)
    kind = random.randrange(5)
    if kind < 2:
        value = nextafter(value, random.choice([1, -1]) * inf)
    elif kind == 2:
        value = float(
            exact + random.uniform(-1, 1) * abs(limit * ratio) / 10 ** random.randint(0, 14)
        )
    return replace(one, value=value)


def _answered(one: Drawn, random: Random) -> Answer:
    """Return the value as the end that decides, of numbers that were seen or proved, or alone."""
    value = one.value
    other = value + one.sign * random.random() * abs(value)
    low, high = (value, other) if one.sign > 0 else (other, value)
    kind = random.randrange(3)
    if kind == 0:
        return answer(x=Extent(value))
    seen = Extent(random.choice([low, high]), low, high)
    proved = seen._replace(proved_low=low, proved_high=high, low_tight=True, high_tight=True)
    return answer(x=seen if kind == 1 else proved)


def _judged(drawn: list[Drawn], random: Random) -> Iterator[tuple[Drawn, Evidence, int]]:
    """Yield each with its evidence, and how many findings tell that its margin is thin."""
    specs, items, policies, replies = [], [], [], {}
    for number, one in enumerate(drawn):
        name = f"x{number}"
        model = () if one.model is None else ((name, one.model.text),)
        specs.append(spec(f"f{number}", fields={name: one.own})._replace(model_uncertainty=model))
        key = "at_least" if one.sign > 0 else "at_most"
        items.append(
            requirement(f"R-{number}", f"method: analysis, analysis: f{number}, quantity: {name}, "
                                       f"{key}: {one.text}")
        )  # fmt: skip
        policies.append(
            f"{{quantity: {name}, of: {one.of}, required: {{AR: {one.margin.text}}},"
            f" enforce: {str(one.enforce).lower()}}}"
        )
        (((_, case), extent),) = _answered(one, random).extents.items()
        replies[f"f{number}"] = Answer({(name, case): extent}, answer().assurance, 1)
    charter = f"project: {{name: P, reviews: [AR], margins: [{', '.join(policies)}]}}"
    built = build(requirements(*items), *specs, charter=charter, clean=True)
    dossier = built.judge(replies)
    thin = Counter(
        finding.message.partition(":")[0] for finding in thin_margins(dossier, built.index)
    )
    for number, one in enumerate(drawn):
        yield one, only_entry(dossier, f"R-{number}"), thin[f"R-{number}"]


def _check(one: Drawn, entry: Evidence, thin: int) -> None:
    kept, margin = one.keeps(one.inside), one.keeps(one.has_margin)
    assert kept or not margin
    met = margin if one.enforce else kept
    assert entry.state is (State.MET if met else State.NOT_MET)
    assert thin == (kept and not margin and not one.enforce)
    # The margin is to the limit, or where a required margin alone is missed to that.
    missed = kept and not met
    assert entry.margin is not None
    assert (entry.margin >= 0) is met
    assert (entry.margin == 0) is (met and one.is_tie(one.inside))
    value = Fraction(one.value)
    if missed:
        edge = _threshold(one.has_margin, value)
        exact = one.sign * (one.judged(value) - one.judged(edge))
    else:
        exact = one.inside(value)
    size = abs(one.judged(value)) + abs(one.limit) + one.margin.of(one.limit)
    assert abs(Fraction(entry.margin) - exact) <= size / 2**50
    _check_shown(one, entry, kept, met)


def _check_shown(one: Drawn, entry: Evidence, kept: bool, met: bool) -> None:
    """Assert that numbers and texts are on their side of the limit, and at it in a tie alone."""
    limit = entry.at_least if one.sign > 0 else entry.at_most
    end = rows.judged_end(entry)
    texts = [text.split() for text in rows.value_and_limit(entry)]
    assert texts[1][:2] == ["at", "least" if one.sign > 0 else "most"]
    assert end is not None
    assert limit is not None
    for beyond in (
        one.sign * (Fraction(end) - Fraction(limit)),
        one.sign * (Fraction(texts[0][0]) - Fraction(texts[1][2])),
    ):
        assert (beyond >= 0) is kept
        assert (beyond == 0) is one.is_tie(one.inside)
    assert rows.margin(entry).startswith("-") is not met


@pytest.mark.parametrize("drawn", [2_500, pytest.param(10_000, marks=pytest.mark.slow)])
def test_limits_margins_and_models_beside_fractions(drawn: int) -> None:
    random = Random(13)
    seen: Counter[str] = Counter()
    for _ in range(drawn // AT_ONCE):
        some = [_draw(random) for _ in range(AT_ONCE)]
        for one, entry, thin in _judged(some, random):
            _check(one, entry, thin)
            seen.update(_kinds(one))
    assert min(seen.values()) > drawn / 20, seen


def _kinds(one: Drawn) -> Iterator[str]:
    """Yield what is special about one, so that a test can tell that it had enough of each."""
    rule = one.has_margin if one.enforce else one.inside
    if one.is_tie(rule):
        yield "tie" if one.model is None else "tie with a model"
    elif not one.keeps(rule) and _keeps(nextafter(one.value, one.sign * inf), one.sign, rule):
        yield "one double outside"
    if one.keeps(one.inside) and not one.keeps(one.has_margin):
        yield "margin missed" if one.enforce else "thin"
