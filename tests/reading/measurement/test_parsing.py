"""Readings as people write them: a table of texts and what they mean."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reading.length import LengthError, convert, plain
from reading.measurement.parsing import parse_readings


@pytest.mark.parametrize(
    ("text", "lengths"),
    [
        ("1.31 1.32 1.30 mm", ["1.31 mm", "1.32 mm", "1.30 mm"]),
        ("1.31mm", ["1.31 mm"]),
        ("0.131 cm", ["0.131 cm"]),
        ("1,31 mm", ["1.31 mm"]),
        ("1,31 mm; 1,32 mm", ["1.31 mm", "1.32 mm"]),
        ("1.31, 1.32, 1.30 mm", ["1.31 mm", "1.32 mm", "1.30 mm"]),
        ("1.31;1.32 mm", ["1.31 mm", "1.32 mm"]),
        ('0.0516"', ["0.0516 in"]),
        ('0.0516" 0.0517"', ["0.0516 in", "0.0517 in"]),
        ("1310 µm 1.32 mm", ["1310 um", "1.32 mm"]),
        ("−0.02 +0.03 mm", ["-0.02 mm", "0.03 mm"]),
        ("1/40 in", ["0.025 in"]),
    ],
)
def test_what_people_write(text, lengths):
    assert [str(one.length) for one in parse_readings(text)] == lengths


def test_what_a_reading_may_be_off_by():
    one, two = parse_readings("1.31 ± 0.01 mm  1.32 mm +/- 20 um")
    assert (str(one.length), str(one.plus_minus)) == ("1.31 mm", "0.01 mm")
    assert (str(two.length), str(two.plus_minus)) == ("1.32 mm", "20 um")


def test_a_default_unit():
    assert [str(one.length) for one in parse_readings("1.31 1.32", "mm")] == ["1.31 mm", "1.32 mm"]


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("five mm", "'five'"),
        ("1.31 mm foo", "'foo'"),
        ("1.31 furlong", "'furlong'"),
        ("1.31 1.32", "no unit"),
        ("1.22-1.23 mm", "not"),  # a range is not two readings
        ("1.22,1.23 mm", "not"),
        ("1.2.3 mm", "'"),
        ("1.31 ± 0 mm", "more than 0"),
        ("", "no readings"),
        (" \t ", "no readings"),
        ("1.22 1.2x mm", "'x'"),  # not the mm behind it
        ("1.31 ± mm", "not"),
    ],
)
def test_what_is_not_understood_is_named(text, named):
    with pytest.raises(LengthError, match=named):
        parse_readings(text)


@given(values=st.lists(st.decimals(-25, 25, places=4), min_size=1, max_size=9))
def test_what_is_written_is_read_back(values):
    text = " ".join(plain(value) for value in values) + " mm"
    assert [one.length.value for one in parse_readings(text)] == values


@given(value=st.decimals(0, 1000, places=4), unit=st.sampled_from(["mm", "cm", "um", "m", "in"]))
def test_units_there_and_back(value, unit):
    there = convert(value, "mm", unit)
    assert abs(convert(there, unit, "mm") - value) < 1e-40


@pytest.mark.parametrize(
    ("unit", "name"),
    [("cm", "centimeter"), ("um", "micrometer"), ("m", "meter"), ("in", "inch")],
)
def test_conversion_agrees_with_a_units_library(unit, name):
    pint = pytest.importorskip("pint")
    from decimal import Decimal

    quantity = pint.UnitRegistry(non_int_type=Decimal).Quantity(Decimal("1.3107"), name)
    assert convert(Decimal("1.3107"), unit, "mm") == pytest.approx(quantity.to("mm").magnitude)
