"""Tables of HTML for a notebook, which brings the style."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from closeout.model.dossier import Dossier, RequirementResult
from closeout.render import rows, words
from closeout.render.plain import safe


def table(heads: Sequence[str], lines: Iterable[Sequence[str]]) -> str:
    """Return a table; every text in it is text, and no markup."""
    head = _row("th", heads)
    body = "".join(_row("td", line) for line in lines)
    return f"<table><thead>{head}</thead><tbody>{body}</tbody></table>"


def dossier_table(dossier: Dossier) -> str:
    """Return the verdicts of a dossier: a line a requirement, below what was judged."""
    heads = ("Requirement", "Title", "Code", "Close-out", "Smallest margin", "Reason")
    lines = [_line(result) for result in dossier.requirements]
    said = f"{safe(dossier.project)}: {words.judged(dossier)}, {words.snapshot(dossier)}"
    above = (said, *words.banners(dossier))
    return "".join(f"<p>{escape(text)}</p>" for text in above) + table(heads, lines)


def _line(result: RequirementResult) -> tuple[str, ...]:
    entry, evidence = rows.entry(result), rows.tightest(result)
    code = f"{entry.compliance}, covered" if entry.covered else entry.compliance
    margin = "" if evidence is None else f"{rows.margin(evidence)} ({rows.subject(evidence)})"
    return entry.id, entry.title, code, entry.close_out, margin, entry.reason


def _row(kind: str, cells: Sequence[str]) -> str:
    return f"<tr>{''.join(f'<{kind}>{escape(safe(cell))}</{kind}>' for cell in cells)}</tr>"
