"""Quantiles of Student's t, against another library and printed tables."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reading.measurement.student import coverage_factor, t_quantile, whole_degrees


@pytest.mark.parametrize(
    ("degrees", "t90", "t95", "t99"),
    [  # GUM (JCGM 100:2008) table G.2, two decimals
        (1, 6.31, 12.71, 63.66),
        (2, 2.92, 4.30, 9.92),
        (3, 2.35, 3.18, 5.84),
        (4, 2.13, 2.78, 4.60),
        (5, 2.02, 2.57, 4.03),
        (10, 1.81, 2.23, 3.17),
        (19, 1.73, 2.09, 2.86),
        (50, 1.68, 2.01, 2.68),
    ],
)
def test_the_table_of_the_gum(degrees, t90, t95, t99):
    for level, printed in ((0.90, t90), (0.95, t95), (0.99, t99)):
        assert coverage_factor(level, degrees) == pytest.approx(printed, abs=0.00501)


def test_no_end_of_degrees_is_the_normal_distribution():
    # GUM table G.2, last line.
    assert coverage_factor(0.95, math.inf) == pytest.approx(1.959964, abs=1e-6)
    assert coverage_factor(0.99, math.inf) == pytest.approx(2.575829, abs=1e-6)


@settings(deadline=None)  # the first call loads the other library
@given(
    degrees=st.integers(1, 400) | st.sampled_from([1000, 5001, 20_001]),
    probability=st.floats(0.001, 0.9999),
)
def test_agrees_with_scipy(degrees, probability):
    stats = pytest.importorskip("scipy.stats")
    # Beyond 20 000 degrees the normal quantile stands in: t exceeds it there by (t³ + t) / 4ν.
    close = 1e-10 if degrees <= 20_000 else 1e-3
    assert t_quantile(probability, degrees) == pytest.approx(
        stats.t.ppf(probability, degrees), rel=close, abs=1e-9
    )


def test_degrees_are_cut_after_rounding_to_one_decimal():
    # GUM G.4.1: 18.9987 is printed as 19.0, and t95(19) = 2.093 is used, not t95(18) = 2.101.
    assert whole_degrees(18.998742314267954) == 19
    assert whole_degrees(16.751855737627245) == 16
    assert whole_degrees(0.4) == 1
    assert coverage_factor(0.95, 18.998742314267954) == pytest.approx(2.0930240544083087)


@pytest.mark.parametrize(("probability", "degrees"), [(0.0, 3), (1.0, 3), (0.5, 0)])
def test_what_has_no_quantile(probability, degrees):
    with pytest.raises(ValueError, match=r"degrees|probability"):
        t_quantile(probability, degrees)
