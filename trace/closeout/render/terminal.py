"""The text that ``verify`` and ``lint`` print: a line a requirement, then what needs attention."""

from __future__ import annotations

import shlex
import textwrap
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from closeout.model.dossier import Compliance, Dossier, Evidence, RequirementResult, State
from closeout.model.problem import Problem, Severity
from closeout.render import order, rows, trail, validations, words
from closeout.render.plain import RUNNING_TEXT, columns, count, cut, flow, pad, safe, safe_lines

USUAL_WIDTH = 100
_HEADS = ("ID", "CODE", "CLOSE-OUT", "MARGIN", "HOW FOUND", "TITLE", "QUANTITY")
_ID, _CODE, _CLOSE_OUT, _MARGIN, _SURE, _TITLE = range(6)
# The title takes what the columns before it leave, and the quantity stands at the right edge where
# the title leaves room for it.
_LEAST_TITLE = 10
# A terminal with fewer columns does not show how a value was found; with still less room go the
# quantity, a part of the title, and then what is not in the first set below that fits.
_NARROW = 80
_COLUMNS = (
    (_ID, _CODE, _CLOSE_OUT, _MARGIN, _SURE, _TITLE),
    (_ID, _CODE, _CLOSE_OUT, _MARGIN, _TITLE),
    (_ID, _CODE, _CLOSE_OUT, _MARGIN),
    (_ID, _CODE, _CLOSE_OUT, _TITLE),
    (_ID, _CODE, _CLOSE_OUT),
    (_ID, _CODE),
)
# The quantity is left out everywhere where it would stand in less than one of so many rows.
_FEW = 4
# So much or more, in a column that should be narrow.
_LEAST = ">= "
_UNBROKEN = "\N{NO-BREAK SPACE}"


class Paint:
    """Short ANSI codes, or none; colour never says what the words do not say."""

    def __init__(self, colour: bool) -> None:
        self._on = colour

    def _wrap(self, code: str, text: str) -> str:
        return f"\x1b[{code}m{text}\x1b[0m" if self._on and text else text

    def bad(self, text: str) -> str:
        return self._wrap("31", text)

    def open(self, text: str) -> str:
        return self._wrap("33", text)

    def strong(self, text: str) -> str:
        return self._wrap("1", text)

    def quiet(self, text: str) -> str:
        return self._wrap("2", text)

    def code(self, code: str, text: str) -> str:
        """Return a text in the colour of a compliance code."""
        if code in ("NC", "PC"):
            return self.bad(text)
        return self.open(text) if code == "open" else text


def verify_text(dossier: Dossier, *, colour: bool, width: int = USUAL_WIDTH) -> str:
    """Return what ``verify`` prints of a dossier, with a final newline.

    The same whether answers were computed or came from the store, so that it can be stored; how
    many were is said by :func:`closeout.render.words.work`.

    What needs action comes first. The rows take ``width`` columns, running text no more than
    ``RUNNING_TEXT``; numbers, places and commands are never cut.
    """
    paint, table = Paint(colour), width
    width = min(width, RUNNING_TEXT)
    dossier = replace(dossier, requirements=tuple(order.by_urgency(dossier.requirements)))
    parts = [
        *_header(dossier, paint, width),
        "",
        *_requirement_lines(dossier, paint, table),
        *_details(dossier, paint, width),
    ]
    if dossier.problems:
        parts += ["", paint.strong("Findings"), *_problem_lines(dossier.problems, paint, width)]
    parts += ["", *_footer(dossier, paint, width)]
    return "\n".join(parts) + "\n"


def problems_text(
    problems: Iterable[Problem], *, colour: bool = False, width: int = USUAL_WIDTH
) -> str:
    """Return problems as ``path:line:column: message [rule]``, each with its cure below it.

    Ends with how many there are; empty text where there is none.
    """
    paint = Paint(colour)
    found = list(problems)
    if not found:
        return ""
    errors = sum(problem.severity is Severity.ERROR for problem in found)
    totals = f"{count(errors, 'error')}, {count(len(found) - errors, 'warning')}"
    return "\n".join([*_problem_lines(found, paint, width), totals]) + "\n"


