"""What a change does to the verdicts: the staged state against HEAD, a branch against its base."""

from __future__ import annotations

import math
import re
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from closeout.compare.causes import Causes
from closeout.compare.deleted import Deleted, deleted
from closeout.compare.news import News
from closeout.compare.pairs import pairs_of
from closeout.compare.renamed import under_new_names
from closeout.model.changes import Factor
from closeout.model.dossier import Compliance, Dossier, Evidence, RequirementResult, State
from closeout.model.earlier_names import Names
from closeout.model.issue import is_raised
from closeout.model.problem import Problem, Severity

_NONE = News()
_SINCE = re.compile(r" since (?:its text of )?[0-9a-f-]{7,}")
_GRAVEST_FIRST = ("lost", "short", "found", "uncovered", "rebuilt", "raised", "covered", "other")


@dataclass(frozen=True, slots=True)
class Change:
    """A requirement whose code changes: as it was in HEAD, as it is staged.

    ``causes`` are what changed below its evidence, ``margins`` the entries that are worse, before
    and after, the smallest margin first, ``again`` the records that are to be made again.
    """

    was: RequirementResult
    now: RequirementResult
    causes: tuple[Factor, ...] = ()
    margins: tuple[tuple[Evidence, Evidence], ...] = ()
    again: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Early:
    """A requirement whose code stays, and what of it is worse that is due at a later review."""

    now: RequirementResult
    worse: tuple[Evidence, ...]


