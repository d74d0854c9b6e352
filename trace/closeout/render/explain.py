"""What stands behind one identifier: what is known at once, then what has to be searched."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from closeout.model.dossier import (
    Dossier,
    Evaluation,
    Evidence,
    ParameterSaid,
    QuantityFound,
    RequirementResult,
    State,
)
from closeout.model.inputs_used import CHAIN, InputUsed
from closeout.model.question import AnalysisSpec, Failure
from closeout.model.study import Study
from closeout.model.subject import Subject
from closeout.render import rows, trail, validations, words
from closeout.render.compared import compared_lines
from closeout.render.derivation import derivation_lines
from closeout.render.hand_sum import study_sum
from closeout.render.numbers import show_extent
from closeout.render.plain import flow, safe, safe_lines
from closeout.render.record_history import Past, record_history_lines
from closeout.render.study import searched_lines
from closeout.render.subjects import subject_lines
from closeout.render.tables import table
from closeout.render.terminal import USUAL_WIDTH, Paint, found_at, verdict_lines, wrap


@dataclass(frozen=True, slots=True)
class Explained:
    """What an explanation is made of, and how it is laid out.

    ``subjects`` are the items of other kinds that have the identifier, ``history`` are the records
    of a requirement, the oldest first.
    """

    identifier: str
    colour: bool
    width: int = USUAL_WIDTH
    subjects: Sequence[Subject] = ()
    history: Sequence[Past] = ()


def first_text(dossier: Dossier, wanted: Explained) -> str | None:
    """Return what is known at once of whatever has an identifier; None where nothing has it.

    Of a requirement the verdict, its reason and the inputs as they are written, of everything else
    what there is, but for the evaluations of an analysis. An analysis is found as function, where
    only one has it, and as module.function.
    """
    paint, width = Paint(wanted.colour), wanted.width
    lines: list[str] = []
    for some in _first(dossier, wanted, paint):
        lines += ["", *some] if lines else some
    if not lines:
        return None
    top = [paint.open(line) for text in words.banners(dossier) for line in wrap(text, width)]
    return "\n".join([*top, *lines]) + "\n"


def _first(dossier: Dossier, wanted: Explained, paint: Paint) -> Iterator[list[str]]:
    """Yield the lines of each thing that has the identifier."""
    name, width = wanted.identifier, wanted.width
    result, spec = result_of(dossier, name), spec_of(dossier, name)
    if result is not None:
        past = record_history_lines(name, wanted.history, paint, width)
        yield [*_verdicts(dossier, result, paint, width), *past]
    if spec is not None:
        yield list(_analysis(dossier, spec, paint, width))
    for said in dossier.parameters:
        if said.name == name:
            yield list(_parameter(dossier, said, paint, width))
    for subject in wanted.subjects:
        yield list(subject_lines(subject, paint, width, dict(dossier.settings)))


def rest_text(
    before: Dossier,
    dossier: Dossier,
    wanted: Explained,
    studies: Sequence[Study] = (),
    *,
    latex: bool = False,
) -> str:
    """Return what follows :func:`first_text` of a dossier in one whose ends were searched.

    Where a requirement breaks and what drives it, the chain, its inputs with their sources and its
    derivation; the evaluations of an analysis. ``latex`` adds formulas in it.
    """
    paint, width, name = Paint(wanted.colour), wanted.width, wanted.identifier
    lines: list[str] = []
    result, spec = result_of(dossier, name), spec_of(dossier, name)
    if result is not None:
        own = [study for study in studies if study.requirement == name]
        lines += _searched(own, paint, width)
        lines += _chain(dossier, result, paint, width)
        lines += _all_behind(before, dossier, result, paint, width)
        lines += _derivations(dossier, own, paint, width, latex)
    if spec is not None:
        for evaluation in dossier.evaluations:
            if evaluation.analysis == spec.name:
                lines += ["", *_evaluation(evaluation, paint, width)]
    lines += compared_lines(dossier, name, paint, width)
    return "\n".join([*lines, "", *map(paint.quiet, wrap(words.CAUTION_LINE, width))]) + "\n"


def result_of(dossier: Dossier, identifier: str) -> RequirementResult | None:
    """Return the requirement that has an identifier."""
    return next((r for r in dossier.requirements if r.id == identifier), None)


def spec_of(dossier: Dossier, identifier: str) -> AnalysisSpec | None:
    """Return the analysis of a name: function where only one has it, or module.function."""
    specs = trail.names(dossier, {spec.name: spec for spec in dossier.analyses})
    full = {trail.full_name(spec): spec for spec in dossier.analyses}
    return specs.get(identifier) or full.get(identifier)


def suggestions(known: Iterable[str], identifier: str) -> list[str]:
    """Return up to three known identifiers that are most like an unknown one, the nearest first."""
    folded: dict[str, str] = {}
    for name in known:
        folded.setdefault(name.casefold(), name)
    near = difflib.get_close_matches(identifier.casefold(), list(folded), n=3, cutoff=0.6)
    return [folded[name] for name in near]


_WORST_FIRST = (State.NOT_MET, State.ERROR, State.OPEN, State.MET)


# ---- a requirement


def _verdicts(
    dossier: Dossier, result: RequirementResult, paint: Paint, width: int
) -> Iterator[str]:
    """Yield a requirement, its verdict and reason, and what each verification found."""
    code = result.compliance.value
    yield paint.strong(f"{safe(result.id)} issue {safe(result.issue)}: {safe(result.title)}")
    covered = ", covered" if result.covered else ""
    meaning = words.CODES[result.compliance]
    yield paint.code(code, f"{code} ({meaning}){covered}, {words.close_out(result)}")
    yield from wrap(flow(result.why), width, 2) if result.why else []
    for number, cases in groupby(result.evidence, lambda evidence: evidence.number):
        some = list(cases)
        yield from ("", paint.strong(f"Verification {number + 1}"))
        for evidence in some:
            yield from verdict_lines(evidence, width, dict(dossier.settings))
        if (known := some[0].validation) is not None:
            yield f"      validation of {safe(some[0].analysis or '')}: {validations.STATES[known]}"
        yield from _inputs_as_written(dossier, result, some, width)
    if not result.evidence and not result.derived:
        yield from ("", "It has no verification and no children.")
    yield ""
    yield from wrap(flow(result.statement), width)
    yield from _attributes(result, width)
    for text in words.agreements(result):
        yield from wrap(flow(text), width, 2)
    for name, became in result.reported:
        yield from wrap(f"nonconformance {safe(name)}: {flow(became)}", width, 2)
    if result.budget:
        yield from wrap(f"budget: {flow(result.budget)}", width, 2)


def _inputs_as_written(
    dossier: Dossier, result: RequirementResult, cases: Sequence[Evidence], width: int
) -> Iterator[str]:
    """Yield the inputs of a verification in short; the table with their sources stands below."""
    found = (trail.evaluation_of(dossier.evaluations, result.id, one) for one in cases)
    evaluations = {id(one): one for one in found if one is not None}
    for evaluation in evaluations.values():
        stated = ((u.name, u.written) for u in evaluation.inputs if u.origin != CHAIN)
        computed = ((one.name, f"computed from {one.source}") for one in evaluation.computed)
        inputs = rows.pairs((*stated, *computed))
        yield from wrap(f"inputs: {inputs or 'none'}", width, 6)


def _searched(studies: Iterable[Study], paint: Paint, width: int) -> Iterator[str]:
    """Yield where each verification breaks and what drives it; what two have alike stands once."""
    for study, lines, same in _apart(studies, lambda study: searched_lines(study, paint, width)):
        yield from ("", paint.strong(f"Verification {study.number + 1}, searched"))
        yield from [f"    as Verification {same + 1}"] if same is not None else lines


def _derivations(
    dossier: Dossier, studies: Iterable[Study], paint: Paint, width: int, latex: bool
) -> Iterator[str]:
    def derived(study: Study) -> Iterator[str]:
        sums = tuple(study_sum(dossier, study))
        return derivation_lines(study, sums, paint, width, latex=latex)

    for study, lines, same in _apart(studies, derived):
        if same is None and lines:
            yield from ("", paint.strong(f"Verification {study.number + 1}, derived"), *lines)


def _apart(
    studies: Iterable[Study], lines_of: Callable[[Study], Iterable[str]]
) -> Iterator[tuple[Study, list[str], int | None]]:
    """Yield each study with its lines, and the verification that has the very same, if one has."""
    first: dict[tuple[str, ...], int] = {}
    for study in studies:
        lines = list(lines_of(study))
        place = first.setdefault(tuple(lines), study.number)
        yield study, lines, None if place == study.number else place


def _all_behind(
    before: Dossier, dossier: Dossier, result: RequirementResult, paint: Paint, width: int
) -> Iterator[str]:
    """Yield where the end of each verification is, how it was found, and its inputs."""
    earlier = result_of(before, result.id)
    shown: dict[int, str] = {}
    for place, evidence in enumerate(result.evidence):
        then = None if earlier is None else earlier.evidence[place]
        lines = [*_followed(then, evidence, width)]
        lines += found_at(evidence, width, dict(dossier.settings))
        lines += _behind(dossier, result, evidence, width, shown)
        if lines:
            yield from ("", paint.strong(f"{_title(evidence)}, in detail"), *lines)


def _followed(then: Evidence | None, evidence: Evidence, width: int) -> Iterator[str]:
    """Yield the judged value and the margin, where following the proof to its end changed them."""
    if then is None or rows.margin(then) == rows.margin(evidence):
        return
    value, _ = rows.value_and_limit(evidence)
    text = f"proof completed: judged {value}, margin {rows.margin(evidence)}"
    yield from wrap(text, width, 6)


def _attributes(result: RequirementResult, width: int) -> Iterator[str]:
    for name, text in (
        ("rationale", result.rationale),
        ("source", result.source),
        ("owner", result.owner),
        ("safety", result.safety),
    ):
        if text:
            yield from wrap(f"{name}: {flow(text)}", width, 2)


def _title(evidence: Evidence) -> str:
    case = f" [{safe(evidence.case)}]" if evidence.case is not None else ""
    return f"Verification {evidence.number + 1}{case}"


def _chain(dossier: Dossier, result: RequirementResult, paint: Paint, width: int) -> Iterator[str]:
    results = {other.id: other for other in dossier.requirements}
    for title, field in (("Parents", "derived_from"), ("Children", "derived")):
        lines = list(_walk(results, result.id, field))
        if lines:
            yield from ("", paint.strong(title))
            yield from (line for depth, text in lines for line in wrap(text, width, 2 * depth))


def _walk(
    results: Mapping[str, RequirementResult], start: str, field: str
) -> Iterator[tuple[int, str]]:
    """Yield depth and line of what is reached by a field; each requirement is opened once."""
    seen = {start}
    stack = [(1, name) for name in reversed(getattr(results[start], field))]
    while stack:
        depth, name = stack.pop()
        result = results.get(name)
        if result is None:
            yield depth, f"{safe(name)}  unknown"
            continue
        again = "  (see above)" if name in seen else ""
        code = result.compliance.value
        yield depth, f"{safe(name)}  {code}, {words.close_out(result)}  {safe(result.title)}{again}"
        if not again:
            seen.add(name)
            stack += [(depth + 1, below) for below in reversed(getattr(result, field))]


def _behind(
    dossier: Dossier,
    result: RequirementResult,
    evidence: Evidence,
    width: int,
    shown: dict[int, str],
) -> Iterator[str]:
    """Yield plan and evaluation; an evaluation that ``shown`` holds already is only named."""
    if evidence.plan:
        yield from wrap(f"plan: {flow(evidence.plan)}", width, 6)
    evaluation = trail.evaluation_of(dossier.evaluations, result.id, evidence)
    if evaluation is None:
        return
    place = shown.setdefault(id(evaluation), _title(evidence))
    if place != _title(evidence):
        yield f"      inputs: see {place}"
        return
    yield from wrap(trail.about(evaluation), width, 6)
    if evidence.unproved is not None:
        yield from wrap(f"not proved: {flow(evidence.unproved)}", width, 6)
    if evidence.assurance is not None and evidence.model_uncertainty is None:
        yield from wrap("The analysis declares no model uncertainty for it.", width, 6)
    yield from _inputs(evaluation, 6, width)
    if evaluation.failure is not None:
        yield from _failure(evaluation.failure, width, 6)


# ---- an analysis


def _analysis(dossier: Dossier, spec: AnalysisSpec, paint: Paint, width: int) -> Iterator[str]:
    yield paint.strong(f"Analysis {safe(spec.name)}  ({safe(spec.path)}:{spec.line})")
    yield ""
    yield from ("  " + line if line else "" for line in safe_lines(spec.doc.strip("\n")))
    evidence = ", ".join(validations.of(spec, dossier)) or "nothing named"
    yield from ("", *wrap(f"validated by: {evidence}", width))
    yield from wrap(f"model uncertainty: {words.model_uncertainty(spec)}", width)
    arguments = ", ".join(f"{safe(a.name)} ({safe(a.unit)})" for a in spec.arguments)
    yield from wrap(f"arguments: {arguments or 'none'}", width)
    fields = ", ".join(
        f"{safe(f.name)} ({safe(f.unit)}{', by case' if f.by_case else ''})" for f in spec.fields
    )
    yield from wrap(f"quantities: {fields or 'none'}", width)
    yield from ("", paint.strong("Requirements that it verifies"))
    yield from _users(dossier, {spec.name}, width)


def _users(dossier: Dossier, analyses: set[str], width: int) -> Iterator[str]:
    any_user = False
    for result in dossier.requirements:
        for _, some in groupby(result.evidence, lambda evidence: evidence.number):
            cases = list(some)
            if any(trail.is_named(name, cases[0].analysis) for name in analyses):
                any_user = True
                yield from wrap(f"{safe(result.id)}  {_outcome(cases)}", width, 2)
    if not any_user:
        yield "  none"


def _outcome(cases: Sequence[Evidence]) -> str:
    """Return the worst state of a verification, in how many cases, and the margin that counts."""
    state = next(s for s in _WORST_FIRST if any(evidence.state is s for evidence in cases))
    worst = [evidence for evidence in cases if evidence.state is state]
    many = f" in {len(worst)} of {len(cases)} cases" if len(cases) > 1 else ""
    if cases[0].cases_wanted is not None:
        many = f", {cases[0].cases_wanted} of {len(cases)} cases required"
    tightest = rows.tightest_of(cases)
    if tightest is None:
        return f"{state.value}, {safe(cases[0].quantity or cases[0].method)}{many}"
    least = f"smallest margin {rows.margin(tightest)} [{safe(tightest.case or '')}]"
    margin = least if len(cases) > 1 else f"margin {rows.margin(tightest)}"
    return f"{state.value}, {safe(tightest.quantity or tightest.method)}{many}, {margin}"


def _evaluation(evaluation: Evaluation, paint: Paint, width: int) -> Iterator[str]:
    given = f", given {rows.pairs(evaluation.given)}" if evaluation.given else ""
    yield paint.strong(f"Evaluation: {safe(evaluation.basis)}{given}")
    yield from wrap(trail.about(evaluation), width, 2)
    for text in trail.unproved(evaluation):
        yield from wrap(f"not proved: {text}", width, 2)
    if evaluation.serves:
        yield from wrap(f"serves {', '.join(map(safe, evaluation.serves))}", width, 2)
    yield from _inputs(evaluation, 2, width)
    if evaluation.failure is not None:
        yield from _failure(evaluation.failure, width, 2)
    found = [_found(quantity) for quantity in evaluation.found]
    yield from table(("quantity", "nominal", "minimum", "maximum"), found, 2, width)


def _found(found: QuantityFound) -> tuple[str, ...]:
    name = safe(found.name) if found.case is None else f"{safe(found.name)} [{safe(found.case)}]"
    if found.absent is not None:
        return name, f"absent: {flow(found.absent)}", "", ""
    return name, *show_extent(found.value, found.low, found.high, safe(found.unit))


def _failure(failure: Failure, width: int, indent: int) -> Iterator[str]:
    place = f" at {safe(failure.path)}:{failure.line}" if failure.path else ""
    yield from wrap(f"no result ({failure.kind}){place}: {flow(failure.message)}", width, indent)
    if failure.traceback.strip():
        lines = safe_lines(failure.traceback.strip("\n"))
        yield from (" " * (indent + 2) + line for line in lines)


# ---- a parameter


def _parameter(dossier: Dossier, said: ParameterSaid, paint: Paint, width: int) -> Iterator[str]:
    yield paint.strong(f"Parameter {safe(said.name)}")
    taking = [one for one in dossier.evaluations if said.name in one.names]
    for fact in dict.fromkeys(_facts_of(said, taking)):
        yield from wrap(fact, width, 2)
    every = [entry for result in dossier.requirements for entry in result.evidence]
    waiting = [one.analysis or "" for one in every if said.name in one.awaiting]
    analyses = list(dict.fromkeys((*(one.analysis for one in taking), *waiting)))
    yield from ("", paint.strong("Analyses that use it"))
    yield from (f"  {safe(analysis)}" for analysis in analyses)
    yield from ("", paint.strong("Requirements that depend on it"))
    yield from _users(dossier, set(analyses), width)


def _facts_of(said: ParameterSaid, taking: Sequence[Evaluation]) -> Iterator[str]:
    """Yield what is declared of a parameter, and what evaluations took for it."""
    if said.computed is None:
        yield _facts(said, "parameter")
    else:
        source = f"; source: {flow(said.source)}" if said.source else ""
        how = "computed from" if said.awaited is None else "measured:"
        yield f"{how} {safe(said.computed)}{source}"
    if said.awaited is not None:
        yield flow(said.awaited)
    if said.estimate is not None:
        yield f"agreed range; its estimate is {safe(said.estimate)}"
    for evaluation in taking:
        for one in evaluation.inputs:
            if one.name == said.name:
                yield _facts(one, one.origin)
        for found in evaluation.computed:
            if found.name == said.name and found.value is not None:
                ends = show_extent(found.value, found.low, found.high, safe(found.unit))
                yield f"{ends[0]}, from {ends[1]} to {ends[2]}: {words.computed(found)}"


def _facts(used: InputUsed | ParameterSaid, origin: str) -> str:
    if origin == CHAIN:
        return safe(used.text)
    joint = " " if used.spread.startswith(("+", "±")) else ", "
    parts = [safe(joint.join(filter(None, (used.text, used.spread))))]
    parts += [words.condition(used)] if used.condition else []
    if isinstance(used, InputUsed) and (added := words.contingency(used)):
        parts.append(added)
    parts += [] if origin == "parameter" else [f"{safe(origin)} in this evaluation"]
    parts += [f"maturity: {safe(used.maturity)}"] if used.maturity else []
    parts += [f"source: {flow(used.source)}" if used.source else "no source"]
    return "; ".join(parts)


# ---- tables


def _inputs(evaluation: Evaluation, indent: int, width: int) -> Iterator[str]:
    cells = [
        (
            safe(used.name),
            *show_extent(used.value, used.low, used.high, safe(used.unit)),
            _facts(used, used.origin),
        )
        for used in evaluation.inputs
    ]
    cells += [
        (
            safe(one.name),
            *show_extent(one.value, one.low, one.high, safe(one.unit)),
            words.computed(one),
        )
        for one in evaluation.computed
    ]
    cells += [
        (
            safe(one.name),
            *show_extent(one.value, one.low, one.high, safe(one.unit)),
            words.estimate(one, wrong),
        )
        for one, wrong in evaluation.estimates
    ]
    yield from table(("input", "value", "minimum", "maximum", "declared"), cells, indent, width)
