"""Calibration, risk against coverage and normalised errors, by hand and by another library."""

from __future__ import annotations

import math

import numpy as np
import pytest

from reading.qualify.calibration import (
    expected_calibration_error,
    normalised_errors,
    reliability,
    risk_coverage,
)
from reading.qualify.outcome import Outcome


def read(confidence, off=0.0, u=0.1):
    return Outcome("a.jpg", "readable", confidence=confidence, error_divisions=off, u_division=u)


REFUSED = Outcome("r.jpg", "readable", reasons=("glare",))


def test_bins_and_calibration_error_by_hand():
    outcomes = [*(read(0.96) for _ in range(10)), read(0.6, -50.02), read(0.45, 0.1), REFUSED]
    bins = reliability(outcomes)
    assert [(one.low, one.readings, one.right) for one in bins] == [
        (0.4, 1, 1.0),
        (0.6, 1, 0.0),
        (0.9, 10, 1.0),
    ]
    by_hand = (abs(0.45 - 1) + abs(0.6 - 0) + 10 * abs(0.96 - 1)) / 12
    assert expected_calibration_error(bins) == pytest.approx(by_hand)
    assert bins[-1].right_lower == pytest.approx(0.05**0.1)  # ten of ten
    assert bins[-1].right_upper == 1.0


def test_bins_are_those_of_another_library():
    metrics = pytest.importorskip("sklearn.calibration")
    rng = np.random.default_rng(5)
    confidence = rng.uniform(0.02, 0.999, 400)
    right = rng.random(400) < confidence**2
    bins = reliability(
        [read(c, 0.0 if ok else 3.0) for c, ok in zip(confidence.tolist(), right, strict=True)]
    )
    share, mean = metrics.calibration_curve(right, confidence, n_bins=10)
    assert [one.right for one in bins] == pytest.approx(share.tolist())
    assert [one.mean_confidence for one in bins] == pytest.approx(mean.tolist())


def test_a_confidence_of_one_is_in_the_last_bin():
    assert reliability([read(1.0)])[0].low == pytest.approx(0.9)


def test_risk_against_coverage_by_hand():
    """Most confident first: right, wrong, right, wrong; risks 0, 1/2, 1/3, 2/4; one refused."""
    found = risk_coverage([read(0.7, 5.0), read(0.9), read(0.8, -2.0), read(0.75), REFUSED])
    assert found.coverage == pytest.approx((0.2, 0.4, 0.6, 0.8))
    assert found.risk == pytest.approx((0, 1 / 2, 1 / 3, 1 / 2))
    assert found.area == pytest.approx((0 + 1 / 2 + 1 / 3 + 1 / 2) / 4)
    assert found.ideal_area == pytest.approx((0 + 0 + 1 / 3 + 1 / 2) / 4)


def test_readings_of_equal_confidence_share_their_risk_whatever_their_order():
    one = risk_coverage([read(0.8), read(0.8, 4.0)])
    other = risk_coverage([read(0.8, 4.0), read(0.8)])
    assert one == other
    assert one.risk == pytest.approx((0.5, 0.5))


def test_nothing_read_has_no_curve():
    assert math.isnan(risk_coverage([REFUSED]).area)
    assert math.isnan(expected_calibration_error(reliability([REFUSED])))


@pytest.mark.parametrize(("stated", "sd"), [(0.05, 1.0), (0.1, 0.5), (0.025, 2.0)])
def test_normalised_errors_tell_when_the_statement_is_halved_or_doubled(stated, sd):
    rng = np.random.default_rng(11)
    errors = rng.normal(0, 0.05, 4000).tolist()
    found = normalised_errors([read(0.9, e, stated) for e in errors])
    assert found.sd == pytest.approx(sd, rel=0.04)
    assert found.sd_lower < sd < found.sd_upper
    assert abs(found.mean) < 0.1


def test_wrong_readings_and_those_not_accepted_are_no_measure_of_the_statement():
    found = normalised_errors([read(0.9, 0.1), read(0.9, -0.2), read(0.9, 50.0), read(0.3, 0.3)])
    assert found.values == pytest.approx((1.0, -2.0))
    assert found.sd == pytest.approx(math.sqrt(4.5))
