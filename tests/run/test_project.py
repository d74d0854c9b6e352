"""The entry for programs and notebooks; the README's cells are run as a notebook runs them."""

from __future__ import annotations

import ast
import asyncio
import contextlib
import io
import subprocess
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from closeout.model.dossier import Compliance, Dossier, State
from closeout.run import Project, UserError
from closeout.run.values import Absent, Value
from tests.cli.project import Project as Files
from tests.cli.project import make
from tests.cli.test_readme import blocks, missing

HEADING = "In a program or a notebook"


@pytest.fixture(scope="module")
def lantern(tmp_path_factory: pytest.TempPathFactory) -> Project:
    folder = tmp_path_factory.mktemp("starter")
    assert Files(folder).run("start", "lantern").status == 0
    return Project(folder / "lantern")


class Notebook:
    """Runs cells as a notebook does: in one namespace, in a running event loop.

    The value of an expression at a cell's end is shown, as a table where it has one.
    """

    def __init__(self) -> None:
        self.names: dict[str, Any] = {"__name__": "__main__"}
        self.shown = ""

    def run(self, cell: str) -> str:
        """Return what a cell prints; ``shown`` is the HTML of its value."""

        async def kernel() -> str:
            printed = io.StringIO()
            with contextlib.redirect_stdout(printed):
                self._execute(cell)
            return printed.getvalue()

        return asyncio.run(kernel())

    def _execute(self, cell: str) -> None:
        body = ast.parse(cell)
        last = body.body.pop() if isinstance(body.body[-1], ast.Expr) else None
        exec(compile(body, "cell", "exec"), self.names)
        if isinstance(last, ast.Expr):
            value = eval(compile(ast.Expression(last.value), "cell", "eval"), self.names)
            self.shown = value._repr_html_() if hasattr(value, "_repr_html_") else ""


