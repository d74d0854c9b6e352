"""Barriers in the way of energy: which are in place at a step, and what failures take them away.

A barrier is something open in the path between a source and a hazard; the hazard is released when
none is left. A failure takes away all that it reaches at once, so the number of barriers says
little: what counts is the fewest failures that together take all of them away (the order of the
smallest minimal cut set, NUREG-0492, from memory).

Barriers that let go on the same event share it, whatever sensors and wires they feel it by: that
event, come or felt too early, is one failure of all of them. Such failures are made here from what
each barrier is opened by, so that none has to be thought of.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from itertools import combinations
from math import comb
from pathlib import Path
from typing import NamedTuple

from analyses.physics.csv_table import read_rows

HAZARDS = ("radio", "heat", "motion")
PHASES = ("ground", "flight")

Barriers = frozenset[str]


class Barrier(NamedTuple):
    """``hazards`` are those in whose path it stands; ``seen`` is how its state is told, ``event``
    what lets it go, ``delay`` names the time after the last release at which it opens the way by
    itself; empty: none.
    """

    name: str
    hazards: frozenset[str]
    seen: str
    event: str
    delay: str


class Step(NamedTuple):
    """A step of ground work or flight; ``armed`` from the insertion of the arming plug on."""

    name: str
    phase: str
    armed: bool
    in_place: Barriers


class Event(NamedTuple):
    """What lets barriers go, and what event it brings along; possible as ``steps`` of a failure."""

    steps: frozenset[str]
    brings: frozenset[str]


class Failure(NamedTuple):
    """One cause, and the barriers that it takes away; at every step where ``steps`` is empty."""

    name: str
    takes_away: Barriers
    steps: frozenset[str]


class Model(NamedTuple):
    """Barriers by their short names, steps in their order, events, failures.

    Among the failures is one for each event.
    """

    barriers: dict[str, Barrier]
    steps: tuple[Step, ...]
    events: dict[str, Event]
    failures: tuple[Failure, ...]


def read_model(folder: Path) -> Model:
    """Return the model in barriers.csv, barrier_events.csv, barrier_steps.csv and
    barrier_failures.csv of a folder.

    Raises:
        ValueError: names of barriers, events, steps, hazards or phases that are not declared; all
            of them.
    """
    barriers = {
        row["barrier"]: Barrier(
            row["name"], frozenset(row["hazards"].split()), row["seen"], row["opened_by"],
            row["delay"],
        )
        for row in read_rows(
            folder / "barriers.csv", ("barrier", "name", "hazards", "seen", "opened_by", "delay")
        )
    }  # fmt: skip
    events = {
        row["event"]: Event(_steps(row), frozenset(filter(None, [row["brings"]])))
        for row in read_rows(folder / "barrier_events.csv", ("event", "steps", "brings", "why"))
    }
    steps = tuple(
        Step(row["step"], row["phase"], row["armed"] == "yes", frozenset(row["in_place"].split()))
        for row in read_rows(folder / "barrier_steps.csv", ("step", "phase", "armed", "in_place"))
    )
    failures = tuple(
        Failure(
            f"{row['element']} {row['failure']}",
            frozenset(row["takes_away"].split()),
            _steps(row),
        )
        for row in read_rows(
            folder / "barrier_failures.csv", ("element", "failure", "takes_away", "steps")
        )
    )
    model = Model(barriers, steps, events, failures)
    if unknown := list(_unknown(model)):
        raise ValueError("; ".join(unknown))
    return model._replace(failures=(*failures, *common_failures(model)))


def _steps(row: Mapping[str, str]) -> frozenset[str]:
    return frozenset(filter(None, row["steps"].split("; ")))


def common_failures(model: Model) -> tuple[Failure, ...]:
    """Return the failure that each event is: it takes away what it, or what it brings, opens."""
    return tuple(
        Failure(
            f"event: {name}",
            frozenset(
                short
                for short, barrier in model.barriers.items()
                if barrier.event in {name} | event.brings
            ),
            event.steps,
        )
        for name, event in model.events.items()
    )


def _unknown(model: Model) -> Iterator[str]:
    """Tell each name that is used and not declared."""
    barriers, steps = set(model.barriers), {step.name for step in model.steps}

    def strange(table: str, of: str, names: Collection[str], known: Collection[str]) -> str:
        wrong = ", ".join(sorted(set(names) - set(known)))
        return f"{table}: {of} names {wrong}, which is not declared" if wrong else ""

    for short, barrier in model.barriers.items():
        yield from filter(None, [strange("barriers.csv", short, barrier.hazards, HAZARDS)])
        opened = [barrier.event] if barrier.event else []
        yield from filter(None, [strange("barriers.csv", short, opened, model.events)])
    for name, event in model.events.items():
        yield from filter(None, [strange("barrier_events.csv", name, event.brings, model.events)])
        yield from filter(None, [strange("barrier_events.csv", name, event.steps, steps)])
    for step in model.steps:
        yield from filter(None, [strange("barrier_steps.csv", step.name, step.in_place, barriers)])
        yield from filter(None, [strange("barrier_steps.csv", step.name, [step.phase], PHASES)])
    for failure in model.failures:
        told = strange("barrier_failures.csv", failure.name, failure.takes_away, barriers)
        where = strange("barrier_failures.csv", failure.name, failure.steps, steps)
        yield from filter(None, [told, where])


class EnergyPath(NamedTuple):
    """The barriers in the path of a hazard at a step, and what failures take away of them.

    ``effects`` has each different effect, with the number of failures that have it; those without
    effect are among them.
    """

    barriers: Barriers
    effects: Mapping[Barriers, int]


def path_of(model: Model, step: Step, hazard: str) -> EnergyPath:
    """Return the path of a hazard at a step.

    A barrier whose state nobody can tell until close-out counts as none: it may have failed unseen.
    """
    barriers = frozenset(
        short
        for short in step.in_place
        if hazard in model.barriers[short].hazards and model.barriers[short].seen
    )
    return EnergyPath(
        barriers,
        Counter(
            failure.takes_away & barriers
            for failure in model.failures
            if not failure.steps or step.name in failure.steps
        ),
    )


def barriers_left(path: EnergyPath, failures: int) -> set[Barriers]:
    """Return every set of barriers that so many failures leave, or fewer."""
    left = {path.barriers}
    for _ in range(failures):
        left |= {one - effect for one in left for effect in path.effects}
    return left


def fewest_left(path: EnergyPath, failures: int) -> int:
    """Return how many barriers the worst set of so many failures leaves."""
    return min(map(len, barriers_left(path, failures)))


def independent(path: EnergyPath) -> int:
    """Return the fewest failures that leave no barrier: the number of independent barriers.

    A barrier that no failure reaches counts as one; 0 is a path without a barrier.
    """
    reached = frozenset[str]().union(*path.effects)
    rounds = 0
    while reached not in {reached - one for one in barriers_left(path, rounds)}:
        rounds += 1
    return rounds + len(path.barriers - reached)


def releasing_failures(path: EnergyPath) -> int:
    """Count the failures that leave no barrier by themselves."""
    return sum(number for effect, number in path.effects.items() if path.barriers <= effect)


def releasing_pairs(path: EnergyPath) -> int:
    """Count the pairs of failures that leave no barrier, those with a releasing one included."""
    effects = list(path.effects.items())
    alike = sum(comb(number, 2) for effect, number in effects if path.barriers <= effect)
    return alike + sum(
        n * m for (a, n), (b, m) in combinations(effects, 2) if path.barriers <= a | b
    )
