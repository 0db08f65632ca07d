"""Lengths as people write them, exact; rounding by the examples of the GUM itself."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reading.length import (
    MM_PER_UNIT,
    Length,
    LengthError,
    convert,
    parse_length,
    plain,
    round_result,
    round_uncertainty,
    trimmed,
)

LENGTHS = st.decimals(
    min_value=-9999, max_value=9999, places=6, allow_nan=False, allow_infinity=False
)


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("7.78 mm", "7.78", "mm"),
        ("0.778cm", "0.778", "cm"),
        ("1,31 mm", "1.31", "mm"),
        ('0.0516"', "0.0516", "in"),
        (".0516 in", "0.0516", "in"),
        ("0.0516 inches", "0.0516", "in"),
        ("1/40 in", "0.025", "in"),
        ("+0.02 mm", "0.02", "mm"),
        ("-0.03mm", "-0.03", "mm"),
        ("−0.03 mm", "-0.03", "mm"),
        ("–0.03 mm", "-0.03", "mm"),
        ("- 0.03 mm", "-0.03", "mm"),
        ("7.78\u00a0mm", "7.78", "mm"),
        ("7.78\u202fmm", "7.78", "mm"),
        (" 7.780 MM ", "7.780", "mm"),
        ("5 µm", "5", "um"),
        ("5 μm", "5", "um"),
        ("5um", "5", "um"),
        ("0.00778 m", "0.00778", "m"),
        ("12 millimetres", "12", "mm"),
        ("-0 mm", "0", "mm"),
    ],
)
def test_people_write_lengths_in_many_ways(text, value, unit):
    length = parse_length(text)
    assert (str(length.value), length.unit) == (value, unit)


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("", "''"),
        ("mm", "'mm'"),
        ("7.78.1 mm", "7.78.1"),
        ("1,234.5 mm", "1,234.5"),
        ("7.78 furlong", "furlong"),
        ("1e-3 mm", "e-3"),
        ("±0.02 mm", "±0.02"),
        ("٧ mm", "٧"),
        ("nan mm", "nan"),
        ("1/3 in", "1/3"),
        ("1/0 in", "1/0"),
        ("7.78", "no unit"),
        ("1234567890123456 mm", "15 digits"),
        ("7.78 mm\n8 mm", "8 mm"),
    ],
)
def test_what_is_no_length_is_named(text, named):
    with pytest.raises(LengthError) as caught:
        parse_length(text)
    assert named in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_bare_number_takes_the_unit_it_is_given():
    assert parse_length("-0.03", "in") == Length(Decimal("-0.03"), "in")


@given(LENGTHS, st.sampled_from(sorted(MM_PER_UNIT)))
def test_a_written_length_is_read_back(value, unit):
    assert parse_length(str(Length(value, unit))) == Length(value, unit)


@given(LENGTHS)
def test_a_signed_length_is_read_back(value):
    assert parse_length(plain(value, signed=True), "mm").value == value


@given(LENGTHS)
def test_trimming_changes_no_value(value):
    assert Decimal(trimmed(value)) == value
    assert "E" not in trimmed(value)


@given(LENGTHS, st.sampled_from(["mm", "cm", "um", "m"]), st.sampled_from(["mm", "cm", "um", "m"]))
def test_metric_units_there_and_back_are_exact(value, one, other):
    assert convert(convert(value, one, other), other, one) == value


@given(LENGTHS)
def test_inches_to_millimetres_and_back_are_exact(value):
    assert convert(convert(value, "in", "mm"), "mm", "in") == value


@given(LENGTHS)
def test_millimetres_to_inches_and_back_lose_nothing_that_shows(value):
    back = convert(convert(value, "mm", "in"), "in", "mm")
    assert abs(back - value) < Decimal("1e-50")


@pytest.mark.parametrize(
    ("value", "unit", "to", "expected"),
    [
        # The international yard and pound agreement of 1959: 1 in = 25.4 mm exactly.
        ("1", "in", "mm", "25.4"),
        ("0.0516", "in", "mm", "1.31064"),
        ("7.78", "mm", "cm", "0.778"),
        ("7.78", "mm", "m", "0.00778"),
        ("5", "um", "mm", "0.005"),
    ],
)
def test_known_conversions(value, unit, to, expected):
    assert Length(Decimal(value), unit).to(to).value == Decimal(expected)


@pytest.mark.parametrize(
    ("u", "rounded"),
    [
        ("10.47", "11"),  # JCGM 100:2008 7.2.6: 10.47 mohm up to 11 mohm
        ("28.05", "28"),  # JCGM 100:2008 7.2.6: 28.05 kHz down to 28 kHz
        ("0.008164965809", "0.0082"),
        ("0.0999", "0.10"),
        ("0.0123", "0.013"),
        ("0", "0"),
    ],
)
def test_uncertainties_keep_two_figures(u, rounded):
    assert round_uncertainty(Decimal(u)) == Decimal(rounded)


def test_the_value_is_rounded_to_its_uncertainty():
    # JCGM 100:2008 7.2.6: 10.057 62 ohm with u = 27 mohm becomes 10.058 ohm.
    value, u = round_result(Decimal("10.05762"), Decimal("0.027"))
    assert (str(value), str(u)) == ("10.058", "0.027")


def test_halves_go_to_even():
    # JCGM 100:2008 4.4.3: the mean 100.145 is printed as 100.14, with u = 0.33.
    assert str(round_result(Decimal("100.145"), Decimal("0.33"))[0]) == "100.14"


def test_no_figure_beyond_the_step_is_claimed():
    value, u = round_result(Decimal("5.747"), Decimal("0.00821"), Decimal("0.001"))
    assert (str(value), str(u)) == ("5.747", "0.009")
    value, u = round_result(Decimal("5.747"), Decimal("0.0096"), Decimal("0.001"))
    assert (str(value), str(u)) == ("5.747", "0.010")
    assert round_uncertainty(Decimal("0.0003"), Decimal("0.001")) == Decimal("0.001")


@given(st.decimals(min_value="0.000001", max_value="1000", places=9))
def test_rounding_an_uncertainty_hardly_lowers_it(u):
    rounded = round_uncertainty(u)
    assert u * Decimal("0.995") <= rounded <= u * Decimal("1.1")
    assert len(rounded.as_tuple().digits) == 2  # GUM 7.2.6: at most two
