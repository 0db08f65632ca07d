"""Slips of hand readings on three worked gauges; the arithmetic beside each is done by hand.

The mistakes are common practice of teaching: they are what teachers warn of.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from reading.correct import correct
from reading.gauge import Gauge, ZeroCheck
from reading.slips import SLIPS, Shown, compare, diagnose
from vision.scale import Scale

FINE, SCHOOL = Scale(Decimal("0.5"), 50), Scale(Decimal(1), 100)
# A shows 5.5 + 28 x 0.01 = 5.78, corrected 5.75; B 4 + 76 x 0.01 = 4.76, corrected 4.86;
# C 6.0 + 47 x 0.01 = 6.47, corrected 6.45.
A = Shown(FINE, 11, 28, Decimal("0.03"))
B = Shown(SCHOOL, 4, 76, Decimal("-0.10"))
C = Shown(FINE, 12, 47, Decimal("0.02"))


def codes(value, shown):
    return {fit.code for fit in diagnose(Decimal(value), shown)}


@pytest.mark.parametrize(
    ("shown", "value", "code"),
    [
        (A, "5.28", "half_line_missed"),
        (C, "6.97", "next_line_counted"),
        (B, "5.76", "next_line_counted"),
        (A, "5.81", "zero_sign_wrong"),
        (B, "4.66", "zero_sign_wrong"),
        (C, "6.49", "zero_sign_wrong"),
        (A, "5.78", "zero_forgotten"),
        (B, "4.76", "zero_forgotten"),
        (C, "6.47", "zero_forgotten"),
        (A, "5.72", "zero_applied_twice"),
        (B, "4.96", "zero_applied_twice"),
        (C, "6.43", "zero_applied_twice"),
        (B, "3.86", "negative_zero_taken_positive"),
        (A, "5.528", "least_count_tenfold"),
        (A, "8.30", "least_count_tenfold"),
        (B, "4.076", "least_count_tenfold"),
        (B, "11.60", "least_count_tenfold"),
        (C, "6.047", "least_count_tenfold"),
        (C, "10.70", "least_count_tenfold"),
        (A, "5.64", "wrong_scale"),
        (A, "6.06", "wrong_scale"),
        (B, "4.38", "wrong_scale"),
        (B, "5.52", "wrong_scale"),
        (C, "6.235", "wrong_scale"),
        (C, "6.94", "wrong_scale"),
        (A, "5.72", "thimble_backwards"),
        (B, "4.24", "thimble_backwards"),
        (C, "6.03", "thimble_backwards"),
        (A, "5.72", "counted_wrong_way"),  # from 25
        (A, "5.82", "counted_wrong_way"),  # from 30
        (B, "4.84", "counted_wrong_way"),  # from 80
        (B, "4.74", "counted_wrong_way"),  # from 75
        (C, "6.43", "counted_wrong_way"),  # from 45
        (A, "5.87", "digits_swapped"),
        (B, "4.67", "digits_swapped"),
        (C, "6.74", "digits_swapped"),
        (A, "11.28", "half_lines_as_millimetres"),
        (C, "12.47", "half_lines_as_millimetres"),
        (A, "5.5", "only_one_scale"),
        (A, "0.28", "only_one_scale"),
        (B, "0.76", "only_one_scale"),
        (C, "6.0", "only_one_scale"),
        (A, "5.79", "neighbouring_division"),
        (A, "5.83", "wrong_thimble_number"),
        (A, "10.78", "wrong_sleeve_number"),
        (A, "0.578", "unit_slip"),
        (A, "57.8", "unit_slip"),
        (A, "0.22756", "unit_slip"),  # 5.78 / 25.4
        (A, "146.812", "unit_slip"),  # 5.78 x 25.4
    ],
)
def test_each_slip_of_the_worked_gauges_is_named(shown, value, code):
    assert code in codes(value, shown)


@pytest.mark.parametrize(
    ("shown", "value", "expected"),
    [
        # 28 of 50 is far from the turn, so no passed line can be hidden there.
        (A, "5.28", {"half_line_missed"}),
        # 5.78 - 2 x 0.03 = 5.5 + (50 - 28) x 0.01 = 5.5 + (25 - 3) x 0.01 = 5.72
        (A, "5.72", {"zero_applied_twice", "thimble_backwards", "counted_wrong_way"}),
        # 47 of 50: the next line, or half a millimetre added wrongly
        (C, "6.97", {"next_line_counted", "half_line_added"}),
        # 6.47 - 2 x 0.02 = 6 + (45 - 2) x 0.01 = 6.43
        (C, "6.43", {"zero_applied_twice", "counted_wrong_way"}),
        (B, "3.86", {"negative_zero_taken_positive"}),
    ],
)
def test_one_number_may_be_several_slips_and_all_are_named(shown, value, expected):
    assert codes(value, shown) == expected


@pytest.mark.parametrize(
    ("shown", "value", "code"),
    [
        (A, "5.28", "hidden_line_missed"),
        (A, "6.28", "next_line_counted"),
        (B, "4.26", "half_line_missed"),  # a sleeve without half lines
        (B, "4.76", "half_lines_as_millimetres"),  # with pitch 1 mm that is right
        (Shown(FINE, 11, 7), "5.57", "neighbouring_division"),  # right by luck: nothing to name
    ],
)
def test_a_slip_that_could_not_be_made_is_not_named(shown, value, code):
    assert code not in codes(value, shown)


def test_a_one_figure_division_written_as_tenths():
    # 5 and 7 written as 5.7: the right value is 5.07.
    assert "division_as_tenths" in codes("5.7", Shown(FINE, 10, 7))


def test_a_hidden_line_near_the_turn():
    assert {"hidden_line_missed", "half_line_missed"} <= codes("5.03", Shown(FINE, 11, 3))


def test_the_range_start_left_out():
    ranged = Shown(Scale(Decimal("0.5"), 50, start=Decimal(25)), 11, 28)
    assert ranged.reading == Decimal("30.78")
    assert "range_start_left_out" in codes("5.78", ranged)


def test_a_slip_before_a_right_correction_is_named_too():
    fits = {fit.code: fit for fit in diagnose(Decimal("5.25"), A)}
    assert fits["half_line_missed"].then_corrected
    assert fits["half_line_missed"].gives == Decimal("5.25")


def test_an_inch_sleeve_is_numbered_in_tenths():
    inch = Shown(Scale(Decimal("0.025"), 25, "in"), 6, 23)
    assert inch.reading == Decimal("0.173")
    assert "wrong_sleeve_number" in codes("0.273", inch)


def test_nothing_is_named_where_nothing_fits():
    assert diagnose(Decimal("3.337"), A) == ()


def test_the_nearest_fit_comes_first():
    fits = diagnose(Decimal("5.721"), A)
    assert [fit.off_divisions for fit in fits] == sorted(fit.off_divisions for fit in fits)


def test_codes_and_sentences_are_in_order():
    texts = {slip.code: slip.sentence for slip in SLIPS}
    assert all(code.isidentifier() and code == code.lower() for code in texts)
    assert all(sentence and not sentence.endswith(".") for sentence in texts.values())


@pytest.fixture
def reading(sighted, photo, noon):
    check = ZeroCheck("A", noon.at, Decimal("0.03"), 0.003)
    return correct(photo, sighted(11, 27.9), noon, Gauge("A", FINE), [check])


@pytest.mark.parametrize(
    ("value", "against", "difference"),
    [("5.78", "shown", "0.1"), ("5.75", "corrected", "0.1"), ("5.785", "shown", "0.6")],
)
def test_a_hand_reading_may_agree_with_either(reading, value, against, difference):
    compared = compare(Decimal(value), reading)
    assert compared.agrees
    assert compared.slips == ()
    assert (compared.against, compared.difference_divisions) == (against, Decimal(difference))


def test_a_hand_reading_that_disagrees_has_its_slips(reading):
    compared = compare(Decimal("5.28"), reading)
    assert not compared.agrees
    assert compared.difference_divisions == Decimal("-46.9")  # 5.280 - (5.779 - 0.03)
    assert [fit.code for fit in compared.slips] == ["half_line_missed"]


def test_a_whole_division_off_does_not_agree(reading):
    compared = compare(Decimal("5.79"), reading)
    assert not compared.agrees
    assert "neighbouring_division" in {fit.code for fit in compared.slips}


@pytest.mark.parametrize(("value", "agrees"), [("5.786", True), ("5.787", False)])
def test_half_a_division_and_twice_the_pictures_uncertainty_agree(reading, value, agrees):
    # shown 5.779 mm, u 0.1 division: 0.5 + 2 x 0.1 = 0.7 divisions, 0.007 mm
    assert compare(Decimal(value), reading).agrees is agrees


def test_a_fraction_is_read_by_hand_as_either_division(sighted, photo, noon):
    seen = correct(photo, sighted(11, 27.6), noon)
    # Ten times the least count turns one division into ten: 27 gives 8.20, 28 gives 8.30.
    for value in ("8.20", "8.30"):
        found = {fit.code for fit in compare(Decimal(value), seen).slips}
        assert "least_count_tenfold" in found