# Errors that a test brings by what it found: whoever commits an honest record is not held up.
NEWS_OF_TESTS = frozenset(("unexplained-difference",))


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether a commit may be made, and why.

    ``errors``, which HEAD does not have, and ``lost`` block; ``known`` are errors that it has too,
    and ``to_explain`` those that are news of a test, which pass and are to be explained later;
    ``warnings`` are new too, and block nothing.
    ``found`` lost compliance by what a record found, ``rebuilt`` with a new build of an article and
    ``raised`` with a new issue (both to be verified again), ``covered`` under a waiver or
    deviation, and ``uncovered`` no longer so, with the numbers that it had: each of their own or of
    what they are judged by. ``short`` was open and is not compliant, or was partially compliant and
    is not at all. ``inherited`` lost compliance in a commit that is merged, and not by the merge.
    ``early`` keeps its code, and is not met any more, or open again, where it is due
    later. ``gained`` became compliant; ``added`` are identifiers, ``renamed`` pairs of them.
    """

    errors: tuple[Problem, ...]
    known: tuple[Problem, ...] = ()
    to_explain: tuple[Problem, ...] = ()
    warnings: tuple[Problem, ...] = ()
    inherited: tuple[Change, ...] = ()
    lost: tuple[Change, ...] = ()
    found: tuple[Change, ...] = ()
    rebuilt: tuple[Change, ...] = ()
    raised: tuple[Change, ...] = ()
    covered: tuple[Change, ...] = ()
    uncovered: tuple[Change, ...] = ()
    short: tuple[Change, ...] = ()
    early: tuple[Early, ...] = ()
    gained: tuple[Change, ...] = ()
    deleted: tuple[Deleted, ...] = ()
    added: tuple[str, ...] = ()
    renamed: tuple[tuple[str, str], ...] = ()

    @property
    def exit_status(self) -> int:
        """0 the commit may be made, 1 it loses a requirement, 2 it brings errors."""
        return 2 if self.errors else 1 if self.lost else 0


@dataclass(frozen=True, slots=True)
class Hooked:
    """The verdict on a change, the state that it leads to, and notes on that.

    ``already`` are requirements that are not compliant in the earlier state, without waiver or
    deviation, and that no run of the hook has reported yet; ``twice`` identifiers of which both
    sides of a merge brought an item.
    """

    verdict: Verdict
    now: Dossier
    notes: tuple[str, ...] = ()
    already: tuple[RequirementResult, ...] = ()
    twice: tuple[str, ...] = ()


def against_head(
    head: Dossier | None,
    staged: Dossier,
    news: News = _NONE,
    names: Names | None = None,
    merged: Sequence[Dossier] = (),
) -> Verdict:
    """Return the verdict on a staged state; without HEAD only errors block.

    Args:
        names: what the staged state calls by another identifier, by section from the old one.
        merged: the other commits of a merge: it has not lost what is lost in one of them, nor
            brings its warnings. Its errors block, since nothing could be judged any more.
    """
    causes = None if head is None else Causes(head, staged, names or {})
    gone = () if head is None else deleted(head, staged, names or {})
    if head is not None and names:
        head = under_new_names(head, names)
    parents = [one for one in (head, *merged) if one is not None]
    brought, known = _brought(parents[:1] if head else (), staged, Severity.ERROR)
    errors = tuple(one for one in brought if one.rule not in NEWS_OF_TESTS)
    to_explain = tuple(one for one in brought if one.rule in NEWS_OF_TESTS)
    now = {result.id: result for result in staged.requirements}
    if head is None:
        return Verdict(errors, to_explain=to_explain, added=tuple(now))
    was = {result.id: result for result in head.requirements}
    sort = _Sort(was, now, news, bool(errors))
    kinds: dict[str, list[Change]] = defaultdict(list)
    both = [(was[name], now[name]) for name in was if name in now]
    for before, after in both:
        if before.compliance is not after.compliance or _loses_cover(before, after):
            kind = sort.kind(after.id)
            if kind == "lost" and any(_is_same(after, one) for one in merged):
                kind = "inherited"
            kinds[kind].append(_change(before, after, causes))
    unreadable = (errors or known) and not now
    return Verdict(
        errors=errors,
        known=known,
        to_explain=to_explain,
        warnings=_brought(parents, staged, Severity.WARNING)[0],
        inherited=tuple(kinds["inherited"]),
        lost=tuple(kinds["lost"]),
        found=tuple(kinds["found"]),
        rebuilt=tuple(kinds["rebuilt"]),
        raised=tuple(kinds["raised"]),
        covered=tuple(kinds["covered"]),
        uncovered=tuple(kinds["uncovered"]),
        short=tuple(kinds["short"]),
        early=tuple(_early(both)),
        gained=tuple(kinds["gained"]),
        deleted=() if unreadable else gone,
        added=tuple(name for name in now if name not in was),
        renamed=tuple(pair for some in (names or {}).values() for pair in some.items()),
    )


def _loses_cover(was: RequirementResult, now: RequirementResult) -> bool:
    """Return whether a shortfall that was covered is one that nothing covers any more."""
    return was.covered and not now.covered and now.compliance in (Compliance.PC, Compliance.NC)


def _shortfalls(result: RequirementResult) -> list[tuple[object, ...]]:
    """Return what was found of a requirement that is not met, and its limits."""
    return [
        (entry.quantity, entry.case, entry.value, entry.low, entry.high, entry.limit_text)
        for entry in result.evidence
        if entry.due and entry.state is State.NOT_MET
    ]


def _early(both: Iterable[tuple[RequirementResult, RequirementResult]]) -> Iterator[Early]:
    for before, after in both:
        known = {(entry.number, entry.case): entry.state for entry in before.evidence}
        worse = tuple(
            entry
            for entry in after.evidence
            if not entry.due and _is_worse(known.get((entry.number, entry.case)), entry.state)
        )
        same = before.compliance is after.compliance
        if worse and (same or (before.early and not after.due)):
            yield Early(after, worse)


def _is_worse(before: State | None, now: State) -> bool:
    if now is State.NOT_MET:
        return before is not State.NOT_MET
    return before is State.MET and now is not State.MET


def _brought(
    parents: Iterable[Dossier], staged: Dossier, severity: Severity
) -> tuple[tuple[Problem, ...], tuple[Problem, ...]]:
    """Return the problems that a change brings, and those that a parent has too, on any line."""
    left: Counter[tuple[object, ...]] = Counter()
    for parent in parents:  # as often as the one that has it most often
        left |= Counter(_as_said(problem) for problem in parent.problems)
    brought: list[Problem] = []
    known: list[Problem] = []
    for problem in staged.problems:
        if problem.severity is severity:
            said = _as_said(problem)
            (known if left[said] else brought).append(problem)
            left[said] -= bool(left[said])
    return tuple(brought), tuple(known)


def _is_same(now: RequirementResult, merged: Dossier) -> bool:
    """Return whether a requirement is judged in a merged commit as it is now."""
    for one in merged.requirements:
        if one.id == now.id:
            return one.compliance is now.compliance and _shortfalls(one) == _shortfalls(now)
    return False


def _change(was: RequirementResult, now: RequirementResult, causes: Causes | None) -> Change:
    cases = [case for pair in pairs_of(was, now) for case in pair.cases]
    worse = [(before, after) for before, after in cases if before.closed and not after.closed]
    worse.sort(key=lambda case: case[1].margin if case[1].margin is not None else math.inf)
    return Change(
        was,
        now,
        () if causes is None else causes.of(was, now),
        tuple(worse),
        tuple(
            dict.fromkeys(
                after.record
                for _, after in worse
                if after.state is State.OPEN and after.record is not None
            )
        ),
    )


def _as_said(problem: Problem) -> tuple[object, ...]:
    # Of what changed once, each commit tells that it was since another one.
    message = _SINCE.sub("", problem.message)
    return problem.rule, problem.severity, problem.path, message


class _Sort:
    """Says of each changed requirement what its change is: a field of Verdict, or "other"."""

    def __init__(
        self,
        was: Mapping[str, RequirementResult],
        now: Mapping[str, RequirementResult],
        news: News,
        errors: bool,
    ) -> None:
        self._was = was
        self._now = now
        self._news = news
        self._errors = errors
        self._known: dict[str, str] = {}

    def kind(self, name: str) -> str:
        """Return the kind of a requirement that stands in both states."""
        if name not in self._known:
            self._known[name] = "lost"  # in a circle, which is an error, it stays so
            self._known[name] = self._kind(self._was[name], self._now[name])
        return self._known[name]

    def _kind(self, was: RequirementResult, now: RequirementResult) -> str:
        if now.compliance is Compliance.C:
            return "gained"
        if now.compliance is Compliance.NA:
            # Not applicable is no loss of compliance; whether it is agreed is reported elsewhere.
            return "other"
        if was.early and not now.due:
            # Nothing that is due is lost; verify does not ask for it either.
            return "other"
        if was.compliance is Compliance.C or _loses_cover(was, now):
            return self._of_loss(was, now)
        worse = now.compliance in (Compliance.PC, Compliance.NC)
        if not worse or was.compliance is Compliance.NC:
            return "other"
        # What was open or short already is reported, and has nothing left to lose.
        kind = self._of_loss(was, now)
        return "short" if kind == "lost" else kind

    def _of_loss(self, was: RequirementResult, now: RequirementResult) -> str:
        if is_raised(was.issue, now.issue):
            return "raised"
        if _loses_cover(was, now) and _shortfalls(was) == _shortfalls(now):
            return "uncovered"  # by its waiver, or a new build that the waiver is not of
        if now.covered:
            return "covered"
        return self._of_evidence(now) if now.evidence else self._of_derived(now)

    def _of_evidence(self, now: RequirementResult) -> str:
        """Return by what news a requirement is not compliant; lost where anything else is in it."""
        left = [entry for entry in now.evidence if entry.due and not entry.closed]
        return _gravest({self._news.kind(now.id, entry) or "lost" for entry in left})

    def _of_derived(self, now: RequirementResult) -> str:
        """Return what became of a requirement that only mirrors those derived from it.

        It lost nothing of its own: where each of them that is not compliant is excused, so is it.
        Else the waiver or the raised issue of one would block its own commit further up. One that
        is new and open excuses it too: nothing that was shown is lost.
        """
        causes = [
            self._now[name]
            for name in now.derived
            if name in self._now and self._now[name].compliance not in (Compliance.C, Compliance.NA)
        ]
        if not causes:
            # Compliant but for what could not be read, which is among the errors.
            return "other" if self._errors else "lost"
        changed = [cause for cause in causes if self._is_changed(cause)]
        return _gravest({self._cause(cause) for cause in changed or causes})

    def _is_changed(self, cause: RequirementResult) -> bool:
        before = self._was.get(cause.id)
        return (
            before is None
            or before.compliance is not cause.compliance
            or _loses_cover(before, cause)
        )

    def _cause(self, cause: RequirementResult) -> str:
        before = self._was.get(cause.id)
        if before is not None and (
            before.compliance is Compliance.C or _loses_cover(before, cause)
        ):
            return self.kind(cause.id)
        if cause.covered:
            return "covered"
        return "raised" if cause.compliance is Compliance.OPEN else self._of_evidence(cause)


def _gravest(kinds: Collection[str]) -> str:
    return next((kind for kind in _GRAVEST_FIRST if kind in kinds), "lost")
