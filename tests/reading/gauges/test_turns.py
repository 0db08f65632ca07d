"""Pitch and least count by counted turns, and what a disagreement is put down to."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reading.gauge import Gauge
from reading.gauges.turns import check_pitch, pair_up, pitch_lines
from reading.problem import Problem
from vision.scale import Scale

FINE = Gauge("G1", Scale(Decimal("0.5"), 50))
SCHOOL = Gauge("G2", Scale(Decimal(1), 100))


def check(gauge, readings, turns):
    return check_pitch(gauge, pair_up([Decimal(word) for word in readings.split()], turns))


def test_five_turns_from_two_to_seven_millimetres():
    # Common practice: five turns move the thimble from 2.0 to 7.0 mm, so the pitch is 1 mm, and
    # with 100 divisions the least count is 0.01 mm.
    found = check(SCHOOL, "2.0 7.0", "5")
    assert (found.pitch, found.least_count) == (1, Decimal("0.01"))
    assert found.agrees
    # Two readings to 0.01 mm, rectangular: 0.01 / √6, over five turns.
    assert found.u == pytest.approx(0.01 / math.sqrt(6) / 5)


def test_several_pairs_give_mean_and_spread():
    found = check(FINE, "2.00 4.50 4.51 2.00 1.00 1.99", "5 -5 2")
    assert [pair.pitch for pair in found.pairs] == [
        Decimal("0.5"),
        Decimal("0.502"),
        Decimal("0.495"),
    ]
    assert found.pitch == Decimal("0.499")
    # s by hand: deviations 0.001, 0.003, -0.004 mm; √(26e-6 / 2).
    assert found.spread == pytest.approx(math.sqrt(13e-6))
    assert found.agrees


@pytest.mark.parametrize(
    ("gauge", "readings", "turns", "named"),
    [
        (FINE, "2.00 4.50", "4", ["5 turns of the recorded pitch, 4 were counted"]),
        (FINE, "2.00 4.50", "-5", ["the other sign"]),
        (FINE, "2.00 7.00", "5", ["10 turns", "twice the recorded one"]),
        (SCHOOL, "2.00 4.50", "5", ["half the recorded one"]),
        (FINE, "0.00 63.5", "5", ["inch and millimetre"]),
        (FINE, "2.00 4.23", "5", ["nothing usual"]),
    ],
)
def test_a_disagreement_is_named(gauge, readings, turns, named):
    found = check(gauge, readings, turns)
    assert not found.agrees
    text = "\n".join(pitch_lines(found))
    assert "disagrees" in text
    for words in named:
        assert words in text
    assert ("were counted" in text) == any("turns" in words for words in named)


def test_one_division_off_is_no_disagreement_but_three_are():
    assert check(FINE, "2.00 4.50", "5").remarks == ()
    assert check(FINE, "2.00 4.505", "5").agrees
    assert not check(FINE, "2.00 4.53", "5").agrees


@given(turns=st.integers(-40, 40).filter(bool), start=st.integers(0, 500))
def test_turns_that_were_made_give_the_pitch(turns, start):
    before = Decimal(start) / 100
    pairs = pair_up([before, before + turns * Decimal("0.5")], str(turns))
    found = check_pitch(FINE, pairs)
    assert found.agrees
    assert found.pitch == Decimal("0.5")


@pytest.mark.parametrize(
    ("readings", "turns", "named"),
    [
        ("2.0", "5", "in pairs"),
        ("", "5", "in pairs"),
        ("2.0 7.0 2.0 7.0", "5 5 5", "3 numbers for 2 pairs"),
        ("2.0 7.0", "0", "'0'"),
        ("2.0 7.0", "2.5", "'2.5'"),
        ("2.0 7.0", "", "how many"),
        ("2.0 7.0 3.0 3.00", "5", "pair 2: both readings are 3.0"),
    ],
)
def test_what_can_not_be_paired(readings, turns, named):
    with pytest.raises(Problem, match=named):
        pair_up([Decimal(word) for word in readings.split()], turns)
