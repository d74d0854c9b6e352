"""The review package: every document of one review, from one dossier, with a manifest."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import replace

from closeout.model.attachment import Attachment
from closeout.model.changes import Changes
from closeout.model.dossier import Dossier
from closeout.model.on_file import OnFile
from closeout.model.study import Study
from closeout.render import words
from closeout.render.changes_page import changes_pages
from closeout.render.documents.analyses import analysis_reports
from closeout.render.documents.analysis_report import analysis_report, attached_files
from closeout.render.documents.control import control_document
from closeout.render.documents.evidence import evidence_document
from closeout.render.documents.front import front_page
from closeout.render.documents.open_points import open_points
from closeout.render.documents.safety import safety_extract
from closeout.render.documents.sources import CHANGES, MATRIX, Sources, pair, sources_of
from closeout.render.documents.specification import requirement_specification
from closeout.render.documents.statement import statement_of_compliance
from closeout.render.documents.verification_report import verification_report
from closeout.render.for_readers import (
    attachment_for_readers,
    changes_for_readers,
    for_readers,
    on_file_for_readers,
    study_for_readers,
)
from closeout.render.jsonform import dossier_json
from closeout.render.matrix import matrix, matrix_page

MANIFEST = "manifest.json"
MANIFEST_FORMAT = 1


def package(
    dossier: Dossier,
    versions: Mapping[str, str],
    studies: Iterable[Study] = (),
    attachments: Iterable[Attachment] = (),
    changes: Changes | None = None,
    on_file: OnFile | None = None,
) -> dict[str, bytes]:
    """Return the documents of the review: path in the package to content, sorted by path.

    ``versions`` (of closeout, Python and the libraries) go into the manifest, which comes last
    and names every other file with its SHA-256 digest and its size. What the store had before
    the run leaves no trace in any of them. ``studies`` and ``attachments`` stand in the reports of
    their analyses, the files beside them. ``changes`` since an earlier state are a document.
    ``on_file`` is what else the project has; None of one that could not be read.
    """
    dossier = _without_history(dossier)
    sources = sources_of(
        for_readers(dossier),
        on_file_for_readers(on_file or OnFile.nothing(dossier.project), dossier),
        map(study_for_readers, studies),
        map(attachment_for_readers, attachments),
        changes and changes_for_readers(changes),
    )
    texts = {"dossier.json": dossier_json(dossier)}
    texts["compliance-matrix.csv"] = matrix(dossier, "csv")
    for make in _DOCUMENTS:
        texts |= make(sources)
    for spec in dossier.analyses:
        texts |= analysis_report(sources, spec)
    texts |= front_page(sources, frozenset(texts))
    contents = {path: text.encode("utf-8") for path, text in texts.items()}
    contents |= dict(attached_files(sources))
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


def _matrix(sources: Sources) -> dict[str, str]:
    reports = {**sources.links, **sources.sheets()}
    made = [
        matrix_page(sources.dossier, form, reports, "", sources.title(MATRIX), sources.face(MATRIX))
        for form in ("md", "html")
    ]
    return pair(MATRIX, (made[0], made[1]))


def _changes(sources: Sources) -> dict[str, str]:
    if sources.changes is None:
        return {}
    face = sources.face(CHANGES)
    return pair(CHANGES, changes_pages(sources.dossier, sources.changes, face))


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


_DOCUMENTS = (
    _matrix, control_document, statement_of_compliance, safety_extract, verification_report,
    analysis_reports, evidence_document, open_points, requirement_specification, _changes,
)  # fmt: skip
