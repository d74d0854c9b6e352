"""``closeout explain``."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

import click

from closeout.cli.common import colour, opened, project_options, terminal_width, width
from closeout.cli.encoding import print_utf_8
from closeout.cli.output import check_place, write_file
from closeout.cli.progress import Progress, progress_bar
from closeout.cli.readable import readable
from closeout.graph import Index
from closeout.graph.checks import nearest
from closeout.model.errors import UserError
from closeout.model.solved import Solved
from closeout.render.record_history import Past
from closeout.render.terminal import Paint
from closeout.run.explanation import about as about_identifier
from closeout.run.explanation import first_part, rest_part, unknown
from closeout.run.options import Options
from closeout.run.pipeline import Assessment, Outcome, assess, assessing
from closeout.run.studies import Wanted


@click.command(epilog="Example: closeout explain PWR-020")
@project_options
@click.option("--latex", is_flag=True, help="Write the formulas of derivations in LaTeX.")
@click.option(
    "--boundary",
    metavar="A,B",
    help="Draw the break-even of two parameters.",
)
@click.option(
    "--quantile",
    metavar="P,C",
    help="Bound the share P of all values with the confidence C, as 0.95,0.95.",
)
@click.option(
    "--solve",
    metavar="NAME",
    help="Solve the formula for a parameter where the limit is met; the answer comes first.",
)
@click.option(
    "--json",
    "json_file",
    metavar="FILE",
    help="Write formulas (text, LaTeX, MathML), solutions and records as JSON; or the history.",
)
@click.option(
    "--history",
    is_flag=True,
    help="Of a requirement, in place of all else: verdict, limit and margin at each commit that"
    " touched what it rests on.",
)
@click.option(
    "--since",
    metavar="REV",
    help="Where the history begins: a day, as 2026-03-01, or a commit.",
)
@click.option("-o", "--output", metavar="FILE", help="Write the history as a figure (.svg) too.")
@click.argument("identifier", metavar="ID")
def command(
    review: str | None,
    settings: tuple[str, ...],
    revision: str | None,
    today: str | None,
    jobs: int,
    latex: bool,
    boundary: str | None,
    quantile: str | None,
    solve: str | None,
    json_file: str | None,
    history: bool,
    since: str | None,
    output: str | None,
    identifier: str,
) -> int:
    """Show whatever has an identifier: how it stands, why, and what that rests on.

    A requirement, analysis or parameter; a record, waiver, deviation, nonconformance, article or
    document. Of a requirement also where it breaks, what drives each computed number and its
    derivation: the verdict comes at once, and these when they are found.

    Status: 0 it was shown, whatever the verdict; 2 there is no such thing.
    """
    from closeout.render.solved import explained_json
    from closeout.render.whatif import whatif_text

    if json_file not in (None, "-"):
        check_place(Path(json_file or ""))
    options = Options(review, settings, (), jobs, today)
    if history or since is not None or output is not None:
        others = {"--set": settings, "--latex": latex, "--boundary": boundary}
        others |= {"--quantile": quantile, "--solve": solve}
        _check_history(history, output, [name for name, value in others.items() if value])
        return _history(identifier, options, revision, since, output, json_file)
    wanted = Wanted({identifier}, _pair(boundary), _shares(quantile))
    about = partial(about_identifier, identifier)
    with opened(revision) as (snapshot, store), progress_bar() as progress:
        alone = not settings
        with assessing(snapshot, store, options, progress, about, verdicts_alone=alone) as one:
            if isinstance(one, Outcome):
                readable(one.dossier)
                raise unknown(identifier, ())
            _check_known(boundary, one.checked.index)
            say = partial(_say, progress) if json_file != "-" else _say_nothing
            answers = _solved(one, solve, wanted, latex, say)
            outcome, records = _shown(one, wanted, latex, say)
        change = ""
        if settings:
            plain = replace(options, settings=())
            before = assess(snapshot, store, plain, progress, about=about).dossier
            change = "\n" + whatif_text(before, outcome.dossier, colour=colour())
    if json_file is not None:
        compared = outcome.dossier.compared_for(identifier)
        told = explained_json(identifier, outcome.studies, answers, compared, records)
        _write_json(json_file, told)
    of_studies = {"--boundary": boundary, "--quantile": quantile, "--latex": latex}
    say(change + _unused(identifier, of_studies, outcome))
    return 0


def _check_history(history: bool, output: str | None, others: list[str]) -> None:
    """Refuse what does not go together with a history, or without one.

    Raises:
        UserError: there is such an option.
    """
    if not history:
        raise UserError("--since and -o are for --history", "add --history")
    if others:
        text = f"--history and {', '.join(others)}: a history is told alone"
        raise UserError(text, "leave out the others")
    if output is not None:
        if not output.lower().endswith(".svg"):
            raise UserError(f"-o {output}: no such form", "end the name in .svg")
        check_place(Path(output))


def _history(
    identifier: str,
    options: Options,
    revision: str | None,
    since: str | None,
    output: str | None,
    json_file: str | None,
) -> int:
    """Write the history of a requirement in each form that is asked for."""
    from closeout.render.margin_history import history_text
    from closeout.render.margin_history_json import history_json
    from closeout.render.margin_history_picture import history_svg
    from closeout.run.margin_history import margin_history

    with opened(revision) as (snapshot, store), progress_bar() as progress:
        found = margin_history(snapshot, store, options, identifier, since, progress)
    if output is not None:
        write_file(Path(output), history_svg(found).encode())
    if json_file is not None:
        _write_json(json_file, history_json(found))
    if json_file != "-":
        sys.stdout.write(history_text(found, colour=colour(), width=terminal_width()))
    return 0


def _unused(identifier: str, of_studies: Mapping[str, object], outcome: Outcome) -> str:
    """Return which options of studies said nothing, since there is no study; else nothing."""
    from closeout.render.study import unused_text

    unused = [] if outcome.studies else [name for name, value in of_studies.items() if value]
    return unused_text(identifier, unused, width())


def _write_json(file: str, content: dict[str, object]) -> None:
    """Write formulas for programs into a file, or (-) to standard output."""
    text = json.dumps(content, indent=2, ensure_ascii=False) + "\n"
    if file == "-":
        print_utf_8(text)
    else:
        write_file(Path(file), text.encode())


def _solved(
    one: Assessment, name: str | None, wanted: Wanted, latex: bool, say: Callable[[str], None]
) -> tuple[Solved, ...]:
    """Write what a parameter is where the limits of a requirement are met, and return it."""
    if name is None:
        return ()
    from closeout.render.solved import solved_text
    from closeout.run.solutions import check_solve, solved

    (identifier,) = wanted.requirements or ("",)
    checked = one.checked
    check_solve(identifier, name, checked.index)
    whole = one.to_the_end({identifier})
    one.step("solving")
    found = solved(
        identifier, name, checked.plan, checked.index, checked.units, one.evaluator,
        whole.replies, one.validity.review,
    )  # fmt: skip
    say(solved_text(found, Paint(colour()), width(), latex=latex))
    return found


def _shown(
    one: Assessment, wanted: Wanted, latex: bool, say: Callable[[str], None]
) -> tuple[Outcome, Sequence[Past]]:
    """Write what is known at once, then what has to be searched; return it, and the records."""
    (identifier,) = wanted.requirements or ("",)
    known = one.outcome()
    if not one.checked.index.requirements:
        readable(known.dossier)
    first = first_part(one, known, identifier, colour=colour(), width=width())
    say(first.text)
    rest, outcome = rest_part(one, first, wanted, latex=latex)
    say(rest)
    return outcome, first.explained.history


def _say(progress: Progress, text: str) -> None:
    progress.close()
    sys.stdout.write(text)
    sys.stdout.flush()


def _say_nothing(_: str) -> None:
    """Keep standard output to what is written for programs."""


def _pair(text: str | None) -> tuple[str, ...] | None:
    if text is None:
        return None
    names = tuple(name.strip() for name in text.split(","))
    if len(names) != 2 or not all(names) or names[0] == names[1]:
        cure = "write two parameters, as sleep_current,hold_duration"
        raise UserError(f"--boundary {text}: not a pair of parameters", cure)
    return names


def _shares(text: str | None) -> tuple[float, float] | None:
    if text is None:
        return None
    try:
        share, confidence = map(float, text.split(","))
    except ValueError:
        share = confidence = 0.0
    if not (0.0 < share < 1.0 and 0.0 < confidence < 1.0):
        cure = "write two numbers between 0 and 1, as 0.95,0.95"
        raise UserError(f"--quantile {text}: not a share and a confidence", cure)
    return share, confidence


def _check_known(boundary: str | None, index: Index) -> None:
    wrong = [
        (f"--boundary {boundary}: there is no parameter {name}", _cure(name, index.parameters))
        for name in _pair(boundary) or ()
        if name not in index.parameters
    ]
    if wrong:
        raise UserError.all_of(wrong)


def _cure(name: str, known: Iterable[str]) -> str:
    near = nearest(name, known)
    return f"did you mean {near}?" if near else "name a parameter of the project"
