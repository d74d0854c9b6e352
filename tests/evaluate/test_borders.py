"""What an analysis may read and write, and what it finds around it."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from closeout.snapshot import open_tree
from closeout.store.keys import digest_of_file, listing_of
from tests.effort import BACKSTOP
from tests.evaluate.project import Project, environment, module

CHANGES = {
    "w": "open('analyses/t.txt', 'w')",
    "a": "open('analyses/t.txt', 'a')",
    "r+": "open('analyses/t.txt', 'r+')",
    "x": "open('analyses/new.txt', 'x')",
    "at the root": "open('new.txt', 'w')",
    "remove": "os.remove('analyses/t.txt')",
    "unlink": "Path('analyses/t.txt').unlink()",
    "mkdir": "os.mkdir('analyses/d')",
    "makedirs": "os.makedirs('analyses/d/e')",
    "rmdir": "os.rmdir('analyses/empty')",
    "touch": "Path('analyses/new.txt').touch()",
    "touch again": "Path('analyses/t.txt').touch()",
    "copy": "shutil.copy('analyses/t.txt', 'analyses/new.txt')",
    "copy in": "shutil.copy('/etc/hostname', 'analyses/t.txt')",
    "move out": "shutil.move('analyses/t.txt', tempfile.mkdtemp())",
    "move in": "shutil.move(tempfile.mkstemp()[1], 'analyses/t.txt')",
    "replace": "os.replace(tempfile.mkstemp()[1], 'analyses/t.txt')",
    "rmtree": "shutil.rmtree('analyses/full')",
    "chmod": "os.chmod('analyses/t.txt', 0)",
    "utime": "os.utime('analyses/t.txt', (1, 1))",
    "truncate": "os.truncate('analyses/t.txt', 0)",
    "link": "os.link('analyses/t.txt', tempfile.mkdtemp() + '/l')",
    "symlink": "os.symlink('/etc', 'analyses/l')",
    "numpy.savetxt": "__import__('numpy').savetxt('analyses/t.txt', [1.0])",
    "by a descriptor": "os.remove('t.txt', dir_fd=os.open('analyses', os.O_RDONLY))",
}  # fmt: skip
IMPORTS = "import os, shutil, tempfile\nfrom pathlib import Path"


def _state(root: Path) -> dict[str, object]:
    paths = [p for p in sorted(root.rglob("*")) if ".closeout" not in p.parts]
    return {
        str(p): (p.lstat().st_mode, p.lstat().st_mtime_ns, p.is_file() and p.read_bytes())
        for p in paths
    }


def test_a_change_of_the_project_is_refused(tmp_path: Path) -> None:
    files = {
        f"analyses/m{i}.py": module(f"{statement}\nreturn R(x)", top=IMPORTS)
        for i, statement in enumerate(CHANGES.values())
    }
    project = Project(
        tmp_path / "p", {**files, "analyses/t.txt": "12", "analyses/full/t.txt": "12"}
    )
    (project.root / "analyses/empty").mkdir()
    before = _state(project.root)
    asked = project.ask()
    for i, name in enumerate(CHANGES):
        failure = asked.failure(f"m{i}.f")
        assert failure.kind == "raised", name
        assert "an analysis may not change files of the project" in failure.message, name
        assert "@artifact" in failure.message
        assert failure.path == f"analyses/m{i}.py"
    assert _state(project.root) == before


def test_a_change_at_import_is_refused(tmp_path: Path) -> None:
    top = "open('analyses/t.txt', 'w').write('13')"
    project = Project(
        tmp_path / "p", {"analyses/a.py": module("return R(x)", top=top), "analyses/t.txt": "12"}
    )
    [found] = project.ask().modules
    assert "may not change files of the project" in found.failures[0][1].message
    assert (project.root / "analyses/t.txt").read_text() == "12"


OWN = {
    "named": "with tempfile.NamedTemporaryFile('w+') as f:\n    f.write('abc')\n    f.flush()\n"
             "    return R(len(open(f.name).read()))",
    "folder": "with tempfile.TemporaryDirectory() as d:\n    p = Path(d) / 'sub' / 't.txt'\n"
              "    p.parent.mkdir()\n    p.write_text('abc')\n"
              "    os.replace(p, p.parent / 'u.txt')\n"
              "    shutil.copy(p.parent / 'u.txt', Path(d) / 'v.txt')\n"
              "    assert sorted(os.listdir(d)) == ['sub', 'v.txt']\n"
              "    return R(len((Path(d) / 'v.txt').read_text()))",
    "numpy": "import numpy\nwith tempfile.TemporaryDirectory() as d:\n"
             "    numpy.save(d + '/t.npy', numpy.ones(3))\n"
             "    return R(float(numpy.load(d + '/t.npy').sum()))",
}  # fmt: skip


def test_temporary_files_are_no_dependency(tmp_path: Path) -> None:
    """Also where what a folder holds is named like something in the project."""
    files = {f"analyses/{name}.py": module(body, top=IMPORTS) for name, body in OWN.items()}
    project = Project(tmp_path / "p", {**files, "sub/x": "", "t.txt": "", "v.txt": ""})
    asked = project.ask()
    assert asked.values == {f"{name}.f": 3.0 for name in OWN}
    assert asked.complete
    assert project.ask().computed == set()


LINKS = {
    "file": ("analyses/l.txt", "open('analyses/l.txt').read()"),
    "folder": ("analyses/d", "open('analyses/d/t.txt').read()"),
    "listing": ("analyses/d", "os.listdir('analyses/d')"),
    "up again": ("analyses/d", "open('analyses/d/../t.txt').read()"),
    "at the root": ("l.txt", "open('l.txt').read()"),
}


@pytest.mark.parametrize("inside", [True, False])
@pytest.mark.parametrize("name", LINKS)
def test_a_link_is_refused_and_looked_at_again(tmp_path: Path, name: str, inside: bool) -> None:
    """Also inside the project: git exports no links, and one may lead elsewhere the next time."""
    path, reading = LINKS[name]
    project = Project(
        tmp_path / "p",
        {"analyses/a.py": module(f"import os\nreturn R(len({reading}))"), "analyses/t.txt": "1"},
    )
    place = project.root / "store" if inside else tmp_path / "elsewhere"
    (place / "d").mkdir(parents=True)
    (place / "t.txt").write_text("12")
    (place / "d/t.txt").write_text("12")
    target = place / "t.txt" if path.endswith(".txt") else place / "d"
    (project.root / path).symlink_to(target)
    failure = project.ask().failure("a.f")
    assert "a symbolic link, which an analysis may not follow" in failure.message
    assert project.ask().computed == set()
    (project.root / path).unlink()
    if target.is_dir():
        project.write({f"{path}/t.txt": "123"})
    else:
        project.write({path: "123"})
    again = project.ask()
    assert again.computed == {"a.f"}
    assert again.values["a.f"] == (1.0 if name in ("listing", "up again") else 3.0)


def test_a_module_behind_a_link_is_not_imported(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere/h.py").write_text("K = 1.0\n")
    project = Project(
        tmp_path / "p", {"analyses/a.py": module("return R(K)", top="from analyses.d.h import K")}
    )
    (project.root / "analyses/d").symlink_to(tmp_path / "elsewhere")
    [found] = project.ask().modules
    assert "No module named 'analyses.d" in found.failures[0][1].message
    (project.root / "analyses/d").unlink()
    project.write({"analyses/d/h.py": "K = 2.0\n"})
    assert project.ask().values == {"a.f": 2.0}


LOOK = (
    "import os, sys, time\n"
    "def look():\n"
    "    return {'hash': hash('text'), 'set': ''.join({chr(i) for i in range(97, 123)}),\n"
    "            'tz': time.tzname[0], 'hour': time.localtime(0).tm_hour,\n"
    "            'home': os.path.exists(os.path.expanduser('~')),\n"
    "            'git': [n for n in os.environ if n.startswith('GIT_')],\n"
    "            'python': sorted(n for n in os.environ if n.startswith('PYTHON')),\n"
    "            'secret': os.environ.get('SECRET'), 'cwd': os.getcwd(), 'argv': sys.argv[0],\n"
    "            'threads': os.environ['OMP_NUM_THREADS'], 'path': sys.path}"
)


def _seen(tmp_path: Path, **variables: str) -> dict[str, object]:
    """Return what an analysis finds around it, told by an error of its own."""
    body = "import json\nraise ValueError(json.dumps(look()))"
    project = Project(
        tmp_path / "p",
        {"analyses/a.py": module(body, top=LOOK)},
    )
    script = (
        "import sys; from pathlib import Path; from tests.evaluate.project import Project\n"
        "asked = Project(Path(sys.argv[1]), {}).ask(store=Path(sys.argv[2]))\n"
        "print(asked.failure('a.f').message.removeprefix('ValueError: '))"
    )
    store = tmp_path / "empty" / str(len(variables))
    store.mkdir(parents=True, exist_ok=True)
    here = str(Path(__file__).parents[2])
    path = f"{here}:{variables.pop('PYTHONPATH', '')}".rstrip(":")
    done = subprocess.run(
        [sys.executable, "-c", script, str(project.root), str(store)],
        env={**environment(), **variables, "PYTHONPATH": f"{environment()['PYTHONPATH']}:{path}"},
        cwd=tmp_path, capture_output=True, text=True, check=True, timeout=BACKSTOP,
    )  # fmt: skip
    shown: dict[str, object] = json.loads(done.stdout)
    return shown


def test_the_same_environment_whatever_the_user_s(tmp_path: Path) -> None:
    extra = tmp_path / "extra"
    extra.mkdir()
    first = _seen(tmp_path)
    second = _seen(
        tmp_path, PYTHONHASHSEED="7", TZ="Asia/Tokyo", HOME="/", GIT_DIR="/x", GIT_INDEX_FILE="/y",
        SECRET="s", LC_ALL="C", OMP_NUM_THREADS="8", PYTHONPATH=str(extra), PYTHONOPTIMIZE="1",
    )  # fmt: skip
    path = second.pop("path")
    assert isinstance(path, list)
    assert str(extra) in path
    first.pop("path")
    assert first == second
    assert first["hour"] == 0
    assert first["home"] is False
    assert first["git"] == []
    assert first["python"] == ["PYTHONHASHSEED"]
    assert first["secret"] is None
    assert first["cwd"] == str(tmp_path / "p")


HEAVY = (
    "asyncio", "ctypes", "dataclasses", "decimal", "hashlib", "importlib.util", "inspect",
    "logging", "numpy", "pathlib", "random", "shutil", "sqlite3",
    "subprocess", "tempfile", "threading", "traceback", "yaml", "closeout.snapshot",
    "closeout.store.database",
)  # fmt: skip


def test_a_worker_is_light() -> None:
    """Every page that the host has loaded makes each of its forks slower."""
    code = "import sys; import closeout.evaluate.host; print(*sys.modules)"
    # -S, since what site and the .pth files of an environment load is not the worker's doing.
    done = subprocess.run(
        [sys.executable, "-S", "-c", code],
        env={"PYTHONPATH": environment()["PYTHONPATH"].partition(":")[0]},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert sorted(set(HEAVY) & set(done.stdout.split())) == []


def test_worker_and_snapshot_see_the_same(tmp_path: Path) -> None:
    """Digests of files and listings are made on either side, and compared."""
    project = Project(tmp_path / "p", {"d/b.txt": "", "d/a/c": b"\xff" * 3_000_000, "d/.h": "1"})
    for made in (".git", "__pycache__", ".closeout"):
        (project.root / "d" / made).mkdir()
    (project.root / "d/l").symlink_to("a")
    with open_tree(project.root) as snapshot:
        assert snapshot.listing("d") == listing_of(str(project.root / "d"))
        for path in ("d/b.txt", "d/a/c", "d/.h"):
            assert snapshot.digest(path) == digest_of_file(str(project.root / path))
        assert snapshot.listing("no") is listing_of(str(project.root / "no")) is None
        assert snapshot.digest("d") is digest_of_file(str(project.root / "d")) is None
