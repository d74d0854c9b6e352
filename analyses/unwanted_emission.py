"""Barriers between the battery and radiation, heat or motion beside people, step by step."""

from __future__ import annotations

from collections.abc import Mapping
from functools import reduce
from pathlib import Path
from typing import Annotated, NamedTuple

from analyses.physics.barriers import (
    HAZARDS,
    EnergyPath,
    Model,
    barriers_left,
    common_failures,
    fewest_left,
    independent,
    path_of,
    read_model,
    releasing_failures,
    releasing_pairs,
)
from analyses.recorder_timers import clock_factor
from closeout import analysis
from closeout.math import maximum, minimum
from closeout.units import Unit, count, ppm, s

DATA = Path(__file__).parent / "data"

Count = Annotated[Mapping[str, float], Unit("count")]


class UnwantedEmission(NamedTuple):
    """Numbers of barriers by hazard and step; on the ground all hazards, in flight radio alone."""

    ground_barriers: Count  # in place, and seen or measured until close-out
    ground_left_after_one: Count  # after the worst failure
    ground_left_after_two: Count  # after the worst pair
    ground_left_after_event: Count  # after the worst event, come or felt too early
    independent_barriers: Count  # on the ground: failures that it takes to release the hazard
    radio_barriers: Count  # armed, until the timers have run out
    radio_left_after_two: Count
    independent_radio_barriers: Count
    failures_examined: count  # over all hazards and steps; and each pair of those at one step
    releasing_failures: count  # those that release a hazard by themselves
    releasing_pairs: count
    events_examined: count  # each is one failure of all barriers that it opens
    silence_after_release: s  # until the first emission, with the worst two failures present


