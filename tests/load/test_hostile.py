"""Files made to break the reader: no crash, no traceback, no long wait, always a problem.

Each runs in a process of its own, because a stack that overflows in C takes the process with it.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

RUN = """
import sys, pathlib
from closeout.load import load

class Folder:
    def __init__(self, root): self.root = pathlib.Path(root)
    def files(self): return ("requirements/a.yaml", "requirements/project.yaml")
    def read(self, path): return (self.root / path).read_bytes()
    def digest(self, path): return None

loaded = load(Folder(sys.argv[1]))
for problem in loaded.problems:
    print(problem.rule, problem.path, problem.line, problem.column)
assert loaded.project is not None
"""
DEEP = 20_000
BOMB = "a: &a [x]\n" + "".join(
    f"{chr(98 + n)}: &{chr(98 + n)} [{', '.join(['*' + chr(97 + n)] * 9)}]\n" for n in range(20)
)
ITEM = "requirements:\n- id: A\n  title: t\n  statement: s\n  verification:\n"
CASES = {
    "tag that calls": (b"documents: !!python/object/apply:os.system ['touch it']\n", "yaml-tag"),
    "tag that imports": (b"documents: !!python/name:os.system\n", "yaml-tag"),
    "alias bomb": (BOMB.encode(), "yaml-alias"),
    "alias to itself": (b"documents: &a [*a]\n", "yaml-alias"),
    "deep flow lists": (b"[" * DEEP, "too-deep"),
    "deep flow lists, closed": (b"[" * DEEP + b"]" * DEEP, "too-deep"),
    "deep flow mappings": (b"{a: " * DEEP, "too-deep"),
    "deep flow keys": (b"{? " * DEEP, "too-deep"),
    "deep lists in a line": (b"- " * DEEP + b"x\n", "too-deep"),
    "deep keys in a line": (b"? " * DEEP + b"x\n", "too-deep"),
    "deep block": (b"".join(b" " * n + b"a:\n" for n in range(2000)), "too-deep"),
    "deep anchors": (b"&a " * DEEP, "yaml-syntax"),
    "many anchors": (b"".join(b"a%d: &a\n" % n for n in range(100_000)), "yaml-anchor"),
    "many documents": (b"%YAML 1.2\n---\n...\n" * 20_000, "yaml-directive"),
    "many unknown keys": (b"".join(b"k%d: 1\n" % n for n in range(100_000)), "unknown-key"),
    "many bad items": (b"documents:\n" + b"- {id: 1}\n" * 20_000, "missing-key"),
    "many controls": (b"documents: []\n#" + b"\x01" * 1_000_000, "control-character"),
    "binary": (bytes(range(256)) * 100, "encoding"),
    "zeros": (b"\0" * 100_000, "control-character"),
    "utf-16": ("documents: []\n".encode("utf-16"), "encoding"),
    "terminal controls": (b"documents: []\n# \x1b]0;title\x07\n", "control-character"),
    "huge exponent": (f"{ITEM}  - {{at_least: 1e999999999 W}}\n".encode(), "bad-amount"),
    "huge number": (f"{ITEM}  - {{at_least: {'9' * 1_000_000}}}\n".encode(), "not-allowed"),
    "expression": (f"{ITEM}  - {{at_least: 9**9**9**9 W}}\n".encode(), "bad-amount"),
    "call": (f"{ITEM}  - {{at_least: \"__import__('os')\"}}\n".encode(), "bad-amount"),
    "long blank amount": (
        f"{ITEM}  - {{at_least: '1{' ' * 1_000_000}x'}}\n".encode(),
        "not-allowed",
    ),
    "long measured": (
        f"records: [{{id: A, method: test, measured: {{q: '{'1 ' * 1_000_000}'}}}}]".encode(),
        "not-allowed",
    ),
    "long hexadecimal": (
        f"{ITEM}  - {{basis: {{probability: 0x{'f' * 100_000}}}}}\n".encode(),
        "missing-key",
    ),
    "long key": (b"? " + b"k" * 1_000_000 + b"\n: 1\n", "unknown-key"),
    "long identifier": (
        b"documents: [{title: t, id: " + b"a" * 1_000_000 + b"}]",
        "bad-identifier",
    ),
    "surrogate": (b'documents: "\\ud800"\n', "yaml-syntax"),
}


@pytest.mark.parametrize("name", CASES)
def test_is_refused_in_time(name: str, tmp_path: Path) -> None:
    data, rule = CASES[name]
    (tmp_path / "requirements").mkdir()
    (tmp_path / "requirements/a.yaml").write_bytes(data)
    (tmp_path / "requirements/project.yaml").write_text("project: {name: N}\n")
    done = subprocess.run(
        [sys.executable, "-c", RUN, str(tmp_path)],
        capture_output=True,
        text=True,
        timeout=20,
        check=False,
        cwd=tmp_path,
    )
    assert done.stderr == ""
    assert done.returncode == 0
    problems = [line.split() for line in done.stdout.splitlines()]
    assert rule in {problem[0] for problem in problems}
    assert {problem[1] for problem in problems} == {"requirements/a.yaml"}
    assert len(problems) <= 1001
    assert sorted(path.name for path in tmp_path.iterdir()) == ["requirements"]


def test_pyyaml_without_libyaml_is_refused_by_one_problem() -> None:
    script = (
        "import sys; sys.modules['yaml._yaml'] = None\n"
        "from tests.load.memory import load_text\n"
        "loaded = load_text('documents: []')\n"
        "print(loaded.project, [(p.rule, 'libyaml' in p.cure) for p in loaded.problems])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        timeout=20,
        check=False,
        cwd=Path(__file__).parents[2],
    )
    assert (done.stdout, done.stderr) == ("None [('no-libyaml', True)]\n", "")