def _header(dossier: Dossier, paint: Paint, width: int) -> list[str]:
    line = f"{safe(dossier.project)}: {words.judged(dossier)}, {words.snapshot(dossier)}"
    lines = [paint.strong(text) for text in wrap(line, width)]
    for banner in words.banners(dossier):
        lines += [paint.open(text) for text in wrap(banner, width)]
    if dossier.note:
        lines += wrap(flow(dossier.note), width)
    if (shown := words.shown(dossier)) is not None:
        lines += [paint.strong(text) for text in wrap(shown, width)]
    return lines


Cells = tuple[str, str, str, str, str, str, str]


def _requirement_lines(dossier: Dossier, paint: Paint, width: int) -> Iterator[str]:
    if not dossier.requirements:
        yield "No requirement matches." if dossier.only else "There is no requirement."
        return
    cells = [_cells(result) for result in dossier.requirements]
    settings = dict(dossier.settings)
    layout = _layout(cells, width)
    heads, *shown = _with_quantity(cells, layout.edge)
    yield paint.quiet(_row(heads, layout))
    for row, result in zip(shown, dossier.requirements, strict=True):
        yield paint.code(row[_CODE].split(" ")[0], _row(row, layout))
        for text in _beaten(result, settings) if settings else ():
            yield from wrap(text, min(width, RUNNING_TEXT), 4)
    legend = _legend(dossier, cells, layout)
    yield from (
        paint.quiet(line) for text in legend for line in wrap(text, min(width, RUNNING_TEXT), 2)
    )


def _beaten(result: RequirementResult, settings: Mapping[str, str]) -> Iterable[str]:
    return dict.fromkeys(t for evidence in result.evidence for t in rows.beats(evidence, settings))


@dataclass(frozen=True, slots=True)
class _Layout:
    """Which columns are shown how wide, and the columns for title and quantity (0: none).

    ``title`` is the width of the titles where each quantity has room behind the longest of them.
    """

    width: int
    shown: tuple[int, ...]
    widths: tuple[int, ...]
    edge: int
    title: int = 0

    @property
    def left_out(self) -> list[str]:
        """The heads of the columns for which there is no room."""
        shown = (*self.shown, _TITLE) if self.edge else self.shown
        return [head for place, head in enumerate(_HEADS[:-1]) if place not in shown]


def _layout(cells: list[Cells], width: int) -> _Layout:
    """Return the first set of columns that fits; one that is shown is never cut, but for titles.

    Title and quantity are columns of their own, or share one as wide as their longest pair. How a
    value was found gives way to the quantity, where there is no room for both.
    """
    fixed = list(zip(*cells, strict=True))[:_TITLE]
    widest = [max(len(head), *map(columns, col)) for head, col in zip(_HEADS, fixed, strict=False)]
    pairs = [(columns(row[_TITLE]), columns(row[_TITLE + 1])) for row in (_HEADS, *cells)]
    title, quantity = (max(some) for some in zip(*pairs, strict=True))
    longest = max(one + other + 2 for one, other in pairs)
    first = None  # what is shown where no set has room for the quantities
    for some in _COLUMNS if width >= _NARROW else _COLUMNS[1:]:
        if first is not None and _MARGIN not in some:
            break
        shown = tuple(place for place in some if place != _TITLE)
        widths = tuple(widest[place] for place in shown)
        room = width - sum(widths) - 2 * len(widths)
        titled = _TITLE in some
        if titled and room >= title + 2 + quantity:
            return _Layout(width, shown, widths, room, title)
        if room >= (_LEAST_TITLE if titled else -2):
            layout = _Layout(width, shown, widths, min(room, longest) if titled else 0)
            if _shows_quantities(cells, layout.edge):
                return layout
            first = first or layout
    return first or _Layout(width, (_ID,), (width,), 0)


