"""What was read once is known by its content; the result is the same in every way."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from closeout.load import load
from closeout.load.file_facts import key
from tests.load.memory import Memory, Store
from tests.load.test_records import CHARTER, EVIDENCE, PARAMETERS, REQUIREMENTS

BAD = "documents:\n  - {id: LSB, titel: t}\n  - {id: OK, title: 010}\n  - &x {id: Q, title: t}\n"
CONTENTS: dict[str, str | bytes] = {
    "requirements/project.yaml": CHARTER,
    "requirements/power.yaml": REQUIREMENTS,
    "requirements/evidence.yaml": EVIDENCE,
    "analyses/parameters.yaml": PARAMETERS,
    "requirements/bad.yaml": BAD,
    "requirements/broken.yaml": "documents: [\n",
}


def test_the_same_comes_from_the_cache_and_no_file_is_read() -> None:
    store = Store()
    plain = load(Memory(CONTENTS))
    first = load(Memory(CONTENTS), store)
    files = Memory(CONTENTS)
    second = load(files, store)
    assert plain == first == second
    assert repr(plain) == repr(second)
    assert files.reads == []
    assert len(store) == len(CONTENTS)
    assert {p.rule for p in second.problems} == {
        "unknown-key",
        "missing-key",
        "yaml-anchor",
        "yaml-syntax",
    }


def test_same_content_elsewhere_has_its_own_places() -> None:
    store = Store()
    load(Memory(CONTENTS), store)
    moved = {path.replace("requirements/", "requirements/x/"): c for path, c in CONTENTS.items()}
    assert load(Memory(moved), store) == load(Memory(moved))


def test_changed_content_is_read_again() -> None:
    store = Store()
    load(Memory(CONTENTS), store)
    files = Memory({**CONTENTS, "requirements/bad.yaml": BAD.replace("titel", "title")})
    loaded = load(files, store)
    assert files.reads == ["requirements/bad.yaml"]
    assert loaded.project is not None
    assert [d.id for d in loaded.project.documents] == ["LSB", "OK", "LSA"]


@pytest.mark.parametrize(
    "text",
    ["", "{", "null", "[]", "[1,2,3,4]", '[{"x":[[0],[1]]},[],[],true]', "[" * 100_000,
     '[{"documents":[[0],[]]},[],[],true]', '[{"documents":[[0],[{"id":"A"}]]},[],[],true]',
     '[{"parameters":[["a"],[{"value":"x"}]]},[],[],true]', '[{},[[1]],[],true]', '"\\ud800'],
)  # fmt: skip
def test_a_text_that_cannot_be_used_is_a_miss(text: str) -> None:
    good = load(Memory(CONTENTS))
    files = Memory(CONTENTS)
    store = Store({key(files.digest(path) or ""): text for path in CONTENTS})
    assert load(files, store) == good
    assert load(Memory(CONTENTS), store) == good


def test_what_is_kept_is_plain_json_and_belongs_to_this_loader() -> None:
    store = Store()
    load(Memory(CONTENTS), store)
    for name, text in store.items():
        json.loads(text)
        assert "requirements/" not in text.replace("requirements/project.yaml", "")
        assert name.startswith("load:")
    assert len({name.split(":")[1] for name in store}) == 1


def test_a_store_that_takes_many_at_once_is_given_many() -> None:
    class Batch(Store):
        batches = 0

        def put_many(self, items: list[tuple[str, str]]) -> None:
            self.batches += 1
            self.update(items)

    store = Batch()
    load(Memory(CONTENTS), store)
    load(Memory(CONTENTS), store)
    assert (store.batches, len(store)) == (1, len(CONTENTS))


def test_full_cache_needs_neither_parser_nor_validator() -> None:
    script = """
import json, sys
from tests.load.memory import Memory, Store
from closeout.load import load
contents, texts = json.loads(sys.stdin.read())
loaded = load(Memory(contents), Store(texts))
print(len(loaded.project.requirements), len(loaded.problems))
print([name for name in ("yaml", "jsonschema", "referencing", "networkx", "numpy")
       if name in sys.modules])
"""
    store = Store()
    loaded = load(Memory(CONTENTS), store)
    done = subprocess.run(
        [sys.executable, "-c", script],
        input=json.dumps([CONTENTS, store]),
        capture_output=True,
        text=True,
        timeout=20,
        check=True,
        cwd=Path(__file__).parents[2],
    )
    assert done.stdout == f"2 {len(loaded.problems)}\n[]\n"
