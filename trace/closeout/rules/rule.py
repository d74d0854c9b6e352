"""A rule: its name, where it comes from, and an example that breaks it and one that keeps it."""

from __future__ import annotations

from dataclasses import dataclass

from closeout.model.problem import Severity

KINDS = ("form", "trace", "unit", "standard", "wording")
ADJUSTABLE = ("standard", "wording")


@dataclass(frozen=True, slots=True)
class Rule:
    """What ``closeout lint --rule NAME`` tells of a rule.

    ``kind`` is form, trace, unit, standard or wording; only the last two can be switched off or
    raised by the project's policy. ``clause`` is the standard and its clause, or that there is no
    source. ``breaks`` and ``keeps`` are short pieces of a project's YAML.
    """

    name: str
    kind: str
    severity: Severity
    title: str
    clause: str
    why: str
    breaks: str
    keeps: str

    @property
    def adjustable(self) -> bool:
        """Whether a project's policy may switch it off, or make it an error or a warning."""
        return self.kind in ADJUSTABLE