def _fitting(cells: list[Cells], edge: int) -> list[bool]:
    """Return of each row whether it has a quantity that fits beside its title."""
    return [bool(row[6]) and columns(row[5]) + 2 + columns(row[6]) <= edge for row in cells]


def _shows_quantities(cells: list[Cells], edge: int) -> bool:
    """Return whether enough of the quantities fit for them to be shown."""
    return sum(_fitting(cells, edge)) * _FEW >= sum(bool(row[6]) for row in cells)


def _with_quantity(cells: list[Cells], edge: int) -> list[Cells]:
    """Return heads and rows, a quantity only where it fits beside its title; none if few do."""
    fits, some = _fitting(cells, edge), _shows_quantities(cells, edge)
    heads = _HEADS if some and any(fits) else (*_HEADS[:-1], "")
    rest = (row if some and fit else (*row[:-1], "") for row, fit in zip(cells, fits, strict=True))
    return [heads, *rest]


def _row(cells: Cells, layout: _Layout) -> str:
    """Return a row in one line, whatever the width."""
    edge, (title, quantity) = layout.edge, cells[_TITLE:]
    shown = [pad(cells[p], wide) for p, wide in zip(layout.shown, layout.widths, strict=True)]
    if layout.title:
        shown += [pad(title, layout.title), quantity]
    elif edge and quantity:
        shown.append(pad(title, edge - columns(quantity)) + quantity)
    elif edge:
        shown.append(cut(title, edge))
    return cut("  ".join(shown).rstrip(), layout.width)


def _cells(result: RequirementResult) -> Cells:
    code = result.compliance.value
    close_out = words.close_out(result)
    evidence = rows.tightest(result)
    return (
        safe(result.id),
        f"{code} covered" if result.covered else code,
        close_out if result.closed or result.outstanding else f"{close_out}, not yet due",
        "" if evidence is None else rows.margin(evidence).replace(rows.LEAST, _LEAST),
        "" if evidence is None else _sure(evidence),
        safe(result.title),
        "" if evidence is None else rows.subject(evidence),
    )


def _sure(evidence: Evidence) -> str:
    if evidence.assurance is not None:
        return evidence.assurance.value
    return words.NOT_COMPUTED if evidence.record is not None else ""


def _legend(dossier: Dossier, cells: list[Cells], layout: _Layout) -> Iterator[str]:
    """Yield what explains the rows, as far as something in them needs it."""
    if any(order.rank(result) < order.REST for result in dossier.requirements):
        yield words.ORDER
    if _MARGIN in layout.shown and any(row[_MARGIN] for row in cells):
        yield "MARGIN: smallest margin of the evidence that is due"
        if any(row[_MARGIN].startswith(_LEAST) for row in cells):
            yield f"{_LEAST.strip()}: proved so far; explain and matrix complete the proof"
    if _SURE in layout.shown:
        yield from _assurance({row[_SURE] for row in cells})
    if any(row[_CLOSE_OUT].endswith("not yet due") for row in cells):
        yield "not yet due: what is still open is due at a later review"
    if any(result.early for result in dossier.requirements):
        yield f"{words.EARLY}: {words.EARLY_MEANS}"
    if layout.left_out:
        yield f"left out at this width: {', '.join(layout.left_out)}"


def _assurance(used: set[str]) -> Iterator[str]:
    known = {key.value: text for key, text in words.ASSURANCE.items()}
    known[words.NOT_COMPUTED] = words.MEASURED
    for word, text in known.items():
        if word in used:
            yield text if text.startswith(word) else f"{word}: {text}"


