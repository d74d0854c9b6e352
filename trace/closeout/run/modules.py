"""What modules of analyses say that cannot be used."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from closeout.evaluate.engine import Module
from closeout.model.problem import Finding, Pointer, Severity
from closeout.snapshot import Snapshot, SnapshotError


def unusable(modules: Iterable[Module], snapshot: Snapshot) -> Iterator[str]:
    """Yield the names of analyses that exist but cannot be used, which is reported already.

    Of a module that cannot be imported these are all functions at the top of its text.
    """
    for module in modules:
        for function, _ in module.failures:
            names = [function] if function is not None else _functions(module.path, snapshot)
            for name in names:
                yield name
                yield f"{module.name.removeprefix('analyses.')}.{name}"


def _functions(path: str, snapshot: Snapshot) -> list[str]:
    try:
        text = snapshot.read(path).decode("utf-8", "replace")
    except (OSError, SnapshotError):
        return []
    return re.findall(r"(?m)^(?:async +)?def +(\w+)", text)


def module_findings(modules: Iterable[Module]) -> Iterator[Finding]:
    """Yield what keeps modules from being imported, and functions from being analyses."""
    for module in modules:
        for function, failure in module.failures:
            path, line = failure.path or module.path, failure.line or 1
            if function is None:
                rule, text = "analysis-import", f"{module.name} cannot be imported"
                cure = failure.traceback or "correct the import"
            else:
                rule, text = "analysis-signature", f"{function} cannot be used as an analysis"
                cure = "give each argument and each field of the result a unit"
            message = f"{text}: {failure.message}"
            yield Finding(rule, Severity.ERROR, Pointer(path, (line,)), message, cure)
