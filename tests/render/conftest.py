"""Dossiers for the tests of the output; see ``dossiers.py``."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from closeout.model.dossier import Dossier
from closeout.model.identity import SnapshotIdentity
from tests.render import dossiers

KINDS: dict[str, Callable[[], Dossier]] = {
    "usual": dossiers.gannet,
    "nasty": dossiers.nasty,
    "empty": dossiers.empty,
    "what-if": lambda: dossiers.gannet(settings=(("sleep_current", "130 uA"),)),
    "dirty": lambda: dossiers.gannet(snapshot=SnapshotIdentity("tree", "a" * 40, True)),
    "no git, no review": lambda: dossiers.gannet(
        snapshot=SnapshotIdentity("tree", None, None), review=None, reviews=()
    ),
}


@pytest.fixture(params=KINDS, ids=list(KINDS))
def any_dossier(request: pytest.FixtureRequest) -> Dossier:
    return KINDS[request.param]()


@pytest.fixture
def gannet() -> Dossier:
    return dossiers.gannet()


@pytest.fixture
def nasty() -> Dossier:
    return dossiers.nasty()
