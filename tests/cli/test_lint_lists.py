"""``lint --units`` and ``lint --keys``: what an author may write, printed from what is enforced."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

import closeout.units
from closeout.load.forms import SECTIONS, section_schema, validator
from closeout.load.scalars import Plain, is_no_string
from closeout.render.keys import keys_text
from closeout.render.units import units_text
from tests.cli.project import Project, make

README = Path(__file__).parents[2] / "README.md"


@pytest.fixture(scope="module")
def nowhere(tmp_path_factory: pytest.TempPathFactory) -> Project:
    """A folder that is no project: a list of the tool's own needs none."""
    return Project(tmp_path_factory.mktemp("nowhere"))


def test_units_lists_symbols_prefixes_levels_and_the_names_that_an_author_imports(nowhere):
    run = nowhere.run("lint", "--units")
    assert (run.status, run.stderr) == (0, "")
    # SI Brochure, 9th edition, tables 2 to 8: the metre, the henry as Wb/A, milli as 10^-3.
    assert re.search(r"^  m +metre +base unit of length", run.stdout, re.MULTILINE)
    assert re.search(r"^  H +henry +weber / ampere", run.stdout, re.MULTILINE)
    assert re.search(r"^  m +milli +10\^-3$", run.stdout, re.MULTILINE)
    # IEC 80000-13: kibi is 1024, two to the tenth.
    assert re.search(r"^  Ki +kibi +2\^10$", run.stdout, re.MULTILINE)
    assert re.search(r"^  dBm +level to 1 mW$", run.stdout, re.MULTILINE)
    assert "  K_per_s " in run.stdout
    assert re.search(r"\bper_K +1/K\b", run.stdout)
    names = {name for name in vars(closeout.units) if not name.startswith("_")}
    names -= {"Annotated", "NamedTuple", "Unit", "annotations"}
    assert names - set(re.split(r"\s+", run.stdout)) == set()


@pytest.mark.parametrize("width", [80, 100])
def test_a_list_keeps_to_the_width_but_for_what_has_no_break(width: int) -> None:
    keys = keys_text({one: section_schema(one) for one in SECTIONS}, (), width)
    for line in [*units_text(100).splitlines(), *keys.splitlines()]:
        is_example = ": " in line and "# " not in line
        assert len(line) <= (width if line in keys else 100) or is_example, line


def test_what_the_readme_shows_can_be_imported(tmp_path: Path) -> None:
    snippet = re.search(r"```python\n(from .*?)```", README.read_text("utf-8"), re.DOTALL)
    assert snippet is not None
    assert "per_K" in snippet[1]
    project = make(tmp_path / "project")
    project.write({"analyses/lamp.py": f'{snippet[1]}    """\n    return LampTime(1.0, 1.0)\n'})
    run = project.run("lint")
    assert "analysis-import" not in run.stdout
    assert "analysis-signature" not in run.stdout


def _keys(schema: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Yield the path of every key that a schema names."""
    for name, part in schema.get("properties", {}).items():
        yield (*path, name)
        yield from _keys(part, (*path, name))
    for part in (schema.get("items"), schema.get("additionalProperties"), *schema.get("oneOf", ())):
        if isinstance(part, dict):
            yield from _keys(part, path)


@pytest.mark.parametrize("section", SECTIONS)
def test_keys_has_every_key_of_the_schema_and_each_is_written_as_a_file_holds_it(nowhere, section):
    run = nowhere.run("lint", "--keys")
    assert (run.status, run.stderr) == (0, "")
    part = re.search(rf"^{section}:.*?(?=^\w|\Z)", run.stdout, re.MULTILINE | re.DOTALL)
    assert part is not None
    written = re.findall(r"(?:^ *(?:- )?|[{,] ?)([\w*'.-]+):(?= |$)", part[0], re.MULTILINE)
    assert {path[-1] for path in _keys(section_schema(section))} - set(written) == set()
    for loader in (_First, yaml.BaseLoader):  # which keeps the last way to write a key
        value = _plain(yaml.load(part[0], Loader=loader)[section])
        assert [error.message for error in validator(section).iter_errors(value)] == []


class _First(yaml.BaseLoader):
    """Keeps the first of the ways to write a key."""

    def construct_mapping(self, node: Any, deep: bool = False) -> Any:
        node.value.reverse()
        return super().construct_mapping(node, deep)


def _plain(value: Any) -> Any:
    """Return what was read, with the scalars told by their text, as the loader tells them."""
    if isinstance(value, dict):
        return {key: _plain(part) for key, part in value.items()}
    if isinstance(value, list):
        return [_plain(part) for part in value]
    return Plain(value) if is_no_string(value) else value
