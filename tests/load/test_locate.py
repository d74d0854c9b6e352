"""Later findings get the line and column of what they point at."""

from __future__ import annotations

import pytest

from closeout.load import locate
from closeout.model.problem import Finding, Pointer, Severity
from tests.load.memory import Memory

TEXT = """\
# power
requirements:
  - id: A
    title: é t
    derived_from: [S1,  S2]
    statement: >-
      long
    verification:
      - method: test
        quantity: q
parameters:
  a: {value: 3}
"""
PATH = "requirements/power.yaml"


@pytest.mark.parametrize(
    ("steps", "place"),
    [
        ((), (1, 1)),
        (("requirements",), (2, 1)),
        (("requirements", 0), (3, 5)),
        (("requirements", 0, "id"), (3, 9)),
        (("requirements", 0, "title"), (4, 12)),
        (("requirements", 0, "derived_from"), (5, 5)),
        (("requirements", 0, "derived_from", 1), (5, 25)),
        (("requirements", 0, "statement"), (6, 16)),
        (("requirements", 0, "verification"), (8, 5)),
        (("requirements", 0, "verification", 0), (9, 9)),
        (("requirements", 0, "verification", 0, "quantity"), (10, 19)),
        (("parameters", "a"), (12, 3)),
        (("parameters", "a", "value"), (12, 14)),
        # What is not there is placed at the last value that is reached.
        (("requirements", 0, "rationale"), (3, 5)),
        (("requirements", 0, "verification", 0, "at_least"), (9, 9)),
        (("requirements", 0, "verification", 7), (8, 5)),
        (("requirements", 5, "id"), (2, 1)),
        (("parameters", "a", "tolerance"), (12, 3)),
        (("waivers", 0), (1, 1)),
        (("requirements", 0, "id", "x"), (3, 9)),
    ],
)
def test_place(steps: tuple[str | int, ...], place: tuple[int, int]) -> None:
    finding = Finding("rule", Severity.WARNING, Pointer(PATH, steps), "message", "cure")
    (problem,) = locate(Memory({PATH: TEXT}), [finding])
    if steps == ("waivers", 0):
        place = (2, 1)  # the first line that holds a value
    assert (problem.line, problem.column) == place
    assert (problem.rule, problem.severity, problem.path) == ("rule", Severity.WARNING, PATH)
    assert (problem.message, problem.cure) == ("message", "cure")


def test_a_finding_may_be_of_the_key() -> None:
    where = Pointer(PATH, ("requirements", 0, "title"))
    value, key = (
        Finding("rule", Severity.ERROR, where, f"of the key: {at_key}", "cure", at_key=at_key)
        for at_key in (False, True)
    )
    found = {p.message: (p.line, p.column) for p in locate(Memory({PATH: TEXT}), [value, key])}
    assert found == {"of the key: False": (4, 12), "of the key: True": (4, 5)}


def test_each_file_is_read_once_and_problems_are_in_order() -> None:
    files = Memory({PATH: TEXT, "requirements/b.yaml": TEXT})
    findings = [
        Finding("r", Severity.ERROR, Pointer(path, steps), f"m{number}", "c")
        for number, (path, steps) in enumerate(
            [
                ("requirements/b.yaml", ("requirements", 0, "title")),
                (PATH, ("requirements", 0, "title")),
                (PATH, ("requirements", 0, "id")),
                ("requirements/b.yaml", ("requirements", 0)),
                (PATH, ()),
            ]
        )
    ]
    problems = locate(files, findings)
    assert [p.message for p in problems] == ["m3", "m0", "m4", "m2", "m1"]
    assert sorted(files.reads) == ["requirements/b.yaml", PATH]


@pytest.mark.parametrize(
    ("path", "data"),
    [
        ("requirements/gone.yaml", None),
        ("analyses/a.py", b"x = 1\n"),
        ("requirements/documents/a.md", b"# x\n"),
        ("requirements/a.yaml", b"\xff\xfe\x00"),
        ("requirements/a.yaml", b"[" * 20_000),
        ("requirements/a.yaml", b""),
    ],
)
def test_pointer_into_what_is_no_yaml(path: str, data: bytes | None) -> None:
    files = Memory({} if data is None else {path: data})
    finding = Finding("r", Severity.ERROR, Pointer(path, ("requirements", 0)), "m", "c")
    (problem,) = locate(files, [finding])
    assert (problem.line, problem.column) == (1, 1)
