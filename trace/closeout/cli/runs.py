"""A whole run of ``verify`` from the store: where nothing changed, not even the YAML is read.

A run is known by the bytes of every YAML and Python file, by what was asked, and by everything
that its answers rested on. Its texts are what :mod:`closeout.render` made of its dossier.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, replace

from closeout.cli.pipeline import Options, Outcome
from closeout.evaluate.witness import Witness, read_trace
from closeout.model.dossier import Dossier
from closeout.snapshot import Snapshot
from closeout.store.database import Store
from closeout.store.keys import engine_fingerprint, key_of

READ_WHOLE = (".yaml", ".yml", ".py")


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is to be shown of a run, and how its text is laid out."""

    text: bool
    json: bool
    colour: bool
    width: int


@dataclass(frozen=True, slots=True)
class ShownRun:
    """What a run shows; empty where it was not wanted."""

    exit_status: int
    text: str
    json: str


def recall(snapshot: Snapshot, store: Store, options: Options, wanted: Wanted) -> ShownRun | None:
    """Return a run that is kept and still true in everything, or None."""
    key = _key(snapshot, options)
    kept = store.traces([key]).get(key, [])
    witness = Witness(snapshot)
    for text in kept:
        run = json.loads(text)
        if witness.holds(read_trace(run["trace"])):
            shown = store.get("text", _text_key(run["id"], wanted)) if wanted.text else ""
            dossier = store.get("dossier", run["id"]) if wanted.json else ""
            if shown is None or dossier is None:
                return None
            return ShownRun(run["exit_status"], shown, dossier)
    return None


def keep(
    snapshot: Snapshot, store: Store, options: Options, wanted: Wanted, outcome: Outcome
) -> ShownRun:
    """Return a new run, and keep what it shows where it can be recalled."""
    from closeout.render.jsonform import dossier_json
    from closeout.render.terminal import verify_text

    def show(dossier: Dossier) -> ShownRun:
        return ShownRun(
            dossier.exit_status,
            verify_text(dossier, colour=wanted.colour, width=wanted.width) if wanted.text else "",
            dossier_json(dossier) if wanted.json else "",
        )

    if outcome.rested_on is not None:
        again = show(_from_store(outcome.dossier))
        key = _key(snapshot, options)
        name = key_of(key, outcome.rested_on)
        run = {"id": name, "exit_status": again.exit_status, "trace": outcome.rested_on}
        if wanted.text:
            store.put("text", _text_key(name, wanted), again.text)
        if wanted.json:
            store.put("dossier", name, again.json)
        store.keep_traces([(key, name, json.dumps(run))])
    return show(outcome.dossier)


def _from_store(dossier: Dossier) -> Dossier:
    """Return the dossier as the next run would make it, every answer coming from the store."""
    scale = dossier.scale
    stored = scale.evaluated + scale.from_store
    return replace(
        dossier,
        scale=replace(scale, evaluated=0, from_store=stored),
        evaluations=tuple(replace(one, from_store=True) for one in dossier.evaluations),
    )


def _key(snapshot: Snapshot, options: Options) -> str:
    files = tuple(
        (path, snapshot.digest(path))
        for path in snapshot.files()
        if path.endswith(READ_WHOLE)
    )  # fmt: skip
    identity = snapshot.identity
    asked = (options.review, options.settings, options.only)
    told = tuple(tuple(str(value) for value in asdict(p).values()) for p in snapshot.problems())
    return key_of(
        engine_fingerprint(), "run", asked, files, told,
        identity.kind, identity.commit, identity.dirty,
    )  # fmt: skip


def _text_key(name: str, wanted: Wanted) -> str:
    return key_of(name, wanted.colour, wanted.width)
