"""A whole run of ``verify`` from the store: where nothing changed, not even the YAML is read.

A run is known by the bytes of every YAML and Python file, by what was asked, and by everything
that its answers rested on. Its texts are what :mod:`closeout.render` made of its dossier.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING

from closeout.evaluate.validation import KeptResults
from closeout.evaluate.witness import Witness, read_trace
from closeout.run.days import day_of, is_late, is_redated
from closeout.run.options import Options
from closeout.snapshot import Snapshot
from closeout.store.database import Store
from closeout.store.keys import engine_fingerprint, key_of

if TYPE_CHECKING:  # the pipeline is loaded where something has to be judged anew
    from closeout.run.pipeline import Outcome

READ_WHOLE = (".yaml", ".yml", ".py")
# Answers are kept for long; of whole runs, which take more room, only the last few.
RUNS_KEPT = 24
# Stands in a kept text for the day at which the state is judged; as wide as that, and no text that
# anybody writes.
_DAY = "<~day3e7f>"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is to be shown of a run, and how its text is laid out."""

    text: bool
    json: bool
    colour: bool
    width: int


@dataclass(frozen=True, slots=True)
class ShownRun:
    """What a run shows (empty where it was not wanted), and how many answers it computed."""

    exit_status: int
    text: str
    json: str
    computed: int
    stored: int


def recall(
    snapshot: Snapshot, store: Store, key: str, options: Options, wanted: Wanted
) -> ShownRun | None:
    """Return the run of a key that is kept and still true in everything, or None.

    It is true at another day too, while no date in the project lies between.
    """
    text = store.get("run", key)
    run = None if text is None else json.loads(text)
    if run is None or not Witness(snapshot).holds(trace := read_trace(run["trace"])):
        return None
    day = day_of(snapshot, options, trace)
    begins, ends = run["holds"]
    inside = (begins is None or begins <= day) and (ends is None or day < ends)
    if not inside or run["redated"] != is_redated(snapshot, options, trace):
        return None
    shown = store.get("text", _text_key(run["id"], wanted)) if wanted.text else ""
    dossier = store.get("dossier", run["id"]) if wanted.json else ""
    if shown is None or dossier is None:
        return None
    shown, dossier = (text.replace(_DAY, day) for text in (shown, dossier))
    return ShownRun(run["exit_status"], shown, dossier, 0, run["answers"])


def keep(store: Store, key: str, wanted: Wanted, outcome: Outcome) -> ShownRun:
    """Return a new run, and keep what it shows under its key where it can be recalled."""
    from closeout.render.jsonform import dossier_json
    from closeout.render.terminal import verify_text

    dossier, scale = outcome.dossier, outcome.dossier.scale
    day = dossier.snapshot.date or ""
    dossier = replace(dossier, snapshot=replace(dossier.snapshot, date=_DAY))
    text = verify_text(dossier, colour=wanted.colour, width=wanted.width) if wanted.text else ""
    shown = dossier_json(dossier) if wanted.json else ""
    # What could not be read may be read the next time, under the same key.
    unreadable = any(problem.rule == "unreadable" for problem in dossier.problems)
    if outcome.rested_on is not None and not unreadable:
        name = key_of(key, outcome.rested_on)
        answers = scale.evaluated + scale.from_store
        run = {
            "id": name,
            "exit_status": dossier.exit_status,
            "answers": answers,
            "holds": outcome.holds,
            "redated": dossier.redated,
        }
        if wanted.text:
            store.put("text", _text_key(name, wanted), text, RUNS_KEPT)
        if wanted.json:
            again = replace(dossier, scale=replace(scale, evaluated=0, from_store=answers))
            stored = dossier_json(again) if scale.evaluated else shown
            store.put("dossier", name, stored, RUNS_KEPT)
        store.put("run", key, json.dumps({**run, "trace": outcome.rested_on}), RUNS_KEPT)
    text, shown = (made.replace(_DAY, day) for made in (text, shown))
    return ShownRun(dossier.exit_status, text, shown, scale.evaluated, scale.from_store)


def key_of_run(snapshot: Snapshot, store: Store, options: Options) -> str:
    """Return what a run is known by: every YAML and Python file, and what was asked.

    And what is kept of the tests of its analyses, which rests on the whole state.
    """
    files = tuple(
        (path, snapshot.digest(path))
        for path in snapshot.files()
        if path.endswith(READ_WHOLE)
    )  # fmt: skip
    identity = snapshot.identity
    # Of the day only what it says of the commit's; what it makes planned is asked of the run.
    asked = (
        options.review, options.settings, options.only, options.validate,
        is_late(snapshot, options), KeptResults(snapshot, store).text,
    )  # fmt: skip
    told = tuple(tuple(str(value) for value in asdict(p).values()) for p in snapshot.problems())
    return key_of(
        engine_fingerprint(), "run", asked, files, told,
        identity.kind, identity.commit, identity.dirty,
    )  # fmt: skip


def _text_key(name: str, wanted: Wanted) -> str:
    return key_of(name, wanted.colour, wanted.width)