def _details(dossier: Dossier, paint: Paint, width: int) -> Iterator[str]:
    """Yield shortfalls, errors and what is due and open, each requirement under each of them."""
    groups = (
        ("Non-compliances", lambda e: e.state is State.NOT_MET),
        ("Errors", lambda e: e.state is State.ERROR and e.due),
        ("Due and open", lambda e: e.state is State.OPEN and e.due),
    )
    loose = trail.loose(dossier)
    left = [
        result
        for result in dossier.requirements
        if result.id in loose or any(e.state is not State.MET for e in result.evidence)
    ]
    for title, wanted in groups:
        lines: list[str] = []
        for result in left:
            hits = [evidence for evidence in result.evidence if wanted(evidence)]
            if hits or (title == "Due and open" and result.id in loose):
                lines += _detail(result, hits, paint, width, dict(dossier.settings))
                lines += [] if hits else _open_reports(result, width)
        if lines:
            yield from ("", paint.strong(title), *lines)


def _detail(
    result: RequirementResult,
    hits: list[Evidence],
    paint: Paint,
    width: int,
    settings: Mapping[str, str],
) -> Iterator[str]:
    code = "" if result.compliance is Compliance.OPEN else f" ({result.compliance.value})"
    head = f"  {safe(result.id)}{code}  {safe(result.title)}"
    yield paint.code(result.compliance.value, cut(head, max(width, 30)))
    # What is closed under a waiver names it below, where it says what is covered.
    if result.why and not (result.closed and any(entry.covered_by for entry in hits)):
        yield from wrap(flow(result.why), width, 4)
    for evidence in hits:
        yield from evidence_lines(evidence, width, settings)


def _open_reports(result: RequirementResult, width: int) -> Iterator[str]:
    """Yield the nonconformances of a requirement whose evidence alone would close it."""
    for name, became in result.reported if result.evidence else ():
        yield from wrap(flow(f"{name}: {became}"), width, 4)


def evidence_lines(
    evidence: Evidence, width: int, settings: Mapping[str, str] = rows.NO_SETTINGS
) -> Iterator[str]:
    """Yield one piece of evidence: what was asked, what was found and at which inputs.

    ``settings`` are those of a what-if.
    """
    yield from _judged(evidence, width, settings)
    yield from found_at(evidence, width, settings)
    yield from _cover(evidence)


def verdict_lines(
    evidence: Evidence, width: int, settings: Mapping[str, str] = rows.NO_SETTINGS
) -> Iterator[str]:
    """Yield the same, but for the inputs at which it was found."""
    yield from _judged(evidence, width, settings)
    yield from _cover(evidence)


def judged_text(evidence: Evidence) -> str:
    """Return the state, what was asked, and what was found, in one line."""
    value, limit = rows.value_and_limit(evidence)
    parts = [rows.subject(evidence)]
    parts += [_keep(part) for part in limit.split(", ")] if limit else []
    parts += [_keep(f"judged {value}")] if value else []
    margin = rows.margin(evidence)
    parts += [_keep(f"margin {margin}")] if margin else []
    return f"{_state(evidence)}: " + ", ".join(parts)


def _judged(evidence: Evidence, width: int, settings: Mapping[str, str]) -> Iterator[str]:
    yield from wrap(judged_text(evidence), width, 4)
    plan = words.plan_of(evidence)
    source = [f"{plan} by {rows.reference(evidence)}" if rows.reference(evidence) else plan]
    source += [sure] if (sure := words.how_sure(evidence)) else []
    source += [under] if (under := rows.under(evidence, settings)) else []
    yield from wrap("; ".join(source), width, 6)
    if evidence.as_run:
        yield from wrap(f"as run: {rows.as_run(evidence)}", width, 6)
    if evidence.message:
        yield from wrap(flow(evidence.message), width, 6)
    for text in evidence.not_correlated:
        yield from wrap(flow(text), width, 6)


def _cover(evidence: Evidence) -> Iterator[str]:
    if evidence.state is State.NOT_MET:
        yield f"      {words.cover(evidence) or 'no waiver or deviation'}"


