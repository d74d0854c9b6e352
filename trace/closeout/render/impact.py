"""What rests on an item, for a terminal: the answer, trees up and down, what opens again."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from closeout.model.dossier import Dossier, Evidence, RequirementResult
from closeout.model.impact import FILES, Again, Idle, Impact, Kind, Node, OpenAgain, Unused
from closeout.render import rows, words
from closeout.render.impact_nodes import Facts, line_of, margin_of
from closeout.render.plain import count, flow, safe
from closeout.render.terminal import Paint, wrap

MOST_NAMED = 8
_MAY = "may rest on it"
_NOTHING = "nothing: no evidence that counts today rests on it, and no analysis"


def impact_text(impact: Impact, *, colour: bool, width: int) -> str:
    """Return what rests on what was asked for, for a terminal of so many columns."""
    paint, facts = Paint(colour), Facts(impact)
    lines = [paint.strong(line) for line in wrap(answer(impact), width)]
    lines += wrap(_state(impact), width)
    for title, part in (
        ("What rests on it", _Tree(impact, facts, paint, width).upward()),
        (_title_again(impact), list(_again(impact, width)) or wrap(_NOTHING, width, 2)),
        ("What it rests on", _Tree(impact, facts, paint, width).downward()),
        ("What is not known", list(_not_known(impact, width))),
        ("Beside that", list(_beside(impact, width))),
    ):
        if part:
            lines += ["", paint.strong(title), *part]
    return "\n".join([*lines, "", words.CAUTION_LINE]) + "\n"


def answer(impact: Impact) -> str:
    """Return the answer in a sentence: how many requirements, which is in danger."""
    names = impact.requirements
    about = _asked(impact)
    if not names:
        text = f"No {'other ' if _asks_requirement(impact) else ''}requirement rests on {about}"
    else:
        rest = "requirement rests" if len(names) == 1 else "requirements rest"
        text = f"{len(names)} {rest} on {about}"
    may = sum(node.kind is Kind.REQUIREMENT for node in impact.may)
    parts = [f"{text} ({may} of them may: not all is known that was read)" if may else text]
    results = [one for one in impact.dossier.requirements if one.id in {*names, *_roots(impact)}]
    bad = [one for one in results if one.compliance.value in ("NC", "PC")]
    parts += [f"not compliant: {_listed(map(_coded, bad))}"] if bad else []
    if (found := tightest(results, impact)) is not None:
        result, entry = found
        of = f" of {safe(entry.quantity)}" if entry.quantity else ""
        parts.append(f"smallest margin: {rows.margin(entry)}{of} in {safe(result.id)}")
    return "; ".join(parts) + "."


def tightest(
    results: Iterable[RequirementResult], impact: Impact
) -> tuple[RequirementResult, Evidence] | None:
    """Return the requirement with the smallest margin of what rests on it, as a share."""
    found = [(one, entry) for one in results if (entry := margin_of(one, impact)) is not None]
    return min(found, key=lambda pair: rows.share_of_limit(pair[1]), default=None)


def _asks_requirement(impact: Impact) -> bool:
    return bool(_roots(impact))


def _roots(impact: Impact) -> set[str]:
    return {node.name for node in impact.roots if node.kind is Kind.REQUIREMENT}


def _asked(impact: Impact) -> str:
    if impact.since is not None:
        return f"what changed since {safe(impact.since)} ({count(len(impact.roots), 'item')})"
    return _listed(safe(one.text) for one in impact.asked)


def _listed(texts: Iterable[str]) -> str:
    some = list(dict.fromkeys(texts))
    more = len(some) - MOST_NAMED
    return ", ".join(some[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def _coded(result: RequirementResult) -> str:
    covered = " covered" if result.covered else ""
    return f"{safe(result.id)} ({result.compliance.value}{covered})"


def _state(impact: Impact) -> str:
    return head(impact.dossier)


def head(dossier: Dossier) -> str:
    """Return which project was judged, for which review and in which state."""
    text = f"{safe(dossier.project)}: {words.judged(dossier)}, {words.snapshot(dossier)}"
    return "; ".join([text, *words.banners(dossier)])


class _Tree:
    """Draws nodes below each other, each once."""

    def __init__(self, impact: Impact, facts: Facts, paint: Paint, width: int) -> None:
        self._impact = impact
        self._facts = facts
        self._paint = paint
        self._width = width
        self._notes = {node: one.note for one in impact.asked for node in one.nodes if one.note}
        self._unread = dict(impact.unread)

    def upward(self) -> list[str]:
        """Return the lines of what rests on the roots."""
        shown = {*self._impact.roots, *self._impact.above}
        users: dict[Node, list[tuple[Node, bool]]] = {}
        for one in self._impact.edges:
            if one.user in shown and one.used in shown:
                users.setdefault(one.used, []).append((one.user, one.certain))
        return list(self._lines(users)) if self._impact.above else []

    def downward(self) -> list[str]:
        """Return the lines of what the roots rest on."""
        shown = {*self._impact.roots, *self._impact.below}
        used: dict[Node, list[tuple[Node, bool]]] = {}
        for one in self._impact.edges:
            if one.user in shown and one.used in shown and one.certain:
                used.setdefault(one.user, []).append((one.used, True))
        return list(self._lines(used)) if self._impact.below else []

    def _lines(self, next_to: Mapping[Node, list[tuple[Node, bool]]]) -> Iterator[str]:
        seen: set[Node] = set()
        left = [(node, 0, True) for node in reversed(self._impact.roots)]
        while left:
            node, depth, certain = left.pop()
            again = node in seen
            yield from self._line(node, depth, certain, again)
            if node not in seen:
                seen.add(node)
                more = next_to.get(node, [])
                left += [(other, depth + 1, sure) for other, sure in reversed(more)]

    def _line(self, node: Node, depth: int, certain: bool, again: bool) -> Iterator[str]:
        if again:
            text = f"{node.kind.value} {safe(node.name)} (see above)"
            yield from map(self._paint.quiet, wrap(text, self._width, 2 + 2 * depth))
            return
        parts = [line_of(node, self._impact, self._facts)]
        if depth == 0 and node in self._notes:
            parts.append(f"({flow(self._notes[node])})")
        if not certain:
            parts.append(f"{_MAY}: {flow(self._unread.get(node.name, ''))}")
        elif node in self._impact.may and node.kind is Kind.REQUIREMENT:
            parts.append(_MAY)
        code = self._facts.code(node)
        for line in wrap("  ".join(parts), self._width, 2 + 2 * depth):
            yield self._paint.code(code, line)


# ---- what opens again


def _title_again(impact: Impact) -> str:
    if impact.since is not None:
        return "What is to be done again"
    return "What would be open again if it changed"


def _again(impact: Impact, width: int) -> Iterator[str]:
    groups: dict[str, list[str]] = {}
    for one in impact.open_again:
        head, text = _told(one, impact)
        groups.setdefault(head, []).append(text)
    for head, texts in groups.items():
        some = [text for text in dict.fromkeys(texts) if text]
        if len(some) > 1 and "verification" in some[0]:
            yield from wrap(f"{head}:", width, 2)
            for text in some:
                yield from wrap(text, width, 4)
        else:
            yield from wrap(f"{head}: {', '.join(some)}" if some else head, width, 2)


def _told(one: OpenAgain, impact: Impact) -> tuple[str, str]:
    """Return under which words a thing stands that is open again, and what it is."""
    changed, about, detail = safe(one.changed.name), safe(one.about), flow(one.detail)
    which = verification(one, impact)
    match one.what:
        case Again.REOPENED:
            return f"{_change(one.changed)} would re-open", f"{which} by {about}, {detail}"
        case Again.WAITING:
            return f"{_change(one.changed)} would leave without a value", f"{about} ({detail})"
        case Again.UNNOTICED:
            if one.changed.kind is Kind.DOCUMENT:
                return (
                    f"a new issue of {changed} would not be noticed, since no issue is said",
                    about,
                )
            return f"{about} keeps no digest of {changed}: a change would not be noticed", ""
        case Again.ASSESS:
            derived = ", with what is derived" if one.detail else ""
            return f"to be assessed against a new issue of {changed}{derived}", about
        case Again.JUDGED:
            return f"judged again with another content of {about}", which
        case Again.EVALUATED:
            return "evaluated again, so that verdicts may change", about
        case Again.TEST:
            return "tests of validation to be repeated", about
        case Again.OPEN_NOW:
            return "open now", f"{which} by {about}: {detail}"


def _change(node: Node) -> str:
    words_of = {
        Kind.ARTICLE: "a new build of",
        Kind.REQUIREMENT: "a raised issue of",
        Kind.PARAMETER: "another value of",
    }
    return f"{words_of.get(node.kind, 'another content of')} {safe(node.name)}"


def verification(one: OpenAgain, impact: Impact) -> str:
    """Return which verification is meant: ``PWR-020 verification 2 (test, acceptance)``."""
    if one.requirement is None or one.number is None:
        return ""
    for result in impact.dossier.requirements:
        for entry in result.evidence:
            if result.id == one.requirement and entry.number == one.number:
                plan = words.plan_of(entry)
                return f"{safe(result.id)} verification {one.number + 1} ({plan})"
    return f"{safe(one.requirement)} verification {one.number + 1}"


# ---- the rest


def _not_known(impact: Impact, width: int) -> Iterator[str]:
    """Yield the analyses that may rest on any file, where files were asked for."""
    if any(node.kind in FILES for node in impact.roots):
        yield from _unread_lines(impact.unread, width)


def _unread_lines(unread: Iterable[tuple[str, str]], width: int) -> Iterator[str]:
    for name, why in unread:
        yield from wrap(f"{safe(name)} may rest on any file: {flow(why)}", width, 2)


def _beside(impact: Impact, width: int) -> Iterator[str]:
    if impact.recharted:
        text = "every verdict rests on the key project: (reviews, policy, margins)"
        yield from wrap(text, width, 2)
    if impact.gone:
        yield from wrap(f"removed: {', '.join(map(safe, impact.gone))}", width, 2)
    if impact.others:
        names = _listed(map(safe, impact.others))
        yield from wrap(f"changed files on which no analysis or record rests: {names}", width, 2)


# ---- what nothing rests on


def unused_text(unused: Unused, *, colour: bool, width: int) -> str:
    """Return what no requirement rests on, by kind, for a terminal of so many columns."""
    paint = Paint(colour)
    idle = unused.idle
    replaced = {one.replaces: one.id for one in unused.dossier.records if one.replaces}
    first = "A requirement rests on everything." if not idle else (
        f"No requirement rests on {count(len(idle), 'item')} of the project."
    )  # fmt: skip
    lines = [paint.strong(line) for line in wrap(first, width)]
    lines += wrap(head(unused.dossier), width)
    for kind in Kind:
        some = [one for one in idle if one.node.kind is kind]
        if some:
            lines += ["", paint.strong(_heading(kind))]
            lines += [line for one in some for line in wrap(_idle(one, replaced), width, 2)]
    if known := list(_unread_lines(unused.unread, width)):
        lines += ["", paint.strong("What is not known"), *known]
    return "\n".join([*lines, "", words.CAUTION_LINE]) + "\n"


def _heading(kind: Kind) -> str:
    plural = "analyses" if kind is Kind.ANALYSIS else f"{kind.value}s"
    text = plural[0].upper() + plural[1:]
    if kind in FILES:
        return f"{text} that no evaluation opened (figures and files of analyses may use them)"
    return text


def _idle(one: Idle, replaced: Mapping[str, str]) -> str:
    name = one.node.name
    only = ", ".join(f"{node.kind.value} {safe(node.name)}" for node in one.only)
    by = replaced.get(name) if one.node.kind is Kind.RECORD else None
    parts = [safe(name), f"only {only}" if only else "", f"replaced by {safe(by)}" if by else ""]
    return "  ".join(part for part in parts if part)
