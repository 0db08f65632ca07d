"""Pass, fail, can't tell: the guard band against published rules and probabilities."""

from __future__ import annotations

from decimal import Decimal

import pytest

from reading.measurement.conformity import FAIL, OPEN, PASS, Limits, conformity

LIMITS = Limits(Decimal("12.45"), Decimal("12.55"))


@pytest.mark.parametrize(
    ("value", "probability"),
    [
        (12.535, 0.9986501019683705),  # 3 u inside: the normal distribution's 99.865 %
        (12.545, 0.8413447460685808),  # 1 u inside: 84.134 %
        (12.55, 0.5),
    ],
)
def test_probability_of_conformance(value, probability):
    # JCGM 106:2012, 7.2 and 7.3, with the normal table.
    found = conformity(value, 0.005, 0.01, LIMITS)
    assert found.probability == pytest.approx(probability, abs=1e-9)


@pytest.mark.parametrize(
    ("deviation", "verdict"),
    # ILAC-G8:09/2019, guard band w = U: limit 3 µm, U 1 µm; 1.7 conforms, 2.5 does not prove it.
    [(1.7, PASS), (2.0, PASS), (2.5, OPEN), (3.5, OPEN), (4.1, FAIL), (-2.5, OPEN), (-4.1, FAIL)],
)
def test_guard_band(deviation, verdict):
    limits = Limits(Decimal(-3), Decimal(3))
    assert conformity(deviation, 0.5, 1.0, limits).verdict == verdict


def test_one_sided_limits():
    upper = Limits(None, Decimal("1.25"))
    assert conformity(-99.0, 0.005, 0.01, upper).verdict == PASS
    assert conformity(1.261, 0.005, 0.01, upper).verdict == FAIL
    lower = Limits(Decimal("1.25"), None)
    assert conformity(1.255, 0.005, 0.01, lower).verdict == OPEN
    assert conformity(99.0, 0.005, 0.01, lower).verdict == PASS


@pytest.mark.parametrize(("lower", "upper"), [(None, None), ("1.2", "1.2"), ("1.3", "1.2")])
def test_limits_that_limit_nothing(lower, upper):
    with pytest.raises(ValueError, match="limit"):
        Limits(*(None if one is None else Decimal(one) for one in (lower, upper)))
