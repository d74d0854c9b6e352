"""Models of articles and the stages of a verification that each may close.

ECSS-E-ST-10-02C Rev.1, 5.2.4: qualification speaks of the design, acceptance and what follows of
the article itself.
"""

from __future__ import annotations

QUALIFICATION = "qualification"
# Models that differ from the flight article in more than their number.
ANALOGUES = ("development", "engineering")
FLOWN = ("flight", "protoflight")


def speaks_of_the_article(stage: str | None) -> bool:
    """Return whether a stage is about the flight article itself: acceptance, and all later ones."""
    return stage not in (None, QUALIFICATION)
