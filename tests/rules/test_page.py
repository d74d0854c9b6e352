"""The form of a rule's page: what the reader takes, what it refuses, and what is marked."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from closeout.model.problem import Severity
from closeout.render.page_of_rule import page_text
from closeout.rules.catalogue import RULES, Pages
from closeout.rules.page import PageError, rule_of
from closeout.rules.rule import Block, Mark, Rule

PAGE = """\
# lamp-off

- kind: standard
- severity: warning

## What it says

a lamp is
off

## Why

It is dark.

## Source

common practice, no source

## Breaks it

### Before

```yaml requirements/lamp.yaml
lamp: on

# it «burns»
```

### After

```yaml requirements/lamp.yaml
lamp: «off»
```

```python analyses/lamp.py
```

## Keeps it

```shell
touch «lamp.yaml»; ls «now»
```
"""


def test_a_page_is_read() -> None:
    rule = rule_of("lamp-off", PAGE)
    assert (rule.kind, rule.severity, rule.adjustable) == ("standard", Severity.WARNING, True)
    assert (rule.title, rule.why) == ("a lamp is off", "It is dark.")
    before, after = rule.breaks.states
    path = "requirements/lamp.yaml"
    assert (before.when, after.when) == ("Before", "After")
    assert before.blocks == (Block("yaml", path, "lamp: on\n\n# it burns\n", (Mark(2, 5, 10),)),)
    module = Block("python", "analyses/lamp.py", "")
    assert after.blocks == (Block("yaml", path, "lamp: off\n", (Mark(0, 6, 9),)), module)
    (alone,) = rule.keeps.states
    text, marks = "touch lamp.yaml; ls now\n", (Mark(0, 6, 15), Mark(0, 20, 23))
    assert (alone.when, alone.blocks) == ("", (Block("shell", "", text, marks),))


def test_what_is_marked_is_shown_below_and_is_no_part_of_the_example() -> None:
    page = page_text(rule_of("lamp-off", PAGE), 80)
    assert "    lamp: off\n          ^^^\n" in page
    assert "    $ touch lamp.yaml; ls now\n            ^^^^^^^^^     ^^^\n" in page
    assert "«" not in page


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("# lamp-off", "# lamp-on", "lamp-off.md:1: it begins with '# lamp-off'"),
        ("## Source\n", "## Origin\n", "lamp-off.md:15: unknown heading 'Origin'"),
        ("## Source\n", "", "'## Source' is missing"),
        ("## Why\n", "## Source\n", "'## Why' is missing"),
        ("## Why\n", "## Why\n\nBecause.\n\n## Why\n", "'## Why' is there twice"),
        ("It is dark.", "", "lamp-off.md:11: '## Why' says nothing"),
        ("It is dark.", "```yaml\n```", "lamp-off.md:11: '## Why' has no block"),
        ("- kind: standard\n", "", "'- kind:' is one of form, trace"),
        ("kind: standard", "kind: taste", "'- kind:' is one of form, trace"),
        ("severity: warning", "severity: note", "'- severity:' is one of error, warning"),
        ("- severity", "* severity", "lamp-off.md:4: '- kind:' and '- severity:' are missing"),
        ("### After", "### Later", "states begin with '### Before' and end with '### After'"),
        ("### Before\n", "", "lamp-off.md:22: the text above '### Before' belongs to no state"),
        ("```shell\n", "Run:\n\n```shell\n", "lamp-off.md:40: an example is blocks alone"),
        ("now»\n```\n", "now»\n", "lamp-off.md:40: the block that begins here has no end"),
        ("ls «now»", "ls «now", "lamp-off.md:41: each « has its »"),
        ("ls «now»", "ls «»", "lamp-off.md:41: each « has its »"),
        ("```python analyses/lamp.py\n```\n", "### Then\n", "'### Before' and end with"),
        ("ls «now»\n```\n", "ls\n```\n\n## See also\n", "unknown heading 'See also'"),
        (PAGE[PAGE.index("```shell") :], "", "there is no block below this heading"),
    ],
)  # fmt: skip
def test_a_page_of_another_form_is_refused(old: str, new: str, said: str) -> None:
    assert old in PAGE
    with pytest.raises(PageError) as refused:
        rule_of("lamp-off", PAGE.replace(old, new, 1))
    assert said in str(refused.value)


def test_parts_stand_in_one_order() -> None:
    why, source = PAGE.index("## Why"), PAGE.index("## Source")
    turned = PAGE[:why] + PAGE[source : PAGE.index("## Breaks")] + PAGE[why:source]
    with pytest.raises(PageError, match="have this order: What it says, Why"):
        rule_of("lamp-off", turned + PAGE[PAGE.index("## Breaks") :])


def _aligned(rule: Rule) -> Iterator[tuple[Block, Block]]:
    """Yield the blocks that both examples have: of the last states, and back from there."""
    both = zip(reversed(rule.breaks.states), reversed(rule.keeps.states), strict=False)
    for breaks, keeps in both:
        others = {(block.language, block.path): block for block in keeps.blocks}
        for block in breaks.blocks:
            other = others.get((block.language, block.path))
            if other is not None:
                yield block, other


def _unmarked(block: Block) -> str:
    """Return what is not marked of a block, without blanks."""
    lines = block.text.splitlines()
    for mark in reversed(block.marks):
        lines[mark.line] = lines[mark.line][: mark.start] + lines[mark.line][mark.end :]
    return "".join("".join(lines).split())


@pytest.mark.parametrize("rule", RULES.values(), ids=lambda rule: rule.name)
def test_what_is_marked_is_all_in_which_the_two_examples_differ(rule: Rule) -> None:
    pairs = list(_aligned(rule))
    for breaks, keeps in pairs:
        assert _unmarked(breaks) == _unmarked(keeps)
        assert bool(breaks.marks or keeps.marks) == (breaks.text != keeps.text)
    more = len(rule.breaks.states[-1].blocks) != len(rule.keeps.states[-1].blocks)
    assert more or any(breaks.marks or keeps.marks for breaks, keeps in pairs)


def test_a_name_is_looked_up_and_never_a_path(tmp_path: Path) -> None:
    (tmp_path / "pages").mkdir()
    (tmp_path / "pages/lamp-off.md").write_text(PAGE, "utf-8")
    (tmp_path / "other.md").write_text(PAGE, "utf-8")
    pages = Pages(tmp_path / "pages")
    assert list(pages) == ["lamp-off"]
    assert pages["lamp-off"] == rule_of("lamp-off", PAGE)
    for name in ("../other", "lamp-on", ""):
        assert name not in pages
        assert pages.get(name) is None


def test_a_page_is_read_only_where_it_is_asked_for() -> None:
    code = (
        "import sys, pathlib\n"
        "from closeout.rules.catalogue import RULES\n"
        "read = []\n"
        "sys.addaudithook(lambda event, args: event == 'open' and read.append(str(args[0])))\n"
        "assert len(RULES) > 100 and 'cycle' in RULES\n"
        "assert RULES['cycle'].kind == 'trace'\n"
        "print(sorted(pathlib.Path(path).name for path in read if path.endswith('.md')))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert done.stdout.strip() == "['cycle.md']"
