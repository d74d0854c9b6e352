"""``closeout explain``."""

from __future__ import annotations

import sys
from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from functools import partial

import click

from closeout.cli.common import colour, opened, project_options, width
from closeout.cli.progress import Progress, progress_bar
from closeout.cli.readable import readable
from closeout.graph import Index
from closeout.graph.checks import nearest
from closeout.judge.subjects import concerns, identifiers, subjects
from closeout.model.formerly import Names
from closeout.render.explain import Explained, first_text, rest_text, suggestions
from closeout.run.errors import UserError
from closeout.run.options import Options
from closeout.run.pipeline import Assessment, Outcome, assess, assessing
from closeout.run.studies import Wanted


@click.command(epilog="Example: closeout explain PWR-020")
@project_options
@click.option("--latex", is_flag=True, help="Write the formulas of derivations in LaTeX.")
@click.option(
    "--boundary",
    metavar="A,B",
    help="Draw where the verdict turns in the plane of two parameters.",
)
@click.option(
    "--quantile",
    metavar="P,C",
    help="Bound the share P of all values with the confidence C, as 0.95,0.95.",
)
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
    identifier: str,
) -> int:
    """Show whatever has an identifier: how it stands, why, and what that rests on.

    A requirement, analysis or parameter; a record, waiver, deviation, nonconformance, article or
    document. Of a requirement also where it breaks, what drives each computed number and its
    derivation: the verdict comes at once, and these when they are found.

    Status: 0 it was shown, whatever the verdict; 2 there is no such thing.
    """
    from closeout.render.study import unused_text
    from closeout.render.whatif import whatif_text

    options = Options(review, settings, (), jobs, today)
    wanted = Wanted({identifier}, _pair(boundary), _shares(quantile))
    about = partial(_about, identifier)
    with opened(revision) as (snapshot, store), progress_bar() as progress:
        with assessing(
            snapshot, store, options, progress, about, verdicts_alone=not settings
        ) as one:
            if isinstance(one, Outcome):
                readable(one.dossier)
                raise _unknown(identifier, ())
            _check_known(boundary, one.checked.index)
            outcome = _shown(one, wanted, latex, progress)
        change = ""
        if settings:
            unsettled = replace(options, settings=())
            unchanged = assess(snapshot, store, unsettled, progress, about=about)
            change = "\n" + whatif_text(unchanged.dossier, outcome.dossier, colour=colour())
    asked = {"--boundary": boundary, "--quantile": quantile, "--latex": latex}
    unused = [] if outcome.studies else [name for name, value in asked.items() if value]
    sys.stdout.write(change + unused_text(identifier, unused, width()))
    return 0


def _now(identifier: str, renamed: Names) -> list[str]:
    """Return what an earlier identifier is called by now, as far as the project says it."""
    return [
        f"{of[identifier]} (formerly {identifier})" for of in renamed.values() if identifier in of
    ]


def _shown(one: Assessment, wanted: Wanted, latex: bool, progress: Progress) -> Outcome:
    """Write what is known at once, and then what has to be searched; return all of it."""
    (identifier,) = wanted.requirements or ("",)
    before = one.outcome()
    about = subjects(identifier, one.standing, before.dossier)
    explained = Explained(identifier, colour(), width(), about)
    index = one.checked.index
    first = before.dossier if index.requirements else readable(before.dossier)
    text = first_text(first, explained)
    if text is None:
        raise _unknown(identifier, _known(index), _now(identifier, index.renamed))
    _write(text, progress)
    searched: Collection[str] = ()
    if identifier in index.requirements:
        searched = {identifier}
    elif identifier in index.analyses:
        searched = _users(index, identifier)
    outcome = one.to_the_end(searched).outcome(wanted) if searched else before
    rest = rest_text(first, outcome.dossier, explained, outcome.studies, latex=latex)
    _write(rest, progress)
    return outcome


def _write(text: str, progress: Progress) -> None:
    progress.close()
    sys.stdout.write(text)
    sys.stdout.flush()


def _about(identifier: str, index: Index) -> frozenset[str] | None:
    """Return the requirements whose verdicts are to be known; None for all.

    What stands above a requirement has its code from all that is derived from it.
    """
    if identifier in index.requirements:
        return None
    return frozenset(_users(index, identifier) | concerns(identifier, index))


def _users(index: Index, identifier: str) -> set[str]:
    """Return the requirements that an analysis, or one that takes a parameter, verifies."""
    found = set()
    for requirement, _, verification in index.project.verifications():
        spec = index.analyses.get(verification.analysis or "")
        if spec is not None and (
            spec is index.analyses.get(identifier)
            or any(argument.name == identifier for argument in spec.arguments)
        ):
            found.add(requirement.id)
    return found


def _known(index: Index) -> list[str]:
    """Return every identifier that can be explained."""
    return [*index.requirements, *index.analyses, *index.parameters, *identifiers(index)]


def _unknown(identifier: str, known: Iterable[str], renamed: Sequence[str] = ()) -> UserError:
    near = renamed or suggestions(known, identifier)
    cure = f"did you mean {', '.join(near)}?" if near else "closeout verify lists what there is"
    kinds = "requirement, analysis, parameter, record, waiver, nonconformance, article or document"
    return UserError((f"there is no {kinds} {identifier}", cure))


def _pair(text: str | None) -> tuple[str, ...] | None:
    if text is None:
        return None
    names = tuple(name.strip() for name in text.split(","))
    if len(names) != 2 or not all(names) or names[0] == names[1]:
        cure = "write two parameters, as sleep_current,hold_duration"
        raise UserError((f"--boundary {text}: that is no pair of parameters", cure))
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
        raise UserError((f"--quantile {text}: that is no share and confidence", cure))
    return share, confidence


def _check_known(boundary: str | None, index: Index) -> None:
    wrong = [
        (f"--boundary {boundary}: there is no parameter {name}", _cure(name, index.parameters))
        for name in _pair(boundary) or ()
        if name not in index.parameters
    ]
    if wrong:
        raise UserError(*wrong)


def _cure(name: str, known: Iterable[str]) -> str:
    near = nearest(name, known)
    return f"did you mean {near}?" if near else "name a parameter of the project"
