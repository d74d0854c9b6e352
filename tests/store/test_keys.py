"""Keys tell values of different types and shapes apart; digests are those of the standard."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from itertools import combinations
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from closeout.store.keys import digest_of, digest_of_file, dist_infos, key_of, search_path

# Pairs that a careless encoding runs together: joined texts, str() of values, hash() of -1 and -2.
APART: list[tuple[object, ...]] = [
    (1, 23), (12, 3), (123,), ("1", "23"), ("12", "3"), ("1", 23), (("1", "23"),),
    (1,), (1.0,), (True,), ("1",), (b"1",), ("True",), ("1.0",), (-1,), (-2,), (0,), (False,),
    (0.0,), (-0.0,), (None,), ("None",), ("",), (b"",), (), ((),), ((), ()), (((),),), (1, (2, 3)),
    ((1, 2), 3), ("a", "b"), ("a,b",), ("ab",), ("a\0b",), (float("inf"),), (float("nan"),),
    ("s1:a",), ("é",), ("e\u0301",), ("\udcff",), (b"\xff",), ("\xff",), (2**64,), (2.0**64,),
]  # fmt: skip


def test_different_values_have_different_keys() -> None:
    for one, other in combinations(APART, 2):
        assert key_of(*one) != key_of(*other), (one, other)


def test_the_same_values_have_the_same_key() -> None:
    for values in APART:
        assert key_of(*values) == key_of(*values)
    assert key_of(0.1 + 0.2) != key_of(0.3)


@given(st.lists(st.text()), st.lists(st.text()))
def test_lists_of_texts_are_distinguished(one: list[str], other: list[str]) -> None:
    assert (key_of(*one) == key_of(*other)) is (one == other)


@pytest.mark.parametrize("value", [object(), {1}, {"a": 1}, 1j])
def test_what_has_no_key_is_refused(value: object) -> None:
    with pytest.raises(TypeError, match="no key can be made"):
        key_of(value)


@given(st.binary(max_size=4096))
def test_digests_are_blake2b(content: bytes) -> None:
    """RFC 7693; the standard library's hashlib as the reference."""
    assert digest_of(content) == hashlib.blake2b(content, digest_size=32).hexdigest()


def test_digest_of_a_file(tmp_path: Path) -> None:
    place = tmp_path / "f"
    content = os.urandom(3_000_000)
    place.write_bytes(content)
    assert digest_of_file(str(place)) == hashlib.blake2b(content, digest_size=32).hexdigest()
    os.mkfifo(tmp_path / "fifo")
    assert digest_of_file(str(tmp_path / "fifo")) is None  # and does not wait for a writer
    assert digest_of_file(str(tmp_path)) is None
    assert digest_of_file(str(tmp_path / "absent")) is None


def test_a_key_is_the_same_in_every_process() -> None:
    code = "from closeout.store.keys import key_of; print(key_of('a', 1.5, (None, True)))"
    for seed in ("1", "2"):
        done = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True,
            env={**os.environ, "PYTHONHASHSEED": seed},
        )  # fmt: skip
        assert done.stdout.strip() == key_of("a", 1.5, (None, True))


def test_installed_distributions_are_those_of_the_standard_library() -> None:
    from importlib.metadata import distributions

    found = {name: os.path.basename(folder) for name, folder in dist_infos().items()}
    expected = {}
    for one in distributions(path=search_path()):
        name = one.metadata["Name"].lower().replace("_", "-").replace(".", "-")
        expected.setdefault(name, one.version)
    assert set(expected) == set(found)
    for name, folder in found.items():
        assert folder.endswith(f"-{expected[name]}.dist-info")
