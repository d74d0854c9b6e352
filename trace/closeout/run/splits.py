"""Splitting the change of a margin among what made it."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from time import process_time

from closeout.compare.mixed import Between, Key
from closeout.compare.pairs import Pair
from closeout.compare.shares import (
    Choice,
    Share,
    along,
    choices,
    exact_shares,
    interaction,
    merged,
    opposite_orders,
    sampled_shares,
)
from closeout.measure import Units
from closeout.model.changes import Cause, Factor, MarginChange
from closeout.model.dossier import Dossier, Evidence
from closeout.run.mixtures import Margins, Mixtures, in_unit

# Exact while runs times the cost of one stay within this, in s of processor time.
BUDGET = 60.0
MOST_FACTORS = 10
# Pairs of orders that are sampled: two for a standard error, more as long as the budget lasts.
FEWEST_PAIRS, MOST_PAIRS = 2, 50
# In s of processor time, for one margin: beyond it nothing is sampled.
LONGEST = 300.0
# What two evaluations of one and the same may differ by, as a share of what they are.
_SAME = 1e-9

Player = tuple[Factor, ...]


class Splitter:
    """Splits margins that moved between two states."""

    def __init__(
        self, was: Dossier, now: Dossier, mixtures: Mixtures, units: Units, *, exact: bool
    ) -> None:
        """Make one; ``exact`` insists on exact shares, however long they take."""
        self._was, self._now = was, now
        self._mixtures = mixtures
        self._units = units
        self._exact = exact

    def split(self, pair: Pair) -> Iterator[MarginChange]:
        """Yield the margins of a verification that moved, a case each, with their causes."""
        moved = [one for case in pair.cases if (one := self._moved(pair, *case)) is not None]
        open_ = [one for one in moved if one.reason is None]
        if open_ and open_[0].now.record is None:
            split = {one.now.case: one for one in self._by_analysis(pair, open_)}
        else:
            split = {one.now.case: self._by_record(one) for one in open_}
        for one in moved:
            yield one if one.reason is not None else split[one.now.case]

    def _moved(self, pair: Pair, was: Evidence, now: Evidence) -> MarginChange | None:
        """Return a margin that is another, with the reason where it cannot be split."""
        if was.margin is None or now.margin is None:
            return None
        before = in_unit(was.margin, was.margin_unit, now.margin_unit or "1", self._units)
        if before is None:
            reason: str | None = f"was in {was.margin_unit}, is in {now.margin_unit}"
            return MarginChange(
                pair.now.id, pair.now.title, was, now, was.margin, now.margin, reason=reason
            )
        bare = MarginChange(pair.now.id, pair.now.title, was, now, float(before), now.margin)
        reason = _why_not(was, now)
        if reason is not None:
            return replace(bare, reason=reason)
        return bare if bare.before != bare.after else None

    def _by_record(self, one: MarginChange) -> MarginChange:
        """Return a margin of a record with its causes: what was measured, and the limit."""
        values: dict[Choice, Fraction] = {}
        for choice in choices(2):
            record, limits = (one.now if place in choice else one.was for place in (0, 1))
            margin = _measured_margin(record, limits)
            if margin is None or one.was.unit != one.now.unit:
                return replace(one, reason="the unit of what was measured is another")
            values[choice] = margin
        limit = Factor("limit", "limit", one.was.limit_text, one.now.limit_text)
        players = ((self._record(one),), (limit,))
        return _Found(players, exact_shares(2, values), values).of(one)

    def _record(self, one: MarginChange) -> Factor:
        texts = []
        for dossier, entry in ((self._was, one.was), (self._now, one.now)):
            measured = {r.id: dict(r.measured) for r in dossier.records}
            found = measured.get(entry.record or "", {}).get(entry.quantity or "")
            texts.append(f"{entry.record} {found.text}" if found else entry.record or "")
        return Factor("record", one.now.record or "", *texts)

    def _by_analysis(self, pair: Pair, moved: Sequence[MarginChange]) -> Iterator[MarginChange]:
        between = self._mixtures.between(pair)
        if not between.factors:
            for one in moved:
                yield replace(one, reason="nothing that it takes or reads is another")
            return
        found = _Game(self._mixtures, between, pair.keys[1], moved, exact=self._exact).played()
        if isinstance(found, float):
            text = f"it would take {found:.0f} s of processor time or more; see --exact"
            yield from (replace(one, reason=text) for one in moved)
            return
        for one in moved:
            yield found[one.now.case].of(one)


@dataclass(frozen=True, slots=True)
class _Found:
    """The shares of some players in one case; ``values`` are of all choices where it is exact."""

    players: Sequence[Player]
    shares: Sequence[Share]
    values: dict[Choice, Fraction] | None

    def of(self, one: MarginChange) -> MarginChange:
        """Return a margin with these causes, largest first, and what they do not explain."""
        causes = [
            Cause(_as_one(player), float(share.part), share.error)
            for player, share in zip(self.players, self.shares, strict=True)
            if share.part
        ]
        if len(self.players) == 1:
            causes = [Cause(_as_one(self.players[0]), one.change)]
        together = None
        if self.values is not None and len(self.players) > 1:
            together = float(interaction(len(self.players), self.values))
        least = _SAME * max(abs(one.before), abs(one.after))
        if together is not None and abs(together) <= least:
            together = 0.0  # what rounding left
        rest = one.change - sum(cause.part for cause in causes)
        if abs(rest) > least:
            causes.append(Cause(Factor("other", "not found again between the two states"), rest))
        causes.sort(key=lambda cause: -abs(cause.part))
        return replace(one, causes=tuple(causes), interaction=together)


class _Game:
    """Evaluates choices among factors until shares are known; what fails is merged."""

    def __init__(
        self,
        mixtures: Mixtures,
        between: Between,
        key: Key,
        moved: Sequence[MarginChange],
        *,
        exact: bool,
    ) -> None:
        self._mixtures, self._between, self._key = mixtures, between, key
        self._cases = tuple(one.now.case for one in moved)
        self._unit = moved[0].now.margin_unit or "1"
        self._insists = exact
        self._known: dict[Player, Margins] = {}

    def played(self) -> dict[str | None, _Found] | float:
        """Return the shares by case; in s of processor time what they would take, if too much."""
        players: tuple[Player, ...] = tuple((factor,) for factor in self._between.factors)
        while len(players) > 1:
            found = self._shares(players)
            if not isinstance(found, list):
                return found
            # Of what cannot be evaluated, that which leaves most factors apart.
            players = max((merged(players, choice) for choice in found), key=len)
        return {case: _Found(players, [Share(Fraction(0))], None) for case in self._cases}

    def _shares(self, players: Sequence[Player]) -> dict[str | None, _Found] | list[Choice] | float:
        """Return the shares of some players by case, or choices that cannot be evaluated.

        A number is what the first choices would take in s of processor time, where it is too much.
        """
        number = len(players)
        every = frozenset(range(number))
        alone = [frozenset({one}) for one in range(number)]
        first = [frozenset[int](), every, *alone, *(every - one for one in alone)]
        # One mixture shows what each costs; the two states themselves are known mostly.
        failed, cost = self._ask(players, first[:2]), 0.0
        for some in (first[2:3], first[3:]):
            before, new = self._spent(), self._unknown(players, some)
            failed += self._ask(players, some)
            cost = max(cost, (self._spent() - before) / max(1, new))
            if not self._insists and cost * len(first) > LONGEST:
                return cost * len(first)
        if failed:
            return failed
        few = number <= MOST_FACTORS and 2**number * cost <= BUDGET
        if self._insists or few:
            failed = self._ask(players, list(choices(number)))
            return failed or {case: self._exact(players, case) for case in self._cases}
        pairs = int(BUDGET / (cost * 2 * number)) if cost else MOST_PAIRS
        seed = f"{self._key[0]} {self._key[1]}"
        orders = opposite_orders(number, min(max(pairs, FEWEST_PAIRS), MOST_PAIRS), seed)
        every_order = [order for pair in orders for order in pair]
        asked = dict.fromkeys(choice for order in every_order for choice in along(order))
        failed = self._ask(players, list(asked))
        return failed or {
            case: _Found(players, sampled_shares(orders, self._values(players, asked, case)), None)
            for case in self._cases
        }

    def _spent(self) -> float:
        """Return the processor time in s so far, of evaluations and of asking and judging them."""
        return self._mixtures.spent + process_time()

    def _exact(self, players: Sequence[Player], case: str | None) -> _Found:
        values = self._values(players, choices(len(players)), case)
        return _Found(players, exact_shares(len(players), values), values)

    def _unknown(self, players: Sequence[Player], some: Sequence[Choice]) -> int:
        return sum(self._earlier(players, choice) not in self._known for choice in some)

    def _ask(self, players: Sequence[Player], some: Sequence[Choice]) -> list[Choice]:
        """Evaluate what is not known yet; return the choices that cannot be evaluated."""
        left = {
            earlier: None
            for choice in some
            if (earlier := self._earlier(players, choice)) not in self._known
        }
        asked = [frozenset(one) for one in left]
        found = self._mixtures.margins(self._between, self._key, self._unit, asked)
        self._known.update(zip(left, found, strict=True))
        return [choice for choice in some if self._fails(self._earlier(players, choice))]

    def _fails(self, earlier: Player) -> bool:
        margins = self._known[earlier]
        return isinstance(margins, str) or not set(self._cases) <= margins.keys()

    def _earlier(self, players: Sequence[Player], later: Choice) -> Player:
        """Return the factors that are as they were, where these players are as they are."""
        earlier = [f for place, player in enumerate(players) if place not in later for f in player]
        return tuple(sorted(earlier, key=lambda one: (one.kind, one.name)))

    def _values(
        self,
        players: Sequence[Player],
        some: Collection[Choice] | Iterator[Choice],
        case: str | None,
    ) -> dict[Choice, Fraction]:
        found = {}
        for choice in some:
            margins = self._known[self._earlier(players, choice)]
            assert not isinstance(margins, str)
            found[choice] = margins[case]
        return found


def _why_not(was: Evidence, now: Evidence) -> str | None:
    """Return why the change of a margin cannot be split, None where it can."""
    if (was.record is None) != (now.record is None):
        return (
            "it was analysed, and is measured"
            if was.record is None
            else ("it was measured, and is analysed")
        )
    if was.analysis != now.analysis:
        return f"by {was.analysis} before, by {now.analysis} now"
    if was.basis != now.basis:
        return f"on the basis {was.basis} before, {now.basis} now"
    return None


def _measured_margin(record: Evidence, limit: Evidence) -> Fraction | None:
    """Return the margin of a measured value at limits, its uncertainty deducted, as it is judged.

    None where it is not that of the evidence itself.
    """
    found = []
    low = next((x for x in (record.judged_low, record.low, record.value) if x is not None), None)
    high = next((x for x in (record.judged_high, record.high, record.value) if x is not None), None)
    if limit.at_least is not None and low is not None:
        found.append(Fraction(low) - Fraction(limit.at_least))
    if limit.at_most is not None and high is not None:
        found.append(Fraction(limit.at_most) - Fraction(high))
    return min(found) if found else None


def _as_one(player: Player) -> Factor:
    """Return a player as one factor."""
    if len(player) == 1:
        return player[0]
    code = [one for one in player if one.kind == "code"]
    others = [one for one in player if one.kind != "code"]
    names = ", ".join(one.name for one in others)
    text = f"code together with {names}" if code else f"{names} together"
    said = [f"{one.name} {one.before} -> {one.after}" for one in others if one.before or one.after]
    return Factor("together", text, "", "; ".join(said))
