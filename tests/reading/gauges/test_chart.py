"""Control charts against the handbook's example and factors, drift against another library."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

import numpy as np
import pytest

from reading.gauge import ZeroCheck
from reading.gauges.chart import (
    DAYS_A_MONTH,
    LIMIT_FACTOR,
    individuals,
    zero_chart,
)
from vision.scale import Scale

START = datetime(2026, 1, 1)
FINE = Scale(Decimal("0.5"), 50)


def days(count):
    return [START + timedelta(days=n) for n in range(count)]


def chart(values):
    return individuals(days(len(values)), values)


def test_factors():
    # ISO 7870-2 and textbooks: E2 = 3 / 1.128 = 2.660 for ranges of two.
    assert pytest.approx(2.660, abs=0.002) == LIMIT_FACTOR


def test_the_handbook_s_flow_rates():
    # NIST/SEMATECH e-Handbook 6.3.2.2: centre 50.81, mean moving range 1.8778, limits 55.8041 and
    # 45.8159 with d2 rounded to 1.128.
    found = chart([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    assert found.centre == pytest.approx(50.81)
    assert found.mean_moving_range == pytest.approx(1.8778, abs=5e-5)
    assert found.upper == pytest.approx(55.8041, abs=0.002)
    assert found.lower == pytest.approx(45.8159, abs=0.002)
    assert found.signals == ()
    assert found.provisional


def test_zero_checks_worked_by_hand():
    # 23 / 10 divisions, six moves of one division in nine: limits 0.023 ± 2.66 · 0.0066667 mm.
    checks = [
        ZeroCheck("G1", time, Decimal(divisions) / 100, 0.003)
        for time, divisions in zip(days(10), (2, 2, 3, 2, 2, 3, 2, 3, 2, 2), strict=True)
    ]
    found = zero_chart(checks, FINE)
    assert found.centre == pytest.approx(0.023)
    assert (found.lower, found.upper) == pytest.approx((0.0052667, 0.0407333), abs=1e-5)
    assert zero_chart(checks[::-1], FINE) == found
    assert zero_chart(checks[:1], FINE) is None


def test_checks_that_are_all_alike_do_not_make_the_next_division_an_alarm():
    checks = [ZeroCheck("G1", time, Decimal("0.02"), 0.003) for time in days(30)]
    still = zero_chart(checks, FINE)
    # 3 · 0.01 / √12 mm either way.
    assert still.upper - still.centre == pytest.approx(0.00866, abs=1e-5)
    step = zero_chart(
        [*checks, ZeroCheck("G1", START + timedelta(days=40), Decimal("0.05"), 0.003)], FINE
    )
    assert [one.place for one in step.signals if one.rule == "outside the limits"] == [30]


def noise(*tail):
    """Make a long steady stretch that moves by one each time (deviation 0.89), then a tail."""
    return [*([0.5, -0.5] * 30), *tail]


@pytest.mark.parametrize(
    ("tail", "rule"),
    [
        ([4.0], "outside the limits"),
        ([-4.0], "outside the limits"),
        ([2.2, 0.4, 2.2], "two of three beyond two standard deviations"),
        ([1.3, 1.3, 0.2, 1.3, 1.3], "four of five beyond one standard deviation"),
        ([0.3] * 8, "eight in a row on one side"),
    ],
)
def test_run_rules(tail, rule):
    # NIST/SEMATECH e-Handbook 6.3.2, rules for either side of the centre.
    found = chart(noise(*tail))
    assert rule in [one.rule for one in found.signals if one.place == 59 + len(tail)]
    assert not [one for one in found.signals if one.place < 60]


@pytest.mark.parametrize("tail", [[2.2, 0.4, 0.4], [1.3, 1.3, 0.2, 0.2, 1.3], [0.3] * 7, [2.2]])
def test_near_misses_set_off_nothing(tail):
    assert chart(noise(*tail)).signals == ()


def test_false_alarms_of_the_limits_are_as_rare_as_promised():
    # Three standard deviations of a normal distribution: 0.27 % of points.
    found = chart(list(np.random.default_rng(2).normal(0, 1, 20_000)))
    outside = [one for one in found.signals if one.rule == "outside the limits"]
    assert 0.0015 < len(outside) / 20_000 < 0.0042


def test_drift_agrees_with_another_library():
    stats = pytest.importorskip("scipy.stats")
    values = [0.020, 0.023, 0.019, 0.030, 0.028, 0.035]
    times = [START + timedelta(days=n) for n in (0, 20, 50, 95, 130, 200)]
    found = individuals(times, values).drift
    months = [(time - START).days / DAYS_A_MONTH for time in times]
    other = stats.linregress(months, values)
    assert found.per_month == pytest.approx(other.slope, rel=1e-9)
    assert found.u_per_month == pytest.approx(other.stderr, rel=1e-9)
    assert found.shown


def test_no_drift_without_time():
    assert individuals([START] * 4, [1.0, 2.0, 3.0, 4.0]).drift is None
    assert chart([1.0, 2.0]).drift is None
