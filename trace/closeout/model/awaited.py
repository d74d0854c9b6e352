"""A measured input without a number: no record of it is in force."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Awaited:
    """An input by its name, and why it has no number: what is against the record that gives it.

    ``rebuilt`` are the articles whose new build is all that is against it.
    """

    name: str
    reason: str
    record: str
    rebuilt: tuple[str, ...] = ()
