from __future__ import annotations

import re
import shlex
import subprocess
import sys
from dataclasses import replace

import pytest

from closeout.model.answer import Assurance
from closeout.model.dossier import Compliance, Dossier, State
from closeout.model.identity import SnapshotIdentity
from closeout.model.problem import Problem, Severity
from closeout.render.order import natural
from closeout.render.plain import columns, flow, work
from closeout.render.terminal import problems_text, replay, verify_text
from tests.effort import calls
from tests.render import dossiers


def line_of(text: str, identifier: str) -> str:
    return next(line for line in text.split("\n") if line.startswith(identifier + " "))


def test_a_line_a_requirement(gannet: Dossier) -> None:
    text = verify_text(gannet, colour=False, width=140)
    assert " ".join(line_of(text, "PWR-020").split()) == (
        "PWR-020 C open, not yet due +3.12 W h bounded Energy left after the pad hold usable_energy"
    )
    assert line_of(text, "COM-040").split()[:6] == [
        "COM-040", "PC", "open", "-0.004", "dB", "searched",
    ]  # fmt: skip
    assert line_of(text, "COM-041").split()[1:4] == ["NC", "covered", "closed"]
    assert "open, not yet due" in line_of(text, "COM-060")


def test_the_title_goes_before_the_quantity(gannet: Dossier) -> None:
    # Whole titles at the width of a usual terminal, and the quantity where it fits beside them.
    wide = verify_text(gannet, colour=False, width=140)
    assert line_of(wide, "COM-040").endswith("link_margin [south]")
    narrow = verify_text(gannet, colour=False, width=80)
    for result in gannet.requirements:
        line = line_of(narrow, result.id)
        assert "..." in line or flow(result.title) in line


def test_a_criterion_of_some_cases_shows_the_margin_of_the_case_that_counts() -> None:
    # Two cases are asked for: the second best decides, the worst and the absent do no harm.
    cases = [
        dossiers.evidence(case=case, margin=margin, cases_wanted=2, state=State.MET)
        for case, margin in (("a", -14.6), ("b", 3.0), ("c", 1.7), ("d", None))
    ]
    text = verify_text(dossiers.dossier(dossiers.requirement("COM-030", *cases)), colour=False)
    line = line_of(text, "COM-030")
    assert "+1.7 " in line
    assert line.endswith("[c]")


def test_a_setting_that_beats_given_is_told_under_the_line() -> None:
    evidence = dossiers.evidence(analysis="hold", given=(("hold_duration", "28 d"),))
    dossier = dossiers.dossier(
        dossiers.requirement("PWR-020", evidence), settings=(("hold_duration", "45 d"),)
    )
    lines = verify_text(dossier, colour=False).split("\n")
    place = next(number for number, line in enumerate(lines) if line.startswith("PWR-020 "))
    assert lines[place + 1] == "    what-if hold_duration = 45 d replaces the condition 28 d"


def test_errors_are_told_at_the_top(gannet: Dossier) -> None:
    top = verify_text(gannet, colour=False).split("\n")[:4]
    assert any(line.startswith("INCOMPLETE - 1 error in the project's files") for line in top)


def test_a_traceback_keeps_its_lines() -> None:
    told = 'Traceback (most recent call last):\n  File "analyses/a.py", line 1, in <module>\nE: x'
    lines = problems_text([Problem("r", Severity.ERROR, "a.py", 1, 1, "x", told)]).split("\n")
    assert lines[2:5] == [
        "      Traceback (most recent call last):",
        '        File "analyses/a.py", line 1, in <module>',
        "      E: x",
    ]


def table_of(dossier: Dossier, width: int) -> list[str]:
    """Return head and rows of the table."""
    lines = verify_text(dossier, colour=False, width=width).split("\n")
    head = next(n for n, line in enumerate(lines) if line.startswith("ID"))
    return lines[head : head + 1 + len(dossier.requirements)]


@pytest.mark.parametrize("width", [10, 20, 40, 48, 60, 79, 80, 100, 140, 200])
def test_each_row_is_one_line_at_any_width(any_dossier: Dossier, width: int) -> None:
    if any_dossier.requirements:
        for line in table_of(any_dossier, width):
            assert columns(line) <= width


def test_the_assurance_goes_first_then_title_then_margin(gannet: Dossier) -> None:
    heads = {width: table_of(gannet, width)[0].split("  ") for width in (80, 79, 54, 44)}
    shown = {width: [one.strip() for one in some if one] for width, some in heads.items()}
    assert shown[80][:6] == ["ID", "CODE", "CLOSE-OUT", "MARGIN", "HOW FOUND", "TITLE"]
    assert shown[79][:5] == ["ID", "CODE", "CLOSE-OUT", "MARGIN", "TITLE"]
    assert shown[54] == ["ID", "CODE", "CLOSE-OUT", "MARGIN"]
    assert shown[44][:3] == ["ID", "CODE", "CLOSE-OUT"]
    text = verify_text(gannet, colour=False, width=54)
    assert "left out at this width: HOW FOUND, TITLE" in " ".join(text.split())
    # What is not shown needs no legend.
    assert "bounded over the declared tolerances" not in text.partition("Non-compliances")[0]
    assert "left out at" not in verify_text(gannet, colour=False, width=80)


