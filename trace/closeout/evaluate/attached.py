"""Figures and files that hang on an analysis, made in its own process."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Mapping
from typing import Any

from closeout import Analysis
from closeout.evaluate.describe import BadResult
from closeout.model.attachment import Made

_FILE_NAME = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_.-]{0,99}")


def drawn(analysis: Analysis[..., Any], kind: str, name: str, inputs: Mapping[str, float]) -> Made:
    """Return what a figure or an artifact makes of the inputs.

    Raises:
        BadResult: it returned something that is no figure, or no files.
    """
    functions: list[Callable[..., Any]] = (
        analysis.figures if kind == "figure" else analysis.artifacts
    )
    function = next(one for one in functions if one.__name__ == name)
    code = function.__code__
    wanted = code.co_varnames[: code.co_argcount + code.co_kwonlyargcount]
    made = function(**{name: inputs[name] for name in wanted})
    files = {f"{name}.svg": _svg(made)} if kind == "figure" else _files(name, made)
    return Made(tuple(files.items()))


def _svg(made: Any) -> bytes:
    """Return a figure as SVG that is the same each time: no date, fixed identifiers."""
    if isinstance(made, str) and "<svg" in made:
        return made.encode()
    if not hasattr(made, "savefig"):
        raise BadResult(f"a figure is a matplotlib Figure or the text of an SVG, not {made!r:.100}")
    import matplotlib  # type: ignore[import-not-found,unused-ignore]

    with matplotlib.rc_context({"svg.hashsalt": "closeout", "svg.fonttype": "path"}):
        text = io.StringIO()
        made.savefig(text, format="svg", metadata={"Date": None, "Creator": None})
    return text.getvalue().encode()


def _files(name: str, made: Any) -> dict[str, bytes]:
    if not isinstance(made, Mapping) or not made:
        raise BadResult(f"{name} returned no mapping from file name to content")
    files = {}
    for file, content in made.items():
        if not isinstance(file, str) or not _FILE_NAME.fullmatch(file):
            raise BadResult(f"{name} names a file {file!r:.100}; use letters, digits, _, - and .")
        if not isinstance(content, (str, bytes)):
            raise BadResult(f"{name}: the content of {file} is {type(content).__name__}, no text")
        files[file] = content.encode() if isinstance(content, str) else content
    return files
