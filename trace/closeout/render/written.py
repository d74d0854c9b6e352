"""What is said once a package is written: what there is of it, and what is missing in it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import groupby

from closeout.model.dossier import Dossier, Evidence, State
from closeout.render import trail, words
from closeout.render.plain import count, safe
from closeout.render.terminal import wrap

# So many identifiers are named; the open points have all of them.
NAMED = 6
_UNITS = ("B", "kB", "MB", "GB")


def written_text(dossier: Dossier, folder: str, files: Mapping[str, bytes], width: int) -> str:
    """Return how many documents were written where, then what is missing or not final in them.

    ``files`` are those of the package, by path. A document is a page, whatever forms it has.
    """
    pages = sum(path.endswith(".html") for path in files)
    size = _size(sum(map(len, files.values())))
    review = f" for {safe(dossier.review)}" if dossier.review else ""
    wrote = (
        f"wrote {safe(folder)}: {count(pages, 'document')}{review} in"
        f" {count(len(files), 'file')}, {size}; start with index.html"
    )
    texts = [wrote, *words.banners(dossier), *_missing(dossier)]
    return "\n".join(line for text in texts for line in wrap(text, width)) + "\n"


def _missing(dossier: Dossier) -> Iterator[str]:
    """Yield what is due and not closed by kind, then how much is left for later reviews."""
    found = list(_verifications(dossier))
    due = [(name, state) for name, state, is_due in found if is_due and state is not None]
    loose = trail.loose(dossier)
    shown = {result.id for result in dossier.requirements if result.evidence}
    kinds = [
        _kind("could not be evaluated", [name for name, state in due if state is State.ERROR]),
        _kind(
            "not met without waiver or deviation",
            [name for name, state in due if state is State.NOT_MET],
        ),
        _kind("open", [name for name, state in due if state is State.OPEN]),
        _kind("without verification", sorted(loose - shown)),
        _kind("open for another reason", sorted(loose & shown)),
    ]
    kinds = [kind for kind in kinds if kind]
    if kinds:
        yield f"missing of what is due: {'; '.join(kinds)}; see open-points.html"
    elif dossier.exit_status == 0:
        yield "nothing that is due is missing: everything is met, or under waiver or deviation"
    else:
        yield "not everything could be judged; see closeout verify"
    later = sum(state is not None and not is_due for _, state, is_due in found)
    if later:
        yield f"not yet due and not closed: {count(later, 'verification')}"


def _verifications(dossier: Dossier) -> Iterator[tuple[str, State | None, bool]]:
    """Yield each verification's requirement, its worst state (None: closed), and if it is due."""
    for result in dossier.requirements:
        for _, cases in groupby(result.evidence, lambda entry: entry.number):
            some = list(cases)
            yield result.id, _worst(some), some[0].due


def _worst(cases: Iterable[Evidence]) -> State | None:
    states = {entry.state for entry in cases if not entry.closed}
    return next((s for s in (State.ERROR, State.NOT_MET, State.OPEN) if s in states), None)


def _kind(word: str, names: list[str]) -> str:
    """Return how many are of a kind, and the first of them."""
    if not names:
        return ""
    distinct = list(dict.fromkeys(map(safe, names)))
    more = f" and {len(distinct) - NAMED} more" if len(distinct) > NAMED else ""
    return f"{len(names)} {word} ({', '.join(distinct[:NAMED])}{more})"


def _size(number: int) -> str:
    """Return a number of bytes in decimal multiples (IEC 80000-13), with two digits at least."""
    value, unit = float(number), _UNITS[0]
    for unit in _UNITS:
        if value < 1000.0 or unit == _UNITS[-1]:
            break
        value /= 1000.0
    return f"{value:.0f} {unit}" if value >= 10.0 or unit == "B" else f"{value:.1f} {unit}"