def _state(evidence: Evidence) -> str:
    """Return the state; ``not met (not yet due: AR)`` where it is not judged at this review."""
    if evidence.due:
        return evidence.state.value
    return f"{evidence.state.value} (not yet due: {safe(evidence.review or 'a later review')})"


def _keep(text: str) -> str:
    """Return a text that is not broken over lines, so that no number loses its unit."""
    return text.replace(" ", _UNBROKEN)


def found_at(evidence: Evidence, width: int, settings: Mapping[str, str]) -> Iterator[str]:
    """Yield the inputs at the end that decides, and the command that shows it again."""
    if evidence.at:
        word = "found at" if evidence.counterexample else "decisive inputs:"
        yield from wrap(f"{word} {rows.pairs(rows.without_exactly(evidence.at))}", width, 6)
        # What was set to find it has to be set to find it again.
        yield f"      {replay({**settings, **dict(evidence.at)}.items())}"


def replay(settings: Iterable[tuple[str, str]]) -> str:
    """Return the command that shows a value at some inputs again, quoted for a POSIX shell."""
    sets = (f"--set {shlex.quote(f'{name}={text}')}" for name, text in settings)
    return safe("closeout verify " + " ".join(sets))


def _problem_lines(problems: Iterable[Problem], paint: Paint, width: int) -> Iterator[str]:
    for p in problems:
        yield f"{safe(p.path)}:{p.line}:{p.column}: {flow(p.message)} [{safe(p.rule)}]"
        shade = paint.bad if p.severity is Severity.ERROR else paint.open
        yield from map(shade, _cure(p, width))


def _cure(problem: Problem, width: int) -> Iterator[str]:
    """Yield severity and cure; the traceback of an import stays as Python writes it."""
    severity = problem.severity.value
    if problem.cure.startswith("Traceback"):
        yield f"    {severity}; action: correct the import error below"
        yield from (f"      {line}" for line in safe_lines(problem.cure.strip("\n")))
    else:
        text = f"{severity}; action: {flow(problem.cure)}" if problem.cure else severity
        yield from wrap(text, width, 4)


def _footer(dossier: Dossier, paint: Paint, width: int) -> Iterator[str]:
    totals = words.totals(dossier)
    codes = ", ".join(f"{totals[code.value]} {code.value}" for code in Compliance)
    line = f"{codes}; {totals['closed']} closed of {len(dossier.requirements)}"
    yield from map(paint.strong, wrap(line, width))
    closed = (
        f"{_keep(f'{one.review} {one.closed} of {one.planned}')}" for one in rows.by_review(dossier)
    )
    yield from wrap(f"verifications closed, by review: {', '.join(closed)}", width)
    yield from wrap(words.scale(dossier), width)
    judged = validations.judged(dossier)
    if text := validations.totals(judged):
        yield from wrap(text, width)
        for line in validations.left(judged):
            yield from wrap(line, width, 2)
    if dossier.off:
        yield from wrap(words.switched_off(dossier.off), width)
    if dossier.outside:
        paths = ", ".join(safe(path) for path, _ in dossier.outside)
        yield from wrap(f"read outside the project and not in the commit: {paths}", width)
    for name, why in words.not_kept(dossier):
        yield from wrap(f"{safe(name)} is never reused: {flow(why)}", width)
    status = dossier.exit_status
    of = "" if not dossier.only else " for what is shown"
    yield from wrap(f"Exit status {status}{of}: {words.exit_meaning(status)}.", width)
    for text in wrap(words.CAUTION_LINE, width):
        yield paint.quiet(text)


def wrap(text: str, width: int, indent: int = 0) -> list[str]:
    """Return a safe one-line text as lines of at most ``width`` columns; long words stay whole."""
    space = " " * indent
    if len(text) + indent <= width:
        return [(space + text).replace(_UNBROKEN, " ")]
    lines = textwrap.wrap(
        text,
        max(width, indent + 20),
        initial_indent=space,
        subsequent_indent=space + "  ",
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(_UNBROKEN, " ") for line in lines]
