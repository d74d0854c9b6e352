"""The review package: every document of one review, from one dossier, with a manifest."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from closeout.model.attachment import Attachment
from closeout.model.changes import Changes
from closeout.model.dossier import (
    ComputedFound,
    Dossier,
    Evaluation,
    RequirementResult,
    State,
)
from closeout.model.inputs_used import InputUsed
from closeout.model.question import AnalysisSpec, Failure
from closeout.model.study import Study
from closeout.render import rows, trail, validations, words
from closeout.render.changes_page import changes_pages
from closeout.render.compared import TITLE, unpredicted
from closeout.render.compared_table import table_of
from closeout.render.jsonform import dossier_json
from closeout.render.matrix import matrix, matrix_page
from closeout.render.numbers import show_extent
from closeout.render.page import both_pages, doc_markdown, image, link
from closeout.render.picture import LEGEND_SVG
from closeout.render.plain import Markup, fenced, flow, markdown, safe
from closeout.render.rows import Entry, Line, pairs
from closeout.render.studied import Studied, studied

MANIFEST = "manifest.json"
COMPARED = "predicted-and-measured.md"
CHANGES = "changes.md"
MANIFEST_FORMAT = 1


@dataclass(frozen=True, slots=True)
class _Sources:
    """One dossier, and what several documents look up in it."""

    dossier: Dossier
    entries: Mapping[str, Entry]
    results: Mapping[str, RequirementResult]
    reports: Mapping[str, str]
    links: Mapping[str, str]
    served: Mapping[str, list[str]]
    evaluations: Mapping[str, list[Evaluation]]
    studies: Mapping[tuple[str, int], Study]
    attachments: Mapping[int, list[Attachment]]


def package(
    dossier: Dossier,
    versions: Mapping[str, str],
    studies: Iterable[Study] = (),
    attachments: Iterable[Attachment] = (),
    changes: Changes | None = None,
) -> dict[str, bytes]:
    """Return the documents of the review: path in the package to content, sorted by path.

    ``versions`` (of closeout, Python and the libraries) go into the manifest, which comes last
    and names every other file with its SHA-256 digest and its size. What the store had before
    the run leaves no trace in any of them. ``studies`` and ``attachments`` stand in the reports of
    their analyses, the files beside them. ``changes`` since an earlier state are a document.
    """
    dossier = _without_history(dossier)
    sources = _sources(dossier, studies, attachments)
    texts = {"dossier.json": dossier_json(dossier)}
    texts["compliance-matrix.csv"] = matrix(dossier, "csv")
    for form in ("html", "md"):
        texts[f"compliance-matrix.{form}"] = matrix_page(dossier, form, sources.links, "")
    texts |= _control(sources)
    texts |= _open_points(sources)
    texts |= _compared(sources)
    texts |= {} if changes is None else _pair(CHANGES, changes_pages(dossier, changes))
    for spec in dossier.analyses:
        texts |= _report(sources, spec)
    texts |= _index(sources, CHANGES if changes is not None else None)
    contents = {path: text.encode("utf-8") for path, text in texts.items()}
    contents |= dict(_attached_files(sources))
    files = dict(sorted(contents.items()))
    since = None if changes is None else changes.was.snapshot.commit
    return {**files, MANIFEST: _manifest(dossier, files, versions, since)}


def _without_history(dossier: Dossier) -> Dossier:
    """Count answers from the store as evaluated: both are the same answers."""
    scale = dossier.scale
    return replace(
        dossier,
        scale=replace(scale, evaluated=scale.evaluated + scale.from_store, from_store=0),
        evaluations=tuple(replace(e, from_store=False) for e in dossier.evaluations),
    )


def _attached_files(sources: _Sources) -> Iterator[tuple[str, bytes]]:
    for number, some in sources.attachments.items():
        for one in some:
            for name, data in one.files:
                yield f"analyses/{_folder(sources, number)}/{name}", data


def _folder(sources: _Sources, number: int) -> str:
    """Return the folder of an evaluation's files, below that of the reports."""
    evaluation = sources.dossier.evaluations[number]
    same = sources.evaluations[evaluation.analysis]
    stem = sources.reports[evaluation.analysis].removeprefix("analyses/").removesuffix(".md")
    place = next(i for i, one in enumerate(same, 1) if one is evaluation)
    return f"{stem}/evaluation-{place}"


