"""What a count proves: exact binomial bounds of shares, and of quantiles by order statistics."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

LEVEL = 0.95  # of one-sided bounds


@dataclass(frozen=True)
class Share:
    """So many of so many, and what that proves."""

    k: int
    n: int

    def __post_init__(self) -> None:
        if not 0 <= self.k <= self.n:
            raise ValueError(f"{self.k} of {self.n}: no share, 0 <= k <= n")

    @property
    def value(self) -> float:
        """The share that was seen; NaN of none."""
        return self.k / self.n if self.n else math.nan

    @property
    def upper(self) -> float:
        """Exact upper bound of the true share, one-sided at `LEVEL`."""
        return upper_bound(self.k, self.n)

    @property
    def lower(self) -> float:
        """Exact lower bound of the true share, one-sided at `LEVEL`."""
        return lower_bound(self.k, self.n)

    @property
    def between(self) -> tuple[float, float]:
        """Exact bounds of the true share that hold together at `LEVEL`."""
        each = (1 + LEVEL) / 2
        return lower_bound(self.k, self.n, each), upper_bound(self.k, self.n, each)


def upper_bound(k: int, n: int, level: float = LEVEL) -> float:
    """Give the one-sided upper bound of a share of which `k` in `n` were seen.

    Notes
    -----
    The share for which so few or fewer would be as rare as 1 - `level`, which is the quantile of
    the beta distribution with parameters k + 1 and n - k: C. J. Clopper and E. S. Pearson,
    Biometrika 26 (1934) 404. Exact for a simple random sample of very many, on the safe side for
    one of few. Nothing seen of nothing proves nothing: 1.
    """
    if k >= n:
        return 1.0
    from scipy.stats import beta

    return float(beta.ppf(level, k + 1, n - k))


def lower_bound(k: int, n: int, level: float = LEVEL) -> float:
    """Give the one-sided lower bound of a share of which `k` in `n` were seen."""
    return 1.0 - upper_bound(n - k, n, level) if n else 0.0


def sample_size(promise: float, k: int = 0, level: float = LEVEL) -> int:
    """Say how many to look at so that `k` of them wrong still prove a share of `promise` at most.

    Raises
    ------
    ValueError
        If the promise or the level is not between 0 and 1, or `k` is negative.

    Notes
    -----
    The smallest n whose upper bound is `promise` or less: a single sampling plan for acceptance
    with acceptance number `k` and consumer's risk 1 - `level` at `promise` (the terms of
    ISO 2859-1 and ISO 2859-2).
    """
    if not (0 < promise < 1 and 0 < level < 1 and k >= 0):
        raise ValueError(f"promise {promise}, level {level}, {k} wrong: 0 < both < 1, 0 or more")
    low, high = k, k + 1
    while upper_bound(k, high, level) > promise:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        if upper_bound(k, middle, level) > promise:
            low = middle
        else:
            high = middle
    return high


def quantile_bound(values: Sequence[float], share: float, level: float = LEVEL) -> float:
    """Give an upper bound of a quantile, whatever the distribution; infinity if too few values.

    Notes
    -----
    The r-th smallest of n values lies above the quantile with probability P(B < r), B binomial
    (n, share): the least such r with at least `level` is taken (H. A. David and H. N. Nagaraja,
    Order Statistics, 3rd ed. 2003, 7.1).
    """
    if not values:
        return math.inf
    from scipy.stats import binom

    n = len(values)
    place = int(binom.ppf(level, n, share)) + 1  # least r with P(B <= r - 1) >= level
    return sorted(values)[place - 1] if place <= n else math.inf


def sd_bounds(sd: float, n: int, level: float = LEVEL) -> tuple[float, float]:
    """Give lower and upper bound, each one-sided, of a normal distribution's standard deviation.

    Notes
    -----
    (n - 1) s² / σ² follows the chi-squared distribution with n - 1 degrees of freedom
    (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.8).
    """
    from scipy.stats import chi2

    low, high = (sd * math.sqrt((n - 1) / float(chi2.ppf(p, n - 1))) for p in (level, 1 - level))
    return low, high
