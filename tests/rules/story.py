"""A project with a history: states that are committed on given days, and the present one."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterable
from pathlib import Path

from closeout.graph import Index
from closeout.load import load
from closeout.model.history import History
from closeout.model.problem import Finding
from closeout.rules import Context, apply, check_rules
from closeout.rules.history.past import history_of
from closeout.snapshot import open_tree, past_of
from tests.graph.projects import UNITS
from tests.load.memory import Store
from tests.rules.examples import CHARTER, HOME

FILE = "requirements/a.yaml"

# Rules over one state alone are the matter of other tests.
OF_CHANGES = frozenset(
    {
        "issue-not-raised",
        "judged-before-change",
        "source-not-raised",
        "document-raised",
        "identifier-reused",
        "failed-record-deleted",
    }
)


class Story:
    """A repository with a project in it."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(exist_ok=True)
        self.folder = folder
        self.store = Store()
        self.git("init", "--quiet", "--initial-branch=main")
        self.write({HOME: CHARTER})

    def git(self, *arguments: str, day: str = "2026-01-01") -> str:
        when = f"{day}T12:00:00+0000"
        environment = {**os.environ, "GIT_AUTHOR_DATE": when, "GIT_COMMITTER_DATE": when}
        done = subprocess.run(
            ["git", *arguments],
            cwd=self.folder,
            check=True,
            capture_output=True,
            text=True,
            env=environment,
        )
        return done.stdout.strip()

    def write(self, text: str | dict[str, str | None]) -> None:
        """Write files, or the one; None takes a file away."""
        for path, content in (text if isinstance(text, dict) else {FILE: text}).items():
            target = self.folder / path
            target.parent.mkdir(parents=True, exist_ok=True)
            if content is None:
                target.unlink()
            else:
                target.write_text(content, "utf-8")

    def commit(
        self, text: str | dict[str, str | None] | None = None, day: str = "2026-01-01"
    ) -> None:
        if text is not None:
            self.write(text)
        self.git("add", "--all")
        self.git("commit", "--quiet", "--no-verify", "--allow-empty", "--message", "x", day=day)

    def history(self) -> tuple[Index, History | None]:
        snapshot = open_tree(self.folder)
        loaded = load(snapshot, self.store)
        assert loaded.project is not None, loaded.problems
        past = past_of(snapshot)
        index = Index.of(loaded.project, [], loaded.left_out)
        if past is None:
            return index, None
        day = snapshot.dated.day()
        return index, history_of(past, snapshot, loaded.project, loaded.left_out, self.store, day)

    def findings(self, rules: Iterable[str] = OF_CHANGES) -> list[Finding]:
        index, history = self.history()
        found = check_rules(index, UNITS, Context(history=history))
        kept = apply(found, index).findings
        return [finding for finding in kept if finding.rule in set(rules)]

    def rules(self) -> list[str]:
        return sorted(finding.rule for finding in self.findings())
