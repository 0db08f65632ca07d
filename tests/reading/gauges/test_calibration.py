"""Error curves from gauge blocks: worked by hand, and fits that get back what was put in."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime
from decimal import Decimal

import numpy as np
import pytest

from reading.gauge import PHOTOS, Gauge, ZeroCheck, ZeroPhoto
from reading.gauges.calibration import (
    TEST_LENGTHS_MM,
    Block,
    Conditions,
    calibrate,
    error_at,
    limit_share,
    points_of,
    share,
    standard_blocks,
    to_record,
)
from reading.gauges.certificate import calibration_lines, certificate
from reading.gauges.screw import fit_screw
from reading.measurement.measure import About, eye_parallax, measure
from reading.measurement.result import OneReading
from reading.problem import Problem
from reading.result import FROM_USER, PhotoRecord, When
from reading.uncertainty import shown_budget
from vision.scale import Scale

NOON = datetime(2026, 11, 25, 12, 0)
FINE = Gauge("G1", Scale(Decimal("0.5"), 50), Decimal(25))
VERNIER = Gauge("G2", Scale(Decimal("0.5"), 50, vernier=10), Decimal(25))
ZERO = ZeroCheck("G1", NOON, Decimal("0.002"), 0.0003)


def calibrated(rows, gauge=VERNIER, **conditions):
    """Calibrate from (length, deviation in µm, readings) rows."""
    measured = []
    for length, deviation, readings in rows:
        block = Block(Decimal(length), Decimal(deviation) / 1000)
        taken = [
            OneReading(
                Decimal(word),
                f"{n}.jpg",
                PhotoRecord(f"{n}.jpg", f"{length}{n}"),
                shown_budget(gauge.scale, 0.0).combined,  # rounded to the vernier's part
            )
            for n, word in enumerate(readings.split())
        ]
        about = About(When(NOON, FROM_USER), checks=(ZERO,))
        measured.append((block, measure(gauge, taken, about)))
    return calibrate(gauge, measured, Conditions(NOON, **conditions))


ROWS = [
    # length, deviation of the block in µm, readings: errors by hand, reading − 0.002 − block
    ("2.5", "0.1", "2.503"),  # 2.501 − 2.5001 = +0.9 µm
    ("5.1", "-0.2", "5.103"),  # 5.101 − 5.0998 = +1.2 µm
    ("10.3", "0", "10.304 10.306"),  # 10.303 − 10.3 = +3.0 µm
    ("25.0", "0.3", "25.000"),  # 24.998 − 25.0003 = −2.3 µm
]


def test_errors_worked_by_hand():
    done = calibrated(ROWS, blocks_u=0.0001)
    assert [point.error * 1000 for point in done.points] == [
        Decimal("0.9"),
        Decimal("1.2"),
        Decimal("3.0"),
        Decimal("-2.3"),
    ]
    assert done.worst.block.length == Decimal("10.3")
    assert done.traverse * 1000 == Decimal("5.3")  # highest minus lowest, the zero point included
    # Vernier part of 0.001 mm, zero check 0.3 µm, block 0.1 µm, one reading: (1/12 + .09 + .01) µm²
    assert done.points[0].u * 1000 == pytest.approx(math.sqrt(1 / 12 + 0.09 + 0.01), rel=1e-9)


def by_hand(rows, zero, gauge=FINE):
    """Calibrate from (length, readings by eye) rows with a zero check."""
    measured = []
    for length, readings in rows:
        about = About(When(NOON, FROM_USER), checks=(zero,))
        taken = [OneReading(Decimal(word), "typed") for word in readings.split()]
        measured.append((Block(Decimal(length)), measure(gauge, taken, about)))
    return calibrate(gauge, measured, Conditions(NOON))


# The eye's parallax for 50 divisions of 10 µm: looking within 15° of square at radii 0.95 and 1.
EYE_UM = eye_parallax(FINE.scale) * 1000
HAND_ZERO = ZeroCheck("G1", NOON, Decimal("0.02"), 0.01 / math.sqrt(12))


def test_readings_to_whole_divisions_worked_by_hand():
    # GUM F.2.2.1, a width of 10 µm each for the reading and for the zero: √(100/12 + 100/12) µm.
    done = by_hand([("2.5", "2.52"), ("5.1", "5.13")], HAND_ZERO)
    assert [point.error for point in done.points] == [Decimal(0), Decimal("0.01")]
    expected = math.sqrt(100 / 12 + 100 / 12 + EYE_UM**2)
    assert done.points[0].u * 1000 == pytest.approx(expected, rel=1e-9)
    # What is a point's own has the zero check no more.
    own = math.sqrt(100 / 12 + EYE_UM**2)
    assert done.points[0].u_own * 1000 == pytest.approx(own, rel=1e-9)


def test_readings_to_tenths_count_as_finely_as_they_were_read():
    # One reading of the run lies between divisions, so all were read to tenths: ± 1 µm, as the
    # zero. By hand √(4/12 + 4/12) µm and the eye's parallax.
    zero = ZeroCheck("G1", NOON, Decimal("0.021"), 0.01 / math.sqrt(12))
    done = by_hand([("2.5", "2.52"), ("5.1", "5.122")], zero)
    expected = math.sqrt(4 / 12 + 4 / 12 + EYE_UM**2)
    assert done.points[0].u * 1000 == pytest.approx(expected, rel=1e-9)


def test_what_the_scatter_shows_is_not_counted_again():
    # GUM 4.3.10. Readings 2.52, 2.53, 2.52: s = 10/√3 µm, above the width's 10/√12 µm, so the width
    # adds nothing; u of the mean is s/√3 = 10/3 µm with ν = 2.
    done = by_hand([("2.5", "2.52 2.53 2.52")], HAND_ZERO)
    expected = math.sqrt(100 / 9 + 100 / 12 + EYE_UM**2)
    assert done.points[0].u * 1000 == pytest.approx(expected, rel=1e-9)
    # Alike readings show no scatter, and the width counts whole.
    alike = by_hand([("2.5", "2.52 2.52 2.52")], HAND_ZERO)
    assert alike.points[0].u == by_hand([("2.5", "2.52")], HAND_ZERO).points[0].u


def test_photos_bring_their_own_doubt_in_the_place_of_the_least_count():
    # Zero check from photos: 1 µm and the least count's 10/√12 µm; by hand only the 1 µm is left.
    zero = ZeroCheck(
        "G1", NOON, Decimal("0.021"), math.hypot(0.001, 0.01 / math.sqrt(12)), source=PHOTOS
    )
    about = About(When(NOON, FROM_USER), checks=(zero,))
    taken = [OneReading(Decimal("2.523"), "a.jpg", PhotoRecord("a.jpg", "aa"), 0.0005)]
    done = calibrate(FINE, [(Block(Decimal("2.5")), measure(FINE, taken, about))], Conditions(NOON))
    assert done.points[0].u * 1000 == pytest.approx(math.hypot(0.5, 1), rel=1e-9)


def test_the_scatter_of_zero_photos_brings_its_few_degrees_of_freedom():
    # Three photos, s = 3 µm, so u = √3 µm with ν = 2 by GUM G.4.1, the least count taken off.
    seen = 0.003 / math.sqrt(3)
    whole = math.hypot(seen, 0.01 / math.sqrt(12))
    photos = tuple(ZeroPhoto(f"{n}.jpg", f"{n}", Decimal("0.021")) for n in range(3))
    zero = ZeroCheck("G1", NOON, Decimal("0.021"), whole, PHOTOS, photos, 0.003)
    about = About(When(NOON, FROM_USER), checks=(zero,))
    taken = [OneReading(Decimal("2.523"), "a.jpg", PhotoRecord("a.jpg", "aa"), 1e-6)]
    result = measure(FINE, taken, about)
    done = calibrate(FINE, [(Block(Decimal("2.5")), result)], Conditions(NOON))
    assert done.points[0].k == pytest.approx(4.3027, abs=1e-4)  # t for ν = 2 at 95 %


def test_one_zero_check_in_calibration_and_measurement_cancels():
    # y = x − z − (x₀ − z − L): GUM 5.2.4; u² = u²(x) + u²(x₀), with nothing of z.
    done = by_hand([("2.5", "2.52"), ("5.1", "5.13")], HAND_ZERO)
    record = to_record(done)
    for curve in (True, False):
        known = share(record, Decimal(0), Decimal("5.1"), curve=curve, check=HAND_ZERO)
        about = About(When(NOON, FROM_USER), checks=(HAND_ZERO,), calibration=known)
        result = measure(FINE, [OneReading(Decimal("5.13"), "typed")], about)
        bound = 0 if curve else 10 / math.sqrt(3)
        expected = math.sqrt(100 / 12 + EYE_UM**2 + 100 / 12 + EYE_UM**2 + bound**2)
        assert result.budget.combined * 1000 == pytest.approx(expected, rel=1e-9)
        assert "zero check" not in [part.name for part in result.budget.components]
    # Another check is independent of the calibration's, and both count.
    later = ZeroCheck("G1", datetime(2026, 12, 1), Decimal("0.02"), 0.01 / math.sqrt(12))
    other = share(record, Decimal(0), Decimal("5.1"), curve=True, check=later)
    assert not other.zero_cancels
    assert other.u == max(point.u for point in done.points)


def test_a_zero_that_is_wrong_cancels():
    # The same zero, wrong by anything, in calibration and measurement: the block comes out.
    for wrong in ("-0.17", "0.02", "0.11"):
        zero = ZeroCheck("G1", NOON, Decimal(wrong), 0.01 / math.sqrt(12))
        record = to_record(by_hand([("2.5", "2.52"), ("5.1", "5.13")], zero))
        known = share(record, Decimal(0), Decimal("5.1"), curve=True, check=zero)
        about = About(When(NOON, FROM_USER), checks=(zero,), calibration=known)
        assert measure(FINE, [OneReading(Decimal("5.13"), "typed")], about).value == Decimal("5.1")


def test_a_record_from_before_says_nothing_of_its_zero_check():
    record = to_record(calibrated(ROWS))
    body = {name: value for name, value in record.body.items() if name != "zero_check_at"}
    points = [{k: v for k, v in one.items() if k != "u_own"} for one in body["points"]]
    old = replace(record, body=body | {"points": points})
    assert points_of(old)[0].u_own == points_of(old)[0].u
    assert not share(old, Decimal(0), Decimal("5.1"), curve=True, check=ZERO).zero_cancels


@pytest.mark.parametrize(
    ("block", "named"), [("0", "range"), ("-2.5", "range"), ("25.1", "from 0 to 25 mm")]
)
def test_a_block_lies_within_the_range(block, named):
    with pytest.raises(Problem, match=named):
        by_hand([(block, "2.52")], HAND_ZERO)


def test_the_traverse_counts_the_zero_point():
    # Both errors are positive, +0.9 and +1.2 µm, by hand: from 0 to 1.2.
    assert calibrated(ROWS[:2]).traverse * 1000 == Decimal("1.2")


@pytest.mark.parametrize(
    ("limit", "verdict"),
    # Greatest error −2.3 µm; its U is 1.96 √(1/12 + 0.09) = 0.82 µm.
    [("0.0032", "pass"), ("0.0030", "can't tell"), ("0.0016", "can't tell"), ("0.0014", "fail")],
)
def test_the_class_limit(limit, verdict):
    assert calibrated(ROWS[:2] + ROWS[3:], limit=Decimal(limit)).verdict == verdict
    assert calibrated(ROWS).verdict is None


def test_scattered_readings_can_not_prove_a_limit_is_kept():
    # The two readings at 10.3 mm: s / √2 = 1 µm with one degree of freedom, so k is 12.7.
    done = calibrated(ROWS, limit=Decimal("0.010"))
    assert done.points[2].k == pytest.approx(12.7062, abs=1e-4)
    assert done.verdict == "can't tell"


def test_standard_lengths_are_at_fractions_of_a_turn():
    # ISO 3611:1978: with a 0.5 mm pitch they meet five places of the thimble, with 1 mm nine.
    assert [block.length for block in standard_blocks(FINE)] == list(TEST_LENGTHS_MM)
    assert len({length % Decimal("0.5") for length in TEST_LENGTHS_MM}) == 5
    assert len({length % 1 for length in TEST_LENGTHS_MM}) == 9
    ranged = Gauge("G3", Scale(Decimal("0.5"), 50, start=Decimal(25)), Decimal(50))
    assert standard_blocks(ranged)[0].length == Decimal("27.5")
    short = Gauge("G4", Scale(Decimal("0.5"), 50), Decimal(13))
    assert standard_blocks(short)[-1].length == Decimal("12.9")
    with pytest.raises(Problem, match="--blocks"):
        standard_blocks(Gauge("G5", Scale(Decimal("0.025"), 25, "in")))
    with pytest.raises(Problem, match="--blocks"):
        standard_blocks(Gauge("G6", Scale(Decimal("0.5"), 50), Decimal(2)))


def screw(lengths, slope, amplitude, phase, offset=0.0004):
    return [
        offset + slope * x + amplitude * math.cos(2 * math.pi * x / 0.5 - phase) for x in lengths
    ]


def test_a_screw_s_errors_are_taken_apart():
    lengths = [float(one) for one in TEST_LENGTHS_MM]
    fit = fit_screw(lengths, screw(lengths, 1.2e-4, 0.0015, 0.7), 0.5)
    assert fit.slope == pytest.approx(1.2e-4, rel=1e-9)
    assert fit.amplitude == pytest.approx(0.0015, rel=1e-9)
    assert fit.phase_rad == pytest.approx(0.7, rel=1e-9)
    assert fit.offset == pytest.approx(0.0004, rel=1e-9)
    assert fit.residual == pytest.approx(0, abs=1e-15)


def test_whole_turns_are_blind_to_what_repeats_each_turn():
    lengths = [2.5, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0]
    fit = fit_screw(lengths, screw(lengths, 1.2e-4, 0.0015, 0.7), 0.5)
    assert fit.amplitude is None
    assert fit.slope == pytest.approx(1.2e-4, rel=1e-9)
    assert fit_screw([1.0, 2.0], [0.0, 0.0], 0.5) is None


def test_the_stated_uncertainties_of_the_fit_are_what_happens():
    rng = np.random.default_rng(3)
    lengths = [float(one) for one in TEST_LENGTHS_MM]
    true = np.array(screw(lengths, 1e-4, 0.002, 1.0))
    slopes, amplitudes = [], []
    for _ in range(600):
        fit = fit_screw(lengths, list(true + rng.normal(0, 0.0004, len(true))), 0.5)
        slopes.append((fit.slope - 1e-4) / fit.u_slope)
        amplitudes.append((fit.amplitude - 0.002) / fit.u_amplitude)
    # With 6 degrees of freedom the ratio is t-distributed: √(6 / 4) = 1.22 wide.
    assert np.std(slopes) == pytest.approx(math.sqrt(6 / 4), rel=0.15)
    assert np.std(amplitudes) == pytest.approx(math.sqrt(6 / 4), rel=0.2)


def test_the_slope_agrees_with_another_library():
    stats = pytest.importorskip("scipy.stats")
    lengths, errors = [2.5, 5.0, 7.5, 20.0], [0.001, 0.0013, 0.0008, 0.0031]
    other = stats.linregress(lengths, errors)
    fit = fit_screw(lengths, errors, 0.5)
    assert (fit.slope, fit.u_slope) == pytest.approx((other.slope, other.stderr), rel=1e-9)


@pytest.mark.parametrize(
    ("length", "um"),
    # By hand, straight between neighbours: 0 at 0, 0.9 at 2.5, 1.2 at 5.1, 3.0 at 10.3, −2.3 at 25.
    [("0", 0), ("1.25", 0.45), ("2.5", 0.9), ("3.8", 1.05), ("17.65", 0.35), ("30", -2.3)],
)
def test_the_curve_between_the_blocks(length, um):
    points = calibrated(ROWS).points
    assert float(error_at(points, Decimal(0), Decimal(length))) * 1000 == pytest.approx(um)


def test_a_calibration_comes_back_from_its_record():
    done = calibrated(ROWS, limit=Decimal("0.004"))
    assert points_of(to_record(done)) == done.points


def test_what_a_calibration_tells_a_measurement():
    record = to_record(calibrated(ROWS))
    curve = share(record, Decimal(0), Decimal("5.1"), curve=True)
    assert curve.error * 1000 == Decimal("1.2")
    bound = share(record, Decimal(0), Decimal("5.1"), curve=False)
    assert bound.error == 0
    assert bound.u == pytest.approx(math.hypot(0.003 / math.sqrt(3), curve.u))
    assert limit_share(Decimal("0.004")).u == pytest.approx(0.004 / math.sqrt(3))


def test_applying_the_curve_gives_the_block_back():
    done = calibrated(ROWS)
    record = to_record(done)
    for length, deviation, readings in ROWS:
        if " " in readings:
            continue
        about = About(
            When(NOON, FROM_USER),
            checks=(ZERO,),
            calibration=share(record, Decimal(0), Decimal(length), curve=True),
        )
        result = measure(VERNIER, [OneReading(Decimal(readings), "typed")], about)
        assert result.value == Decimal(length) + Decimal(deviation) / 1000


def test_the_record_has_the_items_of_a_certificate():
    done = calibrated(
        ROWS,
        limit=Decimal("0.004"),
        celsius=Decimal("20.4"),
        blocks_note="set 7, certificate 123",
        blocks_u=0.0001,
        flatness=Decimal("0.0006"),
        who="A. Instructor",
        place="Room 12",
        customer="Physics <lab>",
    )
    text = certificate(done, 17)
    # ISO/IEC 17025:2017 7.8.4.1: a) uncertainty, b) conditions, c) traceability, d) before and
    # after adjustment, e) conformity; 7.8.2: title, place, item, method, date, end, who.
    for words in (
        "not an accredited calibration certificate",
        "U/µm, 95 %",
        "20.4 °C",
        "set 7, certificate 123",
        "blocks known to ± 0.20 µm",
        "no adjustment was made",
        "guard band U",
        "Room 12",
        "Physics &lt;lab&gt;",
        "Record 17 of gauge G2",
        "End of the record",
        "A. Instructor",
        "flatness of the faces, as entered: 0.6 µm",
        "<svg",
    ):
        assert words in text
    assert "next" not in text.lower()  # 7.8.4.3: no recommended interval
    assert "greatest error +3 ± 14 µm, at 10.3 mm (k = 12.71, 95 %)" in calibration_lines(done)[0]


def test_a_fit_without_anything_left_over_is_still_written_short():
    done = calibrated([("2.5", "0", "2.502"), ("5.1", "0", "5.102"), ("7.7", "0", "7.702")])
    assert "progressive: 0.00 ± 0 µm in 25 mm (k = 2)" in "\n".join(calibration_lines(done))


@pytest.mark.parametrize(
    ("rows", "named"),
    [
        ([], "at least one block"),
        ([ROWS[0], ROWS[0]], "twice"),
        ([("2.5", "0", "5.102")], "order of the readings"),
    ],
)
def test_what_is_no_calibration(rows, named):
    with pytest.raises(Problem, match=named):
        calibrated(rows)
