"""The report of an analysis."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from closeout.model.dossier import ComputedFound, Evaluation, Evidence
from closeout.model.inputs_used import InputUsed
from closeout.model.question import AnalysisSpec
from closeout.model.study import Study
from closeout.render import trail, validations, words
from closeout.render.compared_table import table_of
from closeout.render.documents.report_cases import (
    AllCases,
    Given,
    all_cases,
    each,
    given,
    has_many,
    in_body,
)
from closeout.render.documents.sources import ANALYSES, Sources, pair
from closeout.render.hand_sum import NO_UNIT, hand_sum
from closeout.render.numbers import show_extent
from closeout.render.page import both_pages, doc_markdown, image, link
from closeout.render.picture import LEGEND_SVG
from closeout.render.plain import Markup, flow, safe
from closeout.render.rows import Entry, Line, pairs
from closeout.render.studied import Studied, studied
from closeout.render.trace_by_hand import HERE, THERE, Row, moved


def analysis_report(sources: Sources, spec: AnalysisSpec) -> dict[str, str]:
    """Return the report of one analysis: its evaluations with all that was found."""
    purpose, model, cautions = trail.doc_parts(spec.doc)
    evaluations = sources.evaluations.get(spec.name, ())
    runs = [_run(sources, run, place) for place, run in enumerate(evaluations)]
    pages = both_pages(
        "analysis.md",
        sources.dossier,
        sources.titled(f"Analysis {safe(spec.name)}"),
        replace(sources.face(ANALYSES, safe(spec.name)), tall=True),
        home="../",
        spec=spec,
        tests=validations.of(spec, sources.dossier),
        purpose=flow(purpose) or "The purpose of the analysis is not stated.",
        model=doc_markdown(model),
        cautions=doc_markdown(cautions),
        boundary_legend=LEGEND_SVG,
        doc_markdown=doc_markdown,
        no_unit=NO_UNIT,
        here=HERE,
        there=THERE,
        model_uncertainty=words.model_uncertainty(spec),
        served=[sources.entries[name] for name in sources.served[spec.name]],
        compared=table_of(one for one in sources.dossier.compared if one.analysis == spec.name),
        runs=runs,
        decided=[one for run in runs for one in run.verdicts],
        cases=[one for run in runs for one in run.cases],
    )
    return pair(sources.reports[spec.name], pages)


@dataclass(frozen=True, slots=True)
class Decided:
    """A verdict of an evaluation, the inputs that decide it, and how its margin follows by hand.

    ``moved`` are the arguments that differ there, ``at`` are inputs that are no arguments.
    """

    entry: Entry
    line: Line
    sums: tuple[str, ...]
    moved: tuple[Row, ...]
    at: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class _Run:
    title: str
    about: str
    unproved: list[str]
    failure: str | None
    inputs: list[dict[str, Any]]
    found: list[Given]
    every: list[Given]
    key: str
    verdicts: list[Decided]
    cases: list[AllCases]
    studies: list[Studied]
    figures: list[_Figure]
    files: list[Markup]
    not_made: list[str]


@dataclass(frozen=True, slots=True)
class _Figure:
    picture: Markup
    caption: str


def _run(sources: Sources, evaluation: Evaluation, place: int) -> _Run:
    under = f", given {pairs(evaluation.given)}" if evaluation.given else ""
    same = sources.evaluations[evaluation.analysis]
    verdicts = [
        (name, row, evidence)
        for name in dict.fromkeys(evaluation.serves)
        if name in sources.results
        for row, evidence in enumerate(sources.results[name].evidence)
        if trail.evaluation_of(same, name, evidence) is evaluation
    ]
    decided = [
        Decided(
            sources.entries[name],
            line,
            tuple(hand_sum(evidence, study, evaluation.inputs)),
            () if study is None else tuple(moved(study)),
            tuple(_beside(line.at, study, evaluation)),
        )
        for name, row, evidence in verdicts
        for study in (_study_of(name, evidence, sources),)
        for line in (_in_body(name, row, evidence, sources),)
        if line is not None
    ]
    found = (sources.studies.get((name, evidence.number)) for name, _, evidence in verdicts)
    studies = _apart(study for study in found if study is not None)
    return _Run(
        title=f"{safe(evaluation.basis)}{under}",
        about=trail.about(evaluation),
        unproved=trail.unproved(evaluation),
        failure=None if evaluation.failure is None else flow(evaluation.failure.message),
        inputs=[
            *(_input(used) for used in evaluation.inputs),
            *(_computed(one, words.computed(one), sources) for one in evaluation.computed),
            *(
                _computed(one, words.estimate(one, wrong), sources)
                for one, wrong in evaluation.estimates
            ),
        ],
        found=given(evaluation, frozenset((one.line.quantity, one.line.case) for one in decided)),
        every=list(map(each, evaluation.found)) if has_many(evaluation) else [],
        key=f"results {place}",
        verdicts=decided,
        cases=list(
            all_cases((sources.entries[n], sources.entries[n].lines[r]) for n, r, _ in verdicts)
        ),
        studies=[studied(study, of) for study, of in studies],
        **_attached(sources, evaluation),
    )


def _beside(
    at: Iterable[tuple[str, str]], study: Study | None, evaluation: Evaluation
) -> Iterator[tuple[str, str]]:
    """Yield the inputs at the end that decides but for the arguments, which have their own table.

    Those of the analyses below are left, and all of what was not studied. Where the point says
    itself what is computed, what is computed does not follow from them, and they are left out.
    """
    known = () if study is None else [one.name for one in study.arguments]
    computed = {one.name for one in evaluation.computed}
    if known and any(name in computed for name, _ in at):
        return
    yield from (one for one in at if one[0] not in known)


def _apart(studies: Iterable[Study]) -> list[tuple[Study, str]]:
    """Return each study once, with what tells it from another one of the same quantity.

    Two requirements that limit a quantity from two sides have two points that decide.
    """
    found: dict[Any, Study] = {}
    for study in studies:
        at = None if study.worst is None else study.worst.at
        found.setdefault((study.quantity, study.case, at, study.edges), study)
    several = Counter((one.quantity, one.case) for one in found.values())
    return [
        (one, f", {safe(one.requirement)}" if several[one.quantity, one.case] > 1 else "")
        for one in found.values()
    ]


def _in_body(name: str, row: int, evidence: Evidence, sources: Sources) -> Line | None:
    entry = sources.entries[name]
    is_studied = _study_of(name, evidence, sources) is not None
    return in_body(entry, entry.lines[row], is_studied)


def _study_of(name: str, evidence: Evidence, sources: Sources) -> Study | None:
    """Return the study of a piece of evidence; one study is of one case."""
    study = sources.studies.get((name, evidence.number))
    return study if study is not None and study.case == evidence.case else None


def _attached(sources: Sources, evaluation: Evaluation) -> dict[str, Any]:
    """Return figures, links to files and what could not be made, of one evaluation."""
    number = next(i for i, one in enumerate(sources.dossier.evaluations) if one is evaluation)
    some = sources.attachments.get(number, [])
    folder = _folder(sources, number) if some else ""
    figures = [
        _Figure(image(flow(one.caption) or one.name, f"{folder}/{name}"), flow(one.caption))
        for one in some
        if one.kind == "figure"
        for name, _ in one.files
    ]
    files = [
        link(name, f"{folder}/{name}")
        for one in some
        if one.kind == "artifact"
        for name, _ in one.files
    ]
    failed = [f"{one.name}: {one.failure.message}" for one in some if one.failure]
    return {"figures": figures, "files": files, "not_made": failed}


def _input(used: InputUsed) -> dict[str, Any]:
    value, low, high = show_extent(used.value, used.low, used.high, used.unit)
    return {
        "name": used.name,
        "value": value,
        "text": "; ".join(filter(None, (used.text, words.contingency(used)))),
        "spread": used.spread,
        "low": low,
        "high": high,
        "origin": used.origin,
        "maturity": used.maturity or "",
        "source": used.source or "",
        "condition": words.condition(used),
    }


def _computed(found: ComputedFound, text: str, sources: Sources) -> dict[str, Any]:
    value, low, high = show_extent(found.value, found.low, found.high, found.unit)
    # Reports of analyses stand side by side.
    known = ((name, sources.reports.get(name)) for name in found.analyses)
    pages = [link(name, path.rpartition("/")[2]) for name, path in known if path is not None]
    return {
        "name": found.name,
        "value": value,
        "text": text,
        "spread": "",
        "low": low,
        "high": high,
        "origin": "computed",
        "maturity": "",
        "source": Markup(", ".join(pages)),
        "condition": "",
    }


def attached_files(sources: Sources) -> Iterator[tuple[str, bytes]]:
    """Yield the files that analyses made, by path in the package."""
    for number, some in sources.attachments.items():
        for one in some:
            for name, data in one.files:
                yield f"analyses/{_folder(sources, number)}/{name}", data


def _folder(sources: Sources, number: int) -> str:
    """Return the folder of an evaluation's files, below that of the reports."""
    evaluation = sources.dossier.evaluations[number]
    same = sources.evaluations[evaluation.analysis]
    stem = sources.reports[evaluation.analysis].removeprefix("analyses/").removesuffix(".md")
    place = next(i for i, one in enumerate(same, 1) if one is evaluation)
    return f"{stem}/evaluation-{place}"
