"""``package``: the same bytes, nothing foreign touched, every link leads somewhere."""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

import pytest

from tests.cli.project import Project, base, make, power, repository
from tests.cli.project import requirement as item
from tests.documents.packages import contents

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def clean(tmp_path_factory: pytest.TempPathFactory) -> Project:
    """A clean repository with a shortfall."""
    files = base(power=power(item(limit="at_least: 197 kJ")))
    return repository(tmp_path_factory.mktemp("clean") / "p", files)


@pytest.fixture(scope="module")
def written(clean: Project, tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("out") / "package"
    run = clean.run("package", "--review", "CDR", "-o", str(target))
    assert run.status == 0
    assert run.stdout.startswith(f"wrote {target}: ")
    return target


def test_the_same_commit_gives_the_same_bytes(
    clean: Project, written: Path, tmp_path: Path
) -> None:
    again = tmp_path / "again"
    assert clean.run("package", "--review", "CDR", "-o", str(again)).status == 0  # full store
    assert contents(again) == contents(written)
    shutil.rmtree(clean.path / ".closeout")
    anew = tmp_path / "anew"
    assert clean.run("package", "--review", "CDR", "--jobs", "1", "-o", str(anew)).status == 0
    assert contents(anew) == contents(written)


def test_the_manifest_names_every_file_with_its_digest(written: Path) -> None:
    manifest = json.loads((written / "manifest.json").read_bytes())
    files = contents(written)
    assert set(manifest["files"]) == set(files) - {"manifest.json"}
    for name, told in manifest["files"].items():
        assert told["sha256"] == hashlib.sha256(files[name]).hexdigest()
        assert told["size"] == len(files[name])
    assert manifest["review"] == "CDR"
    assert manifest["draft"] is False


def test_no_page_loads_anything_or_runs_a_script(written: Path) -> None:
    for page in written.rglob("*.html"):
        text = page.read_text("utf-8")
        assert "<script" not in text
        assert "http" not in text.replace("http-equiv", "")


def test_a_clean_commit_is_no_draft_and_a_dirty_one_is(
    clean: Project, written: Path, tmp_path: Path
) -> None:
    for page in written.rglob("*.html"):
        assert "DRAFT" not in page.read_text("utf-8"), page
    project = make(tmp_path / "p")  # outside git: no commit holds it
    out = tmp_path / "out"
    assert project.run("package", "-o", str(out)).status == 0
    pages = [*out.rglob("*.html"), *out.rglob("*.md")]
    assert pages
    for page in pages:
        assert "DRAFT" in page.read_text("utf-8"), page
    assert json.loads((out / "manifest.json").read_bytes())["draft"] is True


def test_a_dirty_repository_is_a_draft(tmp_path: Path) -> None:
    project = repository(tmp_path / "p")
    project.write({"notes.txt": "x"})
    out = tmp_path / "out"
    assert project.run("package", "--review", "CDR", "-o", str(out)).status == 0
    for page in out.rglob("*.html"):
        assert "DRAFT" in page.read_text("utf-8"), page
    # The same state by its commit is no draft.
    assert project.run("package", "--at", "HEAD", "-o", str(tmp_path / "at")).status == 0
    assert "DRAFT" not in (tmp_path / "at" / "index.html").read_text("utf-8")


@pytest.mark.parametrize(
    "foreign",
    [
        {"notes.txt": "mine"},
        {"manifest.json": "{}"},
        {"manifest.json": "[]"},
        {"manifest.json": '{"files": ["notes.txt"]}', "notes.txt": "mine"},
        # A manifest of another program that happens to have the same key.
        {"manifest.json": '{"name": "other", "files": {"notes.txt": {}}}', "notes.txt": "mine"},
        {"manifest.json": '{"files": {"../precious": {}}}'},
    ],
)
def test_a_foreign_folder_is_2_and_stays(
    passing: Project, tmp_path: Path, foreign: dict[str, str]
) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (tmp_path / "precious").write_text("mine")
    for name, text in foreign.items():
        (out / name).write_text(text)
    run = passing.run("package", "-o", str(out))
    assert run.status == 2
    assert run.stdout == ""
    assert "new or empty folder" in run.stderr
    assert {path.name: path.read_text() for path in out.iterdir()} == foreign
    assert (tmp_path / "precious").read_text() == "mine"


def test_a_file_or_the_project_itself_is_2(project: Project, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine")
    before = project.contents()
    for target in (str(tmp_path / "file"), ".", "/dev/null", str(tmp_path / "file" / "below")):
        run = project.run("package", "-o", target)
        assert run.status == 2, target
    assert (tmp_path / "file").read_text() == "mine"
    assert project.contents() == before


def test_an_earlier_package_is_replaced_and_no_more(project: Project, tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert project.run("package", "-o", str(out)).status == 0
    first = set(contents(out))
    (out / "minutes.txt").write_text("mine")  # somebody's own file beside it
    (project.path / "analyses/warmth.py").unlink()
    (project.path / "requirements/frost.yaml").unlink()
    assert project.run("package", "-o", str(out)).status == 0
    now = set(contents(out))
    assert first - now == {"analyses/warmth.html", "analyses/warmth.md"}
    assert now - first == {"minutes.txt"}


def test_an_unreadable_project_is_2_and_makes_no_folder(project: Project, tmp_path: Path) -> None:
    project.write({"requirements/project.yaml": "project: [\n"})
    run = project.run("package", "-o", str(tmp_path / "out"))
    assert run.status == 2
    assert not (tmp_path / "out").exists()


def test_an_unknown_review_is_2_and_makes_no_folder(passing: Project, tmp_path: Path) -> None:
    run = passing.run("package", "--review", "XDR", "-o", str(tmp_path / "out"))
    assert run.status == 2
    assert "SRR, CDR, AR" in run.stderr
    assert not (tmp_path / "out").exists()
