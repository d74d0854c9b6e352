"""Invented projects as YAML text in memory, read, checked and judged as a command does it.

Analyses are values: what one says of itself (:func:`spec`) and what it answers. No process runs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from textwrap import dedent

from closeout.graph import Index, Plan, check, plan
from closeout.judge import Run, judge
from closeout.load import Loaded, load, locate
from closeout.measure import Units
from closeout.model.answer import Answer, Assurance, Extent
from closeout.model.choice import Choice
from closeout.model.dossier import Dossier, Evidence, RequirementResult
from closeout.model.identity import SnapshotIdentity
from closeout.model.problem import Finding, Problem, Severity, in_order
from closeout.model.question import AnalysisSpec, Argument, Failure, Field, Question
from closeout.model.reply import Reply
from closeout.model.setting import read_setting
from tests.load.memory import Memory

UNITS = Units()

CHARTER = """\
project:
  name: Lantern (invented)
  reviews: [PDR, CDR, AR]
"""

Replies = Mapping[str, "Answer | Failure | Callable[[Question], Answer | Failure]"]


def spec(
    function: str,
    arguments: Mapping[str, str] | None = None,
    fields: Mapping[str, str] | None = None,
    *,
    by_case: Iterable[str] = (),
    module: str = "analyses.model",
) -> AnalysisSpec:
    """Return what an analysis says of itself; arguments and fields by name with their units."""
    return AnalysisSpec(
        name=f"{module.removeprefix('analyses.')}.{function}",
        module=module,
        function=function,
        path=module.replace(".", "/") + ".py",
        line=7,
        doc="Invented.",
        arguments=tuple(Argument(name, unit) for name, unit in (arguments or {}).items()),
        fields=tuple(
            Field(name, unit, name in set(by_case)) for name, unit in (fields or {"x": "W"}).items()
        ),
        validated_by=(),
        time_limit=60.0,
    )


@dataclass(frozen=True)
class Built:
    """A project that was loaded, checked and planned."""

    files: Memory
    loaded: Loaded
    index: Index
    plan: Plan
    checked: tuple[Finding, ...]
    settings: tuple[tuple[str, str], ...] = ()

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What the checks and the plan found, without what the loader found."""
        return (*self.checked, *self.plan.findings)

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Every problem at its place, of the loader too."""
        in_yaml = [f for f in self.findings if f.where.path.endswith(".yaml")]
        return in_order([*self.loaded.problems, *locate(self.files, in_yaml)])

    @property
    def rules(self) -> list[str]:
        """The rules that found something, sorted."""
        return sorted(finding.rule for finding in self.findings)

    def question(self, requirement: str, number: int = 0) -> Question:
        request = self.plan.requests[requirement, number]
        assert request.question is not None, request
        return request.question

    def judge(
        self, replies: Replies | None = None, review: str | None = None, only: Iterable[str] = ()
    ) -> Dossier:
        """Return the dossier; ``replies`` by the analysis' name."""
        names = frozenset(self.index.below(only)) if only else None
        chosen = None if names is None else Choice(tuple(only), names, names)
        part = self.plan.of(names)
        found = {q: Reply(_answered((replies or {})[q.analysis], q), False) for q in part.questions}
        return judge(
            Run(
                index=self.index,
                plan=part,
                replies=found,
                units=UNITS,
                snapshot=SnapshotIdentity("tree", None, None),
                problems=self.problems,
                files=self.loaded.files,
                review=review or self.index.project.charter.next_review,
                settings=tuple((name, read_setting(text)) for name, text in self.settings),
                chosen=chosen,
            )
        )


def _answered(
    reply: Answer | Failure | Callable[[Question], Answer | Failure], question: Question
) -> Answer | Failure:
    return reply(question) if callable(reply) else reply


def build(
    text: str = "",
    *specs: AnalysisSpec,
    charter: str = CHARTER,
    settings: Mapping[str, str] | None = None,
    more: Mapping[str, str] | None = None,
    clean: bool = False,
) -> Built:
    """Return a project of one file beside its charter, and ``more`` files by path.

    ``clean`` asserts that there is no error, so that a test judges what it means to judge.
    """
    contents: dict[str, str | bytes] = {"requirements/project.yaml": dedent(charter)}
    if text:
        contents["requirements/a.yaml"] = dedent(text)
    contents |= {path: dedent(content) for path, content in (more or {}).items()}
    files = Memory(contents)
    loaded = load(files)
    assert loaded.project is not None, loaded.problems
    index = Index.of(loaded.project, specs, loaded.left_out)
    amounts = {name: read_setting(text) for name, text in (settings or {}).items()}
    planned = plan(index, UNITS, amounts)
    texts = tuple((settings or {}).items())
    built = Built(files, loaded, index, planned, tuple(check(index, UNITS)), texts)
    if clean:
        assert [p for p in built.problems if p.severity is Severity.ERROR] == []
        assert not any(f.severity is Severity.ERROR for f in built.findings)
    return built


def answer(
    *, assurance: Assurance = Assurance.SEARCHED, **extents: Extent | Mapping[str, Extent]
) -> Answer:
    """Return an answer: an extent by quantity, or by quantity and case."""
    rows: dict[tuple[str, str | None], Extent] = {}
    for quantity, extent in extents.items():
        if isinstance(extent, Extent):
            rows[quantity, None] = extent
        else:
            rows |= {(quantity, case): one for case, one in extent.items()}
    return Answer(rows, assurance, 1)


def extent(low: float, high: float | None = None, value: float | None = None) -> Extent:
    """Return an extent from low to high, with its value in the middle; at a point without high."""
    if high is None:
        return Extent(low)
    return Extent((low + high) / 2 if value is None else value, low, high)


def failed(kind: str = "raised", message: str = "ZeroDivisionError: division by zero") -> Failure:
    return Failure(kind, message, "")


def result(dossier: Dossier, identifier: str) -> RequirementResult:
    """Return the result of a requirement."""
    return next(one for one in dossier.requirements if one.id == identifier)


def only_entry(dossier: Dossier, identifier: str = "R-1") -> Evidence:
    """Return the evidence of a requirement that has one entry of it."""
    (entry,) = result(dossier, identifier).evidence
    return entry


def requirement(identifier: str = "R-1", *verifications: str, more: str = "") -> str:
    """Return an item of a list of requirements; verifications and more are flow mappings."""
    lines = [
        f"  - id: {identifier}",
        f"    title: Title of {identifier}",
        f"    statement: The lantern shall be {identifier}.",
        *(f"    {line}" for line in dedent(more).splitlines()),
    ]
    if verifications:
        lines.append("    verification:")
        lines += [f"      - {{{verification}}}" for verification in verifications]
    return "\n".join(lines) + "\n"


def requirements(*items: str) -> str:
    """Return a file's section of requirements."""
    return "requirements:\n" + "".join(items)
