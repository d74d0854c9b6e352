"""Unit texts that are read, and those that are refused with a cure."""

from __future__ import annotations

import ast
import inspect
import pickle
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

import closeout.units
from closeout.measure import UnitError, Units
from closeout.measure.symbols import GAINS, LEVELS, POINTS, SPELLINGS, SYMBOLS
from closeout.model.amount import read_amount
from tests.effort import calls, processor_time

UNITS = Units()


def refusal(text: str) -> UnitError:
    with pytest.raises(UnitError) as caught:
        UNITS.scale(text)
    assert caught.value.message
    assert caught.value.cure
    return caught.value


def is_answered(text: str) -> bool:
    """Whether a text is read as a usable scale, or refused with a message and a cure."""
    try:
        return UNITS.scale(text).factor > 0
    except UnitError as error:
        return bool(error.message and error.cure)


def short_names() -> list[str]:
    """The unit texts behind the names that an author imports."""
    tree = ast.parse(inspect.getsource(closeout.units))
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call)]
    named = [c for c in calls if isinstance(c.func, ast.Name) and c.func.id == "Unit"]
    return [
        argument.value for c in named for argument in c.args if isinstance(argument, ast.Constant)
    ]


@pytest.mark.parametrize(
    ("text", "cure"),
    [
        ("deg C", "degC"), ("° C", "degC"), ("deg.C", "degC"), ("deg F", "degF"), ("deg K", "K"),
        ("deg C/W", "K/W"), ("W/deg C", "W/K"),
    ],
)  # fmt: skip
def test_a_degree_of_temperature_in_two_words_is_no_angle_times_a_charge(text, cure):
    assert f"write {cure}" in refusal(text).cure


# What engineers of several trades write, and the unit that the cure names; factors as in NIST
# SP 811 (2008), appendix B.8, from memory.
CURES = {
    "b/s/Hz": "bit", "kgf": "N (1 kgf is 9.80665 N)", "kcal": "kJ (1 kcal is 4.184 kJ)",
    "Mrad": "Gy (1 Mrad is 10000 Gy)", "ksi": "MPa (1 ksi is 6.894757 MPa)", "dB m": "dBm",
    "var": "V A", "mph": "m/s (1 mph is 0.44704 m/s)", "'": "arcmin", '"': "arcsec",
    "sps": "symbol/s", "FIT": "1/h (1 FIT is 1e-9/h)", "%RH": "% alone", "dB/oct": "dB alone",
    "nT/sqrt(Hz)": "the density of the square, as nT^2/Hz", "kwh": "kW h", "mah": "mA h",
    "lbs": "kg", "torr": "Pa", "lbf": "N", "hp": "W", "KW": "kW", "Nm": "N m",
}  # fmt: skip


@pytest.mark.parametrize("text", CURES)
def test_a_cure_names_a_unit_of_the_same_dimension(text):
    assert refusal(text).cure.startswith(f"write {CURES[text]}")


@pytest.mark.parametrize("text", ["foo", "MT", "mah2", "zap", "rot", "kgz", "vat"])
def test_nothing_is_guessed_where_nothing_is_known(text):
    assert "meant" not in refusal(text).cure
    assert not re.search(r"write m?[TWw]\b", refusal(text).cure)


@pytest.mark.parametrize(
    ("text", "wanted", "cure"),
    [
        ("5 C/W", "K/W", "write K/W"), ("5 ppm/C", "ppm/K", "write ppm/K"),
        ("5 S/s", "Hz", "write Hz"), ("5 W/mK", "W/(m K)", "write W/(m K)"),
        ("5 W/(m C)", "W/(m K)", "write W/(m K)"), ("5 N/A", "", "leave the key out"),
    ],
)  # fmt: skip
def test_what_is_read_by_the_letter_names_what_was_meant(text, wanted, cure):
    with pytest.raises(UnitError) as caught:
        UNITS.convert(read_amount(text), wanted)
    assert cure in caught.value.cure


def test_short_names_are_found():
    assert len(short_names()) > 100


@pytest.mark.parametrize("text", short_names())
def test_every_short_name_is_read(text):
    assert UNITS.scale(text).factor > 0


@pytest.mark.parametrize(
    "texts",
    [
        ("m/s^2", "m/s2", "m/s**2", "m/s²", "m s^-2", "m s-2", "m s⁻²", "m*s^-2", "m·s^-2"),
        ("W/(m^2 K)", "W/m^2/K", "W/K/m2", "W m^-2 K^-1", "(W/m2)/K"),
        ("1/month", "/month", "month^-1", "month-1"),
        ("", "1"),
        ("W h", "W*h", "h W", " W h ", "(W h)"),
        ("uA", "\u00b5A", "\u03bcA"),
        ("kohm", "k\u03a9", "k\u2126"),
        ("degC", "\u00b0C", "\u2103"),
        ("deg", "\u00b0"),
        ("g0^2/Hz", "g0²/Hz", "g0 g0/Hz", "g0**2 / Hz"),
        ("(m/s)^2", "m^2/s^2"),
        ("kB", "kbyte"),
        ("m/m", "1"),
    ],
)
def test_spellings_of_one_unit(texts):
    assert len({UNITS.scale(text) for text in texts}) == 1


