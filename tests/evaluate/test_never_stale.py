"""Change anything that an answer rests on, and it is computed again, and nothing else is."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from tests.evaluate.project import Project, module

Change = Callable[[Project], object]


@dataclass(frozen=True)
class Case:
    """Files of a project in which a.f rests on what ``change`` changes, and b.f does not."""

    a: str
    change: Change
    files: Mapping[str, str] = field(default_factory=dict)


def write(path: str, text: str) -> Change:
    return lambda project: project.write({path: text})


def swap(path: str, old: str, new: str) -> Change:
    return lambda project: project.swap(path, old, new)


def remove(path: str) -> Change:
    return lambda project: (project.root / path).unlink()


DATA = {"analyses/data/t.csv": "1,2\n3,4\n"}
HELPER = {"analyses/helper.py": "FACTOR = 2.0\n"}
LATER = {
    "analyses/helper.py": "from analyses.deep import FACTOR\n",
    "analyses/deep.py": "FACTOR = 2.0\n",
}
OPTIONAL = "try:\n    import {name} as extra\nexcept ImportError:\n    extra = None"
HERE = "from pathlib import Path\nHERE = Path(__file__).parent"

SOURCES = {
    "its own text": Case(module("return R(2 * x)"), swap("analyses/a.py", "2 * x", "3 * x")),
    "a helper imported at the top": Case(
        module("return R(FACTOR * x)", top="from analyses.helper import FACTOR"),
        swap("analyses/helper.py", "2.0", "3.0"), HELPER,
    ),
    "a helper imported in the function": Case(
        module("from analyses import helper\nreturn R(helper.FACTOR * x)"),
        swap("analyses/helper.py", "2.0", "3.0"), HELPER,
    ),
    "a helper of a helper": Case(
        module("return R(FACTOR * x)", top="from analyses.helper import FACTOR"),
        swap("analyses/deep.py", "2.0", "3.0"), LATER,
    ),
    "a module of the root": Case(
        module("return R(lib.FACTOR * x)", top="import lib"),
        swap("lib.py", "2.0", "3.0"), {"lib.py": "FACTOR = 2.0\n"},
    ),
    "a module found by a search path of its own": Case(
        module(
            "return R(helper.FACTOR * x)",
            top="import sys\nfrom pathlib import Path\n"
            "sys.path.insert(0, str(Path(__file__).parent))\nimport helper",
        ),
        swap("analyses/helper.py", "2.0", "3.0"), HELPER,
    ),
    "a package that comes before its module": Case(
        module("return R(FACTOR * x)", top="from analyses.helper import FACTOR"),
        write("analyses/helper/__init__.py", "FACTOR = 3.0\n"), HELPER,
    ),
    "a package that was none": Case(
        module("import analyses.x\nreturn R(getattr(analyses.x, 'FACTOR', 2.0) * x)",
               top="import analyses"),
        write("analyses/x/__init__.py", "FACTOR = 3.0\n"), {"analyses/x/y.py": ""},
    ),
    "an optional module of the project that was absent": Case(
        module("return R(2.0 if extra is None else 3.0)",
               top=OPTIONAL.format(name="analyses.extra")),
        write("analyses/extra.py", ""),
    ),
    "an optional folder of the project that was absent": Case(
        module("return R(2.0 if extra is None else 3.0)",
               top=OPTIONAL.format(name="analyses.extra")),
        write("analyses/extra/data.txt", ""),
    ),
    "an optional module of the root that was absent": Case(
        module("return R(2.0 if extra is None else 3.0)", top=OPTIONAL.format(name="lib_extra")),
        write("lib_extra.py", ""),
    ),
    "what annotations read": Case(
        module("return R(x)", top="from pathlib import Path\nUNIT = Path('u.txt')",
               result="Annotated[R, UNIT.read_text()]").replace("-> Annotated[R, UNIT.read_text()]",
               "-> 'R if UNIT.read_text() else None'"),
        write("u.txt", "yy"), {"u.txt": "y"},
    ),
}  # fmt: skip

READERS = {
    "open": module("with open('analyses/data/t.csv') as file:\n    return R(len(file.read()))"),
    "open in bytes": module("return R(len(open(b'analyses/data/t.csv', 'rb').read()))"),
    "os.open": module(
        "fd = os.open('analyses/data/t.csv', os.O_RDONLY)\n"
        "return R(sum(os.read(fd, 1000)))", top="import os",
    ),
    "dir_fd": module(
        "folder = os.open('analyses/data', os.O_RDONLY)\n"
        "return R(sum(os.read(os.open('t.csv', os.O_RDONLY, dir_fd=folder), 1000)))",
        top="import os",
    ),
    "read_text": module("return R(len((HERE / 'data/t.csv').read_text()))", top=HERE),
    "resolve": module("return R(len((HERE.resolve() / 'data/t.csv').read_text()))", top=HERE),
    "csv": module(
        "with open(HERE / 'data/t.csv', newline='') as file:\n"
        "    return R(sum(float(v) for row in csv.reader(file) for v in row))",
        top="import csv\n" + HERE,
    ),
    "numpy.loadtxt": module(
        "import numpy\nreturn R(numpy.loadtxt(HERE / 'data/t.csv', delimiter=',').sum())", top=HERE
    ),
    "numpy.genfromtxt": module(
        "return R(numpy.genfromtxt('analyses/data/t.csv', delimiter=',').sum())",
        top="import numpy",
    ),
    "numpy.fromfile": module(
        "import numpy\nreturn R(float(numpy.fromfile('analyses/data/t.csv', 'u1').sum()))"
    ),
    "mmap": module(
        "with open('analyses/data/t.csv', 'rb') as file:\n"
        "    return R(sum(mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ).read()))",
        top="import mmap",
    ),
    "read at import": module(
        "return R(TEXT * x)", top=HERE + "\nTEXT = len((HERE / 'data/t.csv').read_text())"
    ),
    "read by another thread": module(
        "thread = Thread(target=lambda: found.append(len(open('analyses/data/t.csv').read())))\n"
        "found = []\nthread.start()\nthread.join()\nreturn R(found[0])",
        top="from threading import Thread",
    ),
    "read while the result is looked at": module(
        "class Lazy(dict):\n"
        "    def items(self):\n"
        "        yield 'a', len(open('analyses/data/t.csv').read())\n"
        "return Cases(Lazy(a=1.0))", result="Cases",
    ),
    "its size alone": module("return R(os.path.getsize('analyses/data/t.csv'))", top="import os"),
    "from another working folder": module(
        "os.chdir('analyses/data')\nreturn R(len(open('t.csv').read()))", top="import os"
    ),
}  # fmt: skip

PROBES = {
    "FileNotFoundError": (
        "try:\n    return R(len(open('analyses/data/new.csv').read()))\n"
        "except FileNotFoundError:\n    return R(0.0)"
    ),
    "Path.exists": "return R(float((HERE / 'data/new.csv').exists()))",
    "os.path.isfile": "import os\nreturn R(float(os.path.isfile('analyses/data/new.csv')))",
    "os.access": "import os\nreturn R(float(os.access('analyses/data/new.csv', os.R_OK)))",
    "glob without a star": (
        "import glob\nreturn R(float(len(glob.glob('analyses/data/new.csv'))))"
    ),
    "os.listdir": "import os\nreturn R(len(os.listdir('analyses/data')))",
    "os.scandir": "import os\nreturn R(len(list(os.scandir(HERE / 'data'))))",
    "os.walk": "import os\nreturn R(sum(len(files) for _, _, files in os.walk('analyses')))",
    "os.fwalk": "import os\nreturn R(sum(len(files) for _, _, files, _ in os.fwalk('analyses')))",
    "Path.iterdir": "return R(len(list((HERE / 'data').iterdir())))",
    "Path.glob": "return R(len(list(HERE.glob('data/*.csv'))))",
    "Path.rglob": "return R(len(list(HERE.rglob('*.csv'))))",
    "glob.glob": "import glob\nreturn R(len(glob.glob('analyses/**/*.csv', recursive=True)))",
}

CASES = {
    **SOURCES,
    **{
        f"data by {name}": Case(text, write("analyses/data/t.csv", "1,2,8\n3,4,9\n"), DATA)
        for name, text in READERS.items()
    },
    **{
        f"lost data by {name}": Case(READERS[name], remove("analyses/data/t.csv"), DATA)
        for name in ("open", "csv")
    },
    **{
        f"a new file by {name}": Case(
            module(body, top=HERE), write("analyses/data/new.csv", "5\n"), DATA
        )
        for name, body in PROBES.items()
    },
    "a folder that was absent": Case(
        module("return R(float((HERE / 'more').is_dir()))", top=HERE),
        write("analyses/more/x", ""),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_what_rests_on_a_change_is_computed_again(name: str, tmp_path: Path) -> None:
    case = CASES[name]
    files = {"analyses/a.py": case.a, "analyses/b.py": module("return R(7 * x)"), **case.files}
    project = Project(tmp_path / "p", files)
    first = project.ask()
    assert first.computed == {"a.f", "b.f"}
    assert first.complete, first.replies["a.f"].not_stored
    assert project.ask().computed == set()
    case.change(project)
    again = project.ask()
    assert again.computed == {"a.f"}
    # The same as a run that knows nothing, and another answer than before.
    assert again.values == project.ask(store=tmp_path / "empty").values
    if name != "what annotations read":
        assert again.values["a.f"] != first.values["a.f"]


@pytest.mark.parametrize("name", ["its own text", "a helper imported in the function"])
def test_neither_size_nor_time_matter(name: str, tmp_path: Path) -> None:
    case = SOURCES[name]
    project = Project(tmp_path / "p", {"analyses/a.py": case.a, **case.files})
    before = {p: p.stat() for p in project.root.rglob("*.py")}
    project.ask()
    case.change(project)
    for path, stat in before.items():
        assert path.stat().st_mtime_ns == stat.st_mtime_ns
        assert path.stat().st_size == stat.st_size
    assert project.ask().computed == {"a.f"}


def test_a_compiled_helper_of_the_same_size_and_time_is_not_believed(tmp_path: Path) -> None:
    """The trap of .pyc files: they are believed by the size and the whole seconds of a source."""
    import py_compile

    case = SOURCES["a module found by a search path of its own"]
    project = Project(tmp_path / "p", {"analyses/a.py": case.a, **case.files})
    py_compile.compile(str(project.root / "analyses/helper.py"), doraise=True)
    assert project.ask().values == {"a.f": 2.0}
    case.change(project)
    assert project.ask().values == {"a.f": 3.0}


def test_times_alone_are_no_change(tmp_path: Path) -> None:
    files = {"analyses/a.py": READERS["numpy.loadtxt"], "analyses/b.py": READERS["csv"], **DATA}
    project = Project(tmp_path / "p", files)
    project.ask()
    for path in project.root.rglob("*"):
        if ".closeout" not in path.parts:
            os.utime(path, (1, 1))
    assert project.ask().computed == set()


def test_what_was_asked_is_part_of_the_key(tmp_path: Path) -> None:
    project = Project(tmp_path / "p", {"analyses/a.py": module("return R(2 * x)")})
    project.ask()
    assert project.ask(inputs={"x": 2.0}).computed == {"a.f"}
    assert project.ask(box=(("x", 0.5, 1.5),)).computed == {"a.f"}
    assert project.ask(box=(("x", 0.5, 1.25),)).computed == {"a.f"}
    assert project.ask().computed == set()


def test_an_earlier_state_is_remembered(tmp_path: Path) -> None:
    project = Project(tmp_path / "p", {"analyses/a.py": READERS["open"], **DATA})
    project.ask()
    project.write({"analyses/data/t.csv": "other"})
    assert project.ask().computed == {"a.f"}
    project.write(DATA)
    assert project.ask().computed == set()


def test_a_copy_of_a_finished_project_is_a_full_hit(tmp_path: Path) -> None:
    files = {f"analyses/m{i}.py": text for i, text in enumerate(READERS.values())}
    project = Project(tmp_path / "p", {**files, **DATA})
    first = project.ask()
    assert first.complete
    shutil.copytree(project.root, tmp_path / "copy")
    shutil.rmtree(project.root)
    again = Project(tmp_path / "copy", {}).ask()
    assert again.computed == set()
    assert again.values == first.values


def test_a_cached_reader_hides_no_file_from_the_second_analysis(tmp_path: Path) -> None:
    helper = (
        "from functools import lru_cache\nfrom pathlib import Path\n\n\n@lru_cache\n"
        "def read():\n    return len(Path('analyses/data/t.csv').read_text())\n"
    )
    text = module("return R(read() * x)", top="from analyses.helper import read")
    second = "\n\n@analysis\ndef g(x: W) -> R:\n    return R(read() + x)\n"
    project = Project(
        tmp_path / "p",
        {
            "analyses/helper.py": helper,
            "analyses/a.py": text + second,
            "analyses/b.py": text,
            **DATA,
        },
    )
    first = project.ask(jobs=1)
    project.write({"analyses/data/t.csv": "1"})
    again = project.ask(jobs=1)
    assert again.computed == {"a.f", "a.g", "b.f"}
    assert {name: again.values[name] for name in again.values} != first.values
    assert again.values == {"a.f": 1.0, "a.g": 2.0, "b.f": 1.0}


def test_failures_are_remembered_and_looked_at_again(tmp_path: Path) -> None:
    project = Project(
        tmp_path / "p", {"analyses/a.py": module("return R(float(open('v.txt').read()))")}
    )
    assert project.ask().values == {"a.f": "raised"}
    assert project.ask().computed == set()
    project.write({"v.txt": "5"})
    assert project.ask().values == {"a.f": 5.0}


def test_a_module_that_cannot_be_imported_is_looked_at_again(tmp_path: Path) -> None:
    top = "from pathlib import Path\nK = float(Path('v.txt').read_text())"
    project = Project(tmp_path / "p", {"analyses/a.py": module("return R(K)", top=top)})
    [broken] = project.ask().modules
    assert broken.failures[0][1].kind == "raised"
    assert project.ask().modules == [broken]
    project.write({"v.txt": "5"})
    assert project.ask().values == {"a.f": 5.0}


def test_nothing_is_started_where_nothing_changed(tmp_path: Path) -> None:
    marks = tmp_path / "marks"
    marks.mkdir()
    top = f"import os\nopen({str(marks)!r} + '/' + str(os.getpid()), 'x').close()"
    project = Project(tmp_path / "p", {"analyses/a.py": module("return R(x)", top=top)})
    assert project.ask().complete
    imports = len(list(marks.iterdir()))
    assert imports == 1
    assert project.ask().computed == set()
    assert len(list(marks.iterdir())) == imports
