"""A waiver and the day from which a flight article exists: before it, it is a deviation.

ECSS-S-ST-00-01C: a deviation departs from a requirement prior to the production of a product, a
waiver after it. Everything in the projects is invented.
"""

from __future__ import annotations

import pytest

from closeout.rules import Context
from closeout.rules.dated import dated
from tests.graph.projects import build, requirement, requirements

WAIVER = (
    "waivers: [{id: W-1, kind: waiver, requirement: R-1, accepts: {quantity: x, at_least: 1 W},"
    " approved_by: board, date: 2026-05-04}]\n"
)
TEST = "method: test, quantity: x, at_least: 3 W"


def told(more: str, waiver: str = WAIVER) -> list[str]:
    """Return the messages of the rule for a project with a waiver of 4 May 2026."""
    built = build(requirements(requirement("R-1", TEST)) + waiver + more)
    return [f.message for f in dated(built.index, Context()) if f.rule == "waiver-before-article"]


def articles(*items: str) -> str:
    rows = "".join(f"  - {{id: A-{n}, title: Unit, {one}}}\n" for n, one in enumerate(items))
    return f"articles:\n{rows}"


FLIGHT = "model: flight, build: FM-1"
TESTED = "records: [{id: T-1, method: test, date: %s, article: {A-0: FM-1}, outcome: met}]\n"


@pytest.mark.parametrize(
    ("more", "said"),
    [
        # A date decides, or the first record about the article, or the earlier of the two.
        (articles(f"{FLIGHT}, date: 2026-05-04"), None),
        (articles(f"{FLIGHT}, date: 2026-05-05"), "exists since 2026-05-05"),
        (articles(FLIGHT) + TESTED % "2026-05-01", None),
        (articles(FLIGHT) + TESTED % "2026-06-01", "exists since 2026-06-01"),
        (articles(f"{FLIGHT}, date: 2026-07-01") + TESTED % "2026-05-01", None),
        (articles(FLIGHT), "its date is not given"),
        # Any article that flies will do; one that does not, will not.
        (articles("model: protoflight, date: 2026-01-01"), None),
        (articles(FLIGHT, f"{FLIGHT}, date: 2026-01-01"), None),
        (articles("model: qualification, date: 2026-01-01"), "the project has none"),
        (articles("model: engineering, build: EM-1") + TESTED % "2026-01-01", "has none"),
        ("", None),  # a project that keeps no list of them
    ],
)
def test_a_waiver_needs_a_flight_article(more: str, said: str | None) -> None:
    messages = told(more)
    assert len(messages) == (said is not None)
    if said is not None:
        assert messages[0].startswith("W-1 is dated 2026-05-04, before any flight article")
        assert said in messages[0]
        assert told(more, WAIVER.replace("kind: waiver", "kind: deviation")) == []
        # One that is not given yet may still become what it should be.
        assert told(more, WAIVER.replace(", date: 2026-05-04", "")) == []