@pytest.mark.parametrize(
    ("text", "written"),
    [
        # A registry of every unit reads Nm as the inverse of a lineic number: hgrecco/pint.
        ("Nm", "N m"),
        ("kNm", "kN m"),
        ("Nms", "N m s"),
        ("Wh", "W h"),
        ("kWh", "kW h"),
        ("Ah", "A h"),
        ("mAh", "mA h"),
        ("Pas", "Pa s"),
        ("KG", "kg"),
        ("Kg", "kg"),
        ("ghz", "GHz"),
        ("KHZ", "kHz"),
        ("DB", "dB"),
        ("dbm", "dBm"),
        ("dBM", "dBm"),
        ("DBI", "dBi"),
        ("MOHM", "mohm or Mohm"),
        ("KB", "kB (1000 byte) or KiB (1024 byte)"),
        ("Mb", "Mbit or MB"),
        ("sec", "s"),
        ("days", "d"),
        ("kbps", "kbit/s"),
        ("Grms", "g0"),
        ("J/degC", "J/K"),
        ("W/\u00b0C", "W/K"),
        ("W/m^2 K", "W/(m^2 K)"),
        ("J/kg K", "J/(kg K)"),
        ("1/m s", "1/(m s) or s/m"),
        ("W/m/K s", "W/(m K s)"),
        ("A h/d V", "A h/(d V) or A h V/d"),
        ("g^2/Hz", "g0^2/Hz"),
        ("g²/Hz", "g0^2/Hz"),
        ("N-m", "N m"),
        ("N.m", "N m"),
        ("kelvn", "K"),
        ("symbl", "symbol"),
        ("dB-Hz", "dBHz"),
        ("dB Hz", "dBHz"),
        ("dBi/K", "dB/K"),
        ("K/degC", "K/K"),
        ("dBd", "dBi"),
        ("dBA", "dB(A)"),
        ("dBFoo", "dB(Foo)"),
    ],
)
def test_refused_with_what_to_write(text, written):
    assert re.match(rf"write {re.escape(written)}(?![A-Za-z0-9^])", refusal(text).cure)


@pytest.mark.parametrize(
    "text", ["barg", "psig", "bar(g)", "bar (g)", "mbar(g)", "kPag", "Pa gauge"]
)
def test_gauge_pressure_is_refused(text):
    error = refusal(text)
    assert "gauge" in error.message
    assert "absolute" in error.cure


@pytest.mark.parametrize("text", ["dBm + 3 dBm", "dBm + dBm", "dB + dB"])
def test_sums_of_levels_are_refused(text):
    assert "levels do not add" in refusal(text).cure


def test_all_unknown_words_are_named_at_once():
    error = refusal("foos/(quux m)")
    assert "foos" in error.message
    assert "quux" in error.message


@pytest.mark.parametrize(
    "text",
    [
        '__import__("os")',
        "().__class__",
        "m**999999999",
        "m^10",
        "m^-10",
        "m^0",
        "m^0.5",
        "m^",
        "m^^2",
        "m^(2)",
        "m²²",
        "(m^9)^9",
        "m^9 m",
        "((((((((((((((((((m))))))))))))))))))",
        "(" * 80,
        "(" * 40 + ")" * 40,
        "m" * 100_000,
        "W " * 60,
        "m\x00",
        "m\ns",
        "m\ts",
        "W\u202eh",
        "()",
        "(m",
        "m)",
        "m(s)",
        "(m)(s)",
        "m//s",
        "m/",
        "*m",
        "/",
        "5 m",
        "1 m",
        "m 1",
        "10 mm",
        "4kHz",
        "m/4kHz",
        "$$",
        "m\\s",
        "\U0001f600",
        "\u0664m",
        "dB(" * 26,
        "dB()",
        "dB(",
        "dB)",
        "dBW)",
        "dB(W/m^2",
        "lambda: 1",
        "m if s else h",
    ],
)
def test_hostile_texts_are_refused_with_little_work(text):
    with processor_time(10):
        error = refusal(text)
    assert calls(lambda: refusal(text)) < 20_000
    assert len(error.message) < 200
    assert error.message.isprintable()


@given(st.text(max_size=90))
def test_any_text_is_read_or_refused(text):
    assert is_answered(text)


@given(
    st.lists(
        st.sampled_from(
            ["m", "g0", "dB", "W", "(", ")", "/", " ", "^2", "4kHz", "1", "K", "-", "%"]
        ),
        max_size=12,
    )
)
def test_any_order_of_tokens_is_read_or_refused(tokens):
    assert is_answered("".join(tokens))


@pytest.mark.parametrize("text", sorted({*SPELLINGS, *POINTS, *LEVELS, *GAINS}))
def test_every_allowed_symbol_is_read(text):
    assert UNITS.scale(text).factor > 0


def test_no_two_symbols_share_a_spelling():
    spelled = [p + symbol.text for symbol in SYMBOLS for p in ("", *symbol.prefixes)]
    assert len(spelled) == len(set(spelled))


def test_errors_survive_pickling():
    error = refusal("Nm")
    copy = pickle.loads(pickle.dumps(error))
    assert (copy.message, copy.cure, str(copy)) == (error.message, error.cure, error.shown())
