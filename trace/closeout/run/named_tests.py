"""Tests that analyses name as their validation: a file, or a function of it."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from dataclasses import dataclass

from closeout.evaluate.validation import TEST_LIMIT, Progress, StoredResults, run_tests
from closeout.model.question import AnalysisSpec
from closeout.model.validation import NamedTest, Tested, Validation
from closeout.run.options import Options
from closeout.snapshot import Snapshot
from closeout.store.database import Store


def is_there(named: str, snapshot: Snapshot) -> bool:
    """Return whether a test is there: file.py, file.py::function or file.py::Class::function.

    The file is not run: a name counts that it defines.
    """
    path, *names = named.split("::")
    if snapshot.digest(path) is None:
        return False
    if not names:
        return True
    try:
        text = snapshot.read(path).decode("utf-8", "replace")
    except OSError:
        return False
    return all(_defines(text, name) for name in names)


def looked_at(named: str) -> tuple[str, str]:
    """Return what :func:`is_there` rests on: whether there is a file, or what stands in it."""
    path, *names = named.split("::")
    return ("file" if names else "kind"), path


@dataclass(frozen=True, slots=True)
class Validations:
    """What is known of the tests of analyses; ``certain`` is False where one did not end."""

    of: tuple[Validation, ...]
    certain: bool


def validations(
    specs: Iterable[AnalysisSpec],
    judged: Collection[str],
    snapshot: Snapshot,
    store: Store,
    options: Options,
    limit: float | None,
    progress: Progress | None,
) -> Validations:
    """Return what is known of the tests that analyses name, run first where that is asked for.

    Args:
        judged: names of the analyses whose tests are run
        limit: processor time of one test in s, None for the usual
    """
    specs = list(specs)
    results = StoredResults(snapshot, store)
    known = results.all()
    certain = True
    if options.validate:
        named = dict.fromkeys(t for s in specs if s.name in judged for t in s.validated_by)
        wanted = [t for t in named if t not in known and snapshot.digest(t.partition("::")[0])]
        known |= run_tests(wanted, snapshot, results, options.jobs, limit or TEST_LIMIT, progress)
        certain = known.keys() <= results.all().keys()
    known = {**results.failed_before(), **known}
    of = (
        Validation(spec.name, tuple(known.get(t) or _named(t, snapshot) for t in spec.validated_by))
        for spec in specs
    )
    return Validations(tuple(of), certain)


def known_validations(
    specs: Iterable[AnalysisSpec], snapshot: Snapshot, store: Store
) -> tuple[Validation, ...]:
    """Return what is known of the tests that analyses name, without running one."""
    return validations(specs, (), snapshot, store, Options(), None, None).of


def _named(test: str, snapshot: Snapshot) -> NamedTest:
    absent = snapshot.digest(test.partition("::")[0]) is None
    return NamedTest(test, Tested.NAMED, "it does not exist" if absent else None)


def _defines(text: str, name: str) -> bool:
    plain = re.escape(name.partition("[")[0])  # without the case of a parametrized test
    return re.search(rf"^\s*(?:async\s+def|def|class)\s+{plain}\b", text, re.MULTILINE) is not None
