"""Pages of rules, and the list of their titles."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from closeout.render.plain import fenced, markdown
from closeout.render.terminal import wrap
from closeout.rules.rule import KINDS, SHELL, Block, Example, Rule

_ONE_LINE = 1 << 30
_KINDS = {
    "form": "form of the files",
    "trace": "references between items",
    "unit": "units and dimensions",
    "standard": "verification standards",
    "wording": "wording of requirements",
}


def page_text(rule: Rule, width: int) -> str:
    """Return the page of a rule: what it asks for, why, and an example either way.

    What is changed in an example has carets in the line below.
    """
    lines = [
        f"{rule.name}: {rule.title}",
        f"  rule of {rule.kind} ({_KINDS[rule.kind]}); {rule.severity.value}",
        *wrap(f"source: {rule.source}", width, 2),
        "",
        *wrap(rule.why, width, 2),
        "",
        "  not compliant:",
        *_example(rule.breaks),
        "",
        "  compliant:",
        *_example(rule.keeps),
        "",
        *_switch(rule, width),
    ]
    return "\n".join(lines) + "\n"


def page_markdown(rule: Rule) -> str:
    """Return the same page in Markdown, for a program that shows it."""
    lines = [
        f"# {rule.name}",
        "",
        markdown(rule.title),
        "",
        f"Rule of {rule.kind} ({_KINDS[rule.kind]}); {rule.severity.value}. Source:"
        f" {markdown(rule.source)}",
        "",
        markdown(rule.why),
        "",
        "## Not compliant",
        *_in_markdown(rule.breaks),
        "",
        "## Compliant",
        *_in_markdown(rule.keeps),
        "",
        "## In a project",
        "",
        *_switch_in_markdown(rule),
    ]
    return "\n".join(lines) + "\n"


def _in_markdown(example: Example) -> Iterator[str]:
    for state in example.states:
        if state.when:
            yield from ("", f"### {state.when}")
        for block in state.blocks:
            if block.path:
                yield from ("", f"`{block.path}`:")
            yield from ("", fenced(block.text, block.language))


def _switch_in_markdown(rule: Rule) -> Iterator[str]:
    first, *lines = (line.removeprefix("  ") for line in _switch(rule, _ONE_LINE))
    yield first
    if lines:
        yield from ("", fenced("\n".join(lines[:-1]), "yaml"), "", markdown(lines[-1]))


def _example(example: Example) -> Iterator[str]:
    for state in example.states:
        if state.when:
            yield f"    # {state.when.lower()}"
        for block in state.blocks:
            if block.path:
                yield f"    # file: {block.path}"
            yield from (f"    {line}".rstrip() for line in _block(block))


def _block(block: Block) -> Iterator[str]:
    sign = "$ " if block.language == SHELL else ""
    for number, line in enumerate(block.text.splitlines()):
        yield sign + line
        marks = [mark for mark in block.marks if mark.line == number]
        if marks:
            width = max(mark.end for mark in marks)
            under = (
                "^" if any(m.start <= at < m.end for m in marks) else " " for at in range(width)
            )
            yield " " * len(sign) + "".join(under)


def _switch(rule: Rule, width: int) -> Iterator[str]:
    if not rule.adjustable:
        yield from wrap("It applies to every project and cannot be switched off.", width, 2)
        return
    yield "  Switch it off, or make it an error, in requirements/project.yaml:"
    yield "    project:"
    yield "      policy:"
    yield f"        rules: {{{rule.name}: {{severity: off, reason: ...}}}}   # or warning, error"
    yield from wrap(
        "For some items only: for: [PWR-020]; for one issue only: for: [PWR-020 issue B].",
        width,
        2,
    )


def titles_text(rules: Iterable[Rule], width: int) -> str:
    """Return every rule with its title, by kind, in the order of the alphabet."""
    known = list(rules)
    wide = max(len(rule.name) for rule in known)
    lines: list[str] = []
    for kind in KINDS:
        some = [rule for rule in known if rule.kind == kind]
        if some:
            lines += [*([""] if lines else []), f"Rules of {kind}: {_KINDS[kind]}"]
        for rule in some:
            first, *rest = wrap(rule.title, max(width - wide - 4, 30))
            lines.append(f"  {rule.name:{wide}}  {first}")
            lines += [f"{'':{wide + 4}}{line.strip()}" for line in rest]
    return "\n".join([*lines, "", "closeout lint --rule NAME prints the page of one."]) + "\n"
