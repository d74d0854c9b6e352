"""What is wrong with a project, collected while questions are made."""

from __future__ import annotations

from closeout.graph.new_findings import error
from closeout.model.awaited import Awaited
from closeout.model.problem import Finding, Pointer


class Collected:
    """Findings so far, and the messages about the verification that is looked at.

    ``messages`` are those of findings, and of what other rules report already; ``pending`` are
    inputs that have no number yet although nothing is wrong.
    """

    def __init__(self) -> None:
        self.findings: list[Finding] = []
        self.messages: list[str] = []
        self.pending: list[Awaited] = []

    def begin(self) -> None:
        """Look at the next verification, of which nothing is wrong so far."""
        self.messages = []
        self.pending = []

    def message(self) -> str:
        """Return all that is wrong with the verification in one text."""
        return "; ".join(dict.fromkeys(self.messages))

    def found(self, finding: Finding) -> None:
        """Take a finding about the verification."""
        self.findings.append(finding)
        self.messages.append(finding.message)

    def wrong(self, rule: str, where: Pointer, message: str, cure: str) -> None:
        """Take an error about the verification."""
        self.found(error(rule, where, message, cure))
