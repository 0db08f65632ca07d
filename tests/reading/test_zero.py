"""Zero errors with their sign, from closed faces, a setting rod, or a person."""

from __future__ import annotations

import math
import statistics
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from reading.gauge import PHOTOS, TYPED, Gauge
from reading.length import parse_length
from reading.problem import Problem
from reading.result import PhotoRecord
from reading.zero import CheckNote, from_photos, from_reading, signed_divisions
from vision.scale import Scale

FINE = Scale(Decimal("0.5"), 50)
SCHOOL = Scale(Decimal(1), 100)
RANGED = Scale(Decimal("0.5"), 50, start=Decimal(25))


def records(count):
    return [PhotoRecord(f"{n}.jpg", f"{n:064x}") for n in range(count)]


@pytest.mark.parametrize(
    ("scale", "turns", "division", "expected"),
    [
        (SCHOOL, 0, 11.0, "11"),  # common practice: 11 at the line of 100 is +0.11 mm
        (SCHOOL, -1, 90.0, "-10"),  # common practice: 90 with the zero beyond it is -0.10 mm
        (SCHOOL, 0, 90.0, "-10"),
        (FINE, -1, 36.0, "-14"),  # common practice: 14 divisions short of 50
        (FINE, 0, 36.0, "-14"),
        (FINE, -1, 47.0, "-3"),
        (FINE, 0, 47.0, "-3"),
        (FINE, 1, 2.0, "2"),  # one turn too many
        (FINE, 0, 0.0, "0"),
        (FINE, 0, 24.9, "24.9"),
        (FINE, 0, 25.1, "-24.9"),
    ],
)
def test_a_closed_gauge_is_read_with_its_sign(scale, turns, division, expected, sighted):
    assert signed_divisions(sighted(turns, division, scale)) == Decimal(expected)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(tenths=st.integers(-249, 249), turns=st.integers(-1, 1))
def test_a_whole_turn_too_many_or_few_makes_no_difference(sighted, tenths, turns):
    division = tenths % 500 / 10
    own_turn = tenths // 500
    if abs(turns - own_turn) <= 1:
        assert signed_divisions(sighted(turns, division)) == Decimal(tenths) / 10


def test_a_turn_that_the_picture_names_itself_is_taken(sighted):
    seen = sighted(5, 47.0, others=[(5, 47.0, 0.5), (-1, 47.1, 0.4)])
    assert signed_divisions(seen) == -3


def test_another_division_is_never_taken_for_being_smaller(sighted):
    seen = sighted(0, 5.0, others=[(0, 5.0, 0.6), (0, 1.0, 0.4)])
    assert signed_divisions(seen) == 5


@pytest.mark.parametrize(("turns", "division"), [(5, 20.0), (0, 25.0), (2, 47.0)])
def test_an_open_gauge_is_no_zero_check(turns, division, sighted):
    with pytest.raises(Problem, match="close the faces"):
        signed_divisions(sighted(turns, division))


def test_photos_are_averaged_and_their_spread_kept(sighted, noon):
    gauge = Gauge("G1", FINE)
    divisions = [2.0, 2.4, 3.1]
    photos = list(zip(records(3), [sighted(0, one) for one in divisions], strict=True))
    check = from_photos(gauge, photos, CheckNote(noon.at))
    assert check.zero_error == Decimal("0.025")
    assert check.spread == pytest.approx(statistics.stdev(divisions) / 100)
    assert [photo.zero_error for photo in check.photos] == [
        Decimal("0.020"),
        Decimal("0.024"),
        Decimal("0.031"),
    ]
    assert (check.source, check.photos[2].sha256) == (PHOTOS, f"{2:064x}")
    # GUM 4.2.3, s / sqrt(n), with the least count's rectangle (F.2.2.1).
    expected = math.hypot(statistics.stdev(divisions) / 100 / math.sqrt(3), 0.01 / math.sqrt(12))
    assert check.u == pytest.approx(expected)


def test_equal_photos_do_not_make_the_zero_certain(sighted, noon):
    seen = [sighted(-1, 47.0, u_division=0.3) for _ in range(4)]
    check = from_photos(
        Gauge("G1", FINE), list(zip(records(4), seen, strict=True)), CheckNote(noon.at)
    )
    assert check.zero_error == Decimal("-0.03")
    assert check.spread == 0
    # 0.3 and a tenth's rectangle in each of four pictures, and the least count once.
    each = math.hypot(0.003, 0.001 / math.sqrt(12))
    assert check.u == pytest.approx(math.hypot(each / 2, 0.01 / math.sqrt(12)))


def test_one_photo_given_twice_is_refused(sighted, noon):
    photo = PhotoRecord("a.jpg", "1" * 64)
    twice = [(photo, sighted(0, 2.0)), (PhotoRecord("b.jpg", "1" * 64), sighted(0, 2.0))]
    with pytest.raises(Problem, match=r"b\.jpg: the same photo as a\.jpg"):
        from_photos(Gauge("G1", FINE), twice, CheckNote(noon.at))


def test_an_open_photo_is_named(sighted, noon):
    photos = list(zip(records(2), [sighted(0, 2.0), sighted(8, 2.0)], strict=True))
    with pytest.raises(Problem, match=r"1\.jpg: shows 4\.020 mm"):
        from_photos(Gauge("G1", FINE), photos, CheckNote(noon.at))


@pytest.mark.parametrize(
    ("rod", "turns", "division", "error"),
    [
        ("25", 0, 2.0, "0.02"),
        ("25", -1, 47.0, "-0.03"),
        ("25.01", 0, 2.0, "0.01"),
        ("30", 10, 3.0, "0.03"),
        ("30", 9, 48.0, "-0.02"),
    ],
)
def test_a_ranged_gauge_is_checked_on_its_rod(rod, turns, division, error, sighted, noon):
    photos = [(records(1)[0], sighted(turns, division, RANGED))]
    check = from_photos(Gauge("G2", RANGED), photos, CheckNote(noon.at, rod=Decimal(rod)))
    assert check.zero_error == Decimal(error)
    assert check.rod == Decimal(rod)


def test_a_ranged_gauge_needs_its_rod(sighted, noon):
    photos = [(records(1)[0], sighted(0, 2.0, RANGED))]
    with pytest.raises(Problem, match="--rod"):
        from_photos(Gauge("G2", RANGED), photos, CheckNote(noon.at))


@pytest.mark.parametrize(
    ("text", "error"), [("+0.02 mm", "0.02"), ("-0.03", "-0.03"), ("-30 um", "-0.03")]
)
def test_a_typed_zero_error_has_the_least_counts_uncertainty(text, error, noon):
    check = from_reading(Gauge("G1", FINE), parse_length(text, "mm"), CheckNote(noon.at))
    assert check.zero_error == Decimal(error)
    assert check.u == pytest.approx(0.002886751345948129)  # GUM F.2.2.1
    assert check.source == TYPED


def test_a_typed_reading_on_a_rod(noon):
    about = CheckNote(noon.at, rod=Decimal(25))
    check = from_reading(Gauge("G2", RANGED), parse_length("25.02 mm"), about)
    assert check.zero_error == Decimal("0.02")


@pytest.mark.parametrize("text", ["0.25 mm", "-0.25 mm", "25.02 mm", "0.02 in"])
def test_half_a_turn_is_no_zero_error(text, noon):
    with pytest.raises(Problem, match="half a turn"):
        from_reading(Gauge("G1", FINE), parse_length(text), CheckNote(noon.at))
