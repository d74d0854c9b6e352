"""The text that ``verify`` and ``lint`` print: a line a requirement, then what needs attention."""

from __future__ import annotations

import shlex
import textwrap
from collections.abc import Iterable, Iterator, Mapping

from closeout.model.dossier import Compliance, Dossier, Evidence, RequirementResult, State
from closeout.model.problem import Problem, Severity
from closeout.render import rows, trail, words
from closeout.render.plain import columns, cut, flow, pad, safe, safe_lines

USUAL_WIDTH = 100
_HEADS = ("ID", "CODE", "CLOSE-OUT", "MARGIN", "HOW SURE", "TITLE", "QUANTITY")
# The first columns are never cut, so that no fact is lost. The title takes what they leave, and the
# quantity stands at the right edge where the title leaves room for it.
_NEVER_CUT = 5
_LEAST_TITLE = 10
# The quantity is left out everywhere where it would stand in less than one of so many rows.
_FEW = 4
# So much or more, in a column that should be narrow.
_LEAST = ">= "
_KEPT = "\N{NO-BREAK SPACE}"


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

    The same whether answers were computed or came from the store, so that it can be kept; how many
    were is said by :func:`closeout.render.words.work`.

    Titles are cut and running text is wrapped at ``width`` columns; numbers, places and commands
    are never cut.
    """
    paint = Paint(colour)
    parts = [
        *_header(dossier, paint, width),
        "",
        *_requirement_lines(dossier, paint, width),
        *_details(dossier, paint, width),
    ]
    if dossier.problems:
        parts += ["", paint.strong("Problems"), *_problem_lines(dossier.problems, paint, width)]
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
    totals = f"{words.count(errors, 'error')}, {words.count(len(found) - errors, 'warning')}"
    return "\n".join([*_problem_lines(found, paint, width), totals]) + "\n"


def _header(dossier: Dossier, paint: Paint, width: int) -> list[str]:
    line = f"{safe(dossier.project)}: {words.judged(dossier)}, from the {words.snapshot(dossier)}"
    lines = [paint.strong(text) for text in wrap(line, width)]
    for banner in words.banners(dossier):
        lines += [paint.open(text) for text in wrap(banner, width)]
    if dossier.note:
        lines += wrap(flow(dossier.note), width)
    return lines


Cells = tuple[str, str, str, str, str, str, str]


def _requirement_lines(dossier: Dossier, paint: Paint, width: int) -> Iterator[str]:
    if not dossier.requirements:
        yield "There is no requirement."
        return
    cells = [_cells(result) for result in dossier.requirements]
    settings = dict(dossier.settings)
    widths, edge = _widths(cells, width)
    heads, *shown = _with_quantity(cells, edge)
    yield paint.quiet(_row(heads, widths, edge))
    for row, result in zip(shown, dossier.requirements, strict=True):
        yield paint.code(row[1].split(" ")[0], _row(row, widths, edge))
        for text in _beaten(result, settings) if settings else ():
            yield from wrap(text, width, 4)
    yield from map(paint.quiet, _legend(cells, width))


def _beaten(result: RequirementResult, settings: Mapping[str, str]) -> Iterable[str]:
    return dict.fromkeys(t for evidence in result.evidence for t in rows.beats(evidence, settings))


def _widths(cells: list[Cells], width: int) -> tuple[list[int], int]:
    """Return the widths of the columns that are never cut, and the columns for title and quantity.

    Those are no more than the longest pair of them takes.
    """
    kept = list(zip(*cells, strict=True))[:_NEVER_CUT]
    widths = [max(len(head), *map(columns, col)) for head, col in zip(_HEADS, kept, strict=False)]
    room = width - sum(widths) - 2 * len(widths)
    longest = max(columns(row[5]) + columns(row[6]) + 2 for row in (_HEADS, *cells))
    return widths, max(min(room, longest), _LEAST_TITLE)


def _with_quantity(cells: list[Cells], edge: int) -> list[Cells]:
    """Return heads and rows, a quantity only where it fits beside its title; none if few do."""
    fits = [bool(row[6]) and columns(row[5]) + 2 + columns(row[6]) <= edge for row in cells]
    some = sum(fits) * _FEW >= sum(bool(row[6]) for row in cells)
    heads = _HEADS if some and any(fits) else (*_HEADS[:-1], "")
    rest = (row if some and fit else (*row[:-1], "") for row, fit in zip(cells, fits, strict=True))
    return [heads, *rest]


def _row(cells: Cells, widths: list[int], edge: int) -> str:
    shown = [pad(text, wide) for text, wide in zip(cells, widths, strict=False)]
    title, quantity = cells[5:]
    shown.append(pad(title, edge - columns(quantity)) + quantity if quantity else cut(title, edge))
    return "  ".join(shown).rstrip()


def _cells(result: RequirementResult) -> Cells:
    code = result.compliance.value
    close_out = words.close_out(result)
    evidence = rows.tightest(result)
    return (
        safe(result.id),
        f"{code} covered" if result.covered else code,
        close_out if result.closed or result.outstanding else f"{close_out}, later",
        "" if evidence is None else rows.margin(evidence).replace(rows.LEAST, _LEAST),
        "" if evidence is None else _sure(evidence),
        safe(result.title),
        "" if evidence is None else rows.subject(evidence),
    )


def _sure(evidence: Evidence) -> str:
    if evidence.assurance is not None:
        return evidence.assurance.value
    return words.NOT_COMPUTED if evidence.record is not None else ""


def _legend(cells: list[Cells], width: int) -> Iterator[str]:
    if any(row[3] for row in cells):
        yield from wrap("MARGIN: the least for its limit, of the evidence that is due", width, 2)
    if any(row[3].startswith(_LEAST) for row in cells):
        text = "proved so far; explain and matrix follow a proof to its end"
        yield from wrap(f"{_LEAST.strip()}: {text}", width, 2)
    used = {row[4] for row in cells}
    known = {key.value: text for key, text in words.ASSURANCE.items()}
    known[words.NOT_COMPUTED] = words.MEASURED
    for word, text in known.items():
        if word in used:
            reach = text if text.startswith(word) else f"{word}: {text}"
            yield from wrap(reach, width, 2)
    if any(row[2].endswith("later") for row in cells):
        yield from wrap("later: what is still open of it is due at a later review", width, 2)


def _details(dossier: Dossier, paint: Paint, width: int) -> Iterator[str]:
    """Yield shortfalls, errors and what is due and open, each requirement under each of them."""
    groups = (
        ("Shortfalls", lambda e: e.state is State.NOT_MET),
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
    if result.why:
        yield from wrap(flow(result.why), width, 4)
    for evidence in hits:
        yield from evidence_lines(evidence, width, settings)


def evidence_lines(
    evidence: Evidence, width: int, settings: Mapping[str, str] = rows.NO_SETTINGS
) -> Iterator[str]:
    """Yield one piece of evidence: what was asked, what was found and at which inputs.

    ``settings`` are those of a what-if.
    """
    value, limit = rows.value_and_limit(evidence)
    parts = [rows.subject(evidence)]
    parts += [_keep(part) for part in limit.split(", ")] if limit else []
    parts += [_keep(f"judged {value}")] if value else []
    margin = rows.margin(evidence)
    parts += [_keep(f"margin {margin}")] if margin else []
    yield from wrap(f"{_state(evidence)}: " + ", ".join(parts), width, 4)
    plan = words.plan_of(evidence)
    source = [f"{plan} by {rows.reference(evidence)}" if rows.reference(evidence) else plan]
    source += [sure] if (sure := words.how_sure(evidence)) else []
    source += [under] if (under := rows.under(evidence, settings)) else []
    yield from wrap("; ".join(source), width, 6)
    if evidence.as_run:
        yield from wrap(f"as run: {rows.as_run(evidence)}", width, 6)
    if evidence.message:
        yield from wrap(flow(evidence.message), width, 6)
    yield from _found_at(evidence, width, settings)
    if evidence.state is State.NOT_MET:
        cover = safe(evidence.covered_by) if evidence.covered_by else None
        yield f"      covered by {cover}" if cover else "      not covered"


def _state(evidence: Evidence) -> str:
    """Return the state; ``not met (early, due at AR)`` where it is not judged at this review."""
    if evidence.due:
        return evidence.state.value
    early = "early, " if evidence.state is State.NOT_MET else ""
    return f"{evidence.state.value} ({early}due at {safe(evidence.review or 'a later review')})"


def _keep(text: str) -> str:
    """Return a text that is not broken over lines, so that no number loses its unit."""
    return text.replace(" ", _KEPT)


def _found_at(evidence: Evidence, width: int, settings: Mapping[str, str]) -> Iterator[str]:
    if evidence.at:
        word = "found at" if evidence.counterexample else "the end that decides is at"
        yield from wrap(f"{word} {rows.pairs(rows.held(evidence.at))}", width, 6)
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
        yield f"    {severity}; cure: mend the module, which Python tells of"
        yield from (f"      {line}" for line in safe_lines(problem.cure.strip("\n")))
    else:
        text = f"{severity}; cure: {flow(problem.cure)}" if problem.cure else severity
        yield from wrap(text, width, 4)


def _footer(dossier: Dossier, paint: Paint, width: int) -> Iterator[str]:
    totals = words.totals(dossier)
    codes = ", ".join(f"{totals[code.value]} {code.value}" for code in Compliance)
    line = f"{codes}; {totals['closed']} closed of {len(dossier.requirements)}"
    yield paint.strong(line)
    closed = (
        f"{_keep(f'{one.review} {one.closed} of {one.planned}')}" for one in rows.by_review(dossier)
    )
    yield from wrap(f"verifications closed, by review: {', '.join(closed)}", width)
    yield from wrap(words.scale(dossier), width)
    if dossier.off:
        yield from wrap(words.switched_off(dossier.off), width)
    if dossier.outside:
        paths = ", ".join(safe(path) for path, _ in dossier.outside)
        yield from wrap(f"read outside the project, where no commit holds it: {paths}", width)
    for name, why in words.not_kept(dossier):
        yield from wrap(f"{safe(name)} is computed anew in each run: {flow(why)}", width)
    status = dossier.exit_status
    yield from wrap(f"Exit status {status}: {words.exit_meaning(status)}.", width)
    for text in wrap(words.CAUTION, width):
        yield paint.quiet(text)


def wrap(text: str, width: int, indent: int = 0) -> list[str]:
    """Return a safe one-line text as lines of at most ``width`` columns; long words stay whole."""
    space = " " * indent
    if len(text) + indent <= width:
        return [(space + text).replace(_KEPT, " ")]
    lines = textwrap.wrap(
        text,
        max(width, indent + 20),
        initial_indent=space,
        subsequent_indent=space + "  ",
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(_KEPT, " ") for line in lines]
