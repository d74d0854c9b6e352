"""A node of a project in one line: what it is, how it stands, where it comes from."""

from __future__ import annotations

from closeout.model.dossier import Evidence, ParameterSaid, RequirementResult
from closeout.model.impact import Impact, Kind, Node
from closeout.model.records import Article, Document, Record, build_text
from closeout.render import rows, words
from closeout.render.plain import flow, safe


class Facts:
    """What is known of nodes by their names; of all kinds together, each looked up once."""

    def __init__(self, impact: Impact) -> None:
        dossier = impact.dossier
        self.requirements = {one.id: one for one in dossier.requirements}
        self.parameters = {one.name: one for one in dossier.parameters}
        self.records = {one.id: one for one in dossier.records}
        self.articles = {one.id: one for one in dossier.articles}
        self.documents = {one.id: one for one in impact.documents}
        self.analyses = {one.name: one for one in dossier.analyses}

    def code(self, node: Node) -> str:
        """Return the compliance code of a requirement; empty for what has none."""
        one = self.requirements.get(node.name) if node.kind is Kind.REQUIREMENT else None
        return "" if one is None else one.compliance.value


def line_of(node: Node, impact: Impact, facts: Facts) -> str:
    """Return a node in one line."""
    text = f"{node.kind.value} {safe(node.name)}"
    said = " ".join(_said(node, impact, facts).split("\n"))
    return f"{text}  {said}" if said else text


def margin_of(result: RequirementResult, impact: Impact) -> Evidence | None:
    """Return the evidence with the smallest margin among the verifications that are concerned.

    All of a requirement on which rests what was asked for.
    """
    numbers = impact.concerned.get(result.id)
    return rows.tightest_of(e for e in result.evidence if numbers is None or e.number in numbers)


def _said(node: Node, impact: Impact, facts: Facts) -> str:
    match node.kind:
        case Kind.REQUIREMENT if (result := facts.requirements.get(node.name)) is not None:
            return "  ".join(requirement_parts(result, impact))
        case Kind.LIMIT:
            return _limit(node, facts)
        case Kind.ANALYSIS if (spec := facts.analyses.get(node.name)) is not None:
            return f"({safe(spec.path)})"
        case Kind.PARAMETER if (parameter := facts.parameters.get(node.name)) is not None:
            return _parameter(parameter)
        case Kind.RECORD if (record := facts.records.get(node.name)) is not None:
            return _record(record)
        case Kind.ARTICLE if (article := facts.articles.get(node.name)) is not None:
            return _article(article)
        case Kind.DOCUMENT if (document := facts.documents.get(node.name)) is not None:
            return _document(document)
    return ""


def requirement_parts(result: RequirementResult, impact: Impact) -> list[str]:
    """Return code, close-out, owner, smallest margin concerned, title, source, and what is due."""
    code = f"{result.compliance.value}{' covered' if result.covered else ''}"
    parts = [f"{code}, {words.close_out(result)}"]
    parts += [f"owner {safe(result.owner)}"] if result.owner else []
    if (entry := margin_of(result, impact)) is not None:
        parts.append(f"margin {rows.margin(entry)} ({rows.subject(entry)})")
    parts.append(flow(result.title))
    parts += [flow(impact.assess[result.id])] if result.id in impact.assess else []
    parts += [f"source: {flow(result.source)}"] if result.source else []
    return parts


def _limit(node: Node, facts: Facts) -> str:
    """Return what the criterion says, of which a limit is a node."""
    head, _, _ = node.name.rpartition(".")
    name, _, quantity = head.rpartition(".")
    result = facts.requirements.get(name)
    entries = () if result is None else result.evidence
    return next((flow(e.limit_text) for e in entries if e.quantity == quantity), "")


def _parameter(one: ParameterSaid) -> str:
    spread = f" {one.spread}" if one.spread.startswith("+/-") else f", {one.spread}"
    value = f"from {one.computed}" if one.computed else one.text + (spread if one.spread else "")
    source = f"; source: {one.source}" if one.source else ""
    return flow(value + source)


def _record(record: Record) -> str:
    day = record.date or "planned"
    outcome = f", outcome {record.outcome}" if record.outcome else ""
    return flow(f"{record.method.value}, {day}{outcome}  {record.title or ''}")


def _article(article: Article) -> str:
    build = f", {build_text(article.build)}" if article.build else ""
    return flow(f"{article.model} model{build}  {article.title}")


def _document(document: Document) -> str:
    issue = f"issue {document.issue}  " if document.issue else ""
    return flow(f"{issue}{document.title}")
