"""What the items of a file are worth: their form by schema, their content by reading them.

An item in which something is wrong is left out; the rest stays. Of the project section, of which
there is but one, such keys are left out.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import chain
from typing import Any, cast

from closeout.load.criteria import SPREAD, Item, Reader
from closeout.load.file_problems import MOST_PROBLEMS, first, problem
from closeout.load.forms import SECTIONS, allows, validator
from closeout.load.items import READERS
from closeout.load.parse import Parsed
from closeout.load.places import Place, find
from closeout.load.refused_form import findings_of, nearest
from closeout.model.problem import Finding, Pointer, Problem

Step = str | int
Sections = dict[str, dict[Step, Any]]


class SchemasDiffer(Exception):
    """The compiled schema refuses what jsonschema allows: a fault of the tool, not of the file."""


@dataclass(slots=True)
class Checked:
    """The items of a file by section and step, the problems that were found in them, the rest.

    ``left_out`` are the identifiers of the items that are left out, earlier ones too. A section
    that was given is there, also without items; the project section holds its keys.
    """

    sections: Sections = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)

    def leave_out(self, section: str, step: Step) -> None:
        """Take an item out, if it is still there; what it was called before is not lost either."""
        item = self.sections.get(section, {}).pop(step, None)
        name = item.get("id") if isinstance(item, dict) else None
        if section == "parameters":
            name = step
        if item is not None and isinstance(name, str):
            self.left_out.append(str(name))
            earlier = item.get("formerly", ()) if isinstance(item, dict) else ()
            names = [earlier] if isinstance(earlier, str) else earlier
            if isinstance(names, list):
                self.left_out += [str(one) for one in names if isinstance(one, str)]


def checked_form(document: Parsed) -> Checked:
    """Return the items of a file of the right form, and what is wrong with the rest."""
    result = Checked()
    if document.value is None or document.value == "":
        return result
    if not isinstance(document.value, dict):
        message = "a project file contains sections, as requirements: or parameters:"
        cure = "begin it with one of: " + ", ".join(SECTIONS)
        result.problems.append(problem("wrong-type", *find(document.node, ()), message, cure))
        return result
    refused = {(one.line, one.column) for one in document.problems}
    for section, value in document.value.items():
        if len(result.problems) > MOST_PROBLEMS:
            break
        if section not in SECTIONS:
            place = find(document.node, (section,), key=True)
            message = f"unknown key '{section[:64]}' at the top of a project file"
            result.problems.append(
                problem("unknown-key", *place, message, nearest(section, SECTIONS))
            )
            continue
        result.sections[section] = _items(section, value)
        if not allows(section)(value):
            _refuse_form(result, document, section, refused)
    _leave_out_refused(result, document)
    return result


def _items(section: str, value: Any) -> dict[Step, Any]:
    """Return the items of a section by step; none where it is of the wrong type."""
    if section in ("project", "parameters"):
        return dict(value) if isinstance(value, dict) else {}
    return dict(enumerate(value)) if isinstance(value, list) else {}


def _refuse_form(result: Checked, document: Parsed, section: str, refused: set[Place]) -> None:
    """Say what is wrong with a section, item by item, and leave those items out."""
    most = MOST_PROBLEMS + 1 - len(result.problems)
    found = first(_form_findings(section, document.value[section]), most)
    for one in (_placed(finding, document) for finding in found):
        if (one.line, one.column) not in refused:
            result.problems.append(one)
    for slice_step, part in _slices(section, document.value[section]):
        if slice_step is not None and not allows(section)(part):
            _look_into(result, document, section, slice_step)
            result.leave_out(section, slice_step)
    if section == "project":
        for finding in found:
            if len(finding.where.steps) > 1:
                result.leave_out(section, finding.where.steps[1])


def _placed(finding: Finding, document: Parsed, above: tuple[Step, ...] = ()) -> Problem:
    """Return a finding, whose steps begin below others, at its line and column."""
    steps = (*above, *finding.where.steps)
    place = find(document.node, steps, key=finding.at_key)
    return problem(finding.rule, *place, finding.message, finding.cure)


def _look_into(result: Checked, document: Parsed, section: str, step: Step) -> None:
    """Say what else is wrong in the parts that are of good form in an item that is not."""
    reader = Reader()
    item = result.sections[section][step]
    if not isinstance(item, dict):
        return
    if section == "requirements" and isinstance(item.get("verification"), list):
        allowed = allows(section, "items", "properties", "verification", "items")
        for number, part in enumerate(item["verification"]):
            if allowed(part):
                reader.criterion(part, ("verification", number))
    elif section == "waivers" and item.get("accepts"):
        if allows(section, "items", "properties", "accepts")(item["accepts"]):
            reader.limits(item["accepts"], ("accepts",))
    elif section == "parameters":
        of_spread = {key: item[key] for key in SPREAD if key in item}
        above = (section, "additionalProperties", "properties")
        if all(allows(*above, key)(value) for key, value in of_spread.items()):
            reader.spread(of_spread)
        if not item.keys() & {"value", "from", "estimate"}:
            reader.value({})
    result.problems += [_placed(one, document, (section, step)) for one in reader.findings]


def _slices(section: str, value: Any) -> Iterator[tuple[Step | None, Any]]:
    """Yield the section with one of its items at a time, so that each is judged by itself."""
    items = _items(section, value)
    if section == "project" or not items:
        yield None, value
    elif section == "parameters":
        yield from ((name, {name: item}) for name, item in items.items())
    else:
        yield from ((number, [item]) for number, item in items.items())


def _form_findings(section: str, value: Any) -> Iterator[Finding]:
    for step, part in _slices(section, value):
        if allows(section)(part):
            continue
        errors = iter(validator(section).iter_errors(part))
        one = next(errors, None)
        if one is None:
            # Left out without a word, the item would be lost.
            raise SchemasDiffer(
                f"{section}, item {step}: refused as compiled, allowed by jsonschema"
            )
        for error in chain((one,), errors):
            if step is not None and error.absolute_path:
                yield from findings_of(error, (section, step), 1)
            else:
                yield from findings_of(error, (section,))


def _leave_out_refused(result: Checked, document: Parsed) -> None:
    """Leave out the items inside which the YAML itself was refused."""
    if not document.problems:
        return
    starts: list[tuple[Place, str, Step | None]] = []
    for section, value in document.value.items():
        starts.append((find(document.node, (section,), key=True), section, None))
        for step in _items(section, value):
            starts.append((find(document.node, (section, step), key=True), section, step))
    starts.sort(key=lambda start: start[0])
    places = [start[0] for start in starts]
    for one in document.problems:
        at = bisect_right(places, (one.line, one.column)) - 1
        if at >= 0:
            _place, section, nearest_step = starts[at]
            if nearest_step is not None:
                result.leave_out(section, nearest_step)


def read_items(path: str, sections: Sections, reader: Reader) -> Iterator[tuple[str, Step, Any]]:
    """Yield section, step and typed record of each item; the reader collects what is wrong."""
    for section, items in sections.items():
        read = READERS[section]
        if section == "project":
            if "name" in items:
                yield section, "", read(cast("Item", items), Pointer(path, (section,)), reader)
            continue
        for step, item in items.items():
            yield section, step, read(item, Pointer(path, (section, step)), reader)


def leave_out_unreadable(result: Checked, document: Parsed) -> None:
    """Leave out the items whose content is not in order, and say why."""
    reader = Reader()
    unreadable: list[tuple[str, Step]] = []
    for section, step, _record in read_items("", result.sections, reader):
        above: tuple[Step, ...] = (section,) if section == "project" else (section, step)
        for finding in reader.findings:
            result.problems.append(_placed(finding, document, above))
            unreadable.append((section, finding.where.steps[0] if section == "project" else step))
        reader.findings.clear()
    for section, step in unreadable:
        result.leave_out(section, step)
