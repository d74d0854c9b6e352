"""The options of a run, read against the project: every mistake among them at once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from closeout.graph import Index
from closeout.graph.amounts import faults_of
from closeout.graph.links import stated
from closeout.graph.new_findings import alike
from closeout.measure import Units
from closeout.model.amount import AmountError
from closeout.model.choice import Choice
from closeout.model.errors import Mistake, UserError
from closeout.model.setting import Setting, read_setting
from closeout.model.sweep import SweepAxis
from closeout.run.only import read_only, without_verdicts
from closeout.run.options import Options
from closeout.run.read_sweep import read_sweep


@dataclass(frozen=True, slots=True)
class Asked:
    """``settings`` of a what-if by parameter; ``chosen`` requirements, None for all.

    ``axes`` are the values of a sweep.
    """

    settings: tuple[tuple[str, Setting], ...] = ()
    chosen: Choice | None = None
    axes: tuple[SweepAxis, ...] = ()

    @property
    def needed(self) -> frozenset[str] | None:
        """The requirements that have to be judged, None for all."""
        return None if self.chosen is None else self.chosen.needed


def read_options(options: Options, index: Index, units: Units) -> Asked:
    """Return what is asked of a run.

    Raises:
        UserError: something that is named does not exist in the project, or is no amount.
    """
    wrong: list[Mistake] = []
    settings = read_settings(options.settings, index, units, wrong)
    chosen = read_only(options.only, index, wrong)
    taken = dict(settings)
    if options.sweep:
        wrong += [
            (f"--only {text}: a verdict may be another at each value", "leave out this --only")
            for text in options.only
            if text not in without_verdicts(options.only)
        ]
    axes = read_sweep(options.sweep, options.points, taken, index, units, wrong)
    reviews = index.project.charter.reviews
    if options.review is not None and options.review not in reviews:
        listed = ", ".join(reviews) or "none"
        wrong.append((f"--review {options.review}: unknown review", f"there are {listed}"))
    if wrong:
        raise UserError.all_of(wrong)
    return Asked(settings, chosen, axes)


def read_settings(
    texts: Iterable[str], index: Index, units: Units, wrong: list[Mistake], option: str = "--set "
) -> tuple[tuple[str, Setting], ...]:
    """Return what parameters are set to by ``NAME=AMOUNT``; mistakes are added to ``wrong``."""
    found: dict[str, Setting] = {}
    for text in texts:
        name, equals, value = text.partition("=")
        name = name.strip()
        parameter = stated(name, index)
        if not equals:
            wrong.append((f"{option}{text}: no =", "write NAME=AMOUNT, as sleep_current=130uA"))
        elif parameter is None:
            near = alike(
                name, [*index.parameters, *index.linked], index.renamed.get("parameters", {})
            )
            cure = f"did you mean {near}?" if near else "name a parameter of the project"
            wrong.append((f"{option}{text}: there is no parameter {name}", cure))
        elif name in found:
            wrong.append((f"{option}{text}: {name} is set twice", "set each parameter once"))
        else:
            try:
                found[name] = read_setting(value)
            except AmountError as error:
                wrong.append((f"{option}{text}: {error.message}", error.cure))
            else:
                faults = faults_of(parameter, found[name], units)
                wrong += [(f"{option}{text}: {message}", cure) for message, cure in faults]
    return tuple(found.items())
