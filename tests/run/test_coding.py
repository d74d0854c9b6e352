"""A dossier as bytes, and back."""

from __future__ import annotations

import math
import struct
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from closeout.model.amount import read_amount, read_measured
from closeout.model.answer import Assurance
from closeout.model.coding import decoded, encoded
from closeout.model.criterion import Condition, Limits, as_run
from closeout.model.dossier import AsRun, Dossier, State
from closeout.model.inputs_used import InputUsed
from closeout.model.probability import Chance
from closeout.model.problem import Pointer
from closeout.model.records import Method, Record, Waiver
from tests.render.dossiers import evidence, gannet, requirement

NUMBERS = st.floats(allow_nan=False)  # JSON has no infinite one; MessagePack has
TEXTS = st.text(max_size=8)
EVIDENCE = st.fixed_dictionaries(
    {
        **dict.fromkeys(("value", "low", "high", "at_least", "margin"), st.none() | NUMBERS),
        "assurance": st.none() | st.sampled_from(Assurance),
        "state": st.sampled_from(State),
        "chance": st.none() | st.builds(Chance, *[NUMBERS] * 5, st.integers(0, 2**40)),
        "at": st.tuples(st.tuples(TEXTS, TEXTS)),
        "as_run": st.tuples() | st.tuples(st.builds(AsRun, *[TEXTS] * 4, st.none(), TEXTS)),
    }
)
RECORD = Record(
    where=Pointer("requirements/records.yaml", ("records", 0)),
    id="TR-001",
    method=Method.TEST,
    measured=(("usable_energy", read_measured("57.1 W h +/- 0.4 W h (k = 2)")),),
    conditions=(
        ("cell_temperature", Condition((read_amount("5 degC"), read_amount("20 degC")))),
        ("power", as_run(read_measured("51.8 W +/- 0.3 W (k = 2)"))),
    ),
    good_for=read_amount("0.3333333333333333 yr"),
)
WAIVER = Waiver(
    where=Pointer("requirements/waivers.yaml", ("waivers", 0)),
    id="RFW-001",
    kind="waiver",
    requirement="COM-040",
    limits=Limits(at_least=read_amount("1e-300 dB")),
    cases=("Razorbill",),
)


def with_parts(**parts: Any) -> Dossier:
    return replace(gannet(), **parts)


def back(dossier: Dossier) -> Dossier:
    content = encoded(dossier)
    assert content is not None
    found = decoded(content)
    assert found is not None
    return found


def test_a_dossier_comes_back_as_it_was() -> None:
    dossier = gannet()
    found = back(dossier)
    assert found == dossier
    # Not compared by ==: the day of the state.
    assert found.snapshot.date == dossier.snapshot.date


@given(EVIDENCE)
def test_whatever_was_found_comes_back(fields: dict[str, Any]) -> None:
    dossier = with_parts(requirements=(requirement("PWR-020", evidence(**fields)),))
    assert back(dossier) == dossier


def test_what_is_on_file_comes_back() -> None:
    dossier = with_parts(
        records=(RECORD,), waivers=(WAIVER,), renamed={"records": {"TR-000": "TR-001"}}
    )
    assert back(dossier) == dossier


@pytest.mark.parametrize(
    "value", [0.1, -0.0, 5e-324, 1.7976931348623157e308, math.inf, -math.inf, math.nan]
)
def test_each_double_comes_back_to_the_last_bit(value: float) -> None:
    used = InputUsed("x", "N", value, None, None, "", "", None, None, None, "parameter")
    (evaluation, *_) = gannet().evaluations
    dossier = with_parts(evaluations=(replace(evaluation, inputs=(used,)),))
    found = back(dossier).evaluations[0].inputs[0].value
    assert struct.pack("<d", found) == struct.pack("<d", value)


def test_what_is_no_dossier_is_distinguished() -> None:
    assert decoded(b"") is None
    assert decoded(b"\x81\xa1x\x01") is None


def test_a_name_that_is_no_unicode_has_no_form() -> None:
    assert encoded(with_parts(project="caf\udce9")) is None
