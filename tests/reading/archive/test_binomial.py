"""Bounds and sample sizes against published figures and an independent library."""

from __future__ import annotations

import pytest
from scipy.stats import beta, binom

from reading.archive.binomial import at_most, sample_size, share

CASES = [(0, 59), (1, 60), (5, 300), (3, 4000), (29, 30), (0, 1), (7, 7)]


@pytest.mark.parametrize(("wrong", "n"), CASES)
def test_bounds_are_the_quantiles_of_beta(wrong, n):
    """Clopper and Pearson's limits as quantiles of beta (Johnson, Kotz and Kemp, 3.8.3)."""
    found = share(wrong, n)
    low = beta.ppf(0.025, wrong, n - wrong + 1) if wrong else 0.0
    high = beta.ppf(0.975, wrong + 1, n - wrong) if wrong < n else 1.0
    assert found.low == pytest.approx(low, abs=1e-12)
    assert found.high == pytest.approx(high, abs=1e-12)
    assert found.low <= found.rate <= found.high


@pytest.mark.parametrize(("wrong", "n"), CASES)
def test_bounds_are_where_so_few_would_be_that_rare(wrong, n):
    """By their definition, with another's binomial distribution."""
    found = share(wrong, n)
    if wrong < n:
        assert binom.cdf(wrong, n, found.at_most) == pytest.approx(0.05, rel=1e-6)
        assert binom.cdf(wrong, n, found.high) == pytest.approx(0.025, rel=1e-6)
    if wrong:
        assert binom.sf(wrong - 1, n, found.low) == pytest.approx(0.025, rel=1e-6)


def test_nothing_wrong_is_three_in_n():
    """The rule of three (Hanley and Lippman-Hand, JAMA 249 (1983) 1743)."""
    for n in (100, 1000):
        assert share(0, n).at_most == pytest.approx(3 / n, rel=0.02)


def test_a_published_interval():
    """Newcombe, Statistics in Medicine 17 (1998) 857, table I, method 5, for 81 of 263."""
    found = share(81, 263)
    assert (round(found.low, 4), round(found.high, 4)) == (0.2527, 0.3676)


@pytest.mark.parametrize("p", [0.01, 0.3, 0.999])
def test_the_distribution(p):
    assert at_most(4, 50, p) == pytest.approx(binom.cdf(4, 50, p), rel=1e-10)


@pytest.mark.parametrize(
    ("promise", "wrong", "n"),
    [(0.05, 0, 59), (0.05, 1, 93), (0.01, 0, 299), (0.01, 1, 473), (0.1, 0, 29), (0.1, 2, 61)],
)
def test_sample_sizes(promise, wrong, n):
    """Sizes for 95 % confidence: 59 and 93 for 95 % (Wilks 1941, and any table of success-run
    tests), the others by the binomial distribution of SciPy."""
    assert sample_size(promise, wrong) == n
    assert binom.cdf(wrong, n, promise) <= 0.05 < binom.cdf(wrong, n - 1, promise)


@pytest.mark.parametrize("wrong", [0, 2])
def test_a_sample_of_that_size_proves_the_promise_and_no_smaller_one(wrong):
    n = sample_size(0.02, wrong)
    assert share(wrong, n).at_most <= 0.02 < share(wrong, n - 1).at_most


@pytest.mark.parametrize(
    ("wrong", "n", "level"), [(1, 0, 0.9), (-1, 3, 0.9), (4, 3, 0.9), (1, 3, 1)]
)
def test_numbers_that_are_no_count(wrong, n, level):
    with pytest.raises(ValueError, match="0 <= wrong <= n"):
        share(wrong, n, level)