def test_how_it_was_found_goes_before_the_quantity() -> None:
    found = dossiers.evidence(
        analysis="hold", quantity="energy_left_at_end", margin=3.0, assurance=Assurance.BOUNDED
    )
    one = dossiers.dossier(dossiers.requirement("PWR-010", found))
    # ID, code, close-out and margin take 7, 4, 9 and 6 columns with 2 after each, the title 16, the
    # quantity 18 with 2 before it: 70, and 11 more for how it was found.
    heads = {width: table_of(one, width)[0].split() for width in (81, 80, 70, 69)}
    assert heads[81][-4:] == ["HOW", "FOUND", "TITLE", "QUANTITY"]
    assert heads[80][-3:] == ["MARGIN", "TITLE", "QUANTITY"]
    # The margin does not give way.
    assert heads[69][-2:] == ["MARGIN", "TITLE"]
    text = verify_text(one, colour=False, width=80)
    assert "left out at this width: HOW FOUND" in text


def test_a_wide_terminal_shows_titles_and_quantities_whole(gannet: Dossier) -> None:
    title = "A title that is as long as the title of a requirement ever becomes, and then some"
    first, *others = gannet.requirements
    long = replace(gannet, requirements=(replace(first, title=title), *others))
    assert title not in "".join(table_of(long, 120))
    wide = table_of(long, 200)
    assert title in "".join(wide)
    # Each of the two has a column of its own, so that one finds the quantity beside the title.
    place = wide[0].index("QUANTITY")
    for line in wide[1:]:
        assert line[place - 2 : place].strip() == ""
    assert any(line[place:] == "link_margin [south]" for line in wide)
    # Running text does not become wider than one reads.
    details = verify_text(long, colour=False, width=200).partition("\nNon-compliances\n")[2]
    for line in details.split("\n"):
        assert columns(line) <= 120 or "closeout verify" in line or line.startswith("requirements/")


def test_what_needs_action_comes_first_and_numbers_count_by_value() -> None:
    def one(name: str, code: Compliance, state: State, due: bool = True, **more: object):
        line = dossiers.evidence(state=state, due=due, covered_by=more.pop("covered_by", None))
        closed = line.closed
        return dossiers.requirement(name, line, compliance=code, closed=closed, due=due, **more)

    c, nc, pc, is_open = Compliance.C, Compliance.NC, Compliance.PC, Compliance.OPEN
    dossier = dossiers.dossier(
        one("PWR-10", c, State.MET),
        one("PWR-2", c, State.MET),
        one("AAA-1", is_open, State.OPEN, due=False),
        one("ZZZ-10", is_open, State.ERROR),
        one("ZZZ-9", is_open, State.OPEN),
        one("NNN-2", nc, State.NOT_MET, covered=True, covered_by="RFW-1"),
        one("NNN-1", is_open, State.NOT_MET, due=False),
        one("XXX-1", pc, State.NOT_MET),
        one("YYY-12", nc, State.NOT_MET),
        one("YYY-3", nc, State.NOT_MET),
        one("BBB-1", c, State.MET, outstanding=True),  # what is derived from it is not in order
    )
    shown = [line.split()[0] for line in table_of(dossier, 100)[1:]]
    assert shown == [
        "YYY-3", "YYY-12",  # NC
        "XXX-1",  # PC
        "BBB-1", "ZZZ-9", "ZZZ-10",  # due and open, or in error
        "NNN-1", "NNN-2",  # early, or covered
        "AAA-1", "PWR-2", "PWR-10",  # the rest
    ]  # fmt: skip
    text = verify_text(dossier, colour=False)
    assert "  rows: first what is due and not compliant" in text
    # The details come in the same order.
    details = text.partition("\nNon-compliances\n")[2]
    assert details.index("YYY-3 ") < details.index("YYY-12 ") < details.index("XXX-1 ")
    calm = dossiers.dossier(one("A-1", c, State.MET))
    assert "rows:" not in verify_text(calm, colour=False)


@pytest.mark.parametrize(
    ("first", "then"),
    [("A-2", "A-10"), ("A-2-9", "A-2-10"), ("A-02", "A-002x"), ("a-9", "B-1"), ("A", "A-1")],
)
def test_identifiers_in_natural_order(first: str, then: str) -> None:
    assert natural(first) < natural(then)
    # More digits than Python turns into a number without complaint.
    assert natural("A-1" + "0" * 5000) < natural("A-2" + "0" * 5000)


