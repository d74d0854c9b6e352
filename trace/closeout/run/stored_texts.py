"""What a run shows, as text and as JSON, from the store where nothing changed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from closeout.run import runs
from closeout.run.options import Options, Progress
from closeout.run.runs import StoredRun
from closeout.snapshot import Snapshot
from closeout.store.database import Store
from closeout.store.keys import key_of

if TYPE_CHECKING:  # loaded where a text has to be made
    from closeout.model.dossier import Dossier, Scale

# Stands in a stored text for the day at which the state is judged; as wide as that, and no text
# that anybody writes.
_DAY = "<~day3e7f>"
_JSON = "json"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is to be shown of a run, and how its text is laid out."""

    text: bool
    json: bool
    colour: bool
    width: int


@dataclass(frozen=True, slots=True)
class ShownRun:
    """What a run shows (empty where it was not wanted), and how many answers it computed.

    ``dossier`` is what it shows, None where not even that was looked at.
    """

    exit_status: int
    text: str
    json: str
    computed: int
    stored: int
    dossier: Dossier | None = None


def shown(
    snapshot: Snapshot,
    store: Store,
    options: Options,
    wanted: Wanted,
    progress: Progress | None = None,
    *,
    whole: bool,
) -> ShownRun:
    """Return what a run of ``verify`` shows of a snapshot; see :func:`closeout.run.runs.judged`.

    Raises:
        UserError: an option names something that the project does not have.
    """
    key = runs.key_of_run(snapshot, store, options, whole=whole)
    run = runs.recall(snapshot, store, key, options)
    if run is not None:
        texts = [store.content("text", _key(run, form)) for form in _forms(wanted)]
        if None not in texts:
            day = run.state.date or ""
            shown = [(content or b"").decode().replace(_DAY, day) for content in texts]
            return _shown(run.exit_status, wanted, shown, 0, run.answers)
    dossier = None if run is None else runs.recalled(store, run)
    if dossier is None:
        dossier, run = runs.judged(snapshot, store, options, progress, whole=whole)
    return _made(store, dossier, run, wanted)


def _made(store: Store, dossier: Dossier, run: StoredRun | None, wanted: Wanted) -> ShownRun:
    """Return what a dossier shows, and keep that beside its run."""
    scale, day = dossier.scale, dossier.snapshot.date or ""
    undated = replace(dossier, snapshot=replace(dossier.snapshot, date=_DAY))
    texts = []
    for form in _forms(wanted):
        text = _text(undated, form)
        texts.append(text.replace(_DAY, day))
        if run is not None:
            if form == _JSON and scale.evaluated:
                text = _text(replace(undated, scale=_from_store(dossier)), form)
            store.put_content("text", _key(run, form), text.encode(), runs.ROOM)
    found = _shown(dossier.exit_status, wanted, texts, scale.evaluated, scale.from_store)
    return replace(found, dossier=dossier)


def _from_store(dossier: Dossier) -> Scale:
    scale = dossier.scale
    return replace(scale, evaluated=0, from_store=scale.evaluated + scale.from_store)


# How a text is laid out: as JSON, or with colour or not and so many columns.
_Form = str | tuple[bool, int]


def _forms(wanted: Wanted) -> list[_Form]:
    text: list[_Form] = [(wanted.colour, wanted.width)] if wanted.text else []
    return [*text, _JSON] if wanted.json else text


def _text(dossier: Dossier, form: _Form) -> str:
    if isinstance(form, str):
        from closeout.render.jsonform import dossier_json

        return dossier_json(dossier)
    from closeout.render.terminal import verify_text

    colour, width = form
    return verify_text(dossier, colour=colour, width=width)


def _key(run: StoredRun, form: _Form) -> str:
    state = run.state
    about = (state.kind, state.commit, state.dirty, state.untracked, run.redated)
    return key_of(run.id, about, form)


def _shown(status: int, wanted: Wanted, texts: list[str], computed: int, stored: int) -> ShownRun:
    json = texts.pop() if wanted.json else ""
    return ShownRun(status, texts[0] if wanted.text else "", json, computed, stored)
