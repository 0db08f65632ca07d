"""What a gauge's own photos teach of where its thimble's edge stands."""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest

from reading.gauges.edge_set import FEWEST_PHOTOS, LEAST_SPREAD_PITCHES, learn
from vision.scale import Scale

FINE, INCH = Scale(Decimal("0.5"), 50), Scale(Decimal("0.025"), 25, "in")


def test_mean_and_spread_of_some_photos():
    found = learn([0.30, 0.34, 0.32])
    assert found.mean_pitches == pytest.approx(0.32)
    assert found.spread_pitches == pytest.approx(0.02)
    # For one more photo s √(1 + 1/3) (GUM 4.2.3), in mm of a 0.5 mm pitch.
    assert found.for_next_mm(FINE) == pytest.approx((0.16, 0.01 * math.sqrt(4 / 3)))
    assert found.for_next_mm(INCH)[0] == pytest.approx(0.32 * 0.635)


def test_too_few_teach_nothing():
    assert learn([0.3] * (FEWEST_PHOTOS - 1)) is None


def test_photos_that_all_agree_are_not_beyond_doubt():
    assert learn([0.3] * 5).spread_pitches == LEAST_SPREAD_PITCHES


def test_a_photo_that_was_read_a_turn_wrong_is_left_out():
    with_slip = learn([0.31, 1.32, 0.33, 0.32])
    assert with_slip == learn([0.31, 0.33, 0.32])


def test_photos_that_disagree_teach_nothing():
    assert learn([0.0, 0.4, 0.8, -0.4, 1.2]) is None


def test_the_next_photo_lies_within_what_is_claimed():
    rng = np.random.default_rng(5)
    off = []
    for _ in range(1000):
        sets = rng.normal(0.2, 0.04, 21)
        mean, spread = learn(list(sets[1:])).for_next_mm(FINE)
        off.append((0.5 * sets[0] - mean) / spread)
    assert 0.9 < np.std(off) < 1.15