def test_details_of_shortfalls(gannet: Dossier) -> None:
    text = verify_text(gannet, colour=False, width=200)
    assert (
        "not met: link_margin [south], at least 3 dB, judged 2.996 dB, margin -0.004 dB\n" in text
    )
    assert "not met (not yet due: AR): bus_voltage" in text
    # Said once of each: with the evidence that it covers.
    assert text.count("under waiver RFW-003") == 2
    assert "      under waiver RFW-003\n" in text
    assert "      no waiver or deviation\n" in text
    assert "absent: never rises" in text
    assert "ValueError: math domain error (analyses/radio.py:20)" in text


def test_replay_is_read_back_by_a_shell() -> None:
    # shlex reads as a POSIX shell does.
    command = replay((("antenna_gain", "3.8 dBi"), ("a", "it's")))
    assert shlex.split(command) == [
        "closeout", "verify", "--set", "antenna_gain=3.8 dBi", "--set", "a=it's",
    ]  # fmt: skip


def test_end_of_the_text(gannet: Dossier) -> None:
    text = verify_text(gannet, colour=False, width=200)
    assert "3 C, 1 PC, 1 NC, 1 NA, 2 open; 3 closed of 8\n" in text
    assert "8 requirements, 10 verifications" in text
    assert work(1, 2) == "1 evaluation run, 2 reused"
    assert "Exit status 2: the project, or a part of it, could not be judged." in text
    assert text.count("Decision support only") == 1
    assert text.endswith(".\n")


def test_head_says_what_was_judged(gannet: Dossier) -> None:
    assert verify_text(gannet, colour=False).startswith(
        "Gannet: status for CDR, commit 1e496c4a0b3d, as of 2026-11-30\n"
    )
    asked = replace(gannet, settings=(("sleep_current", "130 uA"),))
    assert "WHAT IF sleep_current=130 uA" in verify_text(asked, colour=False)
    loose = replace(gannet, snapshot=SnapshotIdentity("tree", None, None), review=None)
    text = verify_text(loose, colour=False)
    assert "status for all reviews" in text
    assert "DRAFT" in text


def test_colour_adds_nothing_but_colour(any_dossier: Dossier) -> None:
    plain = verify_text(any_dossier, colour=False)
    coloured = verify_text(any_dossier, colour=True)
    assert "\x1b" not in plain
    assert coloured != plain
    assert re.sub(r"\x1b\[[0-9]+m", "", coloured) == plain


def test_bounded_is_never_said_without_its_reach(gannet: Dossier) -> None:
    text = verify_text(gannet, colour=False, width=140)
    table, _, details = text.partition("\nNon-compliances\n")
    # In the table it is a word of a column; the legend below says how far it reaches.
    assert "\n  bounded over the declared tolerances\n" in table
    assert re.search(r"bounded(?! over the declared tolerances)", " ".join(details.split())) is None


def test_problems_have_place_rule_and_cure() -> None:
    text = problems_text(dossiers.PROBLEMS)
    lines = text.split("\n")
    assert lines[0] == (
        "requirements/radio.yaml:12:7: the limit is in V, the quantity link_margin in dB "
        "[unit-mismatch]"
    )
    assert lines[1] == "    error; action: write the limit in dB"
    assert lines[-2] == "1 error, 1 warning"
    assert problems_text(()) == ""
    evil = Problem("r", Severity.ERROR, "a\nb.yaml", 1, 1, "\x1b[2J\nx", "")
    assert problems_text([evil]).split("\n")[0] == r"a\nb.yaml:1:1: \x1b[2J x [r]"


def test_each_requirement_costs_the_same_however_many_there_are() -> None:
    few, many = dossiers.large(500), dossiers.large(5_000)
    text = verify_text(many, colour=True)
    assert text.count("REQ-") >= 5_000
    verify_text(few, colour=True)
    calls_of_few = calls(lambda: verify_text(few, colour=True))
    assert calls(lambda: verify_text(many, colour=True)) < 10.5 * calls_of_few
    # 117 a requirement; a table laid out by a library of terminals takes thousands.
    assert calls_of_few < 250 * 500


def test_the_terminal_needs_no_heavy_library() -> None:
    code = (
        "import sys, closeout.render.terminal, closeout.render.matrix, closeout.render.package,"
        "closeout.render.explain\n"
        "print(sorted({'jinja2','markdown_it','networkx','jsonschema','rich','numpy'}"
        " & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_due_and_open_leaves_out_what_waits_for_what_is_below_it() -> None:
    below = dossiers.evidence(state=State.OPEN, message="planned")
    text = verify_text(
        dossiers.dossier(
            dossiers.requirement(
                "TOP-1", derived=("LOW-1",), compliance=Compliance.OPEN, outstanding=True
            ),
            dossiers.requirement("LOW-1", below, compliance=Compliance.OPEN),
            dossiers.requirement("BARE-1", compliance=Compliance.OPEN, outstanding=True),
        ),
        colour=False,
    )
    details = text.split("\nDue and open\n")[1]
    assert "LOW-1" in details
    assert "BARE-1" in details
    assert "TOP-1" not in details
