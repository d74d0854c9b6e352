"""What was read is held by the commit, or named: ignored files, and files outside the project."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

from tests.cli.project import ANALYSIS, Project, base, by_id, repository

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

DIFFERS = "the judged state differs from its commit"
RETURN = "return Energy(voltage * charge)"
FACTOR = "return Energy(voltage * charge * {})"
READ = "from pathlib import Path\n    HERE = Path(__file__).parent\n    factor = {}\n    "
READS = {
    "a file": "float((HERE / 'factor.txt').read_text())",
    "asked for": "1.0 if (HERE / 'factor.txt').is_file() else 2.0",
    "a listing": "float(len(list(HERE.glob('factor.*'))))",
    "a module": "__import__('ignored_module').FACTOR",
}
IGNORE = "analyses/factor.txt\nignored_module.py\nother.txt\n__pycache__/\n"
IGNORED = {"analyses/factor.txt": "1", "ignored_module.py": "FACTOR = 1.0\n", "other.txt": "1"}


def _ignoring(folder: Path, read: str) -> Project:
    """A clean repository, in which an analysis reads what git ignores."""
    text = ANALYSIS.replace(RETURN, READ.format(read) + FACTOR.format("factor"))
    project = repository(folder, {**base(), "analyses/energy.py": text, ".gitignore": IGNORE})
    project.write(IGNORED)
    return project


@pytest.mark.parametrize("name", READS)
def test_what_git_ignores_makes_a_draft_and_is_named(name: str, tmp_path: Path) -> None:
    project = _ignoring(tmp_path / "p", READS[name])
    path = "ignored_module.py" if name == "a module" else "analyses/factor.txt"
    assert project.git("status", "--porcelain") == ""
    for _ in range(2):  # the second is recalled from the store
        report = project.verify().json
        assert report["snapshot"]["dirty"] is True
        assert report["unheld"] == [path]
        assert report["draft"] is True
    text = " ".join(project.run("verify").stdout.split())
    assert f"DRAFT - {DIFFERS}: read and not committed: {path}" in text


def test_each_page_of_a_package_names_it(tmp_path: Path) -> None:
    project = _ignoring(tmp_path / "p", READS["a file"])
    target = tmp_path / "package"
    assert project.run("package", "-o", str(target)).status == 0
    manifest = json.loads((target / "manifest.json").read_text())
    assert manifest["draft"] is True
    assert manifest["unheld"] == ["analyses/factor.txt"]
    for page in target.rglob("*.html"):
        assert "read and not committed: analyses/factor.txt" in page.read_text(), page


def test_what_nothing_reads_is_no_matter(tmp_path: Path) -> None:
    """Also a folder that is listed with what git, Python and the tool itself make in it."""
    project = _ignoring(tmp_path / "p", "float(len(list((HERE / 'data').iterdir())))")
    project.write({"analyses/data/t.csv": "1", "analyses/data/__pycache__/t.pyc": ""})
    project.git("add", "--all")
    project.git("commit", "--quiet", "-m", "data")
    report = project.verify().json
    assert report["snapshot"]["dirty"] is False
    assert report["draft"] is False
    assert report["unheld"] == []
    assert report["outside"] == []


def test_the_commit_itself_does_not_hold_it(tmp_path: Path) -> None:
    project = _ignoring(tmp_path / "p", READS["asked for"])
    report = project.verify("--at", "HEAD").json
    assert report["draft"] is False
    assert by_id(report)["PWR-010"]["verification"][0]["value"] == 432.0  # kJ: 2 (60 W h)


def test_an_ignored_test_that_validates_an_analysis(tmp_path: Path) -> None:
    project = repository(tmp_path / "p", {**base(), ".gitignore": "tests/\n"})
    project.write({"tests/test_all.py": ""})
    project.git("rm", "--quiet", "-r", "--cached", "--ignore-unmatch", "tests")
    project.git("commit", "--quiet", "--allow-empty", "-m", "no tests")
    assert project.verify().json["unheld"] == ["tests/test_all.py"]


def _outside(folder: Path, place: Path, read: str = "float(Path({!r}).read_text())") -> Project:
    text = READ.format(read.format(str(place))) + FACTOR.format("factor")
    return repository(folder, {**base(), "analyses/energy.py": ANALYSIS.replace(RETURN, text)})


def test_a_file_outside_is_listed_with_its_digest(tmp_path: Path) -> None:
    place = tmp_path / "factor.txt"
    place.write_text("1")
    project = _outside(tmp_path / "p", place)
    digest = hashlib.blake2b(b"1", digest_size=32).hexdigest()
    listed = [{"path": str(place), "blake2b-256": digest}]
    for _ in range(2):
        assert project.verify().json["outside"] == listed
    assert f"read outside the project and not in the commit: {place}" in " ".join(
        project.run("verify").stdout.split()
    )
    target = tmp_path / "package"
    assert project.run("package", "-o", str(target)).status == 0
    for name in ("manifest.json", "dossier.json"):
        assert json.loads((target / name).read_text())["outside"] == listed
    assert digest in (target / "index.html").read_text()
    # A commit that is judged reads it too.
    assert project.verify("--at", "HEAD").json["outside"] == listed


def test_a_file_outside_that_is_only_asked_for_is_listed(tmp_path: Path) -> None:
    place = tmp_path / "factor.txt"
    place.write_text("1")
    project = _outside(tmp_path / "p", place, "float(Path({!r}).is_file())")
    assert project.verify().json["outside"] == [{"path": str(place), "blake2b-256": None}]


def test_what_is_installed_is_not_listed(tmp_path: Path) -> None:
    read = (
        "(__import__('numpy'), __import__('csv'), Path(__import__('scipy').__file__).read_text())"
    )
    project = _outside(tmp_path / "p", tmp_path, f"len({read}) / 3")
    report = project.verify().json
    assert by_id(report)["PWR-010"]["verification"][0]["value"] == 216.0  # kJ: 60 W h
    assert report["outside"] == []
