"""Pages of the rules about identifiers that were renamed."""

from __future__ import annotations

from functools import partial

from closeout.model.problem import Severity
from closeout.rules.rule import Rule

_29148 = "ISO/IEC/IEEE 29148:2011, 5.2.8: identifiers never change and are never reused"
_trace = partial(Rule, kind="trace", severity=Severity.ERROR, clause=_29148)
_standard = partial(Rule, kind="standard", severity=Severity.WARNING, clause=_29148)


def _items(*items: str) -> str:
    """Return requirements, each of an identifier and what else is said of it."""
    return "requirements:\n" + "".join(
        f"  - id: {item}\n    title: Label\n"
        f"    statement: The {number} battery shall carry a label.\n"
        "    verification: [{method: inspection, stage: acceptance, review: AR}]\n"
        for number, item in zip(("first", "second"), items, strict=False)
    )


_OLD, _NEW = _items("PWR-012"), _items("PWR-020\n    formerly: PWR-012")

RULES = (
    _trace(
        name="formerly-in-use",
        title="an item was formerly called what an item is called today",
        why="What git holds under that identifier would be said of both. formerly: carries a rename"
        " through the history, and the old identifier is left to old documents.",
        breaks=_items("PWR-020\n    formerly: PWR-012", "PWR-012"),
        keeps=f"# before\n{_OLD}# after\n{_NEW}",
    ),
    _trace(
        name="formerly-shared",
        title="two items were formerly the same",
        why="What git holds under that identifier can be said of one. A requirement that is split"
        " goes on in one of its parts, and the others are new.",
        breaks=_items("PWR-020\n    formerly: PWR-012", "PWR-021\n    formerly: PWR-012"),
        keeps=f"# before\n{_OLD}# after\n" + _items("PWR-020\n    formerly: PWR-012", "PWR-021"),
    ),
    _standard(
        name="formerly-unknown",
        title="an item was formerly called what no commit holds",
        why="A spelling mistake carries nothing through the history, and what stood under the"
        " right identifier is told as lost. It is told only where the whole history is here.",
        breaks=f"# before\n{_OLD}# after\n" + _NEW.replace(": PWR-012", ": PWR-021"),
        keeps=f"# before\n{_OLD}# after\n{_NEW}",
    ),
    _standard(
        name="formerly-beside",
        title="an item was formerly called what stood beside it",
        why="A rename is made in one commit. Two that stood there together were two, and what one"
        " of them said is not made good by the other; so the name counts for nothing.",
        breaks="# before\n" + _items("PWR-012", "PWR-020") + f"# after\n{_NEW}",
        keeps=f"# before\n{_OLD}# after\n{_NEW}",
    ),
)  # fmt: skip
