"""Facts of the trade, through the engine from sighting to corrected reading.

Each row is common practice of workshops and schools unless a source is named beside it.
"""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

import pytest

from reading.correct import correct
from reading.gauge import Gauge, ZeroCheck
from reading.result import PhotoRecord, When
from reading.zero import CheckNote, from_photos
from vision.scale import Scale
from vision.sighting import Sighting

FINE, SCHOOL = Scale(Decimal("0.5"), 50), Scale(Decimal(1), 100)
INCH = Scale(Decimal(1) / 40, 25, "in")
NOON = datetime(2026, 11, 25, 12, 0)
PHOTO = PhotoRecord("bench3.jpg", "a" * 64)


def seen(scale, turns, division):
    return Sighting(scale, True, 1.0, turns, division, 0.05, 0.99, 20.0, 0.0, 0.0)


def read(scale, turns, division, zero=None):
    gauge = Gauge("G1", scale)
    checks = [] if zero is None else [ZeroCheck("G1", NOON, Decimal(zero), 0.003)]
    return correct(PHOTO, seen(scale, turns, division), When(NOON, "given"), gauge, checks)


def closed(scale, turns, division):
    """Check a gauge's zero by one photo of its closed faces."""
    return from_photos(Gauge("G1", scale), [(PHOTO, seen(scale, turns, division))], CheckNote(NOON))


def test_five_turns_that_move_the_thimble_five_millimetres_make_a_pitch_of_one():
    # From 2.0 mm to 7.0 mm in five turns: pitch = distance / turns = 1 mm.
    distance = read(SCHOOL, 7, 0.0).shown - read(SCHOOL, 2, 0.0).shown
    assert distance == Decimal("5.0")
    assert distance / 5 == SCHOOL.pitch == 1
    assert distance / 5 != FINE.pitch


@pytest.mark.parametrize(
    ("scale", "least_count"),
    [(SCHOOL, "0.01"), (FINE, "0.01"), (INCH, "0.001")],
)
def test_least_count_is_pitch_over_divisions(scale, least_count):
    # IS 2967:1983, scope: 0.5 or 1 mm pitch, least count 0.01 mm; inch: common practice.
    assert scale.least_count == Decimal(least_count)
    one_division = read(scale, 3, 8.0).shown - read(scale, 3, 7.0).shown
    assert one_division == Decimal(least_count)


def test_one_millimetre_and_thirty_one_divisions():
    assert read(SCHOOL, 1, 31.0).shown == Decimal("1.31")


def test_inch_sleeve_and_thimble():
    # 0.150 in on the sleeve and 23 divisions: 0.173 in.
    assert read(INCH, 6, 23.0).shown == Decimal("0.173")


@pytest.mark.parametrize(
    ("scale", "turns", "division", "zero_error", "correction"),
    [
        (SCHOOL, 0, 11.0, "0.11", "-0.11"),
        (SCHOOL, -1, 90.0, "-0.10", "0.10"),
        # "How negative zero error is measured in micrometer screw gauge": 14 short of 50.
        (FINE, -1, 36.0, "-0.14", "0.14"),
        (FINE, -1, 47.0, "-0.03", "0.03"),
    ],
)
def test_zero_error_and_its_correction(scale, turns, division, zero_error, correction):
    check = closed(scale, turns, division)
    assert check.zero_error == Decimal(zero_error)
    reading = read(scale, 5, 20.0, zero_error)
    assert reading.corrected - reading.shown == Decimal(correction)


def test_a_negative_zero_error_makes_the_corrected_reading_larger():
    # "Questions on micrometer screw gauge": sleeve 6.5, division 42, zero error -0.03 mm.
    reading = read(FINE, 13, 42.0, "-0.03")
    assert (reading.shown, reading.corrected) == (Decimal("6.92"), Decimal("6.95"))


@pytest.mark.parametrize(
    ("length", "turns", "division"),
    [
        # Test lengths of gauge-block sets for micrometers, at fractions of a turn (pitch 0.5 mm).
        ("2.5", 5, 0),
        ("5.1", 10, 10),
        ("7.7", 15, 20),
        ("10.3", 20, 30),
        ("12.9", 25, 40),
        ("15.0", 30, 0),
        ("17.6", 35, 10),
        ("20.2", 40, 20),
        ("22.8", 45, 30),
        ("25.0", 50, 0),
    ],
)
def test_where_the_usual_test_lengths_fall(length, turns, division):
    reading = read(FINE, turns, float(division), "0")
    assert reading.shown == reading.corrected == Decimal(length)


def test_a_closed_gauge_reads_nothing_once_it_is_corrected():
    check = closed(FINE, -1, 47.0)
    gauge = Gauge("G1", FINE)
    again = correct(PHOTO, seen(FINE, -1, 47.0), When(NOON, "given"), gauge, [check])
    assert again.corrected == 0
