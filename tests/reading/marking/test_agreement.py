"""Agreement against published figures and reference libraries."""

from __future__ import annotations

import pytest

from reading.marking.agreement import kappa, limits_of_agreement

# Peak flow in l/min by a large and by a mini meter, first readings of 17 subjects: Bland and
# Altman, The Lancet 327 (1986) 307-310, table 1. Typed from memory; they give its printed figures.
LARGE = (494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427)
MINI = (512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451)


def test_limits_of_agreement_of_the_published_example():
    limits = limits_of_agreement([a - b for a, b in zip(LARGE, MINI, strict=True)])
    mean, sd = round(limits.mean, 1), round(limits.sd, 1)
    assert (limits.n, mean, sd) == (17, -2.1, 38.8)
    # The paper takes two of its rounded standard deviations: -79.7 and 75.5.
    assert (round(mean - 2 * sd, 1), round(mean + 2 * sd, 1)) == (-79.7, 75.5)
    assert limits.low == pytest.approx(limits.mean - 1.96 * limits.sd)
    assert limits.high == pytest.approx(limits.mean + 1.96 * limits.sd)


def test_one_difference_has_no_limits():
    assert limits_of_agreement([0.3]) is None


def test_kappa_of_the_textbook_table():
    # 20 both yes, 5 and 10 apart, 15 both no: 0.4 (the worked example of many textbooks).
    pairs = [("y", "y")] * 20 + [("y", "n")] * 5 + [("n", "y")] * 10 + [("n", "n")] * 15
    assert kappa(pairs) == pytest.approx(0.4)


def test_kappa_against_a_reference_library():
    import numpy as np
    from sklearn import metrics

    rng = np.random.default_rng(4)
    for _ in range(20):
        first = rng.choice(["right", "wrong"], 50, p=[0.7, 0.3])
        second = np.where(rng.random(50) < 0.8, first, "wrong")
        pairs = [(str(a), str(b)) for a, b in zip(first, second, strict=True)]
        assert kappa(pairs) == pytest.approx(metrics.cohen_kappa_score(first, second))


def test_kappa_is_not_defined_without_pairs_or_variety():
    assert kappa([]) is None
    assert kappa([("right", "right")] * 3) is None