@analysis(validated_by="tests/analyses/test_unwanted_emission.py")
def unwanted_emission(
    timer_a_delay: s,
    timer_b_delay: s,
    timer_c_delay: s,
    aneroid_closing_time: s,
    transmit_start_delay: s,
    timer_error: ppm,
    first_release_time: s,
    release_interval: s,
    satellites: count,
) -> UnwantedEmission:
    """Count the barriers that every failure and every pair leaves, at each step until transmission.

    **Model.** A barrier is something open in the path from the battery to transmitter, heater or
    motor (`analyses/data/barriers.csv`): battery link, arming plug, main switch, the switches of
    the software, three timers, two aneroid switches. Each step of ground work and flight says which
    are in place (`barrier_steps.csv`). Each failure or operator error takes away all that it
    reaches at once (`barrier_failures.csv`): processor, software and the common supply take every
    switch that they drive, a short in the harness every line in it. Each event that lets barriers
    go (`barrier_events.csv`: wake-up, last release, low pressure), come or felt too early, takes
    away all that it opens at once, however many sensors feel it. Every failure, every event and
    every pair is put in, and what is left is counted. Independent barriers are the fewest failures
    that leave none; three or more means that no pair releases anything.

    **Circuit.** The last release opens loop A and loop B, which start timers A and B: two timers,
    and one event. So the transmitter waits for two other signs as well: timer C runs from aneroid
    switch C, which feels the air and no satellite and closes in the ascent; the switch of the
    software waits for a timer that runs from the wake-up.

    **Visible.** A barrier counts only if its state is in sight or measurable until close-out; one
    that nobody can tell may have failed unseen.

    **Silence after the release.** Timers A and B open the way a time after the last release;
    timer C and the software's timer a time after aneroid switch C closed and after the lift-off,
    and with the earliest of these and the latest release that is a time after the last release
    too. A failed one opens it at once; the last of those that work ends the silence. The silence is
    the worst over all pairs, and zero where a pair releases the transmitter at any step from the
    insertion of the plug on. The wake-up is after the lift-off, and it or a restart only lengthens
    the silence.

    **Assumptions.** Where a step moves a barrier (a plug that is being inserted), it counts as
    gone. Loops A and B run through connectors and cables of their own, which keeps single faults
    apart and not the event. Timers A, B and C are of three makers and three principles, each with
    a regulator that stands twice the highest voltage of any supply on the ground; aneroid switches
    A, B and C are of three makers. In error awake, the computer moves the cover and heats at once,
    and its timer starts the transmitter during the same step. The air on the ground is at 80 kPa or
    more (SYS-030) but in transport.
    Contacts that bounce under a shock close for milliseconds, which heats and moves nothing. All
    failures of the table are present for the whole step, however rare.

    **Sources.** Two failures tolerated where the consequence is catastrophic: the usual rule of
    launch safety, e.g. ECSS-Q-ST-40C (from memory). Minimal cut sets: NUREG-0492 (from memory).
    Circuit, steps and failures are invented.

    **Not covered.** How probable a failure is; a cause that is not in the table, as fire, lightning
    or water; heat from a cell itself and the protection against it (PWR-050, PWR-055); a barrier
    that fails to open the way, which costs the mission; radiation that is conducted or leaks from a
    unit in test; emission that is commanded in a test by mistake of the test's own procedure.

    **Caution.** The number of inhibits is set by the launch authority, and so is what counts as
    one; this is no evidence of an inhibit for people. Radiate only under a licence and inside a
    keep-out distance that the site's procedure sets. Work beside an energised recorder follows the
    local rules.
    """
    model = read_model(DATA)
    last_release = first_release_time + (satellites - 1.0) * release_interval
    delays = {
        "transmit timer": transmit_start_delay * clock_factor(timer_error) - last_release,
        "timer A": timer_a_delay,
        "timer B": timer_b_delay,
        "timer C": aneroid_closing_time + timer_c_delay - last_release,
    }
    ground = {
        f"{hazard}, {step.name}": path_of(model, step, hazard)
        for hazard in HAZARDS
        for step in model.steps
        if step.phase == "ground"
    }
    armed = {step.name: path_of(model, step, "radio") for step in model.steps if step.armed}
    in_flight = [armed[step.name] for step in model.steps if step.phase == "flight"]
    every = [*ground.values(), *in_flight]
    return UnwantedEmission(
        ground_barriers={case: len(path.barriers) for case, path in ground.items()},
        ground_left_after_one={case: fewest_left(path, 1) for case, path in ground.items()},
        ground_left_after_two={case: fewest_left(path, 2) for case, path in ground.items()},
        ground_left_after_event=left_after_event(model),
        independent_barriers={case: independent(path) for case, path in ground.items()},
        radio_barriers={step: len(path.barriers) for step, path in armed.items()},
        radio_left_after_two={step: fewest_left(path, 2) for step, path in armed.items()},
        independent_radio_barriers={step: independent(path) for step, path in armed.items()},
        failures_examined=sum(sum(path.effects.values()) for path in every),
        releasing_failures=sum(map(releasing_failures, every)),
        releasing_pairs=sum(map(releasing_pairs, every)),
        events_examined=len(model.events),
        silence_after_release=silence(model, armed, delays),
    )


def left_after_event(model: Model) -> Count:
    """Return how many barriers the worst event leaves, by hazard and step of the ground."""
    events = model._replace(failures=common_failures(model))
    return {
        f"{hazard}, {step.name}": fewest_left(path_of(events, step, hazard), 1)
        for hazard in HAZARDS
        for step in model.steps
        if step.phase == "ground"
    }


def silence(
    model: Model, armed: Mapping[str, EnergyPath], delays: Annotated[Mapping[str, float], Unit("s")]
) -> s:
    """Return the time from the last release to the first emission with the worst two failures.

    Zero where a pair releases the transmitter at a step before. The last step of the model is the
    one in which barriers open the way by themselves; the last of those that are left ends it.

    Raises:
        ValueError: a barrier of that step has no delay among those given.
    """
    if any(fewest_left(path, 2) == 0 for path in armed.values()):
        return 0.0
    last = armed[model.steps[-1].name]
    times = {short: model.barriers[short].delay for short in sorted(last.barriers)}
    if unknown := [short for short, delay in times.items() if delay not in delays]:
        raise ValueError(f"barriers.csv: no delay of {', '.join(unknown)}, which needs one")
    ends = [
        reduce(maximum, (delays[times[short]] for short in sorted(left)))
        for left in sorted(barriers_left(last, 2), key=sorted)
    ]
    return reduce(minimum, ends)