def _sources(
    dossier: Dossier, studies: Iterable[Study], attachments: Iterable[Attachment]
) -> _Sources:
    by_evaluation: dict[int, list[Attachment]] = {}
    for one in attachments:
        by_evaluation.setdefault(one.evaluation, []).append(one)
    evaluations: dict[str, list[Evaluation]] = {}
    for evaluation in dossier.evaluations:
        evaluations.setdefault(evaluation.analysis, []).append(evaluation)
    reports = _report_paths(dossier)
    return _Sources(
        dossier=dossier,
        entries={
            result.id: entry
            for result, entry in zip(dossier.requirements, rows.table(dossier), strict=True)
        },
        results={result.id: result for result in dossier.requirements},
        reports=reports,
        links={safe(name): path for name, path in trail.names(dossier, reports).items()},
        served=trail.served(dossier),
        evaluations=evaluations,
        studies={(study.requirement, study.number): study for study in studies},
        attachments=by_evaluation,
    )


def _manifest(
    dossier: Dossier, files: Mapping[str, bytes], versions: Mapping[str, str], since: str | None
) -> bytes:
    state = dossier.snapshot
    content = {
        "format": MANIFEST_FORMAT,
        "project": dossier.project,
        "review": dossier.review,
        "snapshot": {
            "kind": state.kind,
            "commit": state.commit,
            "dirty": state.dirty,
            "date": state.date,
        },
        "since": since,
        "draft": dossier.draft,
        "incomplete": words.missing(dossier),
        "unheld": list(dossier.snapshot.untracked),
        "outside": words.outside(dossier),
        "settings": dict(dossier.settings),
        "versions": dict(sorted(versions.items())),
        "files": {
            path: {"sha256": hashlib.sha256(data).hexdigest(), "size": len(data)}
            for path, data in files.items()
        },
    }
    return (json.dumps(content, indent=2) + "\n").encode("ascii")


def _report_paths(dossier: Dossier) -> dict[str, str]:
    """Return the path of each analysis' report, apart also where case does not count."""
    paths: dict[str, str] = {}
    taken: set[str] = set()
    for spec in dossier.analyses:
        stem = re.sub(r"[^\w.-]", "_", spec.name).lstrip(".") or "_"
        name, number = stem, 2
        while name.casefold() in taken:
            name, number = f"{stem}-{number}", number + 1
        taken.add(name.casefold())
        paths[spec.name] = f"analyses/{name}.md"
    return paths


def _pair(path: str, pages: tuple[str, str]) -> dict[str, str]:
    return {path: pages[0], path.removesuffix(".md") + ".html": pages[1]}


@dataclass(frozen=True, slots=True)
class _ControlRow:
    """The ten columns of ECSS-E-ST-10-02C Rev.1, Annex B."""

    id: str
    title: str
    text: str
    traceability: str
    levels: str
    methods: str
    plans: str
    evidence: tuple[str, ...]
    status: str
    close_out: str
    reason: str


def _control(sources: _Sources) -> dict[str, str]:
    dossier, entries = sources.dossier, sources.entries.values()
    pages = both_pages(
        "control.md",
        dossier,
        "Verification control document",
        anchors=[entry.id for entry in entries],
        entries=[_control_row(entry, sources.links) for entry in entries],
    )
    return _pair("verification-control.md", pages)


