"""The documents in a real browser, on a phone, in a narrow window and on a screen."""

from __future__ import annotations

import pytest

from tests.documents.survey import SIZES, Seen
from tests.documents.told import none

WIDTHS = pytest.mark.parametrize("width", [str(width) for width in SIZES])


def test_there_are_documents(seen: dict[str, Seen]) -> None:
    assert "index.html" in seen
    assert all(one.title and one.heading for one in seen.values())


def test_no_barrier_to_any_reader(seen: dict[str, Seen]) -> None:
    """The rules of WCAG 2.0, levels A and AA, and the best practice that axe-core knows."""
    none({name: one.barriers for name, one in seen.items()})


@WIDTHS
def test_nothing_is_cut(seen: dict[str, Seen], width: str) -> None:
    none({name: one.cut[width] for name, one in seen.items()})


@pytest.mark.parametrize("width", ["800", "1280"])
def test_nothing_but_code_is_scrolled_sideways(seen: dict[str, Seen], width: str) -> None:
    none({name: one.sideways[width] for name, one in seen.items()})


@WIDTHS
def test_heads_of_long_tables_stay_in_sight(seen: dict[str, Seen], width: str) -> None:
    none({name: one.headless[width] for name, one in seen.items()})


def test_nothing_is_requested(seen: dict[str, Seen]) -> None:
    none({name: one.requests for name, one in seen.items()})


def test_nothing_could_run(seen: dict[str, Seen]) -> None:
    none({name: one.scripts for name, one in seen.items()})
