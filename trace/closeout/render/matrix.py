"""The compliance matrix; its columns carry the content of ECSS-E-ST-10-02C Rev.1, Annex B."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping

from closeout.model.dossier import Compliance, Dossier, RequirementResult
from closeout.model.problem import Severity
from closeout.render import words
from closeout.render.for_readers import for_readers, place
from closeout.render.jsonform import dossier_json
from closeout.render.order import by_urgency
from closeout.render.page import BARE, Face, html_page, markdown_page
from closeout.render.plain import cell
from closeout.render.rows import Entry, Line, pairs, table
from closeout.render.validations import NOT_RUN

FORMS = ("md", "html", "csv", "json")
CSV_COLUMNS = (
    "requirement", "issue", "title", "text", "source", "derived from", "owner", "safety",
    "compliance", "close-out", "due", "early", "reason", "method", "level", "stage", "review",
    "plan", "evidence", "validation", "quantity", "case", "conditions", "unit", "judged value",
    "at least", "at most", "margin", "margin unit", "basis", "state", "cover", "found at", "as run",
    "message", "draft",
)  # fmt: skip


def matrix(dossier: Dossier, form: str) -> str:
    """Return the compliance matrix as ``md``, ``html``, ``csv`` or ``json``.

    Raises:
        ValueError: the form is none of :data:`FORMS`.
    """
    if form == "json":
        return dossier_json(dossier)
    dossier = for_readers(dossier)
    if form == "csv":
        return _csv(table(dossier), "; ".join(words.banners(dossier)))
    if form in ("html", "md"):
        return matrix_page(dossier, form, {}, None)
    raise ValueError(f"no such form of the matrix: {form!r}; one of {', '.join(FORMS)}")


def matrix_page(
    dossier: Dossier,
    form: str,
    reports: Mapping[str, str],
    home: str | None,
    title: str = "Compliance matrix",
    face: Face = BARE,
) -> str:
    """Return the matrix as ``md`` or ``html`` inside a package.

    ``reports`` leads from an analysis or a record to its report, ``home`` to the folder of the
    index; ``face`` is its cover.
    """
    make = html_page if form == "html" else markdown_page
    entries = table(dossier)
    by_id = dict(zip((result.id for result in dossier.requirements), entries, strict=True))
    return make(
        f"matrix.{form}",
        dossier,
        title,
        face,
        entries=entries,
        short=[by_id[result.id] for result in by_urgency(dossier.requirements) if _short(result)],
        cased=[
            (entry, line)
            for entry in entries
            for line in entry.lines
            if any(one.cases and one.number == line.number for one in entry.folded)
        ],
        not_run=NOT_RUN,
        behind={line: _behind(line, reports) for entry in entries for line in entry.folded},
        home=home,
        place=place,
        problems=[p for p in dossier.problems if p.severity is Severity.ERROR],
    )


def _behind(line: Line, reports: Mapping[str, str]) -> str:
    """Return where a report or a sheet tells of what stands behind a line, or nothing."""
    return reports.get(line.record.partition(" (")[0] or line.analysis, "")


def _short(result: RequirementResult) -> bool:
    """Whether a requirement is not met, also under a waiver, or due and not decided."""
    below = (Compliance.NC, Compliance.PC)
    return result.outstanding or result.compliance in below


def _csv(entries: tuple[Entry, ...], draft: str) -> str:
    """Return RFC 4180 text; numbers are unrounded, a text like a formula gets an apostrophe.

    ``draft`` stands in each row: a row of a what-if must not pass for the state of the project.
    """
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(CSV_COLUMNS)
    for entry in entries:
        left = _requirement_cells(entry)
        writer.writerows([*left, *_evidence_cells(line), cell(draft)] for line in entry.lines)
    return stream.getvalue()


def _requirement_cells(entry: Entry) -> list[str]:
    texts = (
        entry.id, entry.issue, entry.title, entry.text, entry.source, ", ".join(entry.parents),
        entry.owner, entry.safety, entry.compliance, entry.closed_or_open,
        "yes" if entry.due else "no", "yes" if entry.early else "no", entry.reason,
    )  # fmt: skip
    return [cell(text) for text in texts]


def _evidence_cells(line: Line) -> list[str | float | None]:
    before = (
        line.method, line.level, line.stage, line.review, line.plan, line.evidence,
        line.validation, line.quantity, line.case, line.conditions, line.unit,
    )  # fmt: skip
    figures = (line.value_number, line.at_least, line.at_most, line.margin_number)
    after = (
        line.margin_unit, line.basis, line.state, line.cover, pairs(line.replay), line.as_run,
        line.message,
    )  # fmt: skip
    return [*map(cell, before), *figures, *map(cell, after)]