def _control_row(entry: Entry, reports: Mapping[str, str]) -> _ControlRow:
    lines = entry.lines
    traceability = entry.traceability
    if entry.derived:
        traceability += ("; " if traceability else "") + "children: " + ", ".join(entry.derived)
    return _ControlRow(
        id=entry.id,
        title=entry.title,
        text=entry.text,
        traceability=traceability,
        levels=_distinct(", ".join(filter(None, (line.level, line.stage))) for line in lines),
        methods=_distinct(line.method for line in lines)
        or ("through lower-level requirements" if entry.derived else ""),
        plans=_distinct(line.plan for line in lines),
        evidence=tuple(dict.fromkeys([*_references(lines, reports), *entry.reports])),
        status=entry.status,
        close_out=entry.close_out,
        reason="; ".join(filter(None, (entry.reason, entry.agreed))),
    )


def _distinct(texts: Iterator[str]) -> str:
    return "; ".join(dict.fromkeys(text for text in texts if text))


def _references(lines: tuple[Line, ...], reports: Mapping[str, str]) -> Iterator[str]:
    for line in lines:
        path = reports.get(line.analysis)
        if path is not None:
            yield link(line.analysis, path)
        elif line.analysis:
            yield line.analysis
        if line.validation:
            yield f"validation of {line.analysis} {line.validation}"
        if line.record:
            yield line.record + (f": {line.as_run}" if line.as_run else "")
        if line.cover:
            yield line.cover


@dataclass(frozen=True, slots=True)
class _Section:
    title: str
    points: list[tuple[Entry, Line]]


def _open_points(sources: _Sources) -> dict[str, str]:
    dossier = sources.dossier
    points = [(entry, line) for entry in sources.entries.values() for line in entry.lines]
    failed = [(e, line) for e, line in points if line.failed]
    sections = [
        _Section(
            "Non-compliances without waiver or deviation", [p for p in failed if not p[1].cover]
        ),
        _Section("Non-compliances under waiver or deviation", [p for p in failed if p[1].cover]),
        _Section("Could not be evaluated", _in_state(points, State.ERROR)),
        _Section("Due and open", _due_and_open(points, frozenset(map(safe, trail.loose(dossier))))),
    ]
    pages = both_pages(
        "open.md", dossier, "Open points", sections=sections, problems=dossier.problems,
        off=words.switched_off(dossier.off) if dossier.off else None,
    )  # fmt: skip
    return _pair("open-points.md", pages)


def _compared(sources: _Sources) -> dict[str, str]:
    """Return the table of what was predicted and measured, nothing where nothing was measured."""
    dossier = sources.dossier
    left = unpredicted(dossier)
    if not dossier.compared and not left:
        return {}
    pages = both_pages(
        "compared.md", dossier, TITLE, compared=table_of(dossier.compared), unpredicted=left
    )
    return _pair(COMPARED, pages)


def _in_state(points: list[tuple[Entry, Line]], state: State) -> list[tuple[Entry, Line]]:
    return [(entry, line) for entry, line in points if line.state == state]


def _due_and_open(
    points: list[tuple[Entry, Line]], loose: frozenset[str]
) -> list[tuple[Entry, Line]]:
    """Return what is due and open, also what has nothing that could close it."""
    return [
        (entry, line)
        for entry, line in points
        if (line.due and line.state == State.OPEN) or entry.id in loose
    ]


def _report(sources: _Sources, spec: AnalysisSpec) -> dict[str, str]:
    purpose, model, cautions = trail.doc_parts(spec.doc)
    pages = both_pages(
        "analysis.md",
        sources.dossier,
        f"Analysis {safe(spec.name)}",
        home="../",
        spec=spec,
        tests=validations.of(spec, sources.dossier),
        purpose=flow(purpose) or "The purpose of the analysis is not stated.",
        model=doc_markdown(model),
        cautions=doc_markdown(cautions),
        boundary_legend=LEGEND_SVG,
        model_uncertainty=words.model_uncertainty(spec),
        served=[sources.entries[name] for name in sources.served[spec.name]],
        compared=table_of(one for one in sources.dossier.compared if one.analysis == spec.name),
        runs=[_run(sources, run) for run in sources.evaluations.get(spec.name, ())],
    )
    return _pair(sources.reports[spec.name], pages)


