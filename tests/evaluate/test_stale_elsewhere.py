"""What an answer rests on outside the project: asked for, behind links, installed, opened in C."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from tests.evaluate.project import Project, module
from tests.evaluate.test_runs import PARAMETERS, install, requirements

Change = Callable[[Path], object]


class Case(NamedTuple):
    """What an analysis does with the folder OUT, and what is changed there meanwhile."""

    body: str
    change: Change
    before: Change = lambda out: (out / "t.csv").write_text("12")
    stored: bool = True


def appears(out: Path) -> None:
    (out / "new.csv").write_text("123")


def turned(out: Path) -> None:
    """Let the link lead to the other folder; both hold what they held."""
    (out / "current").unlink()
    (out / "current").symlink_to("v2")


def two_states(out: Path) -> None:
    for name, text in (("v1", "1"), ("v2", "12")):
        (out / name).mkdir()
        (out / name / "t.csv").write_text(text)
    (out / "current").symlink_to("v1")
    (out / "way").symlink_to("current")


# Matrix Market, "Exchange Formats: Initial Design" (NIST IR 5935), array format, from memory.
MATRIX = "%%MatrixMarket matrix array real general\n1 1\n{}\n"
CASES = {
    "Path.is_file": Case("return R(float(Path(OUT, 'new.csv').is_file()))", appears),
    "Path.exists": Case("return R(float(Path(OUT, 'new.csv').exists()))", appears),
    "os.path.exists": Case("return R(float(os.path.exists(OUT + '/new.csv')))", appears),
    "os.path.lexists": Case("return R(float(os.path.lexists(OUT + '/new.csv')))", appears),
    "os.access": Case("return R(float(os.access(OUT + '/new.csv', os.R_OK)))", appears),
    "in a folder that is absent": Case(
        "return R(float(os.path.isdir(OUT + '/deep/er')))", lambda out: (out / "deep/er").mkdir(
            parents=True)
    ),
    "os.path.getsize": Case(
        "return R(os.path.getsize(OUT + '/t.csv'))", lambda out: (out / "t.csv").write_text("123")
    ),
    "it vanishes": Case(
        "return R(float(Path(OUT, 't.csv').is_file()))", lambda out: (out / "t.csv").unlink()
    ),
    "a glob without a star": Case("return R(len(glob.glob(OUT + '/new.csv')))", appears),
    "a glob": Case("return R(len(glob.glob(OUT + '/*.csv')))", appears, stored=False),
    "Path.glob": Case("return R(len(list(Path(OUT).glob('*.csv'))))", appears, stored=False),
    "a listing": Case("return R(len(os.listdir(OUT)))", appears, stored=False),
    "a folder behind a link": Case(
        "return R(len(open(OUT + '/current/t.csv').read()))", turned, two_states
    ),
    "a folder behind two links": Case(
        "return R(len(open(OUT + '/way/t.csv').read()))", turned, two_states
    ),
    "a link that is only asked for": Case(
        "return R(os.path.getsize(OUT + '/way/t.csv'))", turned, two_states
    ),
    "a working folder behind a link": Case(
        "os.chdir(OUT + '/current')\nreturn R(len(open('t.csv').read()))", turned, two_states
    ),
    "where a link leads": Case(
        "return R(float(os.readlink(OUT + '/current')[-1]))", turned, two_states
    ),
    "whether there is a link": Case(
        "return R(float(Path(OUT, 'link').is_symlink()))",
        lambda out: (out / "link").symlink_to("t.csv"),
    ),
    "a link that leads nowhere appears": Case(
        "return R(float(Path(OUT, 'link').is_symlink()))",
        lambda out: (out / "link").symlink_to("nowhere"),
    ),
    "a link to as many bytes takes the place of a file": Case(
        "return R(float(Path(OUT, 't.csv').is_symlink()))",
        lambda out: ((out / "t.csv").rename(out / "u.csv"), (out / "t.csv").symlink_to("u.csv")),
    ),
    "SciPy reads a matrix by machine code": Case(
        "import scipy.io\nreturn R(float(scipy.io.mmread(OUT + '/m.mtx')[0][0]))",
        lambda out: (out / "m.mtx").write_text(MATRIX.format(9)),
        lambda out: (out / "m.mtx").write_text(MATRIX.format(1)), stored=False,
    ),
    "a link that led nowhere": Case(
        "return R(float(os.path.exists(OUT + '/current/t.csv')))", turned,
        lambda out: ((out / "current").symlink_to("v1"), (out / "v2").mkdir(),
                     (out / "v2/t.csv").write_text("1")),
    ),
}  # fmt: skip
TOP = "import glob, os\nfrom pathlib import Path\nOUT = {out!r}"


@pytest.mark.parametrize("name", CASES)
def test_it_is_computed_again(name: str, tmp_path: Path) -> None:
    case, out = CASES[name], tmp_path / "out"
    out.mkdir()
    case.before(out)
    text = module(case.body, top=TOP.format(out=str(out)))
    project = Project(tmp_path / "p", {"analyses/a.py": text})
    first = project.ask()
    assert first.complete is case.stored, first.not_stored("a.f")
    assert project.ask().computed == (set() if case.stored else {"a.f"})
    case.change(out)
    again = project.ask()
    assert again.computed == {"a.f"}
    assert again.values == project.ask(store=tmp_path / "empty").values
    assert again.values != first.values


def test_a_size_asked_of_an_entry_of_a_listing(tmp_path: Path) -> None:
    body = "return R(sum(entry.stat().st_size for entry in os.scandir('analyses/data')))"
    files = {"analyses/a.py": module(body, top="import os"), "analyses/data/t.csv": "12"}
    project = Project(tmp_path / "p", files)
    assert project.ask().values == {"a.f": 2.0}
    assert project.ask().computed == set()
    project.write({"analyses/data/t.csv": "123"})
    assert project.ask().values == {"a.f": 3.0}


def test_an_entry_of_a_listing_is_as_the_system_s(tmp_path: Path) -> None:
    body = (
        "import tempfile\n"
        "with tempfile.TemporaryDirectory() as d:\n"
        "    os.mkdir(d + '/sub')\n    open(d + '/sub/t', 'w').close()\n"
        "    os.symlink('sub', d + '/l')\n    found = {}\n"
        "    with os.scandir(d) as entries:\n"
        "        for e in entries:\n"
        "            assert os.fspath(e) == e.path == os.path.join(d, e.name)\n"
        "            assert e.inode() > 0 and e.name in repr(e)\n"
        "            found[e.name] = (e.is_dir(), e.is_dir(follow_symlinks=False), e.is_file(),\n"
        "                             e.is_symlink(), e.stat().st_nlink > 0)\n"
        "    assert found == {'sub': (True, True, False, False, True),\n"
        "                     'l': (True, False, False, True, True)}, found\n"
        "    assert [len(f) for _, _, f in os.walk(d)] == [0, 1]\n"
        "    shutil.copytree(d + '/sub', d + '/copy')\n"
        "return R(x)"
    )
    project = Project(tmp_path / "p", {"analyses/a.py": module(body, top="import os, shutil")})
    asked = project.ask()
    assert asked.values == {"a.f": 1.0}, asked.replies
    assert asked.complete


def test_a_link_among_the_project_s_files_is_no_folder_of_it(tmp_path: Path) -> None:
    body = "return R(len(list(Path('analyses/data').rglob('*.csv'))))"
    project = Project(
        tmp_path / "p",
        {"analyses/a.py": module(body, top="from pathlib import Path"), "analyses/data/t.csv": "1"},
    )
    (tmp_path / "out").mkdir()
    (tmp_path / "out/u.csv").write_text("1")
    (project.root / "analyses/data/l").symlink_to(tmp_path / "out")
    assert project.ask().values == {"a.f": 1.0}


METADATA = "return R(float(version('shape')))"
DATA = "return R(float(Path(SITE, 'shape/t.txt').read_text()))"
LOOSE = "return R(float(Path(SITE, 'loose/t.txt').read_text()))"
SPEC = "return R(float(find_spec('late') is not None))"
ABSENT = (
    "try:\n    return R(float(version('late')))\nexcept PackageNotFoundError:\n    return R(0.0)"
)
INSTALLED: Mapping[str, tuple[str, Change]] = {
    "importlib.metadata": (METADATA, lambda site: install(site, "shape", "2.0", "K = 3.0\n")),
    "metadata of one that was absent": (ABSENT, lambda site: install(site, "late", "2.0", "")),
    "pkgutil.get_data": (
        "return R(float(pkgutil.get_data('shape', 't.txt')))",
        lambda site: (install(site, "shape", "2.0", ""), (site / "shape/t.txt").write_text("2")),
    ),
    "pkgutil.iter_modules": (
        "return R(sum(m.name == 'late' for m in pkgutil.iter_modules()))",
        lambda site: install(site, "late", "1.0", ""),
    ),
    "data that are read without import": (
        DATA, lambda site: (install(site, "shape", "2.0", ""),
                            (site / "shape/t.txt").write_text("2")),
    ),
    "data that belong to no distribution": (
        LOOSE, lambda site: (site / "loose/t.txt").write_text("2")
    ),
    "find_spec of one that was absent": (SPEC, lambda site: install(site, "late", "1.0", "")),
    "find_spec of one that goes": (
        "return R(float(find_spec('shape') is not None))",
        lambda site: (site / "shape/__init__.py").unlink() or (site / "shape/t.txt").unlink()
        or (site / "shape").rmdir(),
    ),
}  # fmt: skip
IMPORTS = (
    "import pkgutil\nfrom importlib.metadata import PackageNotFoundError, version\n"
    "from importlib.util import find_spec\nfrom pathlib import Path\nSITE = {site!r}"
)


def _project(tmp_path: Path, body: str, site: Path) -> Project:
    return Project(
        tmp_path / "p",
        {
            "analyses/a.py": module(body, top=IMPORTS.format(site=str(site))),
            "analyses/p.yaml": PARAMETERS,
            "requirements/r.yaml": requirements(a="at_least: -9 W, basis: nominal"),
        },
    )


def _value(dossier: dict[str, Any]) -> Any:
    assert dossier["requirements"][0]["verification"][0]["state"] == "met", dossier
    return dossier["requirements"][0]["verification"][0]["value"]


@pytest.mark.parametrize("name", INSTALLED)
def test_what_is_installed(name: str, tmp_path: Path) -> None:
    body, change = INSTALLED[name]
    site = tmp_path / "site"
    install(site, "shape", "1.0", "K = 3.0\n")
    (site / "shape/t.txt").write_text("1")
    (site / "loose").mkdir()
    (site / "loose/t.txt").write_text("1")
    project = _project(tmp_path, body, site)
    path = {"PYTHONPATH": str(site)}
    _, first = project.verify(**path)
    assert first["scale"]["evaluated"] == 1
    assert project.scale(**path) == (0, 1)
    change(site)
    _, again = project.verify(**path)
    assert again["scale"]["evaluated"] == 1
    assert _value(again) != _value(first)


@pytest.mark.parametrize("name", ["shape", "colorsys"])
def test_what_comes_before_on_the_search_path(name: str, tmp_path: Path) -> None:
    """Also before the standard library."""
    site, front = tmp_path / "site", tmp_path / "front"
    install(site, "shape", "1.0", "K = 3.0\n")
    front.mkdir()
    (front / f"{name}.py").write_text("K = 9.0\n")
    project = _project(tmp_path, f"import {name}\nreturn R(getattr({name}, 'K', 1.0))", site)
    _, first = project.verify(PYTHONPATH=str(site))
    assert project.scale(PYTHONPATH=str(site)) == (0, 1)
    _, again = project.verify(PYTHONPATH=f"{front}{os.pathsep}{site}")
    assert (_value(first), _value(again)) == (3.0 if name == "shape" else 1.0, 9.0)


LOAD = "from lxml import etree\nreturn R(float(etree.parse(OUT + '/t.xml').getroot().text))"
CALL = (
    "import ctypes\nc = ctypes.CDLL(None)\nfd = c.open((OUT + '/t.txt').encode(), 0)\n"
    "text = ctypes.create_string_buffer(8)\nc.read(fd, text, 8)\nreturn R(float(text.value))"
)
HISTORY = (
    "import readline\nreadline.clear_history()\nreadline.read_history_file(OUT + '/t.txt')\n"
    "return R(float(readline.get_history_item(1)))"
)
UNSEEN = {
    "lxml": (LOAD, "it uses lxml.etree, whose machine code may open files unnoticed"),
    "readline": (HISTORY, "it uses readline, whose machine code may open files unnoticed"),
    "ctypes": (CALL, "it calls machine code by ctypes, which may open files unnoticed"),
}


@pytest.mark.parametrize("name", UNSEEN)
def test_what_opens_files_in_c_is_not_stored(name: str, tmp_path: Path) -> None:
    if name in ("lxml", "readline"):
        pytest.importorskip(name)
    body, why = UNSEEN[name]
    (tmp_path / "t.xml").write_text("<a>1</a>")
    (tmp_path / "t.txt").write_text("1\n")
    project = Project(
        tmp_path / "p", {"analyses/a.py": module(body, top=f"OUT = {str(tmp_path)!r}")}
    )
    first = project.ask()
    assert first.values == {"a.f": 1.0}
    assert why in first.not_stored("a.f")
    (tmp_path / "t.xml").write_text("<a>2</a>")
    (tmp_path / "t.txt").write_text("2\n")
    assert project.ask().values == {"a.f": 2.0}


KNOWN = {
    "the standard library": "import _decimal, _ctypes, ctypes, zlib, mmap, array",
    "numpy": "import numpy, numpy.ctypeslib, numpy.random",
    "scipy": "import scipy.special, scipy.optimize, scipy.integrate, scipy.interpolate",
    "matplotlib": "import io\nfrom matplotlib.figure import Figure\n"
    "figure = Figure()\nfigure.subplots().plot([1, 2], label='a')\n"
    "figure.savefig(io.StringIO(), format='svg')",
}  # fmt: skip


def test_what_is_known_to_open_none_is_stored(tmp_path: Path) -> None:
    files = {
        f"analyses/m{i}.py": module(f"{body}\nreturn R(x)") for i, body in enumerate(KNOWN.values())
    }
    project = Project(tmp_path / "p", files)
    asked = project.ask()
    for i, name in enumerate(KNOWN):
        assert "machine code" not in asked.not_stored(f"m{i}.f"), name
    # Matplotlib looks through the fonts of the machine, which is another reason.
    assert project.ask().computed <= {f"m{list(KNOWN).index('matplotlib')}.f"}


@pytest.mark.skipif(sys.platform != "linux", reason="looks into /proc")
def test_what_is_of_the_moment_is_not_stored(tmp_path: Path) -> None:
    body = "import os\nreturn R(float(os.path.exists('/proc/1')))"
    project = Project(tmp_path / "p", {"analyses/a.py": module(body)})
    assert "it asked for /proc/1, which changes with time" in project.ask().not_stored("a.f")
