"""The front page of a package."""

from __future__ import annotations

from closeout.render import rows, trail
from closeout.render.documents.predicted import predicted
from closeout.render.documents.sources import CHANGES, COMPARED, INDEX, Sources, pair
from closeout.render.page import both_pages


def front_page(sources: Sources) -> dict[str, str]:
    """Return the page with which a reader begins."""
    dossier, reports = sources.dossier, sources.reports
    contents = [
        {
            "name": spec.name,
            "path": reports[spec.name],
            "purpose": trail.doc_parts(spec.doc)[0] or "no purpose stated",
        }
        for spec in dossier.analyses
    ]
    return pair(
        INDEX,
        both_pages(
            "index.md",
            dossier,
            sources.title(INDEX),
            sources.face(INDEX),
            home=None,
            reports=contents,
            by_review=rows.by_review(dossier),
            compared=COMPARED.path if predicted(sources) else None,
            changes=None if sources.changes is None else CHANGES.path,
            outside=dossier.outside,
        ),
    )
