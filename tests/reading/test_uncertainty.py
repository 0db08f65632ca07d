"""Components, their combination, and whether what is stated is what happens."""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest

from reading.correct import correct
from reading.gauge import Gauge, ZeroCheck
from reading.uncertainty import Budget, Component, rectangular, result_budget, shown_budget
from vision.scale import Scale

FINE = Scale(Decimal("0.5"), 50)


def test_a_rectangle_of_one_least_count():
    # GUM (JCGM 100:2008) F.2.2.1: u = 0.29 delta; with delta 0.01 mm that is delta / sqrt(12).
    assert rectangular(0.01) == pytest.approx(0.002886751345948129, rel=1e-14)
    # GUM 4.3.7: half-width 4 gives 4 / sqrt(3).
    assert rectangular(8) == pytest.approx(2.3094010767585034, rel=1e-14)


def test_shown_less_zero_with_two_rectangles():
    # Two independent rectangles of width delta: delta / sqrt(6) (GUM 5.1.2); k = 2 gives U.
    budget = result_budget(FINE, 0.0, rectangular(0.01))
    assert budget.combined == pytest.approx(0.004082482904638631, rel=1e-14)
    assert budget.expanded == pytest.approx(0.008164965809277262, rel=1e-14)


def test_components_stay_apart_and_named():
    budget = result_budget(FINE, 0.1, 0.003)
    assert {part.name: part.u for part in budget.components} == {
        "picture": pytest.approx(0.001),
        "least count": pytest.approx(0.01 / math.sqrt(12)),
        "zero check": 0.003,
    }
    assert "zero check" not in {part.name for part in result_budget(FINE, 0.1, None).components}


def test_a_vernier_counts_with_its_own_least_count():
    vernier = Scale(Decimal("0.5"), 50, vernier=10)
    parts = {part.name: part.u for part in result_budget(vernier, 0.1, None).components}
    assert parts["least count"] == pytest.approx(0.001 / math.sqrt(12))


def test_combination_agrees_with_a_textbook_sum():
    # GUM H.1 (end gauge), the four shares in nm and their combination from the unrounded inputs.
    shares = (25, 5.8, 3.9, 6.7, 2.8867873, 16.5990271)
    budget = Budget("nm", tuple(Component("share", u, "") for u in shares))
    assert budget.combined == pytest.approx(31.663879111008633, rel=1e-8)


def ratios(u_division, sighted, photo, noon, seed):
    """Read 4000 made-up lengths and give errors over stated uncertainties, shown and corrected."""
    rng = np.random.default_rng(seed)
    shown_ratios, corrected_ratios = [], []
    for _ in range(4000):
        length, zero = rng.uniform(1, 24), rng.uniform(-0.1, 0.1)
        screw = rng.uniform(-0.005, 0.005)  # the scale itself, within one least count
        shown = length + zero + screw
        turns, rest = divmod(shown, 0.5)
        if abs(rest / 0.01 - 25) > 24:
            continue  # nearer a whole turn than the noise: another test's matter
        seen = sighted(int(turns), rest / 0.01 + rng.normal(0, u_division), u_division=u_division)
        by_hand = ZeroCheck("G1", noon.at, Decimal(round(zero * 100)) / 100, rectangular(0.01))
        reading = correct(photo, seen, noon, Gauge("G1", FINE), [by_hand])
        shown_ratios.append((float(reading.shown) - shown) / reading.shown_uncertainty.combined)
        error = float(reading.corrected) - length
        corrected_ratios.append(error / reading.uncertainty.combined)
    return np.array(shown_ratios), np.array(corrected_ratios)


@pytest.mark.parametrize("u_division", [0.005, 0.05, 0.2])
def test_stated_uncertainty_is_what_happens(u_division, sighted, photo, noon):
    for ratio in ratios(u_division, sighted, photo, noon, seed=7):
        assert 0.95 < ratio.std() < 1.05  # halved or doubled, it would be 2 or 0.5
        assert abs(ratio.mean()) < 0.1


def test_the_rounding_is_in_the_shown_uncertainty_once():
    parts = {part.name: part.u for part in shown_budget(FINE, 0.0).components}
    assert parts == {"picture": 0.0, "rounding": pytest.approx(0.001 / math.sqrt(12))}