def test_the_cells_of_the_readme_print_what_stands_below_them(
    lantern: Project, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(Path(lantern.place).parent)
    notebook, printed, cells = Notebook(), "", 0
    for block in blocks(HEADING):
        if block.info == "python":
            printed, cells = notebook.run(block.text), cells + 1
            if cells == 1:
                assert "<td>PWR-010</td>" in notebook.shown
        else:
            assert missing(block.text, printed) is None, printed
    assert cells == 5


def test_verify_returns_the_dossier(lantern: Project) -> None:
    dossier = lantern.verify(review="PDR")
    assert isinstance(dossier, Dossier)
    assert {one.id: one.compliance for one in dossier.requirements} == {
        "SYS-010": Compliance.C,
        "PWR-010": Compliance.C,
    }


def test_a_what_if_moves_the_verdict_and_nothing_else(lantern: Project) -> None:
    lantern.verify(review="PDR")
    worse = lantern.verify(review="PDR", set={"cell_capacity": "2 A h"})
    assert worse.settings == (("cell_capacity", "2 A h"),)
    assert next(r for r in worse.requirements if r.id == "PWR-010").compliance is Compliance.NC
    again = lantern.verify(review="PDR")
    assert again.settings == ()
    assert again.scale.evaluated == 0


def test_what_is_set_has_no_source_of_the_projects(lantern: Project) -> None:
    found = lantern.evaluate("lamp_time", lamp_current="250 mA")
    assert {one.name: one.source for one in found.inputs}["lamp_current"] is None
    shown = found._repr_html_()
    assert "<td>250 mA</td><td>set in this call</td>" in shown
    assert "<td>3.4 A h</td><td>Invented; data sheet of the cell</td>" in shown


def test_processes_of_the_program_are_left_alone(lantern: Project, tmp_path: Path) -> None:
    project = Project(make(tmp_path / "p").path)  # an empty store, so that processes are started
    sleepers = []
    evaluation = threading.Thread(target=project.evaluate, args=("energy",))
    evaluation.start()
    while evaluation.is_alive():
        sleepers.append(subprocess.Popen(["sleep", "60"], start_new_session=True))
        time.sleep(0.1)
    try:
        assert [one.poll() for one in sleepers] == [None] * len(sleepers)
        assert sleepers
    finally:
        for one in sleepers:
            one.kill()
            one.wait()


@pytest.mark.slow
def test_threads_evaluate_side_by_side(tmp_path: Path) -> None:
    project = Project(make(tmp_path / "p").path)
    with ThreadPoolExecutor(6) as threads:
        found = list(threads.map(lambda _: project.evaluate("energy"), range(6)))
    assert len({repr(one) for one in found}) == 1


def test_only_some_requirements(lantern: Project) -> None:
    assert [one.id for one in lantern.verify(only="PWR-*").requirements] == ["PWR-010"]


def test_html_shows_texts_as_they_are(tmp_path: Path) -> None:
    project = Project(make(tmp_path / "p").path)
    path = tmp_path / "p/requirements/power.yaml"
    path.write_text(path.read_text().replace("Energy of the battery", "<b>Energy</b> & more"))
    shown = project.verify()._repr_html_()
    assert "&lt;b&gt;Energy&lt;/b&gt; &amp; more" in shown
    assert "<b>" not in shown


def test_an_evaluation_has_values_with_units_and_its_inputs(lantern: Project) -> None:
    found = lantern.evaluate("lamp_time", cell_temperature="10 degC")
    # By hand: 3.4 A h times (1 - 0.4 % times 10) by 0.24 A.
    assert float(found["lamp_time"]) == pytest.approx(3.4 * 0.96 / 0.24, rel=1e-15)
    assert isinstance(found["lamp_time"], Value)
    assert found["lamp_time"].unit == "h"
    assert list(found) == ["usable_charge", "lamp_time"]
    used = {one.name: (one.text, one.origin) for one in found.inputs}
    assert used["cell_temperature"] == ("10 degC", "set")
    assert used["cell_capacity"] == ("3.4 A h", "parameter")
    assert "<td>cell_capacity</td>" in found._repr_html_()


def test_cases_are_distinguished_and_one_without_a_value_says_why(tmp_path: Path) -> None:
    files = {
        "requirements/project.yaml": "project: {name: Cases, reviews: [CDR]}\n",
        "analyses/p.yaml": "parameters: {x: {value: 2 m, source: Invented}}\n",
        "analyses/passes.py": (
            "from collections.abc import Mapping\n"
            "from typing import Annotated, NamedTuple\n"
            "from closeout import absent, analysis\n"
            "from closeout.units import Unit, m\n\n\n"
            "class Passes(NamedTuple):\n"
            '    height: Annotated[Mapping[str, float], Unit("m")]\n\n\n'
            "@analysis\n"
            "def passes(x: m) -> Passes:\n"
            '    """Invented."""\n'
            '    return Passes({"one": 2.0 * x, "two": absent("never rises")})\n'
        ),
    }
    found = Project(make(tmp_path / "p", files).path).evaluate("passes")
    assert dict(found["height"]) == {"one": Value(4.0, "m"), "two": Absent("never rises")}
    assert str(found) == "height [one] = 4 m\nheight [two] = none: never rises"


def _mistakes() -> Iterator[Any]:
    def of(name: str, call: Any, *texts: str) -> Any:
        return pytest.param(call, texts, id=name)

    yield of("analysis", lambda p: p.evaluate("lamp_tim"), "lamp_tim", "did you mean lamp_time?")
    yield of(
        "arguments",
        lambda p: p.evaluate("lamp_time", cell_temprature="1 degC", wind="1 m/s"),
        "does not take cell_temprature", "did you mean cell_temperature?", "does not take wind",
    )  # fmt: skip
    yield of("unit", lambda p: p.evaluate("lamp_time", lamp_current="1 V"), "lamp_current=1 V")
    yield of("number", lambda p: p.evaluate("lamp_time", lamp_current=1.0), "an amount is a text")
    yield of(
        "both",
        lambda p: p.evaluate("lamp_time", wind="5 m/s", lamp_current="5 V", cell_temperature=5),
        "does not take wind", "lamp_current=5 V", "cell_temperature=5: an amount is a text",
    )  # fmt: skip
    yield of("day", lambda p: p.verify(today="20261130"), "20261130: not a day")
    yield of("no day", lambda p: p.verify(today=20261130), "not a day")
    yield of("no mapping", lambda p: p.verify(set=["x=1 A"]), "maps no parameters to amounts")
    yield of("review", lambda p: p.verify(review="XDR"), "unknown review")
    yield of("parameter", lambda p: p.verify(set={"x": "1 m"}), "there is no parameter x")
    yield of("identifier", lambda p: p.explain("PWR-011"), "did you mean PWR-010")


@pytest.mark.parametrize(("call", "texts"), list(_mistakes()))
def test_a_mistake_is_reported_with_its_cure(lantern: Project, call: Any, texts: list[str]) -> None:
    with pytest.raises(UserError) as raised:
        call(lantern)
    for text in texts:
        assert text in str(raised.value)


def test_a_folder_that_is_no_project_is_reported(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="no project here"):
        Project(tmp_path).verify()


def test_an_analysis_that_fails_is_reported_with_its_place(tmp_path: Path) -> None:
    project = make(tmp_path / "p")
    project.replace(
        "analyses/energy.py", "    return", "    raise ValueError('too hot')\n    return"
    )
    with pytest.raises(UserError, match="too hot"):
        Project(project.path).evaluate("energy")


def test_explain_returns_what_the_command_prints(lantern: Project) -> None:
    explained = lantern.explain("PWR-010")
    assert explained.result is not None
    assert explained.result.evidence[0].state is State.MET
    assert "Verification 1" in str(explained)
    assert [study.quantity for study in explained.studies] == ["lamp_time"]
