from __future__ import annotations

import re
from dataclasses import replace

import pytest

from closeout.model.dossier import Dossier
from closeout.render.explain import Explained, first_text, rest_text, suggestions
from closeout.render.plain import safe
from tests.render import dossiers


def explain(dossier: Dossier, name: str, *, colour: bool = False) -> str:
    wanted = Explained(name, colour, width=160)
    text = first_text(dossier, wanted)
    assert text is not None
    return text + rest_text(dossier, dossier, wanted)


def test_requirement(gannet: Dossier) -> None:
    text = explain(gannet, "PWR-020")
    for part in (
        "PWR-020 issue B: Energy left after the pad hold\nC (compliant), open\n",
        "rationale: The active phase needs 40 W h",
        "Parents\n  SYS-030  C, open  Live through the wait on the pad\n",
        "met: usable_energy, at least 52 W h, judged 55.12 W h, margin +3.12 W h\n",
        "plan: VP 4.2",
        "95 uA +/- 10 uA; maturity: measured; source: Bench log of 3 March",
        "28 d; condition; given in this evaluation; source: LSA 4.3",
        "Verification 2\n    open (not yet due: AR): usable_energy",
        "planned: the record has no date",
    ):
        assert part in text


def test_requirement_with_a_shortfall_tells_where(gannet: Dossier) -> None:
    text = explain(gannet, "COM-040")
    assert "found at antenna_gain = 3.8 dBi" in text
    assert "--set 'antenna_gain=3.8 dBi exactly'" in text
    assert "5.0 dBi, sigma 0.4 dB; no source" in text
    assert "under waiver RFW-003" in explain(gannet, "COM-041")
    assert "return log10(-1.0)" in explain(gannet, "COM-050")


def test_chain_ends_in_a_circle_and_at_the_unknown() -> None:
    text = explain(
        dossiers.dossier(
            dossiers.requirement("A-1", derived=("A-2", "A-9"), derived_from=("A-2",)),
            dossiers.requirement("A-2", derived=("A-1",), derived_from=("A-1",)),
        ),
        "A-1",
    )
    assert "  A-9  unknown\n" in text
    assert text.count("(see above)") == 2


@pytest.mark.parametrize("name", ["power.pad_hold_energy", "pad_hold_energy"])
def test_analysis(gannet: Dossier, name: str) -> None:
    text = explain(gannet, name)
    for part in (
        "Analysis power.pad_hold_energy  (analyses/power.py:31)",
        "      q(t) = (q0 + I/k) exp(-k t) - I/k",
        "validated by: tests/analyses/test_pad_hold_energy.py",
        "arguments: cell_capacity (A h), sleep_current (uA), hold_duration (d)",
        "PWR-020  met, usable_energy, margin +3.12 W h",
        "Bounded over the declared tolerances; 37 evaluations of the function.",
        "usable_energy  63.21 W h    55.12 W h    70.9 W h",
    ):
        assert part in text
    assert "absent: never rises" in explain(gannet, "link_margin")


def test_parameter(gannet: Dossier) -> None:
    text = explain(gannet, "sleep_current")
    for part in (
        "95 uA +/- 10 uA; maturity: measured; source: Bench log of 3 March",
        "Analyses that use it\n  power.pad_hold_energy\n",
        "PWR-020  met, usable_energy, margin +3.12 W h",
    ):
        assert part in text


def test_a_function_of_two_modules_needs_its_module(gannet: Dossier) -> None:
    twin = dossiers.PAD_HOLD._replace(name="other.pad_hold_energy")
    both = replace(gannet, analyses=(*gannet.analyses, twin))
    assert first_text(both, Explained("pad_hold_energy", colour=False)) is None
    assert "Analysis other.pad_hold_energy" in explain(both, "other.pad_hold_energy")


def test_unknown_identifier_and_what_is_like_it(gannet: Dossier) -> None:
    assert first_text(gannet, Explained("PWR020", colour=False)) is None
    known = ["PWR-020", "PWR-030", "sleep_current", "TR-BAT-001"]
    assert suggestions(known, "pwr020")[0] == "PWR-020"
    assert suggestions(known, "sleep_curent") == ["sleep_current"]
    assert suggestions(known, "zzzzzz") == []


def test_colour_adds_nothing_but_colour(gannet: Dossier) -> None:
    coloured = explain(gannet, "COM-040", colour=True)
    assert re.sub(r"\x1b\[[0-9]+m", "", coloured) == explain(gannet, "COM-040")


def test_nothing_of_a_text_acts_on_a_terminal(nasty: Dossier) -> None:
    for name in ("=cmd()", "@SUM(A1)", "a|b", "m.bad`name", "../../etc/passwd"):
        text = explain(nasty, name).replace("\n", " ")
        assert safe(text) == text
        assert "WHAT IF" in text


def test_each_verdict_finds_its_own_evaluation(gannet: Dossier) -> None:
    long = (("cell_temperature", "5 degC to 20 degC"), ("hold_duration", "45 d"))
    other = replace(dossiers.HOLD_RUN, given=long, evaluations=99)
    # The same conditions, in the order of the arguments.
    own = replace(dossiers.HOLD_RUN, given=dossiers.HOLD_GIVEN[::-1])
    text = explain(replace(gannet, evaluations=(other, own)), "PWR-020")
    assert "37 evaluations" in text
    assert "99 evaluations" not in text
    # Two that are equally like: none is named, rather than the wrong one.
    unclear = explain(replace(gannet, evaluations=(own, replace(own, evaluations=99))), "PWR-020")
    assert "evaluations of the function" not in unclear


def test_inputs_of_several_cases_stand_once(gannet: Dossier) -> None:
    text = explain(gannet, "COM-040")
    assert text.count("1024 evaluations of the function") == 1
    assert "inputs: see Verification 1 [north]" in text
