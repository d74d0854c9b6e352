"""What moved an estimate out of its agreed range: inputs, code, records, as commits changed them.

By hand: flow is supply * area / 2, at most 0.21 * 2.1 / 2 * 3600 = 793.8 m^3/h as declared, and
869.4 m^3/h with a supply of 0.22 m^3/s +/- 0.01 m^3/s. All data are invented.
"""

from __future__ import annotations

import subprocess
from pathlib import Path

from tests.cli.project import GIT
from tests.run.chains import judged, rules, written
from tests.run.test_computed_inputs import FEED, HEAT, HEATED, PARAMETERS, TANK
from tests.run.test_measured_inputs import ARTICLES, record

AGREED = PARAMETERS.replace(
    "flow: {from: feed.flow}",
    "flow: {range: [640 m^3/h, 800 m^3/h], estimate: feed.flow, source: x}",
)
RULE = "estimate-outside-range"


def commit(folder: Path, day: str) -> str:
    """Commit all that stands in a folder on a day; return the first characters of the commit."""
    dates = dict.fromkeys(("GIT_AUTHOR_DATE", "GIT_COMMITTER_DATE"), f"{day}T12:00:00")

    def git(*words: str) -> str:
        done = subprocess.run(
            ["git", *words], cwd=folder, env={**GIT, **dates}, check=True, capture_output=True
        )
        return done.stdout.decode().strip()

    git("init", "--quiet")
    git("add", "--all")
    git("commit", "--quiet", "--message", "x")
    return git("rev-parse", "HEAD")[:12]


def edit(folder: Path, path: str, old: str, new: str) -> None:
    text = (folder / path).read_text()
    assert old in text
    (folder / path).write_text(text.replace(old, new))


def agreed(tmp_path: Path) -> tuple[Path, str]:
    folder = written(tmp_path, AGREED, (FEED, TANK, HEAT), [HEATED])
    return folder, commit(folder, "2026-03-01")


def test_without_git_the_cause_is_not_known(tmp_path: Path) -> None:
    folder = written(
        tmp_path, AGREED.replace("0.2 m^3/s", "0.22 m^3/s"), (FEED, TANK, HEAT), [HEATED]
    )
    message = rules(judged(folder))[RULE]
    assert message.endswith("to 869.4 m^3/h")


def test_what_moved_it_in_the_state_itself_is_told_after_its_commit(tmp_path: Path) -> None:
    folder, held = agreed(tmp_path)
    edit(folder, "analyses/all.yaml", "0.2 m^3/s", "0.22 m^3/s")
    said = (
        f"to 869.4 m^3/h; it still held at commit {held} of 2026-03-01; since then supply went"
        f" from 0.2 m^3/s +/- 0.01 m^3/s to 0.22 m^3/s +/- 0.01 m^3/s (after commit {held})"
    )
    assert rules(judged(folder))[RULE].endswith(said)
    commit(folder, "2026-03-02")
    assert rules(judged(folder))[RULE].endswith(said)
    assert rules(judged(folder, at="HEAD"))[RULE].endswith(said)


def test_each_input_is_told_with_the_commit_that_changed_it(tmp_path: Path) -> None:
    """With an area of 2.01 m^2 flow is at most 0.21 * 2.11 / 2 * 3600 = 797.58 m^3/h: it holds."""
    folder, _ = agreed(tmp_path)
    edit(folder, "analyses/all.yaml", "2 m^2", "2.01 m^2")
    held = commit(folder, "2026-03-02")
    edit(folder, "analyses/all.yaml", "0.2 m^3/s", "0.22 m^3/s")
    first = commit(folder, "2026-03-03")
    edit(folder, "analyses/all.yaml", "1 min", "2 min")  # which the flow does not take
    commit(folder, "2026-03-04")
    edit(folder, "analyses/all.yaml", "0.1 m^2", "0.2 m^2")
    second = commit(folder, "2026-03-05")
    (folder / "notes.txt").write_text("x")
    commit(folder, "2026-03-06")
    message = rules(judged(folder))[RULE]
    assert f"it still held at commit {held} of 2026-03-02; since then" in message
    assert f"0.22 m^3/s +/- 0.01 m^3/s (commit {first} of 2026-03-03)" in message
    assert (
        f"area went from 2.01 m^2 +/- 0.1 m^2 to 2.01 m^2 +/- 0.2 m^2 (commit {second}" in message
    )
    assert "run_time" not in message


