"""What was predicted and what was measured, as a document."""

from __future__ import annotations

from closeout.render.compared import unpredicted
from closeout.render.compared_table import table_of
from closeout.render.documents.sources import COMPARED, Sources, pair
from closeout.render.page import both_pages


def predicted(sources: Sources) -> dict[str, str]:
    """Return the table of what was predicted and measured, nothing where nothing was measured."""
    dossier = sources.dossier
    left = unpredicted(dossier)
    if not dossier.compared and not left:
        return {}
    pages = both_pages(
        "compared.md",
        dossier,
        sources.title(COMPARED),
        sources.face(COMPARED),
        compared=table_of(dossier.compared),
        unpredicted=left,
    )
    return pair(COMPARED, pages)
