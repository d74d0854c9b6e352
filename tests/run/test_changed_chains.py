"""Any change below a chain changes what rests on it and nothing else, as a run from nothing says.

Chains are made by hypothesis: what is shared, units, ranges of two quantities, cases, models that
are off, and members that no range can go through.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from closeout.model.dossier import Dossier
from tests.run.chains import Function, evidence, judged, written

# Each example judges three projects; each starts processes.
pytestmark = pytest.mark.slow

ROOTS = ("a", "b", "c")
LINKS = ("{name}.y", "[{name}.y, {name}.z]", "{name}.w, case: North", "{name}.w, cases: all")


@dataclass(frozen=True)
class Member:
    """An analysis: what it takes (roots, and members below by number with a form of link)."""

    roots: tuple[str, ...]
    below: tuple[tuple[int, int], ...]
    unit: str
    taken_in: str
    bends: bool
    off: str
    is_cut: bool
    added: float = 0.0

    def function(self, number: int) -> Function:
        """Return it as a function; ``added`` is what a change of its formula moves."""
        inputs = [*self.roots, *(f"x{number}_{below}" for below, _ in self.below)]
        first = inputs[0]
        cut = "".join(f"{name} = float({name})\n" for name in inputs) if self.is_cut else ""
        y = " + ".join(
            f"{factor} * {name}"
            for factor, name in zip((0.5, -0.25, 2.0, 1.0, 0.75), inputs, strict=False)
        )
        bent = f" + 0.01 * {first} * {inputs[-1]}" if self.bends else ""
        body = (
            f"{cut}y = {y}{bent} + {self.added}\nz = minimum(y, {first}) + 1.0\n"
            'return R(y, z, {"North": y - 0.5, "South": z})'
        )
        mark = f'@analysis(model_uncertainty={{"y": "{self.off}"}})' if self.off else "@analysis"
        takes = dict.fromkeys(inputs, self.taken_in)
        gives = {"y": self.unit, "z": self.unit, "w": f"*{self.unit}"}
        return Function(f"f{number}", takes, gives, body, mark)


@dataclass(frozen=True)
class Made:
    """A project: roots with value and tolerance, and members of which the last is on top."""

    roots: Mapping[str, tuple[float, float]]
    members: tuple[Member, ...]

    def write(self, folder: Path) -> Path:
        lines = [
            f"{name}: {{value: {value!r} m, tolerance: {width!r} m, source: x}}"
            for name, (value, width) in self.roots.items()
        ]
        for number, member in enumerate(self.members):
            for below, link in member.below:
                of = LINKS[link].format(name=f"f{below}")
                lines.append(f"x{number}_{below}: {{from: {of}}}")
        functions = [one.function(number) for number, one in enumerate(self.members)]
        said = [
            f"analysis: f{number}, quantity: y, at_most: {limit} {one.unit}"
            for number, one in enumerate(self.members)
            for limit in ("1e60", "-1e60")
        ]
        return written(folder, "\n".join(lines), functions, said)

    def rests(self, number: int, on: str | int) -> bool:
        """Return whether a member rests on a root, or on another member or itself."""
        member = self.members[number]
        if on in member.roots or on == number:
            return True
        return any(self.rests(below, on) for below, _ in member.below)


@st.composite
def made(draw: Any) -> Made:
    roots = {
        name: (draw(st.sampled_from([1.0, 2.5, 4.0])), draw(st.sampled_from([0.125, 0.5])))
        for name in ROOTS
    }
    members: list[Member] = []
    for number in range(draw(st.integers(2, 4))):
        own = draw(st.lists(st.sampled_from(ROOTS), min_size=1, max_size=2, unique=True))
        candidates = list(range(max(0, number - 2), number))
        chosen = [one for one in candidates if one == number - 1 or draw(st.booleans())]
        forms = [draw(st.integers(0, len(LINKS) - 1)) for _ in chosen]
        members.append(
            Member(
                tuple(own), tuple(zip(chosen, forms, strict=True)),
                draw(st.sampled_from(["m", "cm"])), draw(st.sampled_from(["m", "mm"])),
                draw(st.booleans()), draw(st.sampled_from(["", "", "0.125 m", "10 %"])),
                draw(st.integers(0, 3)) == 0,
            )
        )  # fmt: skip
    return Made(roots, tuple(members))


@st.composite
def changes(draw: Any) -> tuple[Made, Made, str | int]:
    """Return a project, the same with one thing changed, and what that is."""
    one = draw(made())
    if draw(st.booleans()):
        name = draw(st.sampled_from(sorted({r for member in one.members for r in member.roots})))
        value, width = one.roots[name]
        wider = (value, width + 0.25) if draw(st.booleans()) else (value + 0.5, width)
        return one, replace(one, roots={**one.roots, name: wider}), name
    number = draw(st.integers(0, len(one.members) - 1))
    members = list(one.members)
    members[number] = replace(members[number], added=1.0)
    return one, replace(one, members=tuple(members)), number


def verdicts(dossier: Dossier, number: int) -> list[Any]:
    return [evidence(dossier, 2 * number + which) for which in (1, 2)]


@settings(max_examples=4)
@given(changes())
def test_what_rests_on_a_change_is_as_from_nothing_and_the_rest_stays(
    change: tuple[Made, Made, str | int],
) -> None:
    before, after, what = change
    numbers = range(len(before.members))
    resting = [number for number in numbers if before.rests(number, what)]
    # Where every member is a formula each asks one question; a cut one is asked at points too.
    counts = not any(member.is_cut for member in before.members)
    event(f"{len(numbers)} members, {len(resting)} rest on it, cut: {not counts}")
    with TemporaryDirectory() as place:
        folder = before.write(Path(place, "kept"))
        first = judged(folder)
        after.write(folder)
        kept = judged(folder)
        fresh = judged(after.write(Path(place, "fresh")))
        assert judged(folder).scale.evaluated == 0
    for number in numbers:
        assert verdicts(kept, number) == verdicts(fresh, number)
        same = verdicts(kept, number) == verdicts(first, number)
        assert same == (number not in resting)
        met, failed = verdicts(kept, number)
        assert (met.state.value, failed.state.value) == ("met", "not met")
    if counts:
        assert first.scale.evaluated == fresh.scale.evaluated == len(numbers)
        assert kept.scale.evaluated == len(resting)
