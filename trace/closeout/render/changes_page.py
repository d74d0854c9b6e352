"""What changed since an earlier state, as a document of the package."""

from __future__ import annotations

from closeout.model.changes import Changes
from closeout.model.dossier import Dossier
from closeout.render.changes import state
from closeout.render.changes_markdown import changes_body
from closeout.render.changes_picture import drawn_of, waterfall_svg
from closeout.render.page import Face, both_pages


def changes_pages(dossier: Dossier, changes: Changes, face: Face) -> tuple[str, str]:
    """Return the document as Markdown and as HTML: the text, then the largest changes drawn."""
    return both_pages(
        "changes.md",
        dossier,
        f"Changes since {state(changes.was)}",
        face,
        body=changes_body(changes),
        pictures=[waterfall_svg(one) for one in drawn_of(changes)],
    )
