"""Means, spreads and outliers, against certified values, the GUM and printed tables."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reading.measurement.repeats import grubbs, grubbs_critical, pooled_spread, repeats, spread

DIVISION = Decimal("0.01")
LENGTHS = st.lists(st.decimals(0, 25, places=3), min_size=2, max_size=12)


def decimals(text):
    return [Decimal(word) for word in text.split()]


def test_twenty_temperatures():
    # GUM (JCGM 100:2008) 4.4.3 and table 1: mean 100.145, s 1.489, s of the mean 0.333 °C.
    found = repeats(
        decimals(
            "96.90 98.18 98.25 98.61 99.03 99.49 99.56 99.74 99.89 100.07"
            " 100.33 100.42 100.68 100.95 101.11 101.20 101.57 101.84 102.36 102.72"
        )
    )
    assert found.mean == Decimal("100.145")
    assert found.spread == pytest.approx(1.4888444830595435, rel=1e-12)
    assert found.u == pytest.approx(0.3329157472046673, rel=1e-12)
    assert found.degrees_of_freedom == 19


@pytest.mark.parametrize(
    ("values", "mean", "s"),
    [  # NIST StRD, univariate summary statistics, certified values of NumAcc1, 3 and 4
        (["10000001", "10000003", "10000002"], "10000002", 1.0),
        (["1000000.2"] + 500 * ["1000000.1", "1000000.3"], "1000000.2", 0.1),
        (["10000000.2"] + 500 * ["10000000.1", "10000000.3"], "10000000.2", 0.1),
    ],
)
def test_large_values_with_small_differences(values, mean, s):
    found = repeats([Decimal(value) for value in values])
    assert found.mean == Decimal(mean)
    assert found.spread == pytest.approx(s, rel=1e-14)


@given(values=LENGTHS, data=st.data())
def test_the_order_of_readings_does_not_matter(values, data):
    shuffled = data.draw(st.permutations(values))
    assert repeats(values) == repeats(shuffled)


def test_one_reading_has_no_spread():
    found = repeats([Decimal("1.22")])
    assert (found.spread, found.u, found.degrees_of_freedom) == (None, 0.0, math.inf)


@pytest.mark.parametrize(
    ("n", "printed"),
    [  # Either side, 5 %: NIST/SEMATECH e-Handbook 1.3.5.17.1 for 8; ISO 5725-2 table 5
        (4, 1.481),
        (5, 1.715),
        (6, 1.887),
        (7, 2.020),
        (8, 2.127),
        (9, 2.215),
        (10, 2.290),
        (20, 2.708),
    ],
)
def test_critical_values_of_grubbs(n, printed):
    assert grubbs_critical(n) == pytest.approx(printed, abs=0.00051)


def test_critical_values_agree_with_scipy():
    stats = pytest.importorskip("scipy.stats")
    for n in range(3, 60):
        t = stats.t.isf(0.05 / (2 * n), n - 2)
        formula = (n - 1) / math.sqrt(n) * math.sqrt(t**2 / (n - 2 + t**2))
        assert grubbs_critical(n) == pytest.approx(formula, rel=1e-9)


def test_one_of_eight_is_an_outlier():
    # NIST/SEMATECH e-Handbook 1.3.5.17.1, mass spectrometer readings: G = 2.4687, 245.57 is it.
    values = decimals("199.31 199.53 200.19 200.82 201.92 201.95 202.18 245.57")
    found = grubbs(values, DIVISION)
    assert found.place == 7
    assert found.g == pytest.approx(2.46876461121245, rel=1e-12)
    assert found.found
    assert not grubbs(values[:-1], DIVISION).found


@pytest.mark.parametrize(
    "values",
    [
        "1.22 1.23 1.40",  # three readings: G can't exceed 2/√3
        "1.22 1.22 1.22 1.22 1.22",
        "1.22 1.22 1.22 1.22 1.22 1.23",  # neighbouring divisions: the spread is the scale's own
    ],
)
def test_where_the_test_means_nothing(values):
    assert grubbs(decimals(values), DIVISION) is None


def test_three_divisions_are_tested():
    assert grubbs(decimals("1.22 1.22 1.22 1.22 1.22 1.24"), DIVISION).found


def test_spread_within_groups_is_pooled():
    groups = [decimals("1.0 1.2"), decimals("5.0 5.1 5.3"), decimals("9.0")]
    squares = 1 * spread(groups[0]) ** 2 + 2 * spread(groups[1]) ** 2
    s, degrees = pooled_spread(groups)
    assert degrees == 3
    assert s == pytest.approx(math.sqrt(squares / 3))
    assert pooled_spread([[Decimal(1)], [Decimal(2)]]) is None
