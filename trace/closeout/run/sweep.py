"""A parametric study: verifications by analysis judged at each value of one parameter, or of two.

Each point asks what a run with these values set would ask, and is judged in the same way; so its
margins are those of that run, to the last digit. All points are asked at once.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from math import inf

from closeout.graph import Index, Plan, plan_of, rests_on
from closeout.judge import Run, evidence_of
from closeout.model.answer import Answer, Assurance
from closeout.model.criterion import Condition
from closeout.model.dossier import Evidence
from closeout.model.errors import UserError
from closeout.model.question import Failure, Question
from closeout.model.records import Basis, BasisKind, Verification
from closeout.model.reply import Reply
from closeout.model.setting import read_setting
from closeout.model.sweep import WORST_FIRST, Followed, Found, Sweep
from closeout.run.asked import answers_to
from closeout.run.only import read_only
from closeout.run.options import Options, Progress
from closeout.run.pipeline import Assessment, Outcome, assessing
from closeout.snapshot import Snapshot
from closeout.store.database import Store

Key = tuple[str, int]
_NOMINAL = Basis(BasisKind.NOMINAL)
# Kinds of failures after which nobody knows how long the next one takes.
_ENDED = ("timed out", "killed")


@dataclass(frozen=True, slots=True)
class Estimate:
    """What a sweep will take: seconds of processor time, and evaluations that are left to ask.

    Judged by the first point. What is kept already takes nothing, so it may be less.
    """

    seconds: float
    evaluations: int


Report = Callable[[Estimate], None]


def swept(
    snapshot: Snapshot,
    store: Store,
    options: Options,
    progress: Progress | None = None,
    report: Report | None = None,
    *,
    whole: bool = False,
) -> Sweep | Outcome:
    """Return a sweep over ``options.sweep``; the outcome of a project that cannot be read at all.

    Args:
        report: is called with what the sweep will take, once the first point is known
        whole: search the worst case at each point too where nothing can be proved; without it such
            a verification is judged at nominal values

    Raises:
        UserError: an option names something that the project does not have, or nothing that is
            asked for rests on the parameters.
    """
    names = [text.partition("=")[0].strip() for text in options.sweep]

    def about(index: Index) -> frozenset[str]:
        return frozenset(requirement for requirement, _ in _wanted(names, options, index))

    with assessing(snapshot, store, options, progress, about, verdicts_alone=True) as one:
        if isinstance(one, Outcome):
            return one
        wanted = _wanted(names, options, one.checked.index)
        return _Sweeper(one, wanted, whole).sweep(report)


def _wanted(names: list[str], options: Options, index: Index) -> tuple[Key, ...]:
    """Return the verifications to be followed, in the order of the project.

    Raises:
        UserError: there is none.
    """
    resting = frozenset[Key]().union(*(rests_on(name, index) for name in names))
    chosen = read_only(options.only, index, [])
    found = tuple(
        (requirement.id, number)
        for requirement, number, one in index.project.verifications()
        if (requirement.id, number) in resting
        and (
            chosen is None
            or (requirement.id in chosen.names and chosen.plans(one.level, one.review))
        )
    )
    if not found:
        said = " ".join(f"--only {text}" for text in options.only)
        known = ", ".join(sorted({requirement for requirement, _ in resting}))
        text = f"{said}: none of these rests on {' or '.join(names)}"
        raise UserError(text, f"leave out --only, or choose among {known}")
    return found


class _Sweeper:
    """Asks and judges the points of a sweep over one assessment of a project."""

    def __init__(self, one: Assessment, wanted: tuple[Key, ...], whole: bool) -> None:
        self._one = one
        self._index, self._units = one.checked.index, one.checked.units
        self._review = one.checked.plan.review
        self._axes = one.checked.asked.axes
        self._searched = set() if whole else _only_searched(one, wanted)
        self._wanted = {key: self._variants(key) for key in wanted}

    def sweep(self, report: Report | None) -> Sweep:
        """Return the sweep."""
        dossier = replace(self._one.outcome().dossier, only=self._one.options.only)
        bare = Sweep(dossier, self._axes, (), (), 0, 0)
        plans = [self._plans(bare.settings(point)) for point in bare.points]
        self._one.step("evaluating the points of the sweep")
        first = {} if report is None else self._first_point(report, plans)
        replies = self._answers([plan for at in plans for plan in at])
        # What was computed before comes from the store by now, and was computed none the less.
        known = {**replies, **self._one.replies, **first}
        judged = [self._judged(at, replies) for at in plans]
        stored = sum(reply.from_store for reply in known.values())
        return replace(
            bare,
            followed=tuple(self._followed(key) for key in self._wanted),
            found=tuple(tuple(at[key] for at in judged) for key in self._wanted),
            evaluated=len(known) - stored,
            stored=stored,
        )

    def _variants(self, key: Key) -> tuple[Verification, ...]:
        """Return what stands for a verification: itself, or nominal values at its conditions.

        A condition that is given as a range is taken at both ends then; between them it would have
        to be searched.
        """
        planned = self._index.requirements[key[0]].verification[key[1]]
        if key not in self._searched:
            return (planned,)
        criterion = planned.criterion
        fixed = {axis.parameter for axis in self._axes} | dict(
            self._one.checked.asked.settings
        ).keys()
        ends = [
            [(name, given)]
            if name in fixed or not given.is_range
            else [(name, Condition((end,))) for end in given.ends]
            for name, given in criterion.given
        ]
        return tuple(
            replace(planned, basis=_NOMINAL, criterion=replace(criterion, given=corner))
            for corner in product(*ends)
        )

    def _plans(self, settings: tuple[tuple[str, str], ...]) -> tuple[Plan, ...]:
        """Return what a point asks: one plan, and one more for each further variant."""
        set_here = {name: read_setting(text) for name, text in settings}
        whole = {**dict(self._one.checked.asked.settings), **set_here}
        most = max(len(variants) for variants in self._wanted.values())
        return tuple(
            plan_of(
                {key: some[at] for key, some in self._wanted.items() if at < len(some)},
                self._index,
                self._units,
                whole,
                self._review,
            )
            for at in range(most)
        )

    def _answers(self, plans: Sequence[Plan]) -> dict[Question, Reply]:
        return answers_to(plans, self._one.evaluator, self._index.specs)

    def _first_point(
        self, report: Report, plans: Sequence[Sequence[Plan]]
    ) -> dict[Question, Reply]:
        """Return the answers of the first point, and report what by them the other points take."""
        before = self._one.evaluator.spent
        first = self._answers(plans[0])
        spent = self._one.evaluator.spent - before
        ran = sum(not reply.from_store for reply in first.values())
        asked = {question for at in plans for plan in at for question in plan.questions}
        left = len(asked - first.keys())
        if ran and left:
            report(Estimate(spent / ran * left, left))
        return first

    def _judged(self, plans: Sequence[Plan], replies: Mapping[Question, Reply]) -> dict[Key, Found]:
        """Return what each verification found at a point: of its variants the worst."""
        found = [self._evidence(plan, replies) for plan in plans]
        return {
            key: min((Found(one[key]) for one in found if key in one), key=_badness)
            for key in self._wanted
        }

    def _evidence(
        self, plan: Plan, replies: Mapping[Question, Reply]
    ) -> dict[Key, tuple[Evidence, ...]]:
        return evidence_of(
            Run(
                index=self._index,
                plan=plan,
                replies=replies,
                units=self._units,
                snapshot=self._one.snapshot.identity,
                problems=(),
                files=0,
                review=self._review,
                settings=self._one.checked.asked.settings,
                altered=self._one.checked.altered,
                validations=self._one.validations.of,
            )
        )

    def _followed(self, key: Key) -> Followed:
        requirement = self._index.requirements[key[0]]
        one = self._wanted[key][0]
        swept_names = {axis.parameter for axis in self._axes}
        spec = self._index.analyses[one.analysis or ""]
        return Followed(
            requirement=requirement.id,
            title=requirement.title,
            number=key[1],
            analysis=spec.name,
            quantity=one.criterion.quantity or "",
            limit=str(one.criterion.limits),
            basis=str(one.basis),
            review=one.review,
            nominal=key in self._searched,
            replaced=tuple(name for name, _ in one.criterion.given if name in swept_names),
        )


def _only_searched(one: Assessment, wanted: tuple[Key, ...]) -> set[Key]:
    """Return the verifications whose worst case could only be searched at the declared values.

    Also those whose samples had to be evaluated one by one, and those that were ended before they
    answered anything: all of these take long, and would at each point.
    """
    asked = one.checked.plan.requests
    return {
        key
        for key in wanted
        if (question := asked[key].question) is not None
        and question.box
        and (reply := one.replies.get(question)) is not None
        and _is_long(reply.result)
    }


def _is_long(result: Answer | Failure) -> bool:
    if isinstance(result, Failure):
        return result.kind in _ENDED
    if any(one.fallback for one in result.decisions):
        return True
    return result.assurance is Assurance.SEARCHED


def _badness(found: Found) -> tuple[bool, int, float]:
    """Return what is the smaller, the worse something is: of one verification, so of one unit."""
    margins = [one.margin for one in found.evidence if one.margin is not None]
    return found.holds, WORST_FIRST.index(found.state), min(margins, default=inf)
