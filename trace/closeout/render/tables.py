"""Tables of text for a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from closeout.render.plain import columns as width_of
from closeout.render.plain import pad
from closeout.render.terminal import wrap


def table(
    head: tuple[str, ...], body: Sequence[tuple[str, ...]], indent: int, width: int
) -> Iterator[str]:
    """Yield aligned columns, nothing where there is no row.

    The last column goes below the rows where it would not fit beside them.
    """
    if not body:
        return
    widths = [max(map(width_of, column)) for column in zip(head, *body, strict=True)]
    start = indent + sum(widths[:-1]) + 2 * (len(widths) - 1)
    beside = start + widths[-1] <= max(width, start + 12)
    for row in (head, *body):
        shown = [pad(text, wide) for text, wide in zip(row[:-1], widths, strict=False)]
        shown += [row[-1]] if beside else []
        yield (" " * indent + "  ".join(shown)).rstrip()
        if not beside and row is not head:
            yield from wrap(row[-1], width, indent + 2)
