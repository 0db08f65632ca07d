"""Backlash from both sides, against a hand calculation."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest

from reading.gauge import Gauge
from reading.gauges.backlash import backlash_lines, find_backlash
from reading.problem import Problem
from vision.scale import Scale

FINE = Gauge("G1", Scale(Decimal("0.5"), 50))


def found(closing, opening):
    return find_backlash(FINE, *([Decimal(w) for w in text.split()] for text in (closing, opening)))


def test_two_means_and_their_difference():
    # By hand: 5.0233333 - 5.0566667; both s = 0.0057735, u = √(2 s² / 3) = 0.0047140 (GUM 5.1.2).
    one = found("5.02 5.03 5.02", "5.06 5.05 5.06")
    assert float(one.value) == pytest.approx(-0.0333333, abs=1e-6)
    assert one.u_repeats == pytest.approx(0.0047140452, rel=1e-7)
    assert one.u == pytest.approx(math.hypot(0.0047140452, 0.01 / math.sqrt(6)), rel=1e-7)
    assert "-0.033 ± 0.012 mm" not in backlash_lines(one)[0]
    assert "-0.033 ± 0.013 mm (k = 2), 3.3 divisions" in backlash_lines(one)[0]


def test_repeats_that_agree_do_not_make_it_certain():
    assert found("5.02 5.02", "5.02 5.02").u == pytest.approx(0.01 / math.sqrt(6))


@pytest.mark.parametrize(
    ("opening", "verdict"),
    [
        ("5.02 5.02 5.02", "none shown"),
        ("5.029 5.029 5.029", "less than a division"),
        ("5.04 5.04 5.04", "it matters"),
        ("5.05 5.05 5.05", "adjusted"),
    ],
)
def test_whether_it_matters(opening, verdict):
    # Common practice: under a division good, over two have it adjusted.
    assert verdict in found("5.02 5.02 5.02", opening).verdict


def test_one_side_alone():
    with pytest.raises(Problem, match="closing and readings approached by opening"):
        found("5.02", "")


def test_half_a_turn_is_a_misreading():
    assert found("5.00", "5.24").divisions == 24
    with pytest.raises(Problem, match="half a turn"):
        found("5.00", "5.25")
