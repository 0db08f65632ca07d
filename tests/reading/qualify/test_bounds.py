"""Bounds of shares, percentiles and standard deviations against closed forms and printed tables."""

from __future__ import annotations

import math

import pytest
from scipy.stats import beta, binom

from reading.qualify.bounds import (
    Share,
    lower_bound,
    quantile_bound,
    sample_size,
    sd_bounds,
    upper_bound,
)


def tail(k, n, p):
    """Probability of at most k of n, summed term by term."""
    return math.fsum(math.comb(n, i) * p**i * (1 - p) ** (n - i) for i in range(k + 1))


@pytest.mark.parametrize(("k", "n"), [(0, 1), (0, 300), (1, 600), (3, 40), (17, 300), (4, 1829)])
def test_an_upper_bound_makes_what_was_seen_just_too_rare(k, n):
    """The definition (Clopper and Pearson 1934): so few or fewer in 5 % of cases."""
    assert tail(k, n, upper_bound(k, n)) == pytest.approx(0.05, rel=1e-9)
    assert lower_bound(n - k, n) == pytest.approx(1 - upper_bound(k, n))


def test_none_seen_of_three_hundred():
    """(1 - p)^n = 0.05 solved for p; the rule of three, 3 / n, is its approximation."""
    assert upper_bound(0, 300) == pytest.approx(1 - 0.05 ** (1 / 300), rel=1e-9)
    assert upper_bound(0, 300) == pytest.approx(3 / 300, rel=0.01)
    assert round(upper_bound(0, 300), 5) == 0.00994


@pytest.mark.parametrize(
    ("k", "n", "promise"),
    [(0, 299, 100), (0, 598, 200), (0, 2995, 1000), (1, 947, 200), (4, 1829, 200), (4, 9151, 1000)],
)
def test_so_many_photos_prove_a_promise_and_few_fewer_do_not(k, n, promise):
    assert upper_bound(k, n) <= 1 / promise
    assert upper_bound(k, n - 2) > 1 / promise


def test_a_lower_bound_from_a_printed_table():
    """Exact two-sided 90 % limits of 10 of 20: 0.302 and 0.698 (tables of binomial limits)."""
    assert lower_bound(10, 20) == pytest.approx(0.302, abs=5e-4)
    assert upper_bound(10, 20) == pytest.approx(0.698, abs=5e-4)


CASES = [(0, 59), (1, 60), (5, 300), (3, 4000), (29, 30), (0, 1), (7, 7)]


@pytest.mark.parametrize(("k", "n"), CASES)
def test_bounds_that_hold_together_are_the_quantiles_of_beta(k, n):
    """Clopper and Pearson's limits as quantiles of beta (Johnson, Kotz and Kemp, 3.8.3)."""
    low, high = Share(k, n).between
    assert low == pytest.approx(beta.ppf(0.025, k, n - k + 1) if k else 0.0, abs=1e-12)
    assert high == pytest.approx(beta.ppf(0.975, k + 1, n - k) if k < n else 1.0, abs=1e-12)
    assert low <= Share(k, n).value <= high


def test_a_published_interval():
    """Newcombe, Statistics in Medicine 17 (1998) 857, table I, method 5, for 81 of 263."""
    assert tuple(round(one, 4) for one in Share(81, 263).between) == (0.2527, 0.3676)


@pytest.mark.parametrize(
    ("promise", "k", "n"),
    [(0.05, 0, 59), (0.05, 1, 93), (0.01, 0, 299), (0.01, 1, 473), (0.1, 0, 29), (0.1, 2, 61)],
)
def test_sample_sizes(promise, k, n):
    """Sizes for 95 % confidence: 59 and 93 for 95 % (Wilks 1941, and any table of success-run
    tests), the others by the binomial distribution of SciPy."""
    assert sample_size(promise, k) == n
    assert binom.cdf(k, n, promise) <= 0.05 < binom.cdf(k, n - 1, promise)


@pytest.mark.parametrize(("promise", "k", "level"), [(0, 0, 0.9), (1, 0, 0.9), (0.1, -1, 0.9)])
def test_no_sample_size_of_what_is_no_promise(promise, k, level):
    with pytest.raises(ValueError, match="0 < both < 1"):
        sample_size(promise, k, level)


@pytest.mark.parametrize(("k", "n"), [(-1, 3), (4, 3), (0, -1)])
def test_what_is_no_share(k, n):
    with pytest.raises(ValueError, match="0 <= k <= n"):
        Share(k, n)


def test_where_nothing_or_everything_was_seen():
    assert upper_bound(0, 0) == 1.0
    assert upper_bound(4, 4) == 1.0
    assert lower_bound(0, 9) == pytest.approx(0.0, abs=1e-12)
    assert lower_bound(0, 0) == 0.0
    assert math.isnan(Share(0, 0).value)


@pytest.mark.parametrize(("n", "above"), [(59, 0), (93, 1), (124, 2), (181, 4), (208, 5)])
def test_so_many_photos_bound_a_95th_percentile(n, above):
    """0.95^59 < 0.05: the greatest of 59 values bounds the 95th percentile; and so on."""
    values = [float(i) for i in range(n)]
    assert quantile_bound(values, 0.95) == values[-1 - above]
    fewer = quantile_bound(values[1:], 0.95)
    assert fewer == (values[-above] if above else math.inf)


def test_a_median_s_bound_is_that_of_the_sign_test():
    """Of ten values the ninth: P(at most 8 of 10 below the median) = 1 - 11/1024; 7 gives 0.945."""
    assert quantile_bound([float(i) for i in range(1, 11)], 0.5) == 9.0
    assert quantile_bound([], 0.5) == math.inf


def test_bounds_of_a_standard_deviation():
    """NIST/SEMATECH e-Handbook 1.3.5.8.1: chi-squared of 99 degrees, 77.046 and 123.225 at 5 %."""
    low, high = sd_bounds(0.00627908, 100)
    assert low == pytest.approx(0.00627908 * math.sqrt(99 / 123.225), rel=1e-5)
    assert high == pytest.approx(0.00627908 * math.sqrt(99 / 77.046), rel=1e-5)
