"""How a check of documents fails: with all that is wrong, a line for each, and no trace of code."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pytest


def none(wrong: Mapping[str, Sequence[str]]) -> None:
    """Fail if anything is wrong in any document."""
    lines = [f"{name}: {text}" for name, texts in wrong.items() for text in texts]
    if lines:
        pytest.fail("\n".join(lines), pytrace=False)
