"""The table of usual units beside what is read with pint."""

import pytest

from closeout.measure import Units
from closeout.measure.known import TABLE, known, written
from closeout.measure.reading import read


def test_the_table_says_what_pint_says_of_each_of_its_units():
    """Where this fails after a change of units: ``known.write()`` makes the table anew."""
    assert TABLE.read_text("utf-8") == written()


@pytest.mark.parametrize("text", ["W h", "dBm", "degC", "%/month", "km", "Msymbol/s", ""])
def test_a_usual_unit_needs_no_memo(text):
    memo = {}
    assert Units(memo).scale(text) == known(text) == read(text)
    assert memo == {}


@pytest.mark.parametrize("text", ["kg m^2/s^3", " W h", "furlong"])
def test_another_is_read_as_before(text):
    assert known(text) is None
