"""Failures of a voted wake-up circuit: what each one tells the voter, and what follows from it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial
from itertools import chain, combinations
from pathlib import Path
from typing import NamedTuple

from analyses.physics.csv_table import number, read_rows
from analyses.physics.voting import NEEDED, SENSORS
from closeout.units import per_hour, ratio

PRESSURE, ACCELERATION, SHARED = "pressure", "acceleration", "shared"
# What a reading means to the voter: may it count as a vote to wake, may it count as one to sleep.
VOTES = {
    PRESSURE: {"low": (True, False), "high": (False, True)},
    ACCELERATION: {"high": (True, False), "low": (False, True)},
}
OTHERS = {"none": (False, True), "any": (True, True)}
COLUMNS = (
    "element", "group", "mode", "pressure", "acceleration", "output", "rate_per_h", "per_use",
)  # fmt: skip


class Mode(NamedTuple):
    """A way in which an element fails; a row of the table.

    ``pressure`` and ``acceleration`` are (may wake, may sleep) of the readings, None where they are
    sound; ``output`` is on, off or sound. Rate in 1/h; ``per_use`` is a probability.
    """

    element: str
    group: str
    name: str
    pressure: tuple[bool, bool] | None
    acceleration: tuple[bool, bool] | None
    output: str
    rate_per_h: per_hour
    per_use: ratio


class Failure(NamedTuple):
    """A mode at one place; ``sensor`` is which of the three, None for a shared element."""

    mode: Mode
    sensor: int | None


class Situation(NamedTuple):
    """What a sound sensor of each kind votes: for waking, or not."""

    pressure: bool
    acceleration: bool


# In the hold a sound pressure sensor never reads below the threshold. Shaken stands for a shock or
# a vibration that outlasts the confirmation.
AT_REST = Situation(pressure=False, acceleration=False)
SHAKEN = Situation(pressure=False, acceleration=True)
ASCENT = Situation(pressure=True, acceleration=True)


def read_modes(path: Path) -> tuple[Mode, ...]:
    """Return the modes in the order of the file.

    Raises:
        ValueError: a group, a reading or an output that is not known; names file and row.
    """
    return tuple(_mode(path, row) for row in read_rows(path, COLUMNS))


def _mode(path: Path, row: dict[str, str]) -> Mode:
    place = f"{path.name}: {row['element']}, {row['mode']}"
    if row["group"] not in (PRESSURE, ACCELERATION, SHARED):
        raise ValueError(f"{place}: group {row['group']!r} is not pressure, acceleration or shared")
    if row["output"] not in ("on", "off", "sound"):
        raise ValueError(f"{place}: output {row['output']!r} is not on, off or sound")
    votes = {}
    for kind, known in VOTES.items():
        reading = row[kind]
        if reading != "sound" and reading not in known | OTHERS:
            raise ValueError(f"{place}: {kind} {reading!r} is not high, low, none, any or sound")
        votes[kind] = (known | OTHERS).get(reading)
    return Mode(
        row["element"], row["group"], row["mode"], votes[PRESSURE], votes[ACCELERATION],
        row["output"], number(path, row, "rate_per_h"), number(path, row, "per_use"),
    )  # fmt: skip


def may_wake(mode: Mode) -> bool:
    """Say whether a sensor in this mode can vote for waking where a sound one would not."""
    return any(vote is not None and vote[0] for vote in (mode.pressure, mode.acceleration))


def may_sleep(mode: Mode) -> bool:
    """Say whether a sensor in this mode can vote for sleep where a sound one would not."""
    return any(vote is not None and vote[1] for vote in (mode.pressure, mode.acceleration))


def places(modes: Iterable[Mode]) -> tuple[Failure, ...]:
    """Return each mode of each element: those of a sensor three times, those shared once."""
    return tuple(
        Failure(mode, sensor)
        for mode in modes
        for sensor in ((None,) if mode.group == SHARED else range(SENSORS))
    )


def wakes(failures: Sequence[Failure], now: Situation, needed: int = NEEDED) -> bool:
    """Say whether the recorder can be awake with these failures, whatever they tell at worst.

    Both channels have their vote in every sample, so confirmation by more samples changes nothing:
    a failure that lasts is there in all of them. Two failures of one sensor count as the worse one
    at each sample, which is on the safe side.
    """
    if any(failure.mode.output == "on" for failure in failures):
        return True
    return all(
        _votes(failures, kind, sound, 0) >= needed
        for kind, sound in ((PRESSURE, now.pressure), (ACCELERATION, now.acceleration))
    )


def sleeps(failures: Sequence[Failure], now: Situation, needed: int = NEEDED) -> bool:
    """Say whether the recorder can stay asleep with these failures, whatever they tell at worst."""
    if any(failure.mode.output == "off" for failure in failures):
        return True
    return any(
        SENSORS - _votes(failures, kind, not sound, 1) < needed
        for kind, sound in ((PRESSURE, now.pressure), (ACCELERATION, now.acceleration))
    )


def _votes(failures: Sequence[Failure], kind: str, sound: bool, side: int) -> int:
    """Count the sensors of a kind that may vote to a side: 0 for waking, 1 for sleeping.

    ``sound`` says whether a sound sensor votes so.
    """
    told: list[list[bool]] = [[] for _ in range(SENSORS)]
    for mode, sensor in failures:
        vote = mode.pressure if kind == PRESSURE else mode.acceleration
        if vote is not None:
            for i in range(SENSORS) if sensor is None else (sensor,):
                told[i].append(vote[side])
    return sum(any(votes) if votes else sound for votes in told)


def further_to_wake(
    failures: Sequence[Failure],
    sensor_modes: Sequence[Mode],
    now: Situation,
    needed: int = NEEDED,
) -> int:
    """Return how many more sensors have to fail until the recorder wakes; 0 if it does by itself.

    Each may fail in the worst of the modes given. One more than there are sensors means that no
    number of them wakes it.
    """
    return _further(partial(wakes, now=now, needed=needed), failures, sensor_modes)


def further_to_sleep(
    failures: Sequence[Failure],
    sensor_modes: Sequence[Mode],
    now: Situation,
    needed: int = NEEDED,
) -> int:
    """Return how many more sensors have to fail until the recorder stays asleep; see above."""
    return _further(partial(sleeps, now=now, needed=needed), failures, sensor_modes)


def _further(
    happens: Callable[[Sequence[Failure]], bool],
    failures: Sequence[Failure],
    sensor_modes: Sequence[Mode],
) -> int:
    # All modes of a sensor together are its worst one: each lends the vote that is worst.
    slots: dict[tuple[str, int | None], list[Failure]] = {}
    for failure in places(sensor_modes):
        slots.setdefault((failure.mode.group, failure.sensor), []).append(failure)
    for size in range(len(slots) + 1):
        for chosen in combinations(slots.values(), size):
            if happens([*failures, *chain.from_iterable(chosen)]):
                return size
    return len(slots) + 1


def pairs(failures: Sequence[Failure]) -> list[tuple[Failure, Failure]]:
    """Return every pair of failures that are at two places."""

    def place(failure: Failure) -> tuple[str, int | None]:
        return failure.mode.element, failure.sensor

    return [(a, b) for a, b in combinations(failures, 2) if place(a) != place(b)]
