"""No combination of answers and records makes a requirement C without met evidence for each of
its due criteria: an oracle, written from the contract alone, against random projects."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from closeout.model.answer import Answer, Extent
from closeout.model.dossier import Compliance, State
from closeout.model.question import Failure
from tests.graph.projects import answer, build, failed, requirement, requirements, result, spec

REVIEWS = ["PDR", "CDR", "AR"]
QUANTITIES = ["x", "y"]


@dataclass(frozen=True)
class Planned:
    """A verification as the test made it up."""

    by: str  # analysis | test | inspection
    quantity: str
    least: int
    review: str
    records: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        criterion = (
            ""
            if self.by == "inspection"
            else (f", quantity: {self.quantity}, at_least: {self.least} W")
        )
        with_records = f", records: [{', '.join(self.records)}]" if self.records else ""
        analysis = ", analysis: f" if self.by == "analysis" else ""
        return f"method: {self.by}, review: {self.review}{analysis}{criterion}{with_records}"


@dataclass(frozen=True)
class Made:
    """A record as the test made it up; values and uncertainties are whole watts."""

    name: str
    method: str
    dated: bool
    issue: str | None
    value: int | None
    half: int | None
    outcome: str | None
    replaces: str | None

    @property
    def text(self) -> str:
        parts = [f"id: {self.name}", f"method: {self.method}"]
        if self.dated:
            parts.append("date: 2026-01-01")
        if self.issue:
            parts.append(f"judged: {{R-1: {self.issue}}}")
        if self.value is not None:
            said = f"{self.value} W"
            if self.half is not None:
                said += f" +/- {self.half} W (k = 2)"
            if self.half == 0:
                said = f"{{value: {self.value} W, exact: A count.}}"
            parts.append(f"measured: {{x: {said}}}")
        if self.outcome:
            parts.append(f"outcome: {self.outcome}")
        if self.replaces:
            parts.append(f"replaces: {self.replaces}")
        return f"  - {{{', '.join(parts)}}}\n"

    def is_replaced(self, all_records: list[Made]) -> bool:
        """Return whether a dated record of the same method takes its place."""
        return any(
            r.dated and r.replaces == self.name and r.method == self.method for r in all_records
        )

    def fails(self, planned: Planned) -> bool:
        """Return whether it shows that the criterion is not met; no report closes that here."""
        if not self.dated:
            return False
        if self.outcome == "not met":
            return True
        if planned.by == "inspection" or planned.quantity != "x":
            return False
        if self.value is None or self.half is None:
            return False
        return self.value + self.half < planned.least

    def shows(self, planned: Planned, all_records: list[Made]) -> bool:
        """Return whether it is evidence that the criterion is met, by the contract."""
        replaced = self.is_replaced(all_records)
        if not self.dated or replaced or self.issue not in (None, "A"):
            return False
        if planned.by == "inspection":
            return self.outcome == "met"
        if planned.quantity != "x" or self.value is None or self.half is None:
            return False
        return self.outcome != "not met" and self.value - self.half >= planned.least


RECORDS = st.tuples(
    *(
        st.builds(
            Made,
            name=st.just(f"T-{n}"),
            method=st.just("test" if n < 3 else "inspection"),
            dated=st.sampled_from([True, True, True, False]),
            issue=st.sampled_from([None, "A", "A", "Z"]),
            value=st.one_of(st.none(), st.integers(1, 6), st.integers(3, 6)),
            half=st.sampled_from([None, 0, 0, 1, 2]),
            outcome=st.sampled_from([None, "met", "met", "not met"]),
            replaces=st.sampled_from([None, None, f"T-{n - 1}" if n else None]),
        )
        for n in range(5)
    )
)


def planned(by: str) -> st.SearchStrategy[Planned]:
    names = {"test": ["T-0", "T-1", "T-2"], "inspection": ["T-3", "T-4"], "analysis": []}[by]
    some = st.lists(st.sampled_from(names), unique=True, max_size=2) if names else st.just([])
    return st.builds(
        Planned,
        by=st.just(by),
        quantity=st.sampled_from(QUANTITIES if by == "analysis" else ["x", "x", "y"]),
        least=st.integers(1, 4),
        review=st.sampled_from(REVIEWS),
        records=some.map(tuple),
    )


PLANS = st.lists(
    st.one_of(planned("analysis"), planned("test"), planned("inspection")), min_size=1, max_size=4
)
EXTENTS = st.one_of(
    st.integers(0, 6).map(lambda n: Extent(float(n))),
    st.tuples(st.integers(0, 5), st.integers(0, 3)).map(
        lambda ends: Extent(float(ends[0]), float(ends[0]), float(sum(ends)))
    ),
)
BY_CASES = st.one_of(
    EXTENTS.map(lambda one: {"a": one}),
    st.tuples(EXTENTS, EXTENTS).map(lambda two: {"a": two[0], "b": two[1]}),
    st.just({"a": Extent(9.0), "b": Extent(None, absent="never")}),
    st.just({}),
)
ANSWERS = st.one_of(
    st.just(failed()),
    st.builds(lambda x, y: answer(x=x, y=y), EXTENTS, BY_CASES),
    st.builds(lambda x, y: answer(x=x, y=y), EXTENTS, BY_CASES),
    st.builds(lambda y: answer(y=y), BY_CASES),
)


def shown_by_analysis(one: Planned, reply: Answer | Failure) -> bool:
    if isinstance(reply, Failure):
        return False
    cases = [extent for (name, _), extent in reply.extents.items() if name == one.quantity]
    ends = [extent.value if extent.low is None else extent.low for extent in cases]
    return bool(ends) and all(end is not None and end >= one.least for end in ends)


def is_shown(
    one: Planned, reply: Answer | Failure, records: list[Made], plans: list[Planned]
) -> bool:
    """Return whether a verification has evidence, and all of it says that it is met."""
    named_anywhere = {name for plan in plans for name in plan.records}
    for record in records:
        speaks = record.issue is not None and record.name not in named_anywhere
        measures = one.by == "inspection" or (one.quantity == "x" and record.value is not None)
        if speaks and measures and record.fails(one):
            return False  # a failure that no verification names
    if one.by == "analysis":
        return shown_by_analysis(one, reply)
    named = [record for record in records if record.name in one.records]
    if any(record.is_replaced(records) and record.fails(one) for record in named):
        return False
    count = [record for record in named if not record.is_replaced(records)]
    return bool(count) and all(record.shows(one, records) for record in count)


@settings(max_examples=400, deadline=None)
@given(PLANS, ANSWERS, RECORDS, st.sampled_from([*REVIEWS, None]))
def test_c_needs_met_evidence_for_each_due_criterion(
    plans: list[Planned], reply: Answer | Failure, made: tuple[Made, ...], review: str | None
):
    records = list(made)
    text = requirements(
        requirement("S-1"),
        requirement("R-1", *(one.text for one in plans), more="derived_from: [S-1]"),
    )
    text += "records:\n" + "".join(record.text for record in records)
    built = build(text, spec("f", {}, {"x": "W", "y": "W"}, by_case=["y"]))
    dossier = built.judge({"f": reply}, review)
    one = result(dossier, "R-1")
    due = [
        plan for plan in plans
        if review is None or REVIEWS.index(plan.review) <= REVIEWS.index(review)
    ]  # fmt: skip
    # Where nothing is due yet, it takes all of it.
    judged = due or plans
    all_shown = all(is_shown(plan, reply, records, plans) for plan in judged)
    assert (one.compliance is Compliance.C) is all_shown
    assert one.early is (not due and all_shown)
    assert not (one.closed and one.compliance is Compliance.OPEN)
    assert result(dossier, "S-1").compliance is one.compliance
    assert one.closed is all(is_shown(plan, reply, records, plans) for plan in plans)
    assert one.outstanding is not all(is_shown(plan, reply, records, plans) for plan in due)
    errors = any(e.due and e.state is State.ERROR for e in one.evidence)
    broken = any(p.severity == "error" for p in built.problems)
    assert dossier.exit_status == (2 if errors or broken else int(one.outstanding))
    assert {e.number for e in one.evidence} == set(range(len(plans)))
    for entry in one.evidence:
        if entry.margin is not None and entry.state in (State.MET, State.NOT_MET):
            assert (entry.margin >= 0) is (entry.state is State.MET)


def test_the_oracle_says_both():
    shown = Planned("analysis", "x", 3, "PDR")
    assert shown_by_analysis(shown, answer(x=Extent(3.0)))
    assert not shown_by_analysis(shown, answer(x=Extent(4.0, 2.0, 5.0)))
    record = Made("T-0", "test", True, "A", 4, 1, None, None)
    test = Planned("test", "x", 3, "PDR", ("T-0",))
    assert record.shows(test, [record])
    assert not record.shows(Planned("test", "x", 4, "PDR", ("T-0",)), [record])
    assert Fraction(record.value or 0) - Fraction(record.half or 0) == 3
