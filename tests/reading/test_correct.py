"""From a sighting to exact lengths, and the zero error taken off them."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from reading.correct import as_length, correct, date_reading, refused, whole_steps
from reading.gauge import Gauge, ZeroCheck
from reading.result import Correction, NoCorrection, PhotoRecord, When
from vision.reasons import reason
from vision.scale import KNOWN_SCALES, Scale
from vision.sighting import Alternative, Refusal

FINE = Scale(Decimal("0.5"), 50)
SCALES = st.sampled_from([*KNOWN_SCALES, Scale(Decimal("0.5"), 50, vernier=10)])
SHARED = settings(suppress_health_check=[HealthCheck.function_scoped_fixture])


def zero_check(error, noon, days=5, **changes):
    return ZeroCheck("G1", noon.at - timedelta(days=days), Decimal(error), 0.003, **changes)


@SHARED
@given(
    scale=SCALES,
    turns=st.integers(-1, 60),
    part=st.floats(0, 1, exclude_max=True),
    zero=st.decimals(min_value="-0.24", max_value="0.24", places=6),
)
def test_corrected_and_zero_make_shown_exactly(sighted, photo, noon, scale, turns, part, zero):
    seen = sighted(turns, part * scale.divisions, scale)
    check = ZeroCheck("G1", noon.at, zero, 0.003)
    reading = correct(photo, seen, noon, Gauge("G1", scale), [check])
    assert reading.corrected + reading.zero_error == reading.shown
    assert reading.shown == reading.sleeve + reading.division * scale.least_count


@given(scale=SCALES, turns=st.integers(-1, 60), off=st.floats(-3, 3))
def test_around_every_turn_the_length_is_the_one_that_was_sighted(scale, turns, off):
    division = off % scale.divisions
    turns += 0 if off >= 0 else -1
    rounded_turns, rounded = whole_steps(scale, turns, division)
    assert 0 <= rounded < scale.divisions
    true = Decimal(turns) * scale.divisions + Decimal(repr(division))
    half_step = Decimal("0.05")
    assert abs(rounded_turns * scale.divisions + rounded - true) <= half_step


@pytest.mark.parametrize(
    ("turns", "division", "shown"),
    [
        (11, 27.7, "5.777"),
        (11, 49.94, "5.999"),
        (11, 49.96, "6.000"),
        (12, 0.0, "6.000"),
        (12, 0.04, "6.000"),
        (0, 0.0, "0.000"),
        (-1, 47.0, "-0.030"),
    ],
)
def test_shown_is_a_tenth_of_a_division_sharp(turns, division, shown):
    assert as_length(FINE, turns, division) == Decimal(shown)


def test_no_binary_fraction_gets_into_a_reading(sighted, photo, noon):
    # 0.1 + 0.2 in binary is 0.30000000000000004.
    reading = correct(photo, sighted(0, 0.1 + 0.2), noon)
    assert str(reading.shown) == "0.003"


def test_a_vernier_is_read_to_its_own_least_count():
    tens, fives = (Scale(Decimal("0.5"), 50, vernier=parts) for parts in (10, 5))
    assert as_length(tens, 10, 23.37) == Decimal("5.234")
    assert as_length(fives, 10, 23.37) == Decimal("5.234")  # in steps of 0.002 mm
    assert as_length(fives, 10, 23.26) == Decimal("5.232")
    inch = Scale(Decimal("0.025"), 25, "in", vernier=10)
    assert as_length(inch, 6, 23.4) == Decimal("0.1734")


def test_the_range_start_is_in_sleeve_and_shown(sighted, photo, noon):
    scale = Scale(Decimal("0.5"), 50, start=Decimal(25))
    reading = correct(photo, sighted(11, 28.0, scale), noon)
    assert (reading.sleeve, reading.shown) == (Decimal("30.5"), Decimal("30.78"))


def test_the_check_in_force_is_named_with_its_age(sighted, photo, noon):
    checks = [zero_check("0.05", noon, 40), zero_check("0.03", noon, 5), zero_check("9", noon, -1)]
    reading = correct(photo, sighted(11, 28.0), noon, Gauge("G1", FINE), checks)
    assert reading.correction == Correction(checks[1], 5)
    assert reading.corrected == Decimal("5.75")
    assert reading.notices == ()


@pytest.mark.parametrize(
    ("gauge", "days", "code"),
    [
        (None, None, "no_gauge"),
        (Gauge("G1", FINE), None, "no_zero_check"),
        (Gauge("G1", FINE), -1, "zero_check_later"),
    ],
)
def test_without_a_check_nothing_is_taken_off_and_it_says_so(
    gauge, days, code, sighted, photo, noon
):
    checks = [] if days is None else [zero_check("0.03", noon, days)]
    reading = correct(photo, sighted(11, 28.0), noon, gauge, checks)
    assert reading.correction == NoCorrection(code)
    assert [one.code for one in reading.notices] == [code]
    assert reading.corrected is None
    assert reading.shown == Decimal("5.78")


@pytest.mark.parametrize(("days", "codes"), [(365, []), (366, ["zero_check_old"])])
def test_a_check_older_than_a_year_is_called_old(days, codes, sighted, photo, noon):
    checks = [zero_check("0.03", noon, days)]
    reading = correct(photo, sighted(11, 28.0), noon, Gauge("G1", FINE), checks)
    assert [one.code for one in reading.notices] == codes
    assert reading.corrected == Decimal("5.75")


@pytest.mark.parametrize(
    ("changes", "turns", "code"),
    [
        ({"confidence": 0.7}, 11, "low_confidence"),
        ({"scale_given": False}, 11, "scale_inferred"),
        ({}, -1, "below_range"),
        ({}, 50, "beyond_range"),
    ],
)
def test_doubtful_readings_carry_a_warning(changes, turns, code, sighted, photo, noon):
    gauge = Gauge("G1", FINE, Decimal(25))
    checks = [zero_check("0.03", noon)]
    reading = correct(photo, sighted(turns, 28.0, **changes), noon, gauge, checks)
    assert [one.code for one in reading.notices] == [code]


def test_a_reading_is_dated_by_user_then_photo_then_clock(noon):
    taken = noon.at - timedelta(days=1)
    given_time = noon.at - timedelta(days=2)
    with_exif, without = PhotoRecord("a", "", taken), PhotoRecord("a", "")
    assert date_reading(with_exif, given_time, noon.at) == When(given_time, "given")
    assert date_reading(with_exif, None, noon.at) == When(taken, "photo")
    assert date_reading(without, None, noon.at) == When(noon.at, "clock")


def test_an_undated_photo_is_corrected_with_a_warning(sighted, photo, noon):
    undated = When(noon.at, "clock")
    checks = [zero_check("0.03", noon)]
    reading = correct(photo, sighted(11, 28.0), undated, Gauge("G1", FINE), checks)
    assert [one.code for one in reading.notices] == ["time_unknown"]


def test_another_gauges_scale_is_our_own_mistake(sighted, photo, noon):
    with pytest.raises(ValueError, match="another scale"):
        correct(photo, sighted(3, 28.0), noon, Gauge("G1", Scale(Decimal(1), 100)))


def test_alternatives_become_lengths(sighted, photo, noon):
    seen = sighted(12, 0.4, others=[(12, 0.4, 0.6), (11, 0.4, 0.39)])
    reading = correct(photo, seen, noon)
    assert [one.shown for one in reading.alternatives] == [Decimal("6.004"), Decimal("5.504")]


def test_alternatives_stand_above_the_range_start(sighted, photo, noon):
    ranged = Scale(Decimal("0.5"), 50, start=Decimal(25))
    reading = correct(photo, sighted(12, 0.4, ranged, others=[(11, 0.4, 0.39)]), noon)
    assert [one.shown for one in reading.alternatives] == [Decimal("30.504")]


def test_a_refusal_keeps_its_alternatives_where_the_scale_is_known(photo):
    others = (Alternative(12, 0.4, 0.5), Alternative(11, 0.4, 0.4))
    known = refused(photo, Refusal((reason("turn_ambiguous"),), FINE, others))
    assert [one.shown for one in known.alternatives] == [Decimal("6.004"), Decimal("5.504")]
    assert refused(photo, Refusal((reason("no_gauge"),))).alternatives == ()