@dataclass(frozen=True, slots=True)
class _Run:
    title: str
    about: str
    unproved: list[str]
    failure: Markup | None
    inputs: list[dict[str, Any]]
    found: list[dict[str, str]]
    verdicts: list[tuple[Entry, Line]]
    studies: list[Studied]
    figures: list[_Figure]
    files: list[Markup]
    not_made: list[str]


@dataclass(frozen=True, slots=True)
class _Figure:
    picture: Markup
    caption: str


def _run(sources: _Sources, evaluation: Evaluation) -> _Run:
    given = f", given {pairs(evaluation.given)}" if evaluation.given else ""
    same = sources.evaluations[evaluation.analysis]
    verdicts = [
        (name, place, evidence)
        for name in dict.fromkeys(evaluation.serves)
        if name in sources.results
        for place, evidence in enumerate(sources.results[name].evidence)
        if trail.evaluation_of(same, name, evidence) is evaluation
    ]
    found = (sources.studies.get((name, evidence.number)) for name, _, evidence in verdicts)
    studies = {(s.quantity, s.case): s for s in found if s is not None}
    return _Run(
        title=f"{safe(evaluation.basis)}{given}",
        about=trail.about(evaluation),
        unproved=trail.unproved(evaluation),
        failure=None if evaluation.failure is None else _failure(evaluation.failure),
        inputs=[
            *(_input(used) for used in evaluation.inputs),
            *(_computed(one, words.computed(one), sources) for one in evaluation.computed),
            *(
                _computed(one, words.estimate(one, wrong), sources)
                for one, wrong in evaluation.estimates
            ),
        ],
        found=_found(evaluation),
        verdicts=[
            (sources.entries[name], sources.entries[name].lines[place])
            for name, place, _ in verdicts
        ],
        studies=[studied(study) for study in studies.values()],
        **_attached(sources, evaluation),
    )


def _attached(sources: _Sources, evaluation: Evaluation) -> dict[str, Any]:
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
    failed = [
        f"{one.name} ({one.failure.kind}): {one.failure.message}" for one in some if one.failure
    ]
    return {"figures": figures, "files": files, "not_made": failed}


def _failure(failure: Failure) -> Markup:
    text = markdown(f"No result ({failure.kind}): {failure.message}")
    return Markup(f"{text}\n\n{fenced(failure.traceback)}" if failure.traceback else text)


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


def _computed(found: ComputedFound, text: str, sources: _Sources) -> dict[str, Any]:
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


def _found(evaluation: Evaluation) -> list[dict[str, str]]:
    rows_found = []
    for found in evaluation.found:
        value, low, high = show_extent(found.value, found.low, found.high, found.unit)
        if found.absent is not None:
            value = f"absent: {found.absent}"
        row = {"name": found.name, "case": found.case or "", "value": value}
        rows_found.append({**row, "low": low, "high": high})
    return rows_found


def _index(sources: _Sources, changes: str | None) -> dict[str, str]:
    dossier, reports = sources.dossier, sources.reports
    contents = [
        {
            "name": spec.name,
            "path": reports[spec.name],
            "purpose": trail.doc_parts(spec.doc)[0] or "no purpose stated",
        }
        for spec in dossier.analyses
    ]
    title = "Review package" if dossier.review is None else f"Review package {safe(dossier.review)}"
    return _pair(
        "index.md",
        both_pages(
            "index.md",
            dossier,
            title,
            home=None,
            reports=contents,
            by_review=rows.by_review(dossier),
            compared=COMPARED if _compared(sources) else None,
            changes=changes,
            outside=dossier.outside,
        ),
    )
