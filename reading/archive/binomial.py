"""Exact bounds on a share from a count, and how large a sample a promise needs."""

from __future__ import annotations

import math
from dataclasses import dataclass

from reading.qualify.bounds import LEVEL, lower_bound, upper_bound

_MOST_SAMPLE = 10_000_000  # larger ones are nobody's to look at


@dataclass(frozen=True)
class Share:
    """A share that was counted, `wrong` of `n`, with its exact bounds at a level of confidence.

    `low` and `high` hold together at `level`; `at_most` holds alone at `level`.
    """

    wrong: int
    n: int
    low: float
    high: float
    at_most: float
    level: float = LEVEL

    @property
    def rate(self) -> float:
        """The share in the sample."""
        return self.wrong / self.n


def share(wrong: int, n: int, level: float = LEVEL) -> Share:
    """Bound the share of wrong ones behind a sample.

    Parameters
    ----------
    wrong, n : int
        So many wrong in a sample of so many, 0 <= wrong <= n, n at least 1.
    level : float
        Confidence, between 0 and 1.

    Raises
    ------
    ValueError
        If the numbers are not like that.

    Notes
    -----
    Clopper and Pearson, "The use of confidence or fiducial limits illustrated in the case of the
    binomial", Biometrika 26 (1934): the upper limit is the share for which so few wrong ones would
    be as rare as 1 - level (one-sided), the lower one alike. Exact for a simple random sample from
    a large archive, on the safe side for a small one.
    """
    if not 0 <= wrong <= n or n < 1 or not 0 < level < 1:
        raise ValueError(f"{wrong} of {n} at {level}: 0 <= wrong <= n, n >= 1, 0 < level < 1")
    half = (1 - level) / 2
    return Share(
        wrong,
        n,
        lower_bound(wrong, n, 1 - half),
        upper_bound(wrong, n, 1 - half),
        upper_bound(wrong, n, level),
        level,
    )


def at_most(wrong: int, n: int, share_wrong: float) -> float:
    """Give the probability of so many wrong or fewer in a sample, were the share that large."""
    if share_wrong <= 0:
        return 1.0
    if share_wrong >= 1:
        return 1.0 if wrong >= n else 0.0
    log_p, log_q = math.log(share_wrong), math.log1p(-share_wrong)
    terms = (
        math.lgamma(n + 1)
        - math.lgamma(i + 1)
        - math.lgamma(n - i + 1)
        + i * log_p
        + (n - i) * log_q
        for i in range(wrong + 1)
    )
    return min(1.0, math.fsum(math.exp(term) for term in terms))


def sample_size(promise: float, wrong: int = 0, level: float = LEVEL) -> int:
    """Say how many to look at so that so many wrong ones still keep a promise.

    The smallest n for which, were the share of wrong ones `promise` or more, `wrong` or fewer in
    the sample would have a probability of 1 - level at most: a single sampling plan for acceptance
    with acceptance number `wrong`, consumer's risk 1 - level at `promise` (the terms of ISO 2859-1
    and ISO 2859-2; the size follows from the binomial distribution).

    Raises
    ------
    ValueError
        If the promise or the level is not between 0 and 1, or `wrong` is negative.
    """
    if not (0 < promise < 1 and 0 < level < 1 and wrong >= 0):
        raise ValueError(
            f"promise {promise}, level {level}, {wrong} wrong: 0 < both < 1, 0 or more"
        )
    low, high = wrong, wrong + 1
    while at_most(wrong, high, promise) > 1 - level:
        low, high = high, 2 * high
        if high > _MOST_SAMPLE:
            raise ValueError(f"promise {promise}: more than {_MOST_SAMPLE} to look at")
    while high - low > 1:
        middle = (low + high) // 2
        if at_most(wrong, middle, promise) > 1 - level:
            low = middle
        else:
            high = middle
    return high