def test_a_changed_formula_and_a_narrower_range_are_told(tmp_path: Path) -> None:
    folder, held = agreed(tmp_path)
    edit(folder, "analyses/feed.py", "/ 2.0", "/ 1.9")
    edit(folder, "analyses/heat.py", "level * area", "level * area * 1.0")  # takes no part in it
    changed = commit(folder, "2026-03-02")
    message = rules(judged(folder))[RULE]
    assert message.endswith(f"since then analyses/feed.py changed (after commit {held})")
    edit(folder, "analyses/all.yaml", "800 m^3/h", "790 m^3/h")
    message = rules(judged(folder))[RULE]
    assert f"it still held at commit {held} of 2026-03-01" in message
    assert f"analyses/feed.py changed (commit {changed} of 2026-03-02)" in message
    assert "flow went from [640 m^3/h, 800 m^3/h] to [640 m^3/h, 790 m^3/h]" in message


def test_a_new_record_below_is_told(tmp_path: Path) -> None:
    parameters = AGREED.replace(
        "supply: {value: 0.2 m^3/s, tolerance: 0.01 m^3/s, source: x}",
        "supply: {from: TR-2.supply}",
    )
    folder = written(tmp_path, parameters, (FEED, TANK, HEAT), [HEATED])
    records = folder / "requirements/records.yaml"
    said = ARTICLES + "records:\n" + record(measured="{supply: 0.2 m^3/s +/- 0.01 m^3/s (k = 2)}")
    records.write_text(said)
    held = commit(folder, "2026-04-01")
    newer = record(
        "TR-7", date="2026-04-01", replaces="TR-2",
        measured="{supply: 0.22 m^3/s +/- 0.01 m^3/s (k = 2)}",
    )  # fmt: skip
    records.write_text(said + newer)
    message = rules(judged(folder))[RULE]
    assert f"it still held at commit {held}" in message
    assert "supply went from 0.2 m^3/s +/- 0.01 m^3/s (TR-2) to 0.22 m^3/s" in message
    assert "(TR-7)" in message


def test_a_range_that_never_held_says_nothing_of_a_cause(tmp_path: Path) -> None:
    folder = written(
        tmp_path, AGREED.replace("0.2 m^3/s", "0.22 m^3/s"), (FEED, TANK, HEAT), [HEATED]
    )
    commit(folder, "2026-03-01")
    edit(folder, "analyses/all.yaml", "0.22 m^3/s", "0.23 m^3/s")
    assert "still held" not in rules(judged(folder))[RULE]


def test_a_what_if_is_its_own_cause(tmp_path: Path) -> None:
    folder, _ = agreed(tmp_path)
    message = rules(judged(folder, set={"supply": "0.22 m^3/s"}))[RULE]
    assert message.endswith("with supply=0.22 m^3/s")
    edit(folder, "analyses/all.yaml", "0.2 m^3/s", "0.22 m^3/s")
    message = rules(judged(folder, set={"run_time": "65 s"}))[RULE]
    assert "run_time" not in message
    assert "since then supply went" in message


def test_a_range_whose_input_has_a_new_name(tmp_path: Path) -> None:
    folder, held = agreed(tmp_path)
    for path in ("analyses/all.yaml", "analyses/feed.py"):
        edit(folder, path, "supply", "intake")
    edit(folder, "analyses/all.yaml", "intake: {value: 0.2 m^3/s,",
         "intake: {formerly: supply, value: 0.22 m^3/s,")  # fmt: skip
    message = rules(judged(folder))[RULE]
    assert "intake went from 0.2 m^3/s +/- 0.01 m^3/s to 0.22 m^3/s +/- 0.01 m^3/s" in message
    assert message.endswith(f"(after commit {held})")
